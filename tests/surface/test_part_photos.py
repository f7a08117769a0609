"""The photos of parts that tracing is judged by: exists for a truth that is half a pixel, a mirror or a tilt off."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from layerpreview.surface.picture_file import read_picture

from .part_photos import PartPhoto, take
from .part_scenes import fair_scenes, unfair_scenes
from .part_shapes import SHAPES, box_mm, covered, shape_mm, turned
from .part_truth import Scene, camera, laid_out, seen, size_px

CLEAN = Scene("clean", "horned", "dark", "white", sky=1.0, hole=True, noise=0.0, jpeg=95, mp=0.5, tilt_deg=17.0)
"""No lamp, so no cast shadow and no glare: what is dark is the part."""


def _lin(photo: PartPhoto) -> np.ndarray:
    coded = photo.picture.pixels / 255.0
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def _face(rings: tuple[np.ndarray, ...]) -> shapely.Polygon:
    return shapely.Polygon(rings[0], rings[1:])


@pytest.mark.parametrize("shape", SHAPES)
def test_coverage_is_area(shape: str) -> None:
    """Against shapely's area, whole and where the picture's corner cuts through."""
    ring = 0.31 * shape_mm(shape) @ turned(5).T + np.array([70.3, 61.9])
    for move in (0.0, 44.0):
        moved = ring + move
        wanted = shapely.Polygon(moved).intersection(shapely.box(0, 0, 150, 120)).area
        assert covered([moved], 120, 150).sum() == pytest.approx(wanted, rel=2e-4)
        assert covered([moved[::-1]], 120, 150).sum() == pytest.approx(wanted, rel=2e-4)


def test_coverage_of_a_box_by_hand() -> None:
    """From x = 1.25 to 3.5 and y = 0.5 to 2: shares of pixels are products."""
    got = covered([box_mm(1.25, 0.5, 2.25, 1.5)], 3, 5)
    assert got == pytest.approx(np.outer([0.5, 1, 0], [0, 0.75, 1, 0.5, 0]))


def test_what_is_dark_in_the_photo_is_the_part() -> None:
    """Pixels counted after lens, sharpening and JPEG: area within 0.5 %, middle within a tenth of a pixel."""
    photo = take(CLEAN)
    light = _lin(photo)[:, :, 1]
    part = light < 0.35 * np.median(light)
    face = _face(photo.truth.rings_px)
    rows, cols = np.nonzero(part)
    assert part.sum() == pytest.approx(face.area, rel=0.005)
    assert (cols.mean() + 0.5, rows.mean() + 0.5) == pytest.approx(face.centroid.coords[0], abs=0.1)


def test_the_camera_is_a_pinhole() -> None:
    """Level it is one scale; tilted, lengths in the middle are shortened by the cosine in one direction alone."""
    level = camera(replace(CLEAN, tilt_deg=0.0))
    rows, cols = size_px(CLEAN)
    assert seen(level, np.array([(0.0, 0.0), (70.0, -35.0)])) == pytest.approx(
        np.array([(cols / 2, rows / 2), (cols / 2 + 70 * cols / 560, rows / 2 - 35 * cols / 560)])
    )
    tiny = 1e-3
    steps = seen(camera(CLEAN), np.array([(0.0, 0.0), (tiny, 0.0), (0.0, tiny)]))
    lengths = np.linalg.svd((steps[1:] - steps[0]) / tiny, compute_uv=False)
    assert lengths == pytest.approx(cols / 560 * np.array([1.0, np.cos(np.radians(17.0))]), rel=1e-4)


def test_the_ground_of_a_thick_part_is_further_away() -> None:
    """By hand: the camera is 1.3 views of 560 mm away, the ground 40 mm more; tilted, it slides by a sine."""
    _, cols = size_px(CLEAN)
    level = camera(replace(CLEAN, tilt_deg=0.0), below_mm=40.0)
    x = seen(level, np.array([(70.0, 0.0)]))[0, 0]
    assert x == pytest.approx(cols / 2 + 1.3 * cols * 70.0 / (1.3 * 560 + 40))
    slid = seen(camera(CLEAN, below_mm=40.0), np.zeros((1, 2)))[0] - seen(camera(CLEAN), np.zeros((1, 2)))[0]
    lean = np.radians(17.0)
    wanted = 1.3 * cols * 40 * np.sin(lean) / (1.3 * 560 + 40 * np.cos(lean))
    assert np.linalg.norm(slid) == pytest.approx(wanted)


def test_a_tilted_camera_sees_the_side_of_a_thick_part() -> None:
    """The dark of the photo is the disc's face and its foot, and what is swept between them: their convex hull."""
    scene = replace(CLEAN, shape="disc", hole=False, side_mm=40.0, tilt_deg=29.0)
    photo = take(scene)
    foot = seen(camera(scene, below_mm=40.0), photo.truth.rings_mm[0])
    hull = shapely.MultiPoint(np.concatenate((foot, photo.truth.rings_px[0]))).convex_hull
    light = _lin(photo)[:, :, 1]
    assert (light < 0.25 * np.median(light)).sum() == pytest.approx(hull.area, rel=0.01)
    assert hull.area > 1.03 * shapely.Polygon(photo.truth.rings_px[0]).area


def test_a_tilt_keeps_cross_ratios() -> None:
    at = np.array([-150.0, -40.0, 60.0, 210.0])
    x = seen(camera(CLEAN), np.column_stack((at, 0.4 * at + 20)))[:, 0]
    ratios = [(v[2] - v[0]) * (v[3] - v[1]) / ((v[2] - v[1]) * (v[3] - v[0])) for v in (at, x)]
    assert ratios[1] == pytest.approx(ratios[0], rel=1e-9)


def test_one_bench_at_two_sizes() -> None:
    """The same truth in mm, and four pixels of the larger are one of the smaller."""
    scene = replace(CLEAN, body="silver", ground="green", sky=0.4, things=("cup", "rule"), spots=0.2)
    small, large = take(replace(scene, mp=0.12)), take(replace(scene, mp=4 * 0.12))
    for ring, same in zip(small.truth.rings_mm, large.truth.rings_mm, strict=True):
        assert np.array_equal(ring, same)
    assert large.truth.rings_px[0] == pytest.approx(2 * small.truth.rings_px[0], rel=1e-9)
    rows, cols = size_px(replace(scene, mp=0.12))
    means = _lin(large).reshape(rows, 2, cols, 2, 3).mean(axis=(1, 3))
    assert np.abs(means - _lin(small)).mean() < 0.02


def test_ground_is_seen_through_the_hole_and_not_at_the_disc() -> None:
    photo = take(replace(CLEAN, body="silver", ground="green", disc=True, tilt_deg=0.0, shape="disc"))
    light = _lin(photo)
    x, y = photo.truth.rings_px[1].mean(axis=0).astype(int)
    greenness = light[y - 4 : y + 5, x - 4 : x + 5].mean(axis=(0, 1))
    assert greenness[1] > 1.8 * max(greenness[0], greenness[2])
    assert len(photo.truth.rings_mm) == 2


def test_shadow_falls_away_from_the_lamp_and_light_falls_off() -> None:
    scene = replace(CLEAN, shape="disc", sky=0.3, tilt_deg=0.0, lift_mm=30.0, hole=False, lamp_mm=(-400.0, 0.0, 400.0))
    photo = take(scene)
    light, (left, top), (right, bottom) = (
        _lin(photo)[:, :, 1],
        *(photo.truth.rings_px[0].min(0), photo.truth.rings_px[0].max(0)),
    )
    middle, off = int((top + bottom) / 2), round(12 * size_px(scene)[1] / 560)
    assert light[middle, int(right) + off] < 0.6 * light[middle, int(left) - off]
    assert light[middle, -5] < 0.6 * light[middle, 5]


def test_ones_own_shadow_lies_over_part_and_ground_alike() -> None:
    """The same share of light is lost on both sides of the part's edge; at the top left there is none of it."""
    scene = replace(CLEAN, shape="disc", tilt_deg=0.0, hole=False, seed=3)
    clear, shaded = (_lin(take(replace(scene, own_shadow=share, exposure_ev=-2.0))) for share in (0.0, 0.4))
    spots = seen(camera(scene), np.array([(-260.0, -190.0), (90.0, 76.0), (95.0, 125.0)])).astype(int)
    ring = shapely.Polygon(laid_out(scene).rings_px[0])
    assert [ring.contains(shapely.Point(at)) for at in spots] == [False, True, False]
    corner, part, ground = (
        shaded[y - 6 : y + 7, x - 6 : x + 7].mean() / clear[y - 6 : y + 7, x - 6 : x + 7].mean() for x, y in spots
    )
    assert part / corner == pytest.approx(0.6, abs=0.05)
    assert ground / corner == pytest.approx(0.6, abs=0.05)


@pytest.mark.parametrize(("sheet", "sides"), [("A4", (297, 210)), ("Letter", (279.4, 215.9))])
def test_the_sheet_lies_where_it_is_said(sheet: str, sides: tuple[float, float]) -> None:
    """Its sides in mm are the standard's, and light ends at its corners in the picture."""
    wide = {"view_mm": 800.0, "shift_mm": (20.0, -125.0), "hole": False}
    photo = take(replace(CLEAN, ground="black", sheet=sheet, **wide))
    corners = photo.truth.sheet_mm
    assert corners is not None
    lengths = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    assert lengths == pytest.approx([sides[0], sides[1]] * 2)
    light = _lin(photo)[:, :, 1]
    middle = corners.mean(axis=0)
    within, without = (seen(photo.truth.to_px, middle + k * (corners - middle)).astype(int) for k in (0.97, 1.03))
    assert light[within[:, 1], within[:, 0]].min() > 5 * light[without[:, 1], without[:, 0]].max()


def test_marks_have_a_known_distance() -> None:
    photo = take(replace(CLEAN, ground="blue", marks=True, hole=False))
    assert photo.truth.marks_mm is not None
    for x, y in seen(photo.truth.to_px, photo.truth.marks_mm).astype(int):
        around = _lin(photo)[y - 9 : y + 10, x - 9 : x + 10, 0]
        assert around[9, 9] < 0.5 * around.max()  # ink in the middle of a white sticker


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_the_file_is_turned_as_its_exif_says(orientation: int, tmp_path: Path) -> None:
    photo = take(replace(CLEAN, mp=0.1))
    path = photo.save(tmp_path / "part.jpg", orientation=orientation, gps=True)
    read = read_picture(path)
    assert read.pixels.shape == photo.picture.pixels.shape
    assert np.abs(read.pixels.astype(int) - photo.picture.pixels).mean() < 2
    with Image.open(path) as image:
        assert dict(image.getexif().get_ifd(0x8825))[1] == "N"
    turned = orientation in (6, 8)
    with Image.open(path) as image:
        assert (image.height > image.width) == turned


def test_same_scene_same_bytes() -> None:
    scene = replace(CLEAN, body="silver", sky=0.4, noise=0.01, mp=0.1)
    once = take(scene).jpeg
    assert take(scene).jpeg == once
    assert take(replace(scene, seed=2)).jpeg != once


def test_fair_scenes_are_many_and_fair() -> None:
    """All kinds and shapes, parts whole and clear of the border, nothing laid over them."""
    fair = fair_scenes()
    assert len(fair) >= 40
    assert len({scene.name for scene in fair + unfair_scenes()}) == len(fair) + len(unfair_scenes())
    assert {scene.shape for scene in fair} == set(SHAPES)
    assert {scene.body for scene in fair} == {"silver", "dark", "wood"}
    assert max(scene.tilt_deg for scene in fair) == 25.0
    for scene in fair:
        truth = laid_out(scene)
        part, (rows, cols) = _face(truth.rings_px), size_px(scene)
        assert shapely.box(0, 0, cols, rows).buffer(-0.02 * cols).contains(part), scene.name
        laid = [shapely.Polygon(ring) for thing in truth.things for ring in thing.rings]
        assert not any(ring.intersects(_face(truth.rings_mm)) for ring in laid), scene.name


def test_unfair_scenes_are_not_called_fair() -> None:
    unfair = unfair_scenes()
    assert not any(scene.fair for scene in unfair)
    cut = [scene for scene in unfair if "cut off" in scene.name]
    assert len(cut) == 2
    for scene in cut:
        rows, cols = size_px(scene)
        assert not shapely.box(0, 0, cols, rows).contains(_face(laid_out(scene).rings_px))
