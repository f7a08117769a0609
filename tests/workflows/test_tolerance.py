"""Tolerance and fading as files and words: exist for a pale picture that is darker than the deep one, figures that do
not match the words, and steps of dyes that are not there."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview.errors import InputError, NoAnswerError
from layerpreview.units import Range
from layerpreview.workflows.fade import Exposure, exposure_from, fade_files, steps_from
from layerpreview.workflows.tolerance import tolerance_files

from ..schemes import DYES, FULL, HEAD, HONEY, MIXES, PANEL, SILVER
from ..written import names_in

Save = Callable[..., Path]


@pytest.mark.slow
def test_files_figures_and_words(save_scheme: Save, tmp_path: Path) -> None:
    out = tmp_path / "out"
    found = tolerance_files(save_scheme(FULL), out=out, within_de00=2.5, runs=500)
    assert names_in(out) == sorted(found.files)
    told = json.loads((out / "tolerance.json").read_text("utf-8"))
    first = told["spots"][0]
    assert first["spot"] == "field"
    assert f"{100 * first['share_within']:.0f} % of 500 runs stay within 2.5" in found.lines[0]
    assert first["shares"][0]["source"]["name"] in found.lines[1]
    assert any("Transfer efficiency (40 to 60 %)" in line for line in found.lines)


def test_pale_is_paler(save_scheme: Save, tmp_path: Path) -> None:
    plain = HEAD + PANEL + SILVER + DYES + MIXES + HONEY
    tolerance_files(save_scheme(plain), out=tmp_path / "out", runs=500)
    sheet = np.asarray(Image.open(tmp_path / "out" / "tolerance.png").convert("L"), dtype=float)
    third = sheet.shape[1] // 3
    middle = sheet[150:350]
    pale, likely, deep = (middle[:, i * third + 250 : i * third + 400].mean() for i in range(3))
    assert pale > likely > deep


@pytest.mark.slow
def test_the_same_seed_the_same_bytes(save_scheme: Save, tmp_path: Path) -> None:
    for name in ("one", "two"):
        tolerance_files(save_scheme(FULL), out=tmp_path / name, runs=300)
    for file in (tmp_path / "one").iterdir():
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes()


def _light(Mlx_h: float) -> Exposure:
    return exposure_from(Mlx_h=Mlx_h)


@pytest.mark.slow
def test_fading(save_scheme: Save, tmp_path: Path) -> None:
    """The textile reading fades more than the museum's, a poor step more than a good one, no light nothing."""
    scheme = save_scheme(FULL)
    made = [
        fade_files(scheme, out=tmp_path / f"{i}", exposure=_light(exposure), steps=steps_from(steps))
        for i, (exposure, steps) in enumerate(
            [(4.0, ["yellow=4", "blue=4"]), (4.0, ["yellow=3", "blue=4"]), (0.0, ["yellow=1"])]
        )
    ]
    first, poorer, dark = made
    assert first.left["textile"]["yellow"] < first.left["museum"]["yellow"] < 1.0
    assert first.de00["textile"] > first.de00["museum"] > 0.0
    assert poorer.left["museum"]["yellow"] < first.left["museum"]["yellow"]
    assert poorer.left["museum"]["blue"] == first.left["museum"]["blue"]
    assert dark.de00 == {"museum": 0.0, "textile": 0.0}
    assert first.lines[0] == "Rough: after 4 Mlx h. Blue wool steps: yellow 4 (option), blue 4 (option)."
    assert json.loads((tmp_path / "0" / "fade.json").read_text("utf-8"))["rough"] is True


FAST = FULL.replace("[dye.yellow]\n", "[dye.yellow]\nlight_fastness = 6\n").replace(
    "[dye.blue]\n", '[dye.blue]\nlight_fastness = "2 to 3"\n'
)


@pytest.mark.slow
def test_steps_of_the_scheme(save_scheme: Save, tmp_path: Path) -> None:
    """What the scheme states is used, an option goes before it, and the text says which is which."""
    scheme = save_scheme(FAST)
    own = fade_files(scheme, out=tmp_path / "own", exposure=_light(6.0))
    assert own.lines[0].endswith("yellow 6 (scheme), blue 2 to 3 (scheme).")
    same = fade_files(scheme, out=tmp_path / "same", exposure=_light(6.0), steps=steps_from(["blue=2-3"]))
    assert same.lines[0].endswith("yellow 6 (scheme), blue 2 to 3 (option).")
    assert same.spots == own.spots
    better = fade_files(scheme, out=tmp_path / "better", exposure=_light(6.0), steps=steps_from(["blue=8"]))
    assert better.spots[-1].dye_left["textile"]["blue"] > own.spots[-1].dye_left["textile"]["blue"]


@pytest.mark.slow
def test_every_place_fades_and_the_worst_is_named(save_scheme: Save, tmp_path: Path) -> None:
    """The burst's poor blue fades more than the field's good yellow; the picture there has the same colour."""
    text = FAST.replace("centre = 0.1", "centre = 0.0").replace("hiding = 0.9", "hiding = 0.02")
    found = fade_files(save_scheme(text), out=tmp_path / "out", exposure=_light(6.0))
    by_name = {spot.spot: spot for spot in found.spots}
    assert list(by_name) == ["field", "edge"]
    assert by_name["edge"].de00["textile"] > by_name["field"].de00["textile"]
    low, high = sorted(by_name["edge"].de00.values())
    assert f"It changes most at the edge, by {low:.1f} to {high:.1f} CIEDE2000." in found.lines
    told = json.loads((tmp_path / "out" / "fade.json").read_text("utf-8"))
    assert [spot["spot"] for spot in told["spots"]] == ["field", "edge"]
    assert told["field_de00"] == found.de00


def test_years_at_a_window_and_in_a_case() -> None:
    """11 h a day at 800 to 7500 lx are 3 to 30 Mlx h a year: 4015 h x 800 lx = 3.2, x 7500 = 30.1 (assumed values)."""
    window = exposure_from(years={"window": 2.0, "case": None})
    assert (window.Mlx_h.low, window.Mlx_h.high) == pytest.approx((2 * 3.0, 2 * 30.0))
    assert window.Mlx_h.low == pytest.approx(2 * 800 * 11 * 365 / 1e6, rel=0.1)
    assert "rough" in window.words
    case = exposure_from(years={"case": 20.0})
    assert case.Mlx_h.high < window.Mlx_h.high
    with pytest.raises(InputError, match="exactly one exposure is wanted, got none"):
        exposure_from()
    with pytest.raises(InputError, match="got --exposure and --years-case"):
        exposure_from(Mlx_h=1.0, years={"case": 3.0})
    for bad in (-1.0, 1e6, float("nan")):
        with pytest.raises(InputError, match="--exposure"):
            exposure_from(Mlx_h=bad)


def test_steps() -> None:
    found = steps_from(["yellow=4", " blue = 7-8"])
    assert found == {"yellow": Range(4.0, 4.0, 4.0), "blue": Range(7.0, 7.5, 8.0)}
    with pytest.raises(InputError, match=r"yellow=9(.|\n)*blue"):
        steps_from(["yellow=9", "blue"])


def test_what_cannot_fade(save_scheme: Save, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="ochre"):
        fade_files(save_scheme(FULL), out=tmp_path / "out", exposure=_light(1.0), steps=steps_from(["ochre=3"]))
    with pytest.raises(
        InputError, match=r"no dye has a light-fastness step; add light_fastness = 4 below \[dye.yellow"
    ):
        fade_files(save_scheme(FULL), out=tmp_path / "out", exposure=_light(1.0))


def test_where_no_dye_shows_there_is_no_answer(save_scheme: Save, tmp_path: Path) -> None:
    scheme = save_scheme(HEAD + PANEL + SILVER + DYES + MIXES)
    with pytest.raises(NoAnswerError, match="no dye shows"):
        tolerance_files(scheme, out=tmp_path / "out")
    with pytest.raises(NoAnswerError, match="no dye shows"):
        fade_files(scheme, out=tmp_path / "out", exposure=_light(1.0), steps=steps_from(["blue=3"]))
    assert not (tmp_path / "out").exists()


def test_names_are_told_as_they_are_written_and_typed(save_scheme: Save, tmp_path: Path) -> None:
    text = (HEAD + PANEL + SILVER + DYES + MIXES + HONEY).replace("[dye.yellow]", '[dye."grün, hell"]')
    scheme = save_scheme(text.replace("yellow =", '"grün, hell" ='))
    with pytest.raises(InputError) as caught:
        fade_files(scheme, out=tmp_path / "out", exposure=_light(5.0))
    assert 'below [dye."grün, hell"] (the' in str(caught.value)
    assert str(caught.value).endswith('or --step "grün, hell=4"')


@pytest.mark.slow
def test_a_place_where_no_step_is_known_says_so(save_scheme: Save, tmp_path: Path) -> None:
    """There was a hole in its sentence."""
    text = FULL.replace('[[coat]]\nmix = "honey"', '[[coat]]\nzone = "left"\nmix = "honey"').replace(
        "[[face.opening]]",
        '[[face.zone]]\nname = "left"\nside = { at = ["32 mm", "0 mm"], angle = 180 }\n[[face.opening]]',
    )
    found = fade_files(save_scheme(text), out=tmp_path / "out", exposure=_light(5.0), steps=steps_from(["yellow=3"]))
    assert not any("; ." in line for line in found.lines)
    assert any(line.endswith(": how far it shifts is not known, as no step is of blue.") for line in found.lines)
