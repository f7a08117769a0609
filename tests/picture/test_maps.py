"""Builds over a face: exists for bursts of one coat that overwrite each other, a centre counted twice, and a mean build
that depends on the picture's size."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview import load_scheme
from layerpreview.picture.faces import shape_of
from layerpreview.picture.maps import BuildMaps, pixel_grid
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme

from ..schemes import HOLE, HONEY, PANEL, WHITE, bare_scheme

TWO_BURSTS = """\
[[coat]]
mix = "sea"
  [[coat.burst]]
  from = "outline"
  width = "30 mm"
  fall_off = "linear"
  centre = 0.2
  [[coat.burst]]
  from = "hole"
  width = "20 mm"
  fall_off = "linear"
  centre = 0.1
"""


@pytest.fixture
def scheme(save_scheme: Callable[..., Path]) -> Scheme:
    """Honey everywhere, and a coat of two bursts."""
    return load_scheme(save_scheme(bare_scheme(WHITE, face=PANEL + HOLE, coats=HONEY + TWO_BURSTS)))


def test_builds_by_hand(scheme: Scheme) -> None:
    """A hole of 8 mm radius at (20, 24): the middle of the pixel at (32.5, 30.5) is 17.5 mm from the nearest side
    (bottom) and 6.09 mm from the hole."""
    shape = shape_of(scheme.faces[0])
    grid = pixel_grid(shape.outline, 1.0)
    builds, cover = BuildMaps(scheme, shape, grid).rows(0, grid.n_rows)
    builds = builds.reshape(2, 48, 64)
    assert np.all(builds[0] == 1.0)
    from_hole = math.hypot(32.5 - 20.0, 30.5 - 24.0) - 8.0
    expected = 0.2 + 0.8 * ((1.0 - 17.5 / 30.0) + (1.0 - from_hole / 20.0))
    assert builds[1, 30, 32] == pytest.approx(expected, abs=2e-3)
    # Beyond both widths the larger centre is left; at the edge of the outline alone the build is 1.
    assert builds[1, 0, 60] == pytest.approx(0.2 + 0.8 * (1.0 - 0.5 / 30.0), abs=5e-3)
    assert cover.reshape(48, 64)[24, 20] == 0.0


def test_any_strip_is_the_same(scheme: Scheme) -> None:
    shape = shape_of(scheme.faces[0])
    grid = pixel_grid(shape.outline, 0.7)
    maps = BuildMaps(scheme, shape, grid)
    whole = maps.rows(0, grid.n_rows)
    parts = [maps.rows(a, b) for a, b in ((0, 1), (1, 30), (30, grid.n_rows))]
    assert np.array_equal(np.concatenate([p[0] for p in parts], axis=1), whole[0])
    assert np.array_equal(np.concatenate([p[1] for p in parts]), whole[1])


def test_mean_build_of_a_linear_burst(save_scheme: Callable[..., Path]) -> None:
    """Linear from the outline of a 64 x 48 panel, 24 mm wide, to nothing: integral of (1 - d/24) over the frame,
    sum over d of perimeter(d) = 2 (64 + 48) - 8 d: 24 x 224 / 2 - 8 x 24^2 / 6 = 1920 mm2 of 3072."""
    burst = '[[coat]]\nmix = "sea"\nburst = { from = "outline", width = "24 mm", fall_off = "linear" }\n'
    scheme = load_scheme(save_scheme(bare_scheme(WHITE, coats=HONEY + burst)))
    even, falling = Survey(scheme, shape_of(scheme.faces[0])).sprayed_m2
    assert even == pytest.approx(3072e-6)
    assert falling == pytest.approx(1920e-6, rel=2e-3)


def test_grid_covers_the_face(scheme: Scheme) -> None:
    grid = pixel_grid(shape_of(scheme.faces[0]).outline, 0.7)
    assert (grid.n_cols, grid.n_rows) == (92, 69)  # 64 / .7 = 91.4, 48 / .7 = 68.6
    assert pixel_grid(shape_of(scheme.faces[0]).outline, 1.0).n_cols == 64


def test_area_leaves_the_hole_out(scheme: Scheme) -> None:
    assert shape_of(scheme.faces[0]).outline.area_m2 * 1e6 == pytest.approx(64 * 48 - math.pi * 64, rel=1e-4)
