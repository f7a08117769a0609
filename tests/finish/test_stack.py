"""Layers in their order: exists for dye that shines through an opaque coat sprayed over it, an opaque coat that hides
the dye above it, and hiding that is forgotten where two opaque coats overlap."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.finish.stack import VEIL, DyeLayer, OpaqueLayer, Stack

W = 81
METAL = metal_film(MetalBase(flake_spread=0.3))
DIFFUSE = diffuse_film()
YELLOW = DyeLayer(np.linspace(0.9, 0.02, W))
BLUE = DyeLayer(np.linspace(0.05, 0.7, W))
BROWN = OpaqueLayer(np.linspace(0.05, 0.3, W), hiding=0.8)
GREEN = OpaqueLayer(np.full(W, 0.4), hiding=0.5)
BARE = np.linspace(0.6, 0.7, W)[None, :]


def _stack(*layers: DyeLayer | OpaqueLayer) -> Stack:
    return Stack(layers, METAL, diffuse_film(), VEIL["gloss"])


def _dye(*pairs: tuple[DyeLayer, float]) -> np.ndarray:
    return np.sum([layer.absorbance10 * build for layer, build in pairs], axis=0)


def test_what_can_be_seen() -> None:
    surfaces = _stack(YELLOW, BROWN, BLUE, GREEN, YELLOW).surfaces()
    assert [(s.opaque, s.dyes) for s in surfaces] == [(3, (4,)), (1, (2, 4)), (None, (0, 2, 4))]


def test_dye_under_an_opaque_coat_by_hand() -> None:
    build = np.array([[0.7, 0.6, 1.2]])
    hidden = 1.0 - 10.0 ** (-0.8 * 0.6)
    below = METAL.reflectance(_dye((YELLOW, 0.7), (BLUE, 1.2)), BARE[0])
    above = DIFFUSE.reflectance(_dye((BLUE, 1.2)), BROWN.reflectance)
    seen = _stack(YELLOW, BROWN, BLUE).reflectance(BARE, build)[0]
    assert seen == pytest.approx(hidden * above + (1.0 - hidden) * below, abs=1e-12)


def test_order_matters() -> None:
    """The same three layers in another order are another finish."""
    dye_last = _stack(BROWN, YELLOW).reflectance(BARE, np.array([[0.6, 0.7]]))
    dye_first = _stack(YELLOW, BROWN).reflectance(BARE, np.array([[0.7, 0.6]]))
    assert np.abs(dye_last - dye_first).max() > 0.05


def test_two_opaque_coats_by_hand() -> None:
    build = np.array([[1.1, 0.4]])
    through_green, through_brown = 10.0 ** (-0.5 * 0.4), 10.0 ** (-0.8 * 1.1)
    none = np.zeros(W)
    expected = (
        (1 - through_green) * DIFFUSE.reflectance(none, GREEN.reflectance)
        + through_green * (1 - through_brown) * DIFFUSE.reflectance(none, BROWN.reflectance)
        + through_green * through_brown * METAL.reflectance(none, BARE[0])
    )
    assert _stack(BROWN, GREEN).reflectance(BARE, build)[0] == pytest.approx(expected, abs=1e-12)


@settings(max_examples=30)
@given(builds=st.tuples(st.floats(0.0, 1.5), st.floats(0.0, 1.5), st.floats(0.0, 1.5)))
def test_dyes_commute_and_stay_within_the_base(builds: tuple[float, float, float]) -> None:
    a, b, c = builds
    one = _stack(YELLOW, BLUE, YELLOW).reflectance(BARE, np.array([[a, b, c]]))
    other = _stack(BLUE, YELLOW, YELLOW).reflectance(BARE, np.array([[b, c, a]]))
    assert one == pytest.approx(other, abs=1e-12)
    assert np.all(one <= BARE + 1e-12)


def test_no_build_is_no_coat() -> None:
    assert _stack(YELLOW, BROWN, BLUE).reflectance(BARE, np.zeros((1, 3))) == pytest.approx(BARE, abs=1e-12)
    assert _stack().reflectance(BARE, np.zeros((1, 0))) == pytest.approx(BARE, abs=1e-12)


@pytest.mark.parametrize("clear", VEIL)
def test_clear_lifts_black_and_leaves_white(clear: str) -> None:
    stack = Stack((), METAL, diffuse_film(), VEIL[clear])
    black_and_white = np.stack([np.zeros(W), np.ones(W)])
    shown = stack.reflectance(black_and_white, np.zeros((2, 0)))
    assert shown[0] == pytest.approx(VEIL[clear])
    assert shown[1] == pytest.approx(1.0)


def test_clears_rise_from_gloss_to_matt() -> None:
    """Published offset laminates: a matt film lifts black from L* 16 to 22, gloss adds none; L* 16 is Y = 0.0203 and 22
    is Y = 0.0356 (CIE 15), so the veil of matt is about 0.016 of white. Ours is assumed: within a factor of two."""
    assert VEIL["gloss"] == 0.0 < VEIL["satin"] < VEIL["matt"]
    published = ((22 + 16) / 116) ** 3 - ((16 + 16) / 116) ** 3
    assert 0.5 < VEIL["matt"] / published < 2.0


def test_the_veils_are_as_assumed() -> None:
    """Of a satin clear 0.8 %, of a matt one 2 % of white: assumed, see `VEIL`; a black of no reflectance shows it."""
    for clear, veil in (("gloss", 0.0), ("satin", 0.008), ("matt", 0.020)):
        stack = Stack((), diffuse_film(), diffuse_film(), VEIL[clear])
        assert stack.reflectance(np.zeros((1, 81)), np.zeros((1, 0)))[0] == pytest.approx(np.full(81, veil))
