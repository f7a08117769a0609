"""Signed distance against exact geometry: exists for distances measured in pixels instead of mm, a wrong sign, edges
that move with the picture's size, corners rounded off, and a seam taken for an edge."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.surface.distance import coverage, distance_field
from layerpreview.surface.outline import Outline, built_in_outline, built_in_ring, placed, with_openings
from layerpreview.surface.sample import PixelGrid

WIDTHS_PX = (230, 700, 1500)


def _grid(outline: Outline, width_px: int, margin_px: int = 6) -> PixelGrid:
    pixel_mm = outline.width_mm / width_px
    rows = math.ceil(outline.height_mm / pixel_mm) + 2 * margin_px
    return PixelGrid(pixel_mm, rows, width_px + 2 * margin_px, -margin_px * pixel_mm, -margin_px * pixel_mm)


def _xy(grid: PixelGrid) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    return x, y


def _box(x: np.ndarray, y: np.ndarray, wide: float, high: float) -> np.ndarray:
    """Signed distance to a rectangle about the origin, positive inside: textbook geometry."""
    qx, qy = np.abs(x) - wide / 2, np.abs(y) - high / 2
    return -(np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0))


@pytest.mark.slow
@pytest.mark.parametrize("width_px", WIDTHS_PX)
def test_disc(width_px: int) -> None:
    outline = built_in_outline("disc", diameter_mm=254.0)
    grid = _grid(outline, width_px)
    got = distance_field(outline, grid, edges="outline").rows(0, grid.n_rows)
    x, y = _xy(grid)
    radius = np.hypot(x - 127, y - 127)
    away = radius > 4 * max(1.0, grid.pixel_mm)  # the middle is its medial axis
    assert np.abs(got - (127 - radius))[away].max() < 0.1 * grid.pixel_mm + 0.002


@pytest.mark.slow
@pytest.mark.parametrize("width_px", WIDTHS_PX)
def test_panel_with_a_turned_opening(width_px: int) -> None:
    outline = built_in_outline("panel", width_mm=300.0, height_mm=210.0)
    hole = placed(built_in_ring("panel", width_mm=90.0, height_mm=60.0), centre_mm=(130.0, 100.0), turn_deg=20.0)
    outline = with_openings(outline, {"cavity": hole})
    grid = _grid(outline, width_px)
    x, y = _xy(grid)
    face = _box(x - 150, y - 105, 300, 210)
    cos, sin = math.cos(math.radians(20)), math.sin(math.radians(20))
    u, v = cos * (x - 130) + sin * (y - 100), -sin * (x - 130) + cos * (y - 100)
    opening = -_box(u, v, 90, 60)
    step = max(min(4 * grid.pixel_mm, 1.0), 2 * grid.pixel_mm)
    for edges, true, other in (("outline", face, None), ("cavity", opening, None), ("all", face, opening)):
        got = distance_field(outline, grid, edges=edges).rows(0, grid.n_rows)
        wanted = true if other is None else np.minimum(true, other)
        error = np.abs(got - wanted)
        along_edge = np.abs(wanted) < 1.5 * grid.pixel_mm
        assert error[along_edge].max() < 0.2 * grid.pixel_mm  # corners included
        away = _off_the_medial_axis(wanted, grid.pixel_mm, math.ceil(2.5 * step / grid.pixel_mm))
        assert away.mean() > 0.4
        assert error[away].max() < 0.2 * grid.pixel_mm


def _off_the_medial_axis(distance: np.ndarray, pixel_mm: float, reach: int) -> np.ndarray:
    """Where the exact field has slope one in a square of `reach` pixels around: elsewhere it has a crease."""
    from scipy.ndimage import maximum_filter

    down, across = np.gradient(distance, pixel_mm)
    crease = np.abs(np.hypot(down, across) - 1) > 0.02
    return ~maximum_filter(crease, 2 * reach + 1)


@pytest.mark.parametrize("edges", ["all", "outline", "openings"])
def test_ellipse_rows_do_not_depend_on_the_strips(edges: str) -> None:
    outline = built_in_outline("ellipse", width_mm=90.0, height_mm=140.0)
    slot = placed(built_in_ring("panel", width_mm=30.0, height_mm=9.0), centre_mm=(45.0, 50.0), turn_deg=33.0)
    outline = with_openings(outline, {"slot": slot})
    grid = _grid(outline, 300)
    field = distance_field(outline, grid, edges=edges)
    whole = field.rows(0, grid.n_rows)
    bounds = [0, 1, 2, 64, 65, 200, 333, grid.n_rows]
    parts = [field.rows(a, b) for a, b in pairwise(bounds)]
    assert np.concatenate(parts).tobytes() == whole.tobytes()
    assert whole.dtype == np.float32


def test_edges_are_measured_once_and_what_is_done_with_them_stays_apart() -> None:
    outline = built_in_outline("ellipse", width_mm=90.0, height_mm=140.0)
    slot = built_in_ring("panel", width_mm=30.0, height_mm=9.0)
    low, high = (
        with_openings(outline, {"slot": placed(slot, centre_mm=(45.0, y), turn_deg=33.0)}) for y in (50.0, 90.0)
    )
    grid = _grid(outline, 120)
    field = distance_field(low, grid, edges="outline")
    assert distance_field(high, grid, edges="outline") is field
    rows = field.rows(0, 40)
    before = rows.copy()
    rows[:] = 0.0
    np.testing.assert_array_equal(field.rows(0, 40), before)
    assert not np.array_equal(*(distance_field(one, grid).rows(0, grid.n_rows) for one in (low, high)))
    finer = _grid(outline, 240)
    assert distance_field(low, finer, edges="outline").rows(0, 1).shape == (1, finer.n_cols)


def test_a_line_of_half_build_stays_where_it_is_at_every_size() -> None:
    """Along the long axis of an ellipse the line 12 mm from the edge lies at 12 mm, at three render sizes."""
    outline = built_in_outline("ellipse", width_mm=300.0, height_mm=380.0)
    for width_px in (240, 720, 1440):
        pixel_mm = 300.0 / width_px
        grid = PixelGrid(pixel_mm, round(380 / pixel_mm), 1, left_mm=150.0 - pixel_mm / 2)
        column = distance_field(outline, grid, edges="outline").rows(0, grid.n_rows)[:, 0]
        top = grid.n_rows // 4
        assert float(np.interp(12.0, column[:top], grid.y_mm()[:top])) == pytest.approx(12.0, abs=0.05)


def test_the_seam_of_a_drum_shell_is_no_edge() -> None:
    shell = built_in_outline("drum shell", diameter_mm=100.0, depth_mm=80.0)
    vent = placed(built_in_ring("disc", diameter_mm=12.0), centre_mm=(10.0, 40.0))
    shell = with_openings(shell, {"vent": vent})
    grid = _grid(shell, 700, margin_px=0)
    y = grid.y_mm()[:, None]
    got = distance_field(shell, grid, edges="outline").rows(0, grid.n_rows)
    away = np.abs(y[:, 0] - 40) > 3
    assert np.abs(got - np.minimum(y, 80 - y))[away].max() < 0.02
    round_the_back = distance_field(shell, grid, edges="vent").rows(0, grid.n_rows)
    last = float(round_the_back[grid.n_rows // 2, -1])  # the far side of the seam is 10 mm from the vent's middle
    assert last == pytest.approx(10 + grid.pixel_mm / 2 - 6, abs=0.1)
    drawn = distance_field(shell, grid, edges="all", seam=True).rows(0, grid.n_rows)
    assert float(drawn[20, 0]) == pytest.approx(grid.pixel_mm / 2, abs=0.02)


def test_coverage_adds_up_to_the_area() -> None:
    outline = built_in_outline("disc", diameter_mm=60.0)
    outline = with_openings(outline, {"hole": placed(built_in_ring("disc", diameter_mm=20.0), centre_mm=(27.0, 33.0))})
    for width_px in (61, 240):
        grid = _grid(outline, width_px)
        share = coverage(distance_field(outline, grid).rows(0, grid.n_rows), grid.pixel_mm)
        assert share.min() == 0
        assert share.max() == 1
        assert float(share.sum()) * grid.pixel_mm**2 * 1e-6 == pytest.approx(outline.area_m2, rel=1e-3)


def test_coverage_of_a_straight_edge() -> None:
    distance = np.array([-0.3, -0.125, 0.0, 0.05, 0.3], np.float32)
    assert coverage(distance, 0.5) == pytest.approx([0.0, 0.25, 0.5, 0.6, 1.0])
    assert distance[0] == np.float32(-0.3)  # the input is left alone


@pytest.mark.parametrize("edges", ["openings", "neck pocket"])
def test_edges_that_are_not_there(edges: str) -> None:
    outline = built_in_outline("disc", diameter_mm=60.0)
    with pytest.raises(InputError, match="no such opening"):
        distance_field(outline, _grid(outline, 50), edges=edges)
