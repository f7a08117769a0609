"""The arch of a plate: exists for slopes that show the grid they were worked out on, and a ridge along the middle."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.surface.belly import belly_grid, blown_up
from layerpreview.surface.sample import PixelGrid


def _disc(radius_mm: float, step_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Signed distance to a circle, and the distance from its middle."""
    count = int(2.4 * radius_mm / step_mm)
    axis = (np.arange(count) - 0.5 * count + 0.27) * step_mm
    away = np.hypot(*np.meshgrid(axis, axis))
    return (radius_mm - away).astype(np.float32), away


def test_over_a_circle_it_is_the_bowl_that_theory_says() -> None:
    """A blown-up film over a circle is 1 - (r / R)^2 high (Poisson's equation), out to the edge and a little beyond."""
    distance, away = _disc(50.0, 2.0)
    height = blown_up(distance)
    near = away < 52.0
    np.testing.assert_allclose(height[near], 1.0 - (away[near] / 50.0) ** 2, atol=4e-3)


def test_its_slope_at_the_edge_knows_no_grid() -> None:
    """All round a circle the fall at the edge is 2 / R, within a few per cent, however the grid's cells are cut."""
    distance, away = _disc(50.0, 2.0)
    fall = np.hypot(*np.gradient(blown_up(distance).astype(np.float64), 2.0))
    rim = np.abs(away - 48.0) < 1.0
    np.testing.assert_allclose(fall[rim], 2.0 * away[rim] / 50.0**2, rtol=0.05)


def test_nothing_inside_is_flat() -> None:
    assert not blown_up(np.full((5, 6), -3.0, dtype=np.float32)).any()


def test_the_grid_reaches_beyond_the_face() -> None:
    grid = belly_grid(PixelGrid(0.5, 220, 340, -10.0, 4.0))
    assert grid.left_mm == pytest.approx(-10.0 - 2.0 * grid.pixel_mm)
    assert grid.left_mm + grid.n_cols * grid.pixel_mm > 160.0 + grid.pixel_mm
    assert grid.top_mm + grid.n_rows * grid.pixel_mm > 114.0 + grid.pixel_mm
