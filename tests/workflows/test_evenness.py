"""Evenness as files and words: exists for pictures that show another hand than their caption says, figures that differ
from the picture's, and a gun that is not the one asked for."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

from layerpreview import cli
from layerpreview.answers.gun import GunOptions
from layerpreview.output.caption import font, text_size_px
from layerpreview.output.evenness_result import _short_words, stripes_words
from layerpreview.spray.passes import GUNS
from layerpreview.workflows.evenness import evenness_files

from ..schemes import FULL
from ..written import names_in

Save = Callable[..., Path]


@pytest.mark.slow
def test_files_figures_and_words(save_scheme: Save, tmp_path: Path) -> None:
    out = tmp_path / "out"
    found = evenness_files(save_scheme(FULL), out=out, width_px=240)
    assert names_in(out) == sorted(found.files)
    assert [s.hand for s in found.stripes] == ["flat", "good", "hurried"]
    told = json.loads((out / "evenness.json").read_text("utf-8"))
    assert [s["stripes_de00"] for s in told["stripes"]] == [s.stripes_de00 for s in found.stripes]
    assert told["spraying"]["gun"]["width_mm"] == GUNS["full"].width_mm
    assert [p.order for p in found.passes] == [1, 2, 3]
    assert found.passes[0].metres > 0.0
    words = "\n".join(found.lines)
    for said in ("A practised hand", "assumed", "flat samples", "honey: "):
        assert said in words


@pytest.mark.slow
def test_hands_differ_in_their_pictures(save_scheme: Save, tmp_path: Path) -> None:
    out = tmp_path / "out"
    evenness_files(save_scheme(FULL), out=out, width_px=240)
    flat, hurried = (
        np.asarray(Image.open(out / f"uneven_{hand}.png").convert("RGB"), dtype=float)[:150]
        for hand in ("flat", "hurried")
    )
    assert np.abs(flat - hurried).max() > 4.0


@pytest.mark.slow
def test_the_same_seed_the_same_bytes(save_scheme: Save, tmp_path: Path) -> None:
    written = []
    for name in ("one", "two"):
        evenness_files(save_scheme(FULL), out=tmp_path / name, width_px=160, hands=("hurried",))
        written.append([p.read_bytes() for p in sorted((tmp_path / name).iterdir())])
    assert written[0] == written[1]


@pytest.mark.slow
def test_the_schemes_gun_is_the_one_that_sprays(save_scheme: Save, tmp_path: Path) -> None:
    """What the scheme says of its gun changes figures, strokes and words; an option stands before it."""
    stated = FULL + 'fan = "20 mm"\noverlap = "70 %"\ndirection = "across"\n'
    usual = evenness_files(save_scheme(FULL), out=tmp_path / "usual", width_px=160)
    found = evenness_files(save_scheme(stated), out=tmp_path / "own", width_px=160)
    told = json.loads((tmp_path / "own" / "evenness.json").read_text("utf-8"))
    assert told["spraying"]["gun"]["width_mm"] == 20.0
    assert told["spraying"]["overlap"] == pytest.approx(0.7)
    assert told["spraying"]["directions_deg"] == [90.0]
    assert told["spraying_from"] == {
        "fan": "scheme",
        "distance": "assumed",
        "beta": "assumed",
        "overlap": "scheme",
        "direction": "scheme",
        "lines": "assumed",
        "edge_fan": "assumed",
    }
    assert found.passes[0].fan_mm == 20.0
    assert found.passes[0].spacing_mm == pytest.approx(6.0)
    assert found.stripes[1].stripes_de00 != usual.stripes[1].stripes_de00
    assert "fan 20 mm (scheme) at 180 mm (assumed)" in found.lines[0]
    assert "strokes top to bottom (scheme)" in found.lines[0]
    option = GunOptions(fan_mm=24.0)
    assert (
        "fan 24 mm (option)"
        in evenness_files(save_scheme(stated), out=tmp_path / "option", options=option, width_px=160).lines[0]
    )


@pytest.mark.slow
def test_a_direction_that_says_none_is_told(save_scheme: Save, tmp_path: Path) -> None:
    found = evenness_files(save_scheme(FULL + 'direction = "with feeling"\n'), out=tmp_path / "out", width_px=120)
    assert 'direction "with feeling" is not understood' in "".join(found.lines[1:2]).replace("Direction", "direction")


@pytest.mark.slow
def test_one_hand_one_figure(save_scheme: Save, tmp_path: Path) -> None:
    """What the advice starts from is what is told of the hand, to the last digit, whichever hands are shown."""
    found = evenness_files(save_scheme(FULL), out=tmp_path / "out", width_px=160)
    told = json.loads((tmp_path / "out" / "evenness.json").read_text("utf-8"))
    good = next(s for s in told["stripes"] if s["hand"] == "good")
    assert told["advice"]["now"]["stripes_de00"] == good["stripes_de00"]
    assert told["advice"]["now"]["verdict"] == good["verdict"]
    alone = evenness_files(save_scheme(FULL), out=tmp_path / "alone", width_px=160, hands=("hurried",))
    assert alone.advice == found.advice


@pytest.mark.slow
def test_advice_is_what_the_next_run_tells(save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(FULL.replace("64 mm", "264 mm").replace("48 mm", "198 mm"))
    found = evenness_files(scheme, out=tmp_path / "one", width_px=160)
    assert found.advice is not None
    assert found.advice.overlap is not None
    options = GunOptions(overlap=found.advice.overlap.overlap)
    again = evenness_files(scheme, out=tmp_path / "two", width_px=160, options=options)
    assert again.stripes[1].stripes_de00 == found.advice.overlap.stripes_de00


def test_no_label_is_cut_off() -> None:
    """The longest label of a tile fits it in the font's size for three tiles in a row, at small and large widths."""
    for tile_px in (240, 560, 800):
        face = font(text_size_px(3 * tile_px))
        for hand in ("flat", "good", "hurried"):
            assert face.getlength(f"{_short_words(hand)}: stripes under 0.8, not visible") < tile_px


def test_figures_are_not_rounded_across_a_verdict() -> None:
    assert [stripes_words(de) for de in (0.74, 0.76, 0.8, 1.74, 1.799, 1.8)] == [
        "0.7",
        "under 0.8",
        "0.8",
        "1.7",
        "under 1.8",
        "1.8",
    ]


@pytest.mark.slow
def test_json_on_stdout_alone(save_scheme: Save, tmp_path: Path) -> None:
    """The document of evenness.json and nothing else; without --json the lines and no JSON."""
    scheme, out = save_scheme(FULL), tmp_path / "out"
    arguments = ["evenness", str(scheme), "--width", "120", "-o", str(out), "--force"]
    made = CliRunner().invoke(cli.app, [*arguments, "--json"])
    assert made.exit_code == 0
    assert json.loads(made.stdout) == json.loads((out / "evenness.json").read_text("utf-8"))
    plain = CliRunner().invoke(cli.app, arguments)
    assert plain.stdout.startswith("How it is sprayed: fan ")
    assert "{" not in plain.stdout
    crossed = CliRunner().invoke(cli.app, [*arguments, "--json", "--direction", "across", "--overlap", "0.95"])
    told = json.loads(crossed.stdout)
    assert (told["spraying"]["directions_deg"], told["spraying"]["overlap"]) == ([90.0], 0.95)
    assert (told["spraying_from"]["direction"], told["spraying_from"]["overlap"]) == ("option", "option")
