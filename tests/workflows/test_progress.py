"""A reading on the day, told and logged: the log only grows, and a line torn by a crash spoils nothing but itself."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import InputError, PictureError
from layerpreview.workflows.progress import Progress, Reading, progress, progress_text

from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, PANEL, SILVER

NOON = datetime(2026, 5, 4, 12, 30, tzinfo=UTC)


@pytest.fixture
def scheme(save_scheme: Callable[..., Path]) -> Path:
    return save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + GUN)


def read(scheme: Path, coats: int = 2, **how: object) -> Progress:
    reading = how.pop("reading", None) or Reading(lab=(72.0, 1.0, 30.0))
    return progress(scheme, reading, coats_done=coats, now=NOON, **how)  # type: ignore[arg-type]


def test_it_is_told_and_logged(scheme: Path) -> None:
    found = read(scheme)
    text = progress_text(found)
    assert "honey, after 2 of 3 coats" in text
    assert "(agreed)" in text
    assert "rests on" in text
    (line,) = found.log.read_text(encoding="utf-8").splitlines()
    entry = json.loads(line)
    assert entry["what"] == "progress"
    assert entry["time"] == "2026-05-04T12:30:00+00:00"
    assert entry["lab"] == [72.0, 1.0, 30.0]
    assert entry["coats_done"] == 2
    assert entry["build"] == sorted(entry["build"])


def test_the_log_only_grows(scheme: Path) -> None:
    first = read(scheme, 1).log.read_bytes()
    second = read(scheme, 2)
    assert second.log.read_bytes().startswith(first)
    assert second.readings_in_log == 2


def test_a_torn_last_line_is_said_and_harms_nothing(scheme: Path) -> None:
    log = read(scheme, 1).log
    whole = log.read_bytes()
    log.write_bytes(whole + whole[: len(whole) // 2])  # the machine went off while writing the second
    found = read(scheme, 2)
    assert any("line 2" in note and "torn" in note for note in found.notes)
    lines = log.read_bytes().splitlines()
    assert json.loads(lines[0])["coats_done"] == 1
    assert json.loads(lines[-1])["coats_done"] == 2
    assert found.readings_in_log == 2


def test_a_spot_in_a_photo_beside_a_white_card(scheme: Path, tmp_path: Path) -> None:
    pixels = np.zeros((120, 200, 3), dtype=np.uint8)
    pixels[:, :100] = (180, 120, 50)
    pixels[:, 100:] = 220
    Image.fromarray(pixels).save(tmp_path / "panel.png")
    how = Reading(photo=tmp_path / "panel.png", patch=(10, 10, 80, 80), white=(110, 10, 80, 80), white_reflectance=0.9)
    found = read(scheme, reading=how)
    lighter = ((220 / 255 + 0.055) / 1.055) ** 2.4 / 0.9
    expected = [((v / 255 + 0.055) / 1.055) ** 2.4 / lighter for v in (180, 120, 50)]
    luminance = float(np.dot([0.2126, 0.7152, 0.0722], expected))
    assert found.lab[0] == pytest.approx(116 * luminance ** (1 / 3) - 16, abs=0.2)
    assert any("trust it less" in note for note in found.notes)


@pytest.mark.parametrize(
    ("reading", "coats", "said"),
    [
        (Reading(), 2, "exactly one reading"),
        (Reading(lab=(1, 2, 3), srgb="#ffffff"), 2, "exactly one reading"),
        (Reading(lab=(160.0, 1.0, 2.0)), 2, "L* from 0 to 100"),
        (Reading(lab=(60.0, 1.0)), 2, "L* from 0 to 100"),
        (Reading(srgb="orange"), 2, "digits"),
        (Reading(lab=(60.0, 1.0, 2.0), light="noon"), 2, "no such light"),
        (Reading(lab=(60.0, 1.0, 2.0)), 99, "from 0 to 60"),
        (Reading(photo=Path("panel.png")), 2, "--patch"),
    ],
)
def test_bad_readings_are_told_in_one_line_and_not_logged(
    scheme: Path, reading: Reading, coats: int, said: str
) -> None:
    with pytest.raises(InputError) as caught:
        read(scheme, coats, reading=reading)
    assert len(caught.value.problems) == 1
    assert said in str(caught.value)
    assert not (scheme.parent / "job-log.jsonl").exists()


def test_a_patch_outside_the_photo_is_refused(scheme: Path, tmp_path: Path) -> None:
    Image.new("RGB", (50, 40)).save(tmp_path / "panel.png")
    reading = Reading(photo=tmp_path / "panel.png", patch=(40, 10, 30, 10), white=(0, 0, 10, 10))
    with pytest.raises(PictureError, match="not inside the picture"):
        read(scheme, reading=reading)
