"""From the scheme's words to absorbance: exists for a unit that is off by ten, an end of a range that is the other end,
and a hiding that does not follow the film."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from layerpreview.film import MetalBase, MetalFilm, body_reflectance, diffuse_film, facet_law, lamp_at
from layerpreview.finish.layers import (
    absorptivity_on_grid,
    base_film,
    colour_spectrum,
    dye_rests_on,
    dyes_in,
    facet_law_of,
    first_stack,
    layer_of,
    stack_of,
    turned_deg,
)
from layerpreview.finish.stack import DyeLayer, OpaqueLayer
from layerpreview.finish.texture import texture_sample
from layerpreview.finish.view import SURROUNDINGS, View
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme, load_scheme

from ..literal import lab_of_spectrum
from ..schemes import DYES, GUN, HEAD, HONEY, MAPLE, MIXES, PANEL, RELIEF, RIM, SILVER, WHITE

Save = Callable[..., Path]
AT_400, AT_700 = 4, 64
"""Places on the grid of 380 to 780 nm by 5."""


def made(save_scheme: Save, *, mixes: str = MIXES, coats: str = HONEY, base: str = SILVER) -> Scheme:
    return load_scheme(save_scheme(HEAD + PANEL + base + DYES + mixes + coats + GUN))


def absorbance(scheme: Scheme, end: str = "likely") -> np.ndarray:  # type: ignore[type-arg]
    coat = scheme.coats[0]
    assert isinstance(coat, DyeCoat)
    layer = layer_of(scheme, coat, end)  # type: ignore[arg-type]
    assert isinstance(layer, DyeLayer)
    return layer.absorbance10


@pytest.mark.parametrize(("end", "film_um"), [("low", 35.0), ("likely", 40.0), ("high", 45.0)])
def test_a_coat_by_hand(save_scheme: Save, end: str, film_um: float) -> None:
    """A = a c d: 12 mL/L at 40 g/L and 2 mL/L at 25 g/L are 0.48 and 0.05 g/L; at 400 nm a is 50 and 1 + 4 x 20/180, at
    700 nm 2 and 70 - 40 x 80/160 L/(g cm); three coats, 1 um is 1e-4 cm (Beer-Lambert; linear between points)."""
    found = absorbance(made(save_scheme), end)
    for place, yellow, blue in ((AT_400, 50.0, 1.0 + 4 * 20 / 180), (AT_700, 2.0, 50.0)):
        assert found[place] == pytest.approx((0.48 * yellow + 0.05 * blue) * 3 * film_um * 1e-4, rel=1e-9)


@pytest.mark.parametrize(("end", "per_mL", "film_um"), [("low", 60, 35.0), ("likely", 50, 40.0), ("high", 40, 45.0)])
def test_larger_drops_hold_more(save_scheme: Save, end: str, per_mL: float, film_um: float) -> None:
    """600 drops a litre at 60, 50 and 40 to the mL are 10, 12 and 15 mL; at 40 g/L 0.4, 0.48 and 0.6 g/L."""
    mixes = MIXES.replace('yellow = "12 mL/L", blue = "2 mL/L"', 'yellow = "60 drops per 100 mL"')
    found = absorbance(made(save_scheme, mixes=mixes), end)
    assert found[AT_400] == pytest.approx(600 / per_mL * 40 / 1000 * 50.0 * 3 * film_um * 1e-4, rel=1e-9)


def test_drops_that_are_not_stated_are_those_of_lacquer_solvents(save_scheme: Save) -> None:
    """44 to 53 drops of a lacquer's solvents make a mL by Tate's law; water's 20 would be 2.5 times off."""
    mixes = MIXES.replace('blue = "30 mL/L"', 'blue = "30 drops per 100 mL", yellow = "4 mL/L"')
    scheme = made(save_scheme, mixes=mixes, coats=HONEY.replace("honey", "sea"))
    blue, yellow = dyes_in(scheme, scheme.mixes["sea"])
    assert (blue.drops_per_mL.basis, yellow.drops_per_mL.basis) == ("table (lacquer solvents)", "stated")
    assert 40.0 <= blue.drops_per_mL.low < blue.drops_per_mL.likely < blue.drops_per_mL.high <= 60.0
    assert (yellow.drops_per_mL.low, yellow.drops_per_mL.high) == (40.0, 60.0)
    assert blue.as_sold_per_L.likely == pytest.approx(300.0 / blue.drops_per_mL.likely)
    assert yellow.as_sold_per_L.likely == 4.0
    assert yellow.pure_g_per_L.likely == pytest.approx(4.0 * 40.0 / 1000)
    assert not blue.powder
    # What was counted in drops rests on their size, what was poured by volume does not.
    assert (blue.as_sold_per_L.basis, yellow.as_sold_per_L.basis) == (
        "drops table (lacquer solvents)",
        "strength stated",
    )
    assert yellow.pure_g_per_L.basis == "strength stated; concentrate stated"


def test_a_dye_without_a_concentrate_is_a_powder(save_scheme: Save) -> None:
    dyes = DYES.replace('concentrate = "25 g/L"\n', "")
    mixes = MIXES.replace("2 mL/L", "3 g/L").replace("30 mL/L", "7 g/L")
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + dyes + mixes + HONEY + GUN))
    yellow, blue = dyes_in(scheme, scheme.mixes["honey"])
    assert (yellow.powder, blue.powder) == (False, True)
    assert blue.pure_g_per_L.likely == blue.as_sold_per_L.likely == 3.0
    assert (yellow.as_sold_per_L.unit, blue.as_sold_per_L.unit) == ("mL/L", "g/L")


@pytest.mark.parametrize(("end", "share"), [("low", 15 / 20), ("likely", 1.0), ("high", 25 / 20)])
def test_an_opaque_coat_hides_as_its_film_and_coats(save_scheme: Save, end: str, share: float) -> None:
    """0.9 a coat at the likely film, two coats; hiding is an exponent, so it grows in proportion (1 - 10^-h)."""
    scheme = made(save_scheme, coats=RIM.replace("20 um", "15 to 25 um"))
    coat = scheme.coats[0]
    assert isinstance(coat, OpaqueCoat)
    layer = layer_of(scheme, coat, end)  # type: ignore[arg-type]
    assert isinstance(layer, OpaqueLayer)
    assert layer.hiding == pytest.approx(0.9 * 2 * share)
    assert layer.reflectance == pytest.approx(colour_spectrum("#221814"))


def test_a_colour_is_seen_as_written(colour_science: ModuleType) -> None:
    """IEC 61966-2-1 and CIE 15, by colour-science."""
    expected = colour_science.XYZ_to_Lab(colour_science.sRGB_to_XYZ(np.array([0xC8, 0xA0, 0x50]) / 255.0))
    assert lab_of_spectrum(colour_spectrum("#c8a050")) == pytest.approx(expected, abs=0.05)


def test_what_was_learnt_of_a_dye_has_its_ends(save_scheme: Save) -> None:
    scheme = made(save_scheme)
    yellow = scheme.dyes["yellow"]
    for end in ("low", "likely", "high"):
        assert absorptivity_on_grid(yellow, end)[AT_400] == 50.0  # type: ignore[arg-type]


@pytest.mark.parametrize(("base", "metal"), [(SILVER, True), (WHITE, False), (MAPLE, False)])
def test_the_film_is_that_of_the_base_and_view(save_scheme: Save, base: str, metal: bool) -> None:
    view = View(-25.0, 40.0)
    scheme = made(save_scheme, base=base)
    expected = base_film(scheme.base, view)
    if metal:
        assert isinstance(expected, MetalFilm)
        asked = {"view_deg": -25.0, "lamp_deg": 40.0, "lamp_half_angle_deg": 5.0}
        by_solver = body_reflectance([0.0, 0.4], MetalBase(flake_spread=0.3), **asked)
        assert expected.bare == pytest.approx(by_solver[0], rel=1e-3)
        assert expected.tau(np.array(0.4)) == pytest.approx(by_solver[1] / by_solver[0], rel=3e-3)
    else:
        assert expected == diffuse_film(lamp_at(40.0), view_deg=25.0)
    for stack in (stack_of(scheme, view), first_stack(scheme, view)):
        assert stack.film == expected
        assert stack.opaque_film == diffuse_film(lamp_at(40.0), view_deg=25.0)
        assert len(stack.layers) == 1
    assert base_film(scheme.base) != expected


def test_bare_is_without_any_coat(save_scheme: Save) -> None:
    scheme = made(save_scheme, coats=HONEY + RIM)
    assert [len(stack_of(scheme, bare=bare).layers) for bare in (False, True)] == [2, 0]
    assert [len(first_stack(scheme, bare=bare).layers) for bare in (False, True)] == [2, 0]


def test_the_base_that_is_asked_for_lies_under_the_coats(save_scheme: Save) -> None:
    scheme = made(save_scheme)
    other = made(save_scheme, base=WHITE).base
    assert stack_of(scheme, base=other).film == diffuse_film()
    assert isinstance(stack_of(scheme).film, MetalFilm)


def test_a_base_turns_its_lamps_as_it_says(save_scheme: Save, tmp_path: Path) -> None:
    """315, the top left, is where the main lamp stands: 350 is 35 degrees further clockwise, 280 as many back."""
    (tmp_path / "foil.png").write_bytes(b"")
    own = '[base]\nkind = "metal"\nheight_picture = "foil.png"\n[base.height_options]\nwidth = "9 mm"\ndepth = "1 mm"\n'
    for base, turned in (
        (RELIEF, 0.0),
        (RELIEF + "[base.relief_options]\nlamp_from = 350\n", 35.0),
        (own + "lamp_from = 280\n", -35.0),
    ):
        assert turned_deg(made(save_scheme, base=base).base) == turned


@pytest.mark.slow
def test_a_textured_base_is_all_its_facets_together(save_scheme: Save) -> None:
    """The mean over the facets of the sample, each under the dye: Jensen, so not the curve of a mean facet."""
    base = made(save_scheme, base=RELIEF + "[base.relief_options]\nlamp_from = 350\n").base
    view = View(20.0, None, SURROUNDINGS["sun"])
    film, sample = base_film(base, view), texture_sample(base)
    assert isinstance(film, MetalFilm)
    some = slice(None, None, 5)
    slopes = sample.slope_x[some, some].ravel(), sample.slope_y[some, some].ravel()
    law = facet_law(
        MetalBase(flake_spread=0.25),
        SURROUNDINGS["sun"].light(turned_deg=35.0),
        view_deg=20.0,
        view_azimuth_deg=View(20.0).from_azimuth_deg(turned_deg=35.0),
    )
    assert np.array_equal(facet_law_of(base, view).numbers, law.numbers)
    mean = law.reflectance(np.array([0.0, 0.3]), *slopes).mean(axis=0)
    assert film.bare == pytest.approx(mean[0], rel=0.05)
    assert film.tau(np.zeros(1)) == pytest.approx(1.0)
    assert film.tau(np.array([0.3])) == pytest.approx(mean[1] / mean[0], rel=0.03)
    assert film.reflectance(np.zeros(1), np.array([0.4])) == pytest.approx(0.4)


@pytest.mark.parametrize(
    ("kind", "ends", "words"),
    [
        ("fitted", True, "measured (fitted, with its range)"),
        ("fitted", False, "measured (fitted)"),
        ("generic", False, "assumed (generic dye)"),
        ("table", False, "table"),
        ("stated", False, "stated"),
    ],
)
def test_what_the_colour_of_a_dye_rests_on(save_scheme: Save, kind: str, ends: bool, words: str) -> None:
    dye = made(save_scheme).dyes["yellow"]
    values = dye.absorptivity_L_per_g_cm
    learnt = {"low_L_per_g_cm": values, "high_L_per_g_cm": values} if ends else {}
    rest = dye_rests_on(dye.model_copy(update={"kind": kind, **learnt}))
    assert rest.grounds == words


def test_the_first_stack_is_that_of_the_first_face(save_scheme: Save) -> None:
    """Three faces on bases of their own; the scheme's own is none of them."""
    scheme = made(save_scheme)
    faces = tuple(scheme.faces[0].model_copy(update={"name": name}) for name in ("front", "side", "back"))
    metal = {
        name: made(save_scheme, base=SILVER.replace("0.3", spread)).base
        for name, spread in (("front", "0.2"), ("back", "0.4"))
    }
    several = scheme.model_copy(update={"faces": faces, "bases_of": metal})
    films = [base_film(base) for base in (metal["front"], scheme.base, metal["back"])]
    assert first_stack(several).film == films[0]
    assert films[0] not in films[1:]
