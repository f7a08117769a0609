"""Flat patches: exist for dyes and loads in the wrong columns, and for slopes by the wrong variable."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import display_matrix, rgb_basis
from layerpreview.film import Film, MetalBase, diffuse_film, metal_film
from layerpreview.finish.patches import BLOCK, Patches, grounds_of, per_mg_m2
from layerpreview.finish.stack import DyeLayer, OpaqueLayer, Stack
from layerpreview.scheme import load_library_dye

from ..literal import lab_of_spectrum

DYES = [load_library_dye(name) for name in ("amber", "violet", "black")]
BARE = np.array([0.61, 0.52, 0.43]) @ rgb_basis()
LIGHTS = ("A", "D50")
METAL = metal_film(MetalBase(flake_spread=0.3))
LOADS = np.array([[0.0, 0.0, 0.0], [310.0, 12.0, 0.0], [95.0, 410.0, 7.0], [1200.0, 900.0, 2500.0]])
"""mg/m2, the last one nearly black: below (6/29)^3, where CIE's cube root is a straight line."""


def patches(film: Film = METAL, *, observer_deg: int = 2, veil: float = 0.0) -> Patches:
    return Patches(film, BARE, per_mg_m2(DYES), LIGHTS, observer_deg, veil)


def test_absorbance_of_a_milligram_on_a_square_metre() -> None:
    """1 mg/m2 is 1e-7 g/cm2; a decadic absorptivity in L/(g cm) is 1000 cm2/g: 1e-4 of it (Beer-Lambert)."""
    dye = DYES[0]
    per_mg = per_mg_m2([dye])[0]
    at = list(np.arange(380.0, 781.0, 5.0))
    for nm, absorptivity in zip(dye.wavelength_nm, dye.absorptivity_L_per_g_cm, strict=True):
        if nm in at:
            assert per_mg[at.index(nm)] == pytest.approx(1e-4 * absorptivity, rel=1e-9)
    assert per_mg_m2([]).shape == (0, 81)


@pytest.mark.parametrize("film", [METAL, diffuse_film()], ids=["metal", "white"])
@pytest.mark.parametrize(("observer_deg", "veil"), [(2, 0.0), (10, 0.02)])
def test_lab_is_the_literal_sum(film: Film, observer_deg: int, veil: float) -> None:
    """White laid over everything: (1 - veil) R + veil."""
    found = patches(film, observer_deg=observer_deg, veil=veil)
    lab, rgb = found.lab(LOADS), found.rgb_lin(LOADS)
    assert lab.shape == (4, 2, 3)
    for i, load in enumerate(LOADS):
        seen = (1.0 - veil) * film.reflectance(load @ per_mg_m2(DYES), BARE) + veil
        for j, light in enumerate(LIGHTS):
            assert lab[i, j] == pytest.approx(lab_of_spectrum(seen, light=light, observer_deg=observer_deg), abs=2e-3)
        assert rgb[i] == pytest.approx(display_matrix("A", observer_deg=observer_deg) @ seen, abs=1e-12)


@pytest.mark.parametrize("film", [METAL, diffuse_film()], ids=["metal", "white"])
@pytest.mark.parametrize("veil", [0.0, 0.02])
def test_slopes_are_those_of_the_colours(film: Film, veil: float) -> None:
    """By differences, dye by dye, in the order asked for; the last load is the straight part of the cube root."""
    found = patches(film, veil=veil)
    used = np.array([[2, 0], [0, 1], [1, 2], [2, 1]])
    lab, slope = found.lab_and_slope(LOADS, used)
    assert lab == pytest.approx(found.lab(LOADS), abs=1e-6)
    assert slope.shape == (4, 2, 3, 2)
    if not veil:
        darkest = film.reflectance(LOADS[3] @ per_mg_m2(DYES), BARE)
        assert display_matrix("A")[1] @ darkest < (6 / 29) ** 3
    for place in range(2):
        step = np.zeros_like(LOADS)
        step[np.arange(4), used[:, place]] = 0.02
        # Bare, a load below nothing is no load: one-sided there, twice as far.
        numeric = (found.lab(LOADS + step) - found.lab(np.maximum(LOADS - step, 0.0))) / 0.04
        numeric[0] *= 2.0
        assert slope[..., place] == pytest.approx(numeric, rel=0.02, abs=5e-5)


@pytest.mark.parametrize("count", [1, BLOCK, BLOCK + 1])
def test_many_are_as_one(count: int) -> None:
    rng = np.random.default_rng(3)
    loads = rng.uniform(0.0, 500.0, (count, 3))
    lab = patches().lab(loads)
    assert lab.shape == (count, 2, 3)
    for i in (0, count // 2, count - 1):
        assert lab[i] == pytest.approx(patches().lab(loads[i : i + 1])[0], abs=1e-9)


def test_no_dye_is_the_base() -> None:
    """The base's colour was turned into a spectrum for the 2 degree observer and is seen by the 10 degree one."""
    found = patches(diffuse_film(), observer_deg=10)
    assert found.reflectance(np.zeros((1, 3)))[0] == pytest.approx(BARE, abs=1e-12)
    d65 = Patches(found.film, BARE, found.absorbance10_per_mg_m2, ("D65",), 10)
    assert d65.rgb_lin(np.zeros((1, 3)))[0] == pytest.approx([0.61, 0.52, 0.43], abs=0.01)


def test_where_nothing_else_is_said_d65_and_the_2_degree_observer() -> None:
    plain = Patches(METAL, BARE, per_mg_m2(DYES))
    assert plain.lab(LOADS) == pytest.approx(Patches(METAL, BARE, per_mg_m2(DYES), ("D65",), 2, 0.0).lab(LOADS))


def test_none_is_none() -> None:
    assert patches().lab(np.zeros((0, 3))).shape == (0, 2, 3)


UNDER, OVER = DyeLayer(np.linspace(0.6, 0.1, 81)), DyeLayer(np.linspace(0.02, 0.4, 81))
BROWN, GREEN = OpaqueLayer(np.linspace(0.05, 0.3, 81), 0.4), OpaqueLayer(np.full(81, 0.4), 0.25)


@pytest.mark.parametrize("veil", [0.0, 0.02])
def test_dye_over_coats_that_are_on_already_is_one_layer_more(veil: float) -> None:
    """Dyes over a base that shows through two opaque coats with dyes between, against the literal sum of all layers."""
    stack = Stack((UNDER, BROWN, OVER, GREEN), METAL, diffuse_film(), veil)
    grounds = grounds_of(stack, BARE)
    green, brown = 1.0 - 10.0**-0.25, 10.0**-0.25 * (1.0 - 10.0**-0.4)
    assert [ground.share for ground in grounds] == pytest.approx([green, brown, 10.0**-0.65])
    found = Patches(METAL, BARE, per_mg_m2(DYES), LIGHTS, veil=veil, grounds=grounds).reflectance(LOADS)
    for load, seen in zip(LOADS, found, strict=True):
        more = Stack((*stack.layers, DyeLayer(load @ per_mg_m2(DYES))), METAL, diffuse_film(), veil)
        assert seen == pytest.approx(more.reflectance(BARE[None, :], np.ones((1, 5)))[0], abs=1e-12)


def test_what_nobody_can_see_through_a_coat_is_left_out() -> None:
    """A hundred-thousandth of white is 0.009 L* on black (CIE 15: 903.3 Y), a hundredth of what an eye can tell."""
    for hiding, count in ((4.95, 2), (5.05, 1)):
        stack = Stack((OpaqueLayer(np.full(81, 0.1), hiding),), METAL, diffuse_film())
        assert len(grounds_of(stack, BARE)) == count
