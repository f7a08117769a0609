"""A reading on the day, told and logged: the log only grows, and a line torn by a crash spoils nothing but itself."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import InputError, OutputError, PictureError
from layerpreview.output.progress_result import progress_text
from layerpreview.workflows.check import scheme_figures
from layerpreview.workflows.progress import Logged, Reading, log_progress

from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, PANEL, SILVER

NOON = datetime(2026, 5, 4, 12, 30, tzinfo=UTC)


@pytest.fixture
def scheme(save_scheme: Callable[..., Path]) -> Path:
    return save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + GUN)


def read(scheme: Path, coats: int = 2, **how: object) -> Logged:
    reading = how.pop("reading", None) or Reading(lab=(71.0, -13.0, 34.5))
    return log_progress(scheme, reading, coats_done=coats, now=NOON, **how)  # type: ignore[arg-type]


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
    assert entry["lab"] == [71.0, -13.0, 34.5]
    assert entry["coats_done"] == 2
    assert entry["build"] == sorted(entry["build"])


SEA = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "20 um"\n'
EDGE = 'burst = { from = "outline", width = "12 mm", fall_off = "soft" }\n'


@pytest.mark.slow
def test_which_entry_is_judged_is_said(save_scheme: Callable[..., Path]) -> None:
    """Of three entries the middle of the part tells the second; one is named by its number in the figures."""
    path = save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + SEA + HONEY + SEA.replace("= 2", "= 1") + SEA + EDGE)
    found = read(path, 1, mix="sea")
    assert found.standing.entry == 2
    assert "sea is sprayed as coats 1, 3 and 4 of the figures; this is about coat 3, name another" in progress_text(
        found
    )
    named = read(path, 1, coat=1)
    assert "coat 1, sea, after 1 of 2 coats" in progress_text(named)
    assert "--coat" not in progress_text(named)
    assert read(path, 1, coat=4, witness=True).standing.spot == "edge"
    assert read(path, 1, witness=True).standing.entry == 3


def test_more_coats_than_planned_are_said(scheme: Path) -> None:
    assert "honey, after 5 coats, 2 more than the 3 planned:" in progress_text(read(scheme, 5))


def test_a_mix_sprayed_once_needs_no_note(scheme: Path) -> None:
    assert read(scheme).notes == ()


def test_a_coat_to_be_cut_back_is_read_before(save_scheme: Callable[..., Path]) -> None:
    path = save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + 'cut_back = "70 %"\n')
    assert "coat 1 is cut back by 70 % in the end: read it before" in progress_text(read(path))


def test_what_the_reading_is_under_is_said(save_scheme: Callable[..., Path]) -> None:
    path = save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + "[clear]\nfinish = 'matt'\n")
    (field,) = [colour for colour in scheme_figures(path).colours if colour.spot == "field"]
    agreed = "L* {:.1f} a* {:.1f} b* {:.1f}".format(*field.lab)
    wet, cleared = read(path), read(path, under_clear=True)
    assert (
        f"under the scheme's matt clear, as figures and ladder show it, the planned colour is {agreed}"
        in progress_text(wet)
    )
    assert "--under-clear" in progress_text(wet)
    assert "compared under the scheme's own matt clear" in progress_text(cleared)
    assert cleared.standing.ladder[3].lab == pytest.approx(field.lab, abs=1e-6)
    told = [json.loads(line)["under_clear"] for line in cleared.log.read_text(encoding="utf-8").splitlines()]
    assert told == [False, True]


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


@pytest.mark.slow
@pytest.mark.parametrize(
    ("reading", "coats", "said"),
    [
        (Reading(), 2, "exactly one reading"),
        (Reading(lab=(1, 2, 3), srgb="#ffffff"), 2, "exactly one reading"),
        (Reading(lab=(160.0, 1.0, 2.0)), 2, "L* from 0 to 100"),
        (Reading(lab=(60.0, 1.0)), 2, "L* from 0 to 100"),
        (Reading(srgb="orangeish"), 2, "digits"),
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


def test_the_distance_printed_is_that_of_the_reading(scheme: Path) -> None:
    """Far off the ladder, the computed colour taken for it is near the agreed one; the reading is not."""
    found = read(scheme, 2, reading=Reading(lab=(60.0, -45.0, -30.0)))
    assert found.standing.rung_to_agreed < 6.0
    assert found.standing.to_agreed > 40.0
    assert f"from the planned colour: {found.standing.to_agreed:.1f} CIEDE2000" in progress_text(found)


def test_a_reading_that_cannot_be_right_is_shown_and_not_logged(scheme: Path) -> None:
    found = read(scheme, 2, reading=Reading(lab=(60.0, -45.0, -30.0)))
    assert not found.logged
    assert found.readings_in_log == 0
    assert "(agreed)" in progress_text(found)
    assert not found.log.exists()
    kept = read(scheme, 2, reading=Reading(lab=(60.0, -45.0, -30.0)), keep=True)
    assert (kept.logged, kept.kept, kept.readings_in_log) == (True, True, 1)
    assert json.loads(kept.log.read_text(encoding="utf-8"))["kept"] is True


def test_to_keep_says_nothing_of_a_reading_that_fits(scheme: Path) -> None:
    found = read(scheme, 2, keep=True)
    assert (found.logged, found.kept) == (True, False)
    assert "kept" not in json.loads(found.log.read_text(encoding="utf-8"))


def test_only_readings_that_stand_are_counted(scheme: Path) -> None:
    read(scheme, 1)
    log = read(scheme, 2).log
    with log.open("ab") as file:
        file.write(b'{"what": "withdrawn", "line": 1}\n{"what": "board"}\n')
    assert read(scheme, 2).readings_in_log == 2


def _photo_of(tmp_path: Path) -> Reading:
    Image.new("RGB", (200, 120), (180, 150, 60)).save(tmp_path / "panel.png")
    return Reading(photo=tmp_path / "panel.png", patch=(10, 10, 80, 80), white=(110, 10, 80, 80))


@pytest.mark.parametrize("name", ["job.toml", "panel.png", "panel.PNG", "link.png"])
def test_what_is_read_is_never_written_to(scheme: Path, tmp_path: Path, name: str) -> None:
    """The scheme or the photo given as log, under its own or another name."""
    reading = _photo_of(tmp_path)
    (tmp_path / "link.png").symlink_to("panel.png")
    if name == "panel.PNG" and not (tmp_path / name).exists():  # on a system that tells the two apart
        (tmp_path / name).write_bytes((tmp_path / "panel.png").read_bytes())
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    for keep in (False, True):
        with pytest.raises(InputError, match="this is no line of a job's log; name the job's log") as caught:
            read(scheme, 2, reading=reading, log=tmp_path / name, keep=keep)
        assert len(caught.value.problems) == 1
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_no_folder_is_made_for_the_log(scheme: Path, tmp_path: Path) -> None:
    before = set(tmp_path.rglob("*"))
    with pytest.raises(OutputError, match=r"there is no folder .*gone"):
        read(scheme, 2, log=tmp_path / "gone" / "job-log.jsonl")
    assert set(tmp_path.rglob("*")) == before
