"""The pixel loop against the literal sum over all wavelengths: exists for everything that speed can break, from a sign
in a binary logarithm to scratch space that one surface leaves dirty for the next."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    LIGHT_NAMES,
    RGB_LIN_TO_XYZ,
    delta_e_2000,
    display_matrix,
    rgb_basis,
    xyz_to_lab,
)
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.finish.engine import Engine
from layerpreview.finish.layers import absorptivity_on_grid, colour_spectrum
from layerpreview.finish.look import make_look
from layerpreview.finish.stack import VEIL, DyeLayer, OpaqueLayer, Stack
from layerpreview.scheme import load_library_dye

from ..literal import transmittance

METAL = metal_film(MetalBase(flake_spread=0.3))
TINT = (0.47, 0.51, 0.56)


def _dye(name: str, absorbance_at_peak: float) -> DyeLayer:
    spectrum = absorptivity_on_grid(load_library_dye(name))
    return DyeLayer(absorbance_at_peak * spectrum / spectrum.max())


AMBER, CHERRY, BLUE = _dye("amber", 0.35), _dye("cherry", 0.8), _dye("blue", 1.1)
BLACK, CREAM = OpaqueLayer(colour_spectrum("#140d0e"), 2.6), OpaqueLayer(colour_spectrum("#e8dcc0"), 0.9)
STACKS = {
    "metal": Stack((AMBER, CHERRY), METAL, diffuse_film(), VEIL["gloss"]),
    "rim": Stack((AMBER, BLACK), METAL, diffuse_film(), VEIL["satin"]),
    "buried": Stack((BLUE, CREAM, AMBER, BLACK), METAL, diffuse_film(), VEIL["matt"]),
    "white": Stack((AMBER, BLUE), diffuse_film(), diffuse_film(), VEIL["gloss"]),
    "white rim": Stack((CREAM, CHERRY), diffuse_film(view_deg=40.0), diffuse_film(view_deg=40.0), VEIL["gloss"]),
    "bare": Stack((), METAL, diffuse_film(), VEIL["satin"]),
    "bare white": Stack((BLACK,), diffuse_film(view_deg=25.0), diffuse_film(view_deg=25.0), VEIL["satin"]),
}


def _lab(rgb_lin: np.ndarray) -> np.ndarray:
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)


def _errors(
    stack: Stack, light: str, *, most_build: float, tint: bool, observer_deg: int = 2, hard: bool = False
) -> np.ndarray:
    """CIEDE2000 of engine against literal sum at 500 random points; with `hard` coats alone and darker bases too."""
    rng = np.random.default_rng(77)
    builds = rng.uniform(0.0, most_build, (500, len(stack.layers)))
    for i in range(len(stack.layers) if hard else 0):
        builds[i::10, np.arange(len(stack.layers)) != i] = 0.0  # a tenth of the points with this coat alone
    least = 0.02 if hard else 0.05
    if tint:
        gain = rng.uniform(least, 1.3, (500, 1))
        bare, seen_bare, look_tint = gain * (np.asarray(TINT) @ rgb_basis()), gain, TINT
    else:
        rgb = rng.uniform(least, 1.0, (500, 1)) * rng.uniform(0.85, 1.0, (500, 3))
        bare, seen_bare, look_tint = rgb @ rgb_basis(), rgb, None
    look = make_look(stack, light=light, observer_deg=observer_deg, tint_rgb=look_tint)
    ours = Engine(look).pixels(seen_bare.T.astype(np.float32), builds.T.astype(np.float32)).T
    literal = stack.reflectance(bare, builds) @ display_matrix(light, observer_deg=observer_deg).T
    return delta_e_2000(_lab(ours.astype(float)), _lab(literal))


@pytest.mark.parametrize("name", STACKS)
@pytest.mark.parametrize("tint", [False, True], ids=["picture", "tint"])
def test_literal_sum(name: str, tint: bool) -> None:
    error = _errors(STACKS[name], "D65", most_build=1.3, tint=tint)
    assert error.max() < 0.3
    assert error.mean() < 0.06
    assert _errors(STACKS[name], "D65", most_build=1.3, tint=tint, hard=True).max() < 0.3


@pytest.mark.parametrize("light", LIGHT_NAMES)
def test_every_light(light: str) -> None:
    assert _errors(STACKS["metal"], light, most_build=1.0, tint=False, observer_deg=10).max() < 0.3


def test_two_bursts_on_top_of_each_other() -> None:
    """Near an opening close to the outline the build reaches 2, more than the wavelengths are chosen for."""
    assert _errors(STACKS["metal"], "D65", most_build=2.0, tint=False).max() < 0.5


def test_pixels_do_not_depend_on_their_neighbours_or_on_what_came_before() -> None:
    rng = np.random.default_rng(5)
    bare, builds = rng.random((3, 700), dtype=np.float32), rng.random((4, 700), dtype=np.float32)
    look = make_look(STACKS["buried"], light="A")
    engine = Engine(look)
    whole = engine.pixels(bare, builds)
    engine.pixels(1.0 - bare[:, :50], builds[:, :50])
    again = engine.pixels(bare, builds)
    assert np.array_equal(whole, again)
    part = Engine(look).pixels(bare[:, 100:300], builds[:, 100:300])
    assert part == pytest.approx(whole[:, 100:300], abs=2e-6)


def test_no_dye_is_the_picture() -> None:
    rng = np.random.default_rng(6)
    bare = rng.random((3, 300), dtype=np.float32)
    for name in ("metal", "white"):
        shown = Engine(make_look(STACKS[name], light="D65")).pixels(bare, np.zeros((2, 300), dtype=np.float32))
        assert shown == pytest.approx(bare, abs=2e-5)


def test_more_dye_is_never_brighter() -> None:
    bare = np.full((3, 200), 0.6, dtype=np.float32)
    build = np.linspace(0.0, 1.3, 200, dtype=np.float32)
    for name in ("metal", "white"):
        shown = Engine(make_look(STACKS[name], light="D65")).pixels(bare, np.stack([build, build])).astype(float)
        luminance = shown.T @ RGB_LIN_TO_XYZ[1]
        assert np.diff(luminance).max() < 2e-5


def test_full_hiding_leaves_the_opaque_colour() -> None:
    """Sprayed far beyond need, an opaque coat shows its own sRGB colour, whatever is below."""
    stack = Stack((CHERRY, CREAM), METAL, diffuse_film(), VEIL["gloss"])
    bare = np.array([[0.1, 0.9], [0.5, 0.2], [0.3, 0.3]], dtype=np.float32)
    shown = Engine(make_look(stack, light="D65")).pixels(bare, np.full((2, 2), 9.0, dtype=np.float32))
    cream = display_matrix("D65") @ colour_spectrum("#e8dcc0")
    assert pytest.approx(np.stack([cream, cream]), abs=2e-3) == shown.T


@pytest.mark.parametrize("tint", [False, True], ids=["picture", "tint"])
def test_each_pixel_has_its_own_facet(tint: bool) -> None:
    """Under a rim that hides every third pixel alone: each with the path of its own facet, against the literal sum."""
    rng = np.random.default_rng(8)
    stack, tau = STACKS["rim"], METAL.tau
    builds = rng.uniform(0.2, 1.2, (2, 30))
    builds[1] *= np.arange(30) % 3 == 0
    builds[1, 3] = 40.0  # nothing of the facet shows there
    path = np.array(tau.numerator)[:, None] * rng.uniform(0.6, 1.5, (1, 30))
    bare = rng.uniform(0.2, 0.9, (1 if tint else 3, 30))
    spectra = bare.T * (np.asarray(TINT) @ rgb_basis()) if tint else bare.T @ rgb_basis()
    look = make_look(stack, light="D65", tint_rgb=TINT if tint else None)
    shown = Engine(look).pixels(*(part.astype(np.float32) for part in (bare, builds, path)))
    for i, own in enumerate(path.T):
        film = replace(METAL, tau=replace(tau, numerator=tuple(own)))
        exact = replace(stack, film=film).reflectance(spectra[i : i + 1], builds[:, i][None, :])[0]
        assert shown[:, i] == pytest.approx(display_matrix("D65") @ exact, abs=2e-3)


def test_what_is_left_out_behind_a_rim_is_less_than_a_step_of_a_screen() -> None:
    """The first of 255 steps of sRGB is 1/(255 12.92) of white (IEC 61966-2-1): left out is less, and no more drawn."""
    step, white = 1.0 / (255.0 * 12.92), np.ones((3, 2), dtype=np.float32)
    black = OpaqueLayer(np.zeros(81), 1.0)
    look = make_look(Stack((black,), METAL, diffuse_film()), light="D65")
    builds = np.log10([[1.0 / (0.99 * step), 1.0 / (0.75 * step)]]).astype(np.float32)
    just_seen, left_out = Engine(look).pixels(white, builds).T
    assert just_seen == pytest.approx(np.full(3, 0.99 * step), rel=0.01)
    assert left_out.tolist() == [0.0, 0.0, 0.0]


def test_look_says_where_and_how_well() -> None:
    look = make_look(STACKS["metal"], light="FL11")
    assert look.light == "FL11"
    assert look.nodes.within_limits
    assert look.wavelength_nm.size == look.to_display.shape[1] == look.basis.shape[0]
    assert look.seen[0].density2.shape == (look.wavelength_nm.size, 2)
    # Binary logarithms: 2^-density2 is the transmittance of one build.
    expected = transmittance(AMBER.absorbance10[look.nodes.index])
    assert np.exp2(-look.seen[0].density2[:, 0]) == pytest.approx(expected, abs=1e-6)
