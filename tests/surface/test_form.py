"""Edge, belly and shadow.

Against: a path through the film reckoned with the angle in air; a flat face that is changed; seams between strips; a
roof's ridge down the middle of a belly; light from the wrong side; a shadow on the side of the lamp.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from layerpreview.surface.form import Form, belly_grid, contact_shadow, shifted_grid
from layerpreview.surface.hashed_fields import F32
from layerpreview.surface.sample import PixelGrid

WIDE, HIGH = 170.0, 110.0


def _distance(grid: PixelGrid) -> F32:
    """Exact signed distance to a panel of WIDE x HIGH, positive inside."""
    x, y = grid.x_mm()[None, :], grid.y_mm()[:, None]
    dx, dy = np.abs(x - WIDE / 2) - WIDE / 2, np.abs(y - HIGH / 2) - HIGH / 2
    outside = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0))
    return (-outside - np.minimum(np.maximum(dx, dy), 0)).astype(np.float32)


def _grid(pixel_mm: float = 0.5) -> PixelGrid:
    return PixelGrid(pixel_mm, round(HIGH / pixel_mm), round(WIDE / pixel_mm))


def _form(grid: PixelGrid, *, edge_mm: float = 6.0, belly_mm: float = 8.0) -> Form:
    coarse = belly_grid(grid)
    return Form(grid, coarse=coarse, coarse_distance_mm=_distance(coarse), edge_mm=edge_mm, belly_mm=belly_mm)


def _whole(form: Form) -> tuple[F32, F32, F32]:
    made = form.rows(0, form.grid.n_rows, distance_mm=_distance(form.grid))
    return made.tilt_deg, made.shade, made.path


def test_a_flat_face_stays_as_it_is() -> None:
    tilt, shade, path = _whole(_form(_grid(), edge_mm=0, belly_mm=0))
    np.testing.assert_allclose(tilt, 0, atol=1e-3)
    np.testing.assert_allclose(shade, 1, atol=1e-5)
    np.testing.assert_allclose(path, 1, atol=1e-6)


def test_the_edge_alone_leaves_the_face_level() -> None:
    grid = _grid()
    tilt, shade, path = _whole(_form(grid, edge_mm=5, belly_mm=0))
    level = _distance(grid) > 5.5
    assert tilt[level].max() < 0.1
    assert np.abs(shade[level] - 1).max() < 1e-3
    assert path[level].max() < 1.0001
    left = tilt[grid.n_rows // 2, :12]
    assert (np.diff(left) <= 0).all()
    assert 60 < left[0] < 75.01
    assert tilt.max() <= 80


def test_the_path_bends_into_the_film() -> None:
    """At a tilt of 60 deg the way through the film (n = 1.5) is 1 / cos(35.264 deg) = 1.22474, not 1 / cos(60) = 2.

    Snell's law by hand: sin = 0.866025 / 1.5 = 0.577350, cos = 0.816497.
    """
    tilt, _, path = _whole(_form(_grid(0.1), belly_mm=0))
    near = np.abs(tilt - 60) < 0.5
    assert near.any()
    assert float(path[near].mean()) == pytest.approx(1.22474, abs=0.004)
    inside = np.arcsin(np.sin(np.radians(tilt)) / 1.5)
    np.testing.assert_allclose(path, 1 / np.cos(inside), rtol=2e-4)


def test_light_comes_from_the_upper_left() -> None:
    grid = _grid()
    _, shade, _ = _whole(_form(grid))
    row, col = grid.n_rows // 2, grid.n_cols // 2
    assert shade[row, 6] > 1.02 > 0.98 > shade[row, -7]
    assert shade[6, col] > 1.02 > 0.98 > shade[-7, col]
    assert shade.min() > 0.15
    assert shade.max() < 1.6


def test_the_belly_is_smooth_where_the_distance_has_a_ridge() -> None:
    grid = _grid()
    _, shade, _ = _whole(_form(grid, edge_mm=0, belly_mm=14))
    turn = max(float(np.abs(np.diff(shade, n=2, axis=axis)).max()) for axis in (0, 1))
    assert turn < 0.004
    tilt, _, _ = _whole(_form(grid, edge_mm=0, belly_mm=14))
    assert tilt[grid.n_rows // 2, grid.n_cols // 2] < 0.7
    assert 8 < tilt[2, grid.n_cols // 2] < 45


def test_another_size_shows_the_same_form() -> None:
    coarse, fine = (_whole(_form(_grid(p)))[1] for p in (1.0, 0.5))
    halved = fine.reshape(110, 2, 170, 2).mean(axis=(1, 3))
    assert float(np.abs(halved - coarse).mean()) < 0.01


@pytest.mark.parametrize("cuts", [(0, 1, 2, 90, 91, 220), (0, 110, 219, 220)])
def test_the_same_in_any_strips(cuts: tuple[int, ...]) -> None:
    grid = _grid()
    form, away = _form(grid), _distance(grid)
    whole = form.rows(0, grid.n_rows, distance_mm=away)
    for y0, y1 in pairwise(cuts):
        first, last = form.halo(y0, y1)
        part = form.rows(y0, y1, distance_mm=away[first:last])
        for name in ("tilt_deg", "shade", "path"):
            np.testing.assert_array_equal(getattr(part, name), getattr(whole, name)[y0:y1])


def test_a_strip_without_its_halo_is_refused() -> None:
    form = _form(_grid())
    with pytest.raises(ValueError, match="rows 10 to 20 need the distance of rows 9 to 21"):
        form.rows(10, 20, distance_mm=_distance(form.grid)[10:20])


def test_the_shadow_falls_to_the_lower_right_and_fades() -> None:
    ground = PixelGrid(1.0, 190, 250, left_mm=-40.0, top_mm=-40.0)
    shifted = shifted_grid(ground, right_mm=8.0, down_mm=11.0)
    dark = contact_shadow(_distance(shifted), _distance(ground), soft_mm=16.0)
    assert dark.min() >= 0
    assert dark.max() <= 1
    middle_x, middle_y = 40 + 85, 40 + 55
    right, left = dark[middle_y, 40 + 170 + 5], dark[middle_y, 40 - 6]
    below, above = dark[40 + 110 + 5, middle_x], dark[40 - 6, middle_x]
    assert right > left + 0.2
    assert below > above + 0.2
    assert dark[0, 0] < 0.01
    fading = dark[middle_y, 40 + 170 :]
    assert (np.diff(fading) <= 1e-6).all()
    # the edge of the cast shadow, moved 8 mm to the right, is half as dark as the shadow itself
    half = contact_shadow(np.zeros((1, 1), np.float32), np.full((1, 1), -99, np.float32), strength=0.6)
    assert float(half[0, 0]) == pytest.approx(0.3, abs=1e-6)
    assert _distance(shifted)[middle_y, 40 + 170 + 8] == pytest.approx(-0.5)
