"""Zones against exact geometry: exists for a side taken for the other one, angles turned the wrong way, tape counted
along the part's own edge, a band measured in pixels, and a zone that ends at the seam of a drum."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.errors import InputError, PictureError
from layerpreview.surface.distance import distance_field_of_line, distance_field_of_point
from layerpreview.surface.outline import Outline, built_in_outline, built_in_ring, placed, with_openings
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.zones import (
    Region,
    painted_area_m2,
    region_of_band,
    region_of_ring,
    region_of_side,
    ridge_height,
    zone_field,
    zone_share,
)

PANEL = built_in_outline("panel", width_mm=300.0, height_mm=210.0)
SHELL = built_in_outline("drum shell", diameter_mm=100.0, depth_mm=80.0)
ROUND = math.pi * 100.0  # the shell's way round, mm


def box(left: float, top: float, right: float, bottom: float) -> np.ndarray:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def grid_of(outline: Outline, width_px: int) -> PixelGrid:
    pixel_mm = outline.width_mm / width_px
    return PixelGrid(pixel_mm, math.ceil(outline.height_mm / pixel_mm), width_px)


def mm2(region: Region) -> float:
    return region.area_m2 * 1e6


@pytest.mark.parametrize(
    ("at_mm", "angle_deg", "area_mm2", "tape_mm"),
    [
        ((100.0, 0.0), 0.0, 200 * 210, 210.0),  # heading up: what lies to the right
        ((100.0, 0.0), 180.0, 100 * 210, 210.0),
        ((0.0, 60.0), 90.0, 300 * 150, 300.0),  # heading right: what lies below
        ((0.0, 60.0), -90.0, 300 * 60, 300.0),
        ((90.0, 0.0), 135.0, 210 * 90 + 210**2 / 2, 210 * math.sqrt(2)),  # heading down right: what lies left below
        ((90.0, 0.0), 315.0, 300 * 210 - 210 * 90 - 210**2 / 2, 210 * math.sqrt(2)),
    ],
)
def test_sides_of_a_panel(at_mm: tuple[float, float], angle_deg: float, area_mm2: float, tape_mm: float) -> None:
    side = region_of_side(PANEL, at_mm=at_mm, angle_deg=angle_deg)
    assert mm2(side) == pytest.approx(area_mm2, rel=1e-9)
    assert side.tape_length_mm == pytest.approx(tape_mm, abs=0.001)


@settings(max_examples=40, deadline=None)
@given(
    x=st.floats(60.0, 240.0),
    y=st.floats(60.0, 320.0),
    angle_deg=st.floats(-360.0, 180.0),
    shape=st.sampled_from(["ellipse", "drum shell"]),
)
def test_a_side_and_its_other_side_sum_to_the_face(x: float, y: float, angle_deg: float, shape: str) -> None:
    if shape == "ellipse":
        face = built_in_outline("ellipse", width_mm=300.0, height_mm=380.0)
        hole = placed(built_in_ring("disc", diameter_mm=80.0), centre_mm=(140.0, 150.0))
        face = with_openings(face, {"sound hole": hole})
    else:
        face, y = SHELL, 10.0 + 0.15 * y
    one = region_of_side(face, at_mm=(x, y), angle_deg=angle_deg)
    other = region_of_side(face, at_mm=(x, y), angle_deg=angle_deg + 180.0)
    assert one.area_m2 + other.area_m2 == pytest.approx(face.area_m2, rel=1e-9)
    assert one.tape_length_mm == pytest.approx(other.tape_length_mm, abs=0.01)
    assert painted_area_m2(face, [one, other]) == pytest.approx(face.area_m2, rel=1e-9)
    assert painted_area_m2(face, [one, one], masked=[other]) == pytest.approx(one.area_m2, rel=1e-9)
    assert painted_area_m2(face, masked=[one]) == pytest.approx(other.area_m2, rel=1e-6)


def test_a_ring_is_clipped_to_its_face_and_an_opening_is_no_area() -> None:
    face = with_openings(PANEL, {"cavity": box(100.0, 50.0, 160.0, 90.0)})
    inside = region_of_ring(face, box(20.0, 120.0, 70.0, 190.0))
    assert mm2(inside) == pytest.approx(50 * 70)
    assert inside.tape_length_mm == pytest.approx(240.0)
    across = region_of_ring(face, box(140.0, -30.0, 200.0, 70.0))  # over the top edge and half of the cavity
    assert mm2(across) == pytest.approx(60 * 70 - 20 * 20)
    assert across.tape_length_mm == pytest.approx(50.0 + 70.0 + 40.0, abs=0.001)  # left side is cut off by the cavity
    same = region_of_ring(face, box(0.0, 0.0, 300.0, 210.0))
    assert mm2(same) == pytest.approx(300 * 210 - 60 * 40)
    assert same.tape_length_mm == 0.0


def test_bands_have_their_width_everywhere() -> None:
    rim = region_of_band(PANEL, width_mm=12.0)
    assert mm2(rim) == pytest.approx(300 * 210 - 276 * 186)
    assert rim.tape_length_mm == pytest.approx(2 * (276 + 186))
    disc = built_in_outline("disc", diameter_mm=254.0)
    disc = with_openings(disc, {"hole": placed(built_in_ring("disc", diameter_mm=60.0), centre_mm=(127.0, 127.0))})
    outer = region_of_band(disc, edges="outline", width_mm=20.0)
    inner = region_of_band(disc, edges="hole", width_mm=7.5)
    assert mm2(outer) == pytest.approx(math.pi * (127**2 - 107**2), rel=1e-4)
    assert mm2(inner) == pytest.approx(math.pi * (37.5**2 - 30**2), rel=1e-3)
    assert outer.tape_length_mm == pytest.approx(2 * math.pi * 107, rel=1e-4)
    assert inner.tape_length_mm == pytest.approx(2 * math.pi * 37.5, rel=1e-4)
    assert mm2(region_of_band(disc, edges="openings", width_mm=7.5)) == mm2(inner)


def test_a_band_rounds_the_corners_of_an_opening() -> None:
    """Within 10 mm of a rectangle: its sides times 10, and a full circle for the four corners (Steiner's formula)."""
    face = with_openings(PANEL, {"cavity": box(100.0, 50.0, 160.0, 90.0)})
    assert mm2(region_of_band(face, edges="cavity", width_mm=10.0)) == pytest.approx(2000 + math.pi * 100, rel=1e-4)


def test_round_a_drum_shell() -> None:
    shell = with_openings(SHELL, {"vent": placed(built_in_ring("disc", diameter_mm=12.0), centre_mm=(10.0, 40.0))})
    patch = region_of_ring(shell, box(-20.0, 10.0, 15.0, 30.0))  # over the seam: it comes back on the far side
    assert mm2(patch) == pytest.approx(35 * 20)
    assert patch.tape_length_mm == pytest.approx(2 * 35 + 2 * 20)
    level = region_of_side(shell, at_mm=(0.0, 50.0), angle_deg=90.0)
    assert mm2(level) == pytest.approx(ROUND * 30, rel=1e-9)
    assert level.tape_length_mm == pytest.approx(ROUND, rel=1e-6)
    half = region_of_side(shell, at_mm=(100.0, 0.0), angle_deg=0.0)  # from there round to the seam: two lines of tape
    assert half.tape_length_mm == pytest.approx(160.0, abs=0.001)
    rims = region_of_band(shell, width_mm=9.0)
    assert mm2(rims) == pytest.approx(2 * 9 * ROUND, rel=1e-9)
    assert rims.tape_length_mm == pytest.approx(2 * ROUND, rel=1e-6)
    vent = region_of_band(shell, edges="vent", width_mm=8.0)  # reaches 4 mm over the seam
    assert mm2(vent) == pytest.approx(math.pi * (14**2 - 6**2), rel=1e-3)


def test_distance_across_the_seam() -> None:
    grid = grid_of(SHELL, 700)
    patch = zone_field(region_of_ring(SHELL, box(-20.0, 10.0, 15.0, 30.0)), grid).rows(0, grid.n_rows)
    row = round(20.0 / grid.pixel_mm)
    assert float(patch[row, -1]) == pytest.approx(10.0, abs=grid.pixel_mm)  # nearest are top and bottom
    assert float(patch[row, round(40.0 / grid.pixel_mm)]) == pytest.approx(-25.0, abs=grid.pixel_mm)
    assert float(patch[row, -round(50.0 / grid.pixel_mm)]) == pytest.approx(-30.0, abs=grid.pixel_mm)


def test_a_long_thin_tube_has_no_edge_at_the_ends_of_the_repetition() -> None:
    tube = built_in_outline("tube", diameter_mm=20.0, length_mm=700.0)
    grid = grid_of(tube, 90)
    got = zone_field(region_of_side(tube, at_mm=(0.0, 10.0), angle_deg=90.0), grid).rows(0, grid.n_rows)
    assert np.abs(got - (grid.y_mm()[:, None] - 10.0)).max() < 0.2 * grid.pixel_mm


@pytest.mark.parametrize("width_px", [230, 700, 1500])
def test_distance_to_a_slanted_side(width_px: int) -> None:
    grid = grid_of(PANEL, width_px)
    got = zone_field(region_of_side(PANEL, at_mm=(80.0, 110.0), angle_deg=30.0), grid).rows(0, grid.n_rows)
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    true = (x - 80) * math.cos(math.radians(30)) + (y - 110) * math.sin(math.radians(30))
    assert np.abs(got - true).max() < 0.2 * grid.pixel_mm


@pytest.mark.slow
@pytest.mark.parametrize("width_px", [230, 700, 1500])
def test_distance_to_a_disc_and_to_a_band(width_px: int) -> None:
    grid = grid_of(PANEL, width_px)
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    disc = placed(built_in_ring("disc", diameter_mm=90.0), centre_mm=(120.0, 100.0))
    radius = np.hypot(x - 120, y - 100)
    away = radius > 5
    got = zone_field(region_of_ring(PANEL, disc), grid).rows(0, grid.n_rows)
    assert np.abs(got - (45 - radius))[away].max() < 0.2 * grid.pixel_mm
    face = with_openings(PANEL, {"hole": disc})
    band = zone_field(region_of_band(face, edges="hole", width_mm=11.0), grid).rows(0, grid.n_rows)
    assert np.abs(band - (56 - radius))[away].max() < 0.2 * grid.pixel_mm
    rim = zone_field(region_of_band(face, width_mm=25.0), grid).rows(0, grid.n_rows)
    qx, qy = np.abs(x - 150) - 125, np.abs(y - 105) - 80  # what the band leaves, 250 x 160: textbook geometry
    left = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0)) + np.minimum(np.maximum(qx, qy), 0)
    near = left > -grid.pixel_mm  # further in are the creases of its corners
    assert np.abs(rim - left)[near].max() < 0.2 * grid.pixel_mm


def test_rows_do_not_depend_on_the_strips() -> None:
    grid = grid_of(PANEL, 300)
    region = region_of_ring(PANEL, np.array([[20.0, 30.0], [240.0, 10.0], [150.0, 240.0]]))
    for field in (
        zone_field(region, grid),
        distance_field_of_line(SHELL, grid, at_mm=(40.0, 20.0), angle_deg=70.0),
        distance_field_of_point(PANEL, grid, at_mm=(40.0, 20.0)),
    ):
        whole = field.rows(0, grid.n_rows)
        assert whole.dtype == np.float32
        assert np.concatenate([field.rows(a, b) for a, b in ((0, 1), (1, 64), (64, grid.n_rows))]).tobytes() == (
            whole.tobytes()
        )


def test_share_of_a_hard_edge_adds_up_to_the_area_at_every_size() -> None:
    region = region_of_ring(
        PANEL, placed(built_in_ring("ellipse", width_mm=140.0, height_mm=90.0), centre_mm=(150, 99))
    )
    for width_px in (120, 700):
        grid = grid_of(PANEL, width_px)
        share = zone_share(zone_field(region, grid).rows(0, grid.n_rows), pixel_mm=grid.pixel_mm)
        assert float(share.sum()) * grid.pixel_mm**2 == pytest.approx(mm2(region), rel=1e-3)


def test_a_soft_edge_has_its_width_in_millimetres_whatever_the_pixel() -> None:
    d = np.array([-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0], np.float32)
    for pixel_mm in (0.1, 1.0):
        share = zone_share(d, pixel_mm=pixel_mm, edge_mm=4.0)
        assert share == pytest.approx([0, 0, 0.15625, 0.5, 0.84375, 1, 1])  # t^2 (3 - 2 t) at t = 0, 1/4 ... 1
    assert zone_share(d, pixel_mm=1.0, edge_mm=0.5) == pytest.approx(zone_share(d, pixel_mm=1.0))
    both = zone_share(d, pixel_mm=0.5, edge_mm=2.5) + zone_share(-d, pixel_mm=0.5, edge_mm=2.5)
    assert both == pytest.approx(np.ones(7), abs=1e-6)


def test_the_ridge_stands_on_the_painted_side() -> None:
    d = np.array([-0.1, 0.0, 0.075, 0.15, 0.3, 0.4], np.float32)
    assert ridge_height(d, ridge_mm=0.3) == pytest.approx([0, 0, 0.5, 1, 0, 0], abs=1e-6)
    for pixel_mm in (0.05, 0.25, 2.0):  # the paint in it is the same at every size: half of its box
        line = np.arange(-4.0, 4.0, pixel_mm, dtype=np.float32) + np.float32(0.03)
        area = float(ridge_height(line, ridge_mm=0.3, pixel_mm=pixel_mm).sum()) * pixel_mm
        assert area == pytest.approx(0.15, rel=1e-4)


@pytest.mark.slow
def test_distance_to_a_line_and_a_point() -> None:
    grid = grid_of(PANEL, 250)
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    line = distance_field_of_line(PANEL, grid, at_mm=(80.0, 110.0), angle_deg=30.0).rows(0, grid.n_rows)
    true = (x - 80) * math.cos(math.radians(30)) + (y - 110) * math.sin(math.radians(30))
    assert line == pytest.approx(np.abs(true), abs=1e-3)
    point = distance_field_of_point(PANEL, grid, at_mm=(80.0, 110.0)).rows(0, grid.n_rows)
    assert point == pytest.approx(np.hypot(x - 80, y - 110), abs=1e-3)


@pytest.mark.slow
def test_distance_to_a_line_and_a_point_round_a_drum() -> None:
    grid = grid_of(SHELL, 420)
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    round_the_back = np.minimum.reduce([np.abs(x - 20 - k * ROUND) for k in (-1, 0, 1)])
    upright = distance_field_of_line(SHELL, grid, at_mm=(20.0, 7.0), angle_deg=180.0).rows(0, grid.n_rows)
    assert upright == pytest.approx(round_the_back, abs=1e-3)
    level = distance_field_of_line(SHELL, grid, at_mm=(20.0, 30.0), angle_deg=90.0).rows(0, grid.n_rows)
    assert level == pytest.approx(np.abs(y - 30), abs=1e-3)
    point = distance_field_of_point(SHELL, grid, at_mm=(20.0, 30.0)).rows(0, grid.n_rows)
    assert point == pytest.approx(np.hypot(round_the_back, y - 30), abs=1e-3)
    slanted = distance_field_of_line(SHELL, grid, at_mm=(20.0, 30.0), angle_deg=60.0).rows(0, grid.n_rows)
    plain = np.abs((x - 20) * math.cos(math.radians(60)) + (y - 30) * math.sin(math.radians(60)))
    assert np.abs(slanted[:, 0] - slanted[:, -1]).max() < 1.01 * grid.pixel_mm  # no step at the seam
    middle = np.abs(x - 60) < 30
    assert slanted[middle] == pytest.approx(plain[middle], abs=1e-3)


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: region_of_ring(PANEL, box(310.0, 0.0, 400.0, 90.0), name="neck"), "it lies outside its face"),
        (lambda: region_of_ring(SHELL, box(0.0, 90.0, 40.0, 99.0), name="neck"), "it lies outside its face"),
        (lambda: region_of_side(PANEL, at_mm=(310.0, 0.0), angle_deg=0.0, name="neck"), "does not cross its face"),
        (lambda: region_of_side(PANEL, at_mm=(310.0, 0.0), angle_deg=180.0, name="neck"), "does not cross its face"),
        (lambda: region_of_band(PANEL, width_mm=106.0, name="neck"), "covers the whole of its face"),
        (lambda: region_of_band(SHELL, width_mm=40.0, name="neck"), "covers the whole of its face"),
    ],
)
def test_a_zone_that_is_not_on_its_face(make, said: str) -> None:
    with pytest.raises(InputError, match=said) as caught:
        make()
    (problem,) = caught.value.problems
    assert problem.field == "zone 'neck'"
    assert "the face is 3" in problem.remedy
    assert "\n" not in str(problem)


def test_a_zone_that_crosses_itself_and_an_opening_that_is_not_there() -> None:
    with pytest.raises(PictureError, match="zone 'neck': the line crosses or touches itself"):
        region_of_ring(PANEL, np.array([[0.0, 0.0], [90.0, 90.0], [90.0, 0.0], [0.0, 95.0]]), name="neck")
    with pytest.raises(InputError, match="no such opening"):
        region_of_band(PANEL, edges="sound hole", width_mm=5.0)
