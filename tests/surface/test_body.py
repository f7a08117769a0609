"""Solids: exists for a ray that goes through or stops in the air, a side that faces the wrong way, an opening without
depth, and a place on a face that is another one."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.surface.body import BACK, BARE, FRONT, SIDE, Body, Met, trace
from layerpreview.surface.lookup import Lookup
from layerpreview.surface.outline import Outline, built_in_outline, built_in_ring, make_outline, placed, with_openings
from layerpreview.surface.plate import Plate
from layerpreview.surface.shell import Shell

DOWN = np.array([0.0, 0.0, -1.0], dtype=np.float32)


def _plate(outline: Outline, **more: object) -> Plate:
    said = {"depth_mm": 30.0, "edge_mm": 4.0, "front_belly_mm": 0.0, "back_belly_mm": 0.0, "pockets_mm": {}, **more}
    return Plate(outline, **said)  # type: ignore[arg-type]


def _met(body: Body, start: list[tuple[float, float, float]], towards: np.ndarray = DOWN) -> tuple[np.ndarray, Met]:
    place, share = trace(body, np.array(start, dtype=np.float32).T, towards.astype(np.float32), pixel_mm=0.2)
    return place, body.met(place, share)


@pytest.fixture(scope="module")
def panel() -> Plate:
    return _plate(built_in_outline("panel", width_mm=120.0, height_mm=80.0))


def test_a_flat_plate_is_met_where_it_lies(panel: Plate) -> None:
    place, met = _met(panel, [(50.0, 30.0, 60.0), (130.0, 30.0, 60.0)])
    assert met.share.tolist() == [1.0, 0.0]
    np.testing.assert_allclose(place[:, 0], [50.0, 30.0, 0.0], atol=0.03)
    assert met.kind[0] == FRONT
    np.testing.assert_allclose(met.normal[:, 0], [0.0, 0.0, 1.0], atol=1e-3)
    assert (met.x_mm[0], met.y_mm[0]) == (50.0, 30.0)


def test_its_edge_is_a_quarter_round(panel: Plate) -> None:
    """By hand: 1 mm from an edge of 4 mm radius the surface lies 4 - sqrt(16 - 9) = 1.354 mm below the rim's level and
    faces outwards by 3/4."""
    place, met = _met(panel, [(1.0, 40.0, 60.0)])
    assert place[2, 0] == pytest.approx(-(4.0 - np.sqrt(7.0)), abs=0.05)
    np.testing.assert_allclose(met.normal[:, 0], [-0.75, 0.0, np.sqrt(7.0) / 4.0], atol=0.02)
    assert met.bend_per_mm[0] == pytest.approx(0.25)


def test_a_side_is_met_from_the_side(panel: Plate) -> None:
    """From the right: the unrolled side goes round from the outline's first corner, and down from the rim."""
    _, met = _met(panel, [(300.0, 25.0, -12.0)], np.array([-1.0, 0.0, 0.0]))
    assert met.kind[0] == SIDE
    np.testing.assert_allclose(met.normal[:, 0], [1.0, 0.0, 0.0], atol=1e-3)
    assert met.y_mm[0] == pytest.approx(12.0, abs=0.05)
    assert met.x_mm[0] == pytest.approx(120.0 + 25.0, abs=0.3)
    np.testing.assert_allclose(met.across[:, 0], [0.0, 1.0, 0.0], atol=0.02)
    np.testing.assert_allclose(met.down[:, 0], [0.0, 0.0, -1.0], atol=0.02)


@pytest.mark.slow
def test_the_side_of_a_wide_rounding_goes_round_as_the_edge_does() -> None:
    """With edges of 150 mm the side begins 44 mm within the outline; by hand, 40 mm within it lies 48.0 mm below
    the rim's level."""
    plate = _plate(built_in_outline("panel", width_mm=1600.0, height_mm=1300.0), depth_mm=400.0, edge_mm=150.0)
    place, met = _met(plate, [(1560.0, 500.0, 60.0)])
    assert place[2, 0] == pytest.approx(-(150.0 - np.sqrt(150.0**2 - 110.0**2)), abs=0.5)
    assert met.kind[0] == SIDE
    assert met.x_mm[0] == pytest.approx(1600.0 + 500.0, abs=2.0)


def test_the_side_of_a_traced_outline_is_smooth() -> None:
    """A disc of 100 mm whose edge is told to 0.5 mm faces outwards to 2 degrees (rms); piece by piece 4.8."""
    turn = np.linspace(0.0, 2.0 * np.pi, 240, endpoint=False)
    ring = np.round(2.0 * (50.0 + 50.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1))) / 2.0
    plate = _plate(make_outline(ring))
    around = np.linspace(0.0, 2.0 * np.pi, 500)
    way = np.stack([np.cos(around), np.sin(around), np.zeros(500)])
    place = (np.array([[50.0], [50.0], [-15.0]]) + 50.0 * way).astype(np.float32)
    normal = plate.met(place, np.ones(500, dtype=np.float32)).normal
    off = np.degrees(np.arccos(np.clip((normal * way).sum(axis=0), -1.0, 1.0)))
    assert np.sqrt(np.mean(off**2)) < 2.5


def test_a_small_opening_is_round() -> None:
    """Of 3 mm in a part of 20 mm: its wall stands at its radius and faces its middle, all round."""
    outline = built_in_outline("panel", width_mm=20.0, height_mm=14.0)
    hole = {"a": placed(built_in_ring("disc", diameter_mm=3.0), centre_mm=(10.0, 7.0))}
    plate = _plate(with_openings(outline, hole), depth_mm=10.0, edge_mm=0.4)
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    way = np.stack([np.cos(turn), np.sin(turn), np.zeros(24)])
    place = (np.array([[10.0], [7.0], [-5.0]]) + 1.5 * way).astype(np.float32)
    np.testing.assert_allclose(plate.away_mm(place), 0.0, atol=0.03)
    np.testing.assert_allclose(plate.met(place, np.ones(24, np.float32)).normal, -way, atol=0.08)


def test_a_back_is_seen_mirrored(panel: Plate) -> None:
    place, met = _met(panel, [(50.0, 30.0, -90.0)], np.array([0.0, 0.0, 1.0]))
    assert place[2, 0] == pytest.approx(-30.0, abs=0.03)
    assert met.kind[0] == BACK
    assert met.x_mm[0] == pytest.approx(70.0, abs=0.01)
    np.testing.assert_allclose(met.across[:, 0], [-1.0, 0.0, 0.0], atol=1e-3)


def test_an_opening_with_a_floor_and_one_without() -> None:
    outline = built_in_outline("panel", width_mm=120.0, height_mm=80.0)
    holes = {
        name: placed(built_in_ring("disc", diameter_mm=24.0), centre_mm=(x, 40.0))
        for name, x in (("a", 30.0), ("b", 90.0))
    }
    plate = _plate(with_openings(outline, holes), pockets_mm={"a": 17.0})
    place, met = _met(plate, [(30.0, 40.0, 60.0), (90.0, 40.0, 60.0), (60.0, 40.0, 60.0)])
    assert met.share.tolist() == [1.0, 0.0, 1.0]
    assert met.kind[[0, 2]].tolist() == [BARE, FRONT]
    assert place[2, 0] == pytest.approx(-17.0, abs=0.05)
    assert met.depth_mm[0] == pytest.approx(17.0, abs=0.05)
    _, wall = _met(plate, [(44.0, 40.0, 60.0)], np.array([np.sin(0.6), 0.0, -np.cos(0.6)]))
    assert wall.kind[0] == BARE
    np.testing.assert_allclose(wall.normal[:, 0], [-1.0, 0.0, 0.0], atol=0.02)


def test_a_pocket_does_not_show_on_the_back() -> None:
    """Seen from behind there is the back, level and without an edge."""
    outline = built_in_outline("panel", width_mm=120.0, height_mm=80.0)
    hole = {"a": placed(built_in_ring("disc", diameter_mm=30.0), centre_mm=(40.0, 40.0))}
    plate = _plate(with_openings(outline, hole), pockets_mm={"a": 20.0})
    from_behind = [(x, 40.0, -90.0) for x in (40.0, 54.5, 55.5, 90.0)]
    place, met = _met(plate, from_behind, np.array([0.0, 0.0, 1.0]))
    assert met.kind.tolist() == [BACK] * 4
    np.testing.assert_allclose(place[2], -30.0, atol=0.05)
    np.testing.assert_allclose(met.normal[2], -1.0, atol=1e-3)


def test_a_pocket_from_the_back_has_its_floor_there() -> None:
    """The same two rays from before and from behind: the front is whole, the floor lies 20 of 30 mm within the back."""
    outline = built_in_outline("panel", width_mm=120.0, height_mm=80.0)
    hole = {"a": placed(built_in_ring("disc", diameter_mm=30.0), centre_mm=(40.0, 40.0))}
    plate = _plate(with_openings(outline, hole), pockets_mm={"a": -20.0})
    before, met = _met(plate, [(40.0, 40.0, 60.0), (90.0, 40.0, 60.0)])
    assert met.kind.tolist() == [FRONT] * 2
    np.testing.assert_allclose(before[2], 0.0, atol=0.05)
    behind, met = _met(plate, [(40.0, 40.0, -90.0), (90.0, 40.0, -90.0)], -DOWN)
    assert met.kind.tolist() == [BARE, BACK]
    np.testing.assert_allclose(behind[2], [-10.0, -30.0], atol=0.05)
    np.testing.assert_allclose(met.normal[2], -1.0, atol=1e-3)
    assert met.depth_mm[0] == pytest.approx(20.0, abs=0.05)


def test_the_height_of_an_arch_is_no_depth() -> None:
    """A wall is as dark as it lies below the face, not the rim; above that it would shine."""
    outline = built_in_outline("ellipse", width_mm=120.0, height_mm=90.0)
    hole = {"a": placed(built_in_ring("disc", diameter_mm=20.0), centre_mm=(60.0, 45.0))}
    plate = _plate(with_openings(outline, hole), front_belly_mm=60.0)
    place = np.float32([[70.0], [45.0], [40.0]])
    met = plate.met(place, np.ones(1, np.float32))
    assert met.kind[0] == BARE
    assert met.depth_mm[0] == pytest.approx(60.0 * (1.0 - (10.0 / 60.0) ** 2) - 40.0, abs=0.5)


def test_rays_beside_a_pocket_pass_under_the_plate() -> None:
    """A slanted ray that misses the plate and comes below its pocket meets nothing."""
    outline = built_in_outline("panel", width_mm=60.0, height_mm=60.0)
    hole = {"a": placed(built_in_ring("disc", diameter_mm=30.0), centre_mm=(30.0, 30.0))}
    plate = _plate(with_openings(outline, hole), pockets_mm={"a": 20.0})
    slanted = np.array([np.sin(0.5), 0.0, -np.cos(0.5)])
    _, met = _met(plate, [(-60.0, 30.0, 40.0)], slanted)
    assert met.share[0] == 0.0


def test_a_belly_stands_highest_in_the_middle() -> None:
    plate = _plate(built_in_outline("ellipse", width_mm=120.0, height_mm=90.0), front_belly_mm=9.0)
    place, met = _met(plate, [(60.0, 45.0, 60.0), (95.0, 45.0, 60.0)])
    assert place[2, 0] == pytest.approx(9.0, abs=0.05)
    assert 0.0 < place[2, 1] < 8.0
    assert met.normal[0, 1] > 0.05
    assert abs(met.normal[0, 0]) < 0.01


@pytest.mark.parametrize("yaw_deg", [0.0, -8.0, 40.0, 85.0])
def test_a_high_arch_is_met_where_it_lies_and_is_no_side(yaw_deg: float) -> None:
    """A film blown up over an ellipse is 1 - (x/a)^2 - (y/b)^2 of its height (closed form): 90 mm high over half axes
    of 60 and 45 mm it stands at 52.9 mm where x is 35 mm and y 12 mm, and falls by 1.75 and 1.067 a mm there."""
    plate = _plate(built_in_outline("ellipse", width_mm=120.0, height_mm=90.0), front_belly_mm=90.0)
    spot = np.array([95.0, 57.0, 90.0 * (1.0 - (35.0 / 60.0) ** 2 - (12.0 / 45.0) ** 2)])
    towards = np.array([-np.sin(np.radians(yaw_deg)), 0.0, -np.cos(np.radians(yaw_deg))])
    start = spot - 150.0 * towards
    place, met = _met(plate, [tuple(start)], towards)
    np.testing.assert_allclose(place[:, 0], spot, atol=0.4)
    assert met.kind[0] == FRONT
    np.testing.assert_allclose(met.normal[:, 0], np.array([1.75, 1.0667, 1.0]) / 2.2797, atol=0.03)


def test_the_rim_covers_part_of_a_pixel() -> None:
    plate = _plate(built_in_outline("disc", diameter_mm=80.0), edge_mm=0.5)
    away = np.linspace(-0.5, 0.5, 21)
    start = np.stack([40.0 + 40.0 + away, np.full(21, 40.0), np.full(21, 60.0)]).astype(np.float32)
    _, share = trace(plate, start, DOWN, pixel_mm=0.2)
    assert share[0] == 1.0
    assert share[-1] == 0.0
    assert np.all(np.diff(share) <= 1e-6)
    assert np.any((share > 0.2) & (share < 0.8))


def test_a_shell_is_unrolled_round_its_front() -> None:
    """The middle of the unrolled face looks forward; a quarter of the way round to the right lies to the right."""
    shell = Shell(diameter_mm=200.0, height_mm=150.0, wall_mm=6.0)
    place, met = _met(shell, [(100.0, 60.0, 50.0)])
    assert place[2, 0] == pytest.approx(0.0, abs=0.03)
    assert met.x_mm[0] == pytest.approx(100.0 * np.pi, abs=0.01)
    assert met.y_mm[0] == pytest.approx(60.0)
    np.testing.assert_allclose(met.normal[:, 0], [0.0, 0.0, 1.0], atol=1e-3)
    _, right = _met(shell, [(400.0, 60.0, -100.0)], np.array([-1.0, 0.0, 0.0]))
    assert right.x_mm[0] == pytest.approx(150.0 * np.pi, abs=0.01)
    np.testing.assert_allclose(right.across[:, 0], [0.0, 0.0, -1.0], atol=1e-3)


def test_one_looks_into_a_shell_from_above() -> None:
    shell = Shell(diameter_mm=200.0, height_mm=150.0, wall_mm=6.0)
    steep = np.array([0.0, np.sin(0.4), -np.cos(0.4)])
    place, met = _met(shell, [(100.0, -60.0, 60.0)], steep)
    assert met.share[0] == 1.0
    assert met.kind[0] == BARE
    assert place[2, 0] < -180.0


def test_values_between_the_points_of_a_lattice() -> None:
    y, x = np.mgrid[0:4, 0:5].astype(np.float32)
    lookup = Lookup(np.stack([2.0 * x + 3.0 * y, x * y], axis=-1), 0.5, 10.0, 20.0)
    found = lookup.at(np.float32([10.6, 12.0, 99.0]), np.float32([20.2, 21.5, 0.0]))
    np.testing.assert_allclose(found, [[3.6, 0.48], [17.0, 12.0], [8.0, 0.0]], atol=1e-5)
