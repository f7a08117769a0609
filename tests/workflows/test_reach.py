"""Reaching a colour, from the words a person types: exists for targets that are misread, an answer told as reached that
is not, and advice that does not help."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
from PIL import Image

from layerpreview.answers.reach import Limits
from layerpreview.answers.recipes import Reached
from layerpreview.errors import InputError, PictureError
from layerpreview.output.reach_result import notes_of, reach_lines
from layerpreview.output.result import Result
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import spots_of
from layerpreview.scheme import load_scheme
from layerpreview.workflows.check import scheme_figures
from layerpreview.workflows.choices import Target, target_from
from layerpreview.workflows.reach import Sought, dyes_from, limits_from, reach, reach_files, seek

from ..schemes import DYES, FULL, HEAD, HONEY, MIXES, PANEL, RIM, SEA_BURST, SILVER, WHITE
from ..written import names_in

Save = Callable[..., Path]
DARK = WHITE.replace("#f2f0ec", "#404040")
ON_WHITE = HEAD.replace('["D65"]', '["D65", "A"]') + PANEL + WHITE + DYES + MIXES + HONEY


def _target(save_scheme: Save, text: str, scheme_text: str = ON_WHITE) -> Target:
    scheme = load_scheme(save_scheme(scheme_text))
    return target_from(text, scheme, spots_of(scheme, make_scene(scheme, width_px=64)))


@pytest.mark.parametrize("text", ["62, -3.5, 41", "62 -3.5 41", " 62;-3.5;41 "])
def test_numbers(save_scheme: Save, text: str) -> None:
    assert _target(save_scheme, text).lab[0] == pytest.approx([62.0, -3.5, 41.0])


def test_a_screen_colour(save_scheme: Save, colour_science: ModuleType) -> None:
    """sRGB (IEC 61966-2-1) to L*a*b* as colour-science computes it."""
    xyz = colour_science.sRGB_to_XYZ(np.array([0xC8, 0x8A, 0x3A]) / 255.0)
    white = colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    lab = colour_science.XYZ_to_Lab(xyz, white)
    assert _target(save_scheme, "#c88a3a").lab[0] == pytest.approx(lab, abs=0.02)


def test_under_another_light_it_shifts_as_a_plain_surface(save_scheme: Save) -> None:
    """A warm colour looks lighter and redder under a warm lamp; a grey stays what it is."""
    warm = _target(save_scheme, "#c88a3a").lab
    assert warm[1, 0] > warm[0, 0] + 1.0
    assert _target(save_scheme, "50, 0, 0").lab[1] == pytest.approx([50.0, 0.0, 0.0], abs=0.3)


def test_a_patch_of_a_photo(save_scheme: Save, tmp_path: Path) -> None:
    """The mean is taken in light, not in code values: half black and half white is not the middle grey code."""
    pixels = np.zeros((20, 30, 3), dtype=np.uint8)
    pixels[5:15, 10:14] = 255
    Image.fromarray(pixels).save(tmp_path / "card.png")
    lab = _target(save_scheme, f"{tmp_path / 'card.png'}@8,5,8,10").lab[0]
    assert lab == pytest.approx([76.07, 0.0, 0.0], abs=0.05)  # L* of Y = 0.5
    with pytest.raises(InputError, match="30 x 20 px"):
        _target(save_scheme, f"{tmp_path / 'card.png'}@25,5,8,10")
    with pytest.raises(PictureError):
        _target(save_scheme, f"{tmp_path / 'none.png'}@1,1,2,2")


def test_a_step_of_the_scheme(save_scheme: Save) -> None:
    target = _target(save_scheme, "step 3")
    assert target.words.startswith("3 x honey")
    assert target.lab.shape == (2, 3)
    assert _target(save_scheme, "step 3 of honey").lab == pytest.approx(target.lab)
    for text in ("step 0", "step 99", "step 2 of plum"):
        with pytest.raises(InputError):
            _target(save_scheme, text)


@pytest.mark.parametrize("text", ["", "reddish", "62, 12", "120, 0, 0", "50, 300, 0", "#12", "1.2.3, 4, 5"])
def test_no_colour(save_scheme: Save, text: str) -> None:
    with pytest.raises(InputError):
        _target(save_scheme, text)


def test_dyes(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(ON_WHITE))
    assert list(dyes_from(None, scheme)) == ["yellow", "blue"]
    assert list(dyes_from(["blue", "amber"], scheme)) == ["blue", "amber"]
    # The scheme's own yellow stands before the library's.
    assert dyes_from(["library"], scheme)["yellow"] == scheme.dyes["yellow"]
    assert len(dyes_from(["library"], scheme)) == 12
    with pytest.raises(InputError, match=r"ochre(.|\n)*rust"):
        dyes_from(["ochre", "blue", "rust"], scheme)


@pytest.mark.slow
def test_what_can_be_reached(save_scheme: Save, tmp_path: Path) -> None:
    """The scheme's own colour after three coats is reached with its own dyes, in one of the ways listed."""
    out = tmp_path / "out"
    found = reach_files(save_scheme(ON_WHITE), "step 3", out=out, cell_px=40)
    assert found.reached
    assert found.nearest_de00 < 0.3
    assert "can be reached" in found.verdict
    assert not found.advice
    assert names_in(out) == sorted(found.files)
    told = json.loads((out / "reach.json").read_text("utf-8"))
    assert told["verdict"] == found.verdict
    assert len(told["alternatives"]) == len(found.alternatives) > 3
    for name in ("reach.png", "alternatives.png"):
        with Image.open(out / name) as picture:
            assert min(picture.size) > 200


@pytest.mark.slow
def test_over_the_schemes_own_primer(save_scheme: Save, tmp_path: Path) -> None:
    """On a dark base under a white primer the scheme's own colour, as the figures tell it, is reached."""
    primer = '[[coat]]\nname = "primer"\nopaque = "#eeeeee"\nhiding = 1\ncoats = 2\n'
    path = save_scheme(HEAD + PANEL + DARK + DYES + MIXES + primer + HONEY)
    (field,) = [c for c in scheme_figures(path).colours if c.place == "field"]
    for target in ("step 3", ",".join(f"{v:.2f}" for v in field.lab)):
        found = reach_files(path, target, out=tmp_path / "out", force=True, cell_px=40)
        assert found.nearest_de00 < 0.05
        assert found.wanted_lab["D65"] == pytest.approx(field.lab, abs=0.01)
        assert any("Laid on 2 x primer (field)." in note for note in found.lines)


@pytest.mark.slow
def test_what_cannot(save_scheme: Save, tmp_path: Path) -> None:
    """A bright red with a yellow and a blue dye: told plainly, with dyes that would help."""
    found = reach_files(save_scheme(ON_WHITE), "45, 60, 25", out=tmp_path / "out", cell_px=40)
    assert not found.reached
    assert "cannot be reached" in found.verdict
    assert f"{found.nearest_de00:.1f}" in found.verdict
    assert "red" in " ".join(found.advice) or "cherry" in " ".join(found.advice) or "magenta" in " ".join(found.advice)
    lines = reach_lines(found)
    assert lines[0].startswith(found.verdict)
    assert sum(line.startswith("  ") and " away (" in line for line in lines) == len(found.advice)
    assert any(f"{found.alternatives[0].coats} x " in line for line in lines)
    helped = [float(line.rsplit(": ", 1)[1].split(" ")[0]) for line in found.advice]
    unseen = [max(de, 0.8) for de in helped]
    assert unseen == sorted(unseen)
    assert helped[0] < found.nearest_de00 - 5.0


@pytest.mark.slow
def test_limits_are_handed_on(save_scheme: Save, tmp_path: Path) -> None:
    limits = Limits(most_coats=2, films_um=(30.0,))
    found = reach_files(save_scheme(ON_WHITE), "70, 0, 40", out=tmp_path / "out", limits=limits, cell_px=40)
    assert {a.film_um for a in found.alternatives} == {30.0}
    assert max(a.coats for a in found.alternatives) <= 2


@pytest.mark.slow
def test_over_metal_too(save_scheme: Save, tmp_path: Path) -> None:
    found = reach_files(
        save_scheme(FULL), "#4a6a3a", out=tmp_path / "out", dyes=["library"], cell_px=40, within_de00=2.0
    )
    assert found.nearest_de00 < 2.0
    assert found.dyes[:2] == ("amber", "black")


@pytest.mark.slow
def test_stripes_are_those_of_the_schemes_gun(save_scheme: Save, tmp_path: Path) -> None:
    """A closer overlap lays a coat more evenly: the same recipes with fewer stripes; and it is said whose gun it is."""
    found = {}
    for stated in ("", '[gun]\noverlap = "50 %"\n', '[gun]\nfan = "180 mm"\noverlap = "70 to 80 %"\n'):
        scheme = save_scheme(ON_WHITE + stated)
        found[stated] = reach_files(scheme, "step 3", out=tmp_path / "out", force=True, cell_px=40)
    usual, same, close = found.values()
    assert "overlap 50 % (assumed)" in " ".join(notes_of(usual.found))
    assert "overlap 50 % (scheme)" in " ".join(notes_of(same.found))
    assert "fan 180 mm (scheme) at 180 mm (assumed), fan shape 3 (assumed), overlap 75 % (scheme)" in "".join(
        notes_of(close.found)
    )

    def least(reached: Result[Reached]) -> float:
        return min(a.stripes_de00 for a in reached.alternatives)

    assert least(same) == least(usual)
    assert least(close) < 0.9 * least(usual)
    told = json.loads((tmp_path / "out" / "reach.json").read_text("utf-8"))
    assert told["gun_from"]["overlap"] == "scheme"


def test_limits_as_typed() -> None:
    assert limits_from() == Limits()
    assert limits_from(films_um="25", most_coats=3, most_dyes=1).films_um == (25.0,)
    with pytest.raises(InputError) as caught:
        limits_from(strongest_per_L=0.0, most_coats=99, films_um="thin", most_film_um=-1.0, most_dyes=4)
    for said in ("--strongest", "--most-coats = 99", "--films = thin", "--most-film = -1", "--most-dyes = 4"):
        assert said in str(caught.value)


def test_the_search_ends_with_the_answer(save_scheme: Save) -> None:
    """Seen step by step it only ever comes nearer, and the last step is what the command says."""
    path = save_scheme(ON_WHITE)
    scheme = load_scheme(path)
    steps = list(seek(scheme, "#7a8f3a", Sought()))
    assert len(steps) >= 3
    away = [step.nearest_de00 for step in steps]
    assert away == sorted(away, reverse=True)
    assert all(step.alternatives for step in steps)
    last = reach(scheme, "#7a8f3a").found
    assert (steps[-1].alternatives, steps[-1].advice) == (last.alternatives, last.advice)


RIMMED = HEAD + PANEL + SILVER + DYES + MIXES + HONEY + SEA_BURST + RIM


def test_one_coat_among_the_others(save_scheme: Save) -> None:
    """What is promised for a burst under a rim, over a coat that stays, is what the finish then has at that place."""
    text = RIMMED.replace("hiding = 0.9", "hiding = 0.15")
    scheme = load_scheme(save_scheme(text))
    found = reach(scheme, "20, -9, -6", coat=2, dyes=["blue", "yellow"]).found
    best = found.alternatives[0]
    assert found.ground.later
    sprayed = ", ".join(f'{name} = "{amount} mL/L"' for name, amount in best.strengths.items())
    written = text.replace('dyes = { blue = "30 mL/L" }', f"dyes = {{ {sprayed} }}")
    written = written.replace(
        'coats = 2\nfilm = "30 um"\nburst', f'coats = {best.coats}\nfilm = "{best.film_um} um"\nburst'
    )
    spot = found.ground.spot.name
    (colour,) = [c for c in scheme_figures(save_scheme(written, "written.toml")).colours if c.spot == spot]
    assert colour.lab == pytest.approx(best.lab["D65"], abs=0.02)


@pytest.mark.parametrize("coat", [3, 4, 99])
def test_no_coat_of_dye(save_scheme: Save, coat: int) -> None:
    with pytest.raises(InputError, match="no coat of dye; those of this scheme are 1 \\(honey\\), 2 \\(sea\\)"):
        reach(load_scheme(save_scheme(RIMMED)), "#74561f", coat=coat)


def test_the_base_keeps_its_darkness(save_scheme: Save) -> None:
    """Over a dark grey the same hue and depth is told beside the colour itself, and is what the recipes come near to;
    the dye of other coats is not taken for darkness of the base."""
    grey = WHITE.replace("#f2f0ec", "#808080")
    scheme = load_scheme(save_scheme(HEAD + PANEL + grey + DYES + MIXES + HONEY + SEA_BURST))
    found = {reading: reach(scheme, "#a09a5c", reading=reading, coat=2).found for reading in ("mean", "hue")}
    read = found["hue"].readings
    assert read is not None
    assert read.bare[0, 1:] == pytest.approx([0.0, 0.0], abs=0.3)
    assert np.arctan2(*read.hue[0, :0:-1]) == pytest.approx(np.arctan2(*read.mean[0, :0:-1]), abs=0.01)
    assert found["hue"].wanted_lab["D65"] == pytest.approx(read.hue[0])
    assert found["mean"].wanted_lab["D65"] == pytest.approx(read.mean[0])
    assert found["hue"].nearest_de00 < found["mean"].nearest_de00
    assert "The second was looked for." in notes_of(found["hue"])[0]
    with pytest.raises(InputError, match="no way to read a colour"):
        reach(scheme, "#a09a5c", reading="glow")
