"""Square and to scale: exists for parts cut a few per cent too wide, by a sheet misread or a tilt left in.

Photos are made by a pinhole camera of known place (`bench_photos`), so that every millimetre in them is known.
"""

from __future__ import annotations

import io
import math
import struct
import zlib
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy.spatial.transform import Rotation
from skimage.draw import polygon2mask

from layerpreview.errors import PictureError
from layerpreview.surface.camera_pose import camera_pose, rotations
from layerpreview.surface.focal_length import focal35_of
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import placement_through, projected
from layerpreview.surface.rectified import squared
from layerpreview.surface.sheet import within_figure
from layerpreview.surface.square import Paper, Square, find_sheet, from_marks, marks_of, nearer_share

from .bench_photos import Bench, photograph

F64 = NDArray[np.float64]


@lru_cache(maxsize=4)
def seen(bench: Bench) -> PictureData:
    return photograph(bench)


def outline_px(bench: Bench) -> F64:
    return projected(bench.to_px, bench.part_outline_mm())


def worst_width(bench: Bench, square: Square) -> float:
    """The worst of the part's widths in 180 directions, as a share, from its true outline in the photo."""
    found, true = square.to_mm(outline_px(bench)), bench.part_outline_mm()
    widths = [np.hypot(*(places[:360:2] - places[360::2]).T) for places in (found, true)]
    return float(np.abs(widths[0] / widths[1] - 1).max())


TILTS = [(0.0, 0.0), (12.0, 200.0), *((25.0, towards) for towards in (0.0, 55.0, 90.0, 150.0, 225.0, 270.0))]


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("tilt", "towards"), TILTS)
def test_width_at_tilts_in_every_direction(paper: Paper, tilt: float, towards: float) -> None:
    """The issue asks for 1 %; half of it is left to the outline that will be measured with."""
    bench = Bench(paper=paper, tilt_deg=tilt, towards_deg=towards, megapixels=0.7, seed=int(towards) + 3)
    square = find_sheet(photograph(bench))
    assert square.by == paper
    assert worst_width(bench, square) < 0.005
    assert square.tilt_deg == pytest.approx(tilt, abs=1.5)
    assert square.residual_mm < 0.5


@pytest.mark.parametrize(
    "change",
    [
        {"shadow": 0.7, "shadow_mm": 0.8},  # a hard shadow over half the sheet
        {"falloff": 0.8},
        {"noise": 0.025, "jpeg": 60},
        {"curl_mm": 14.0, "rounded_mm": 5.0},
        {"ground": (0.8, 0.79, 0.77), "ground_texture": 0.01},  # a white worktop: 7 % darker than the paper
        {"ground": (0.03, 0.03, 0.032)},
        {"ground": (0.35, 0.24, 0.14), "ground_texture": 0.12},
        {"paper_texture": 0.02},
        {"sheet_turn_deg": 41.0, "sheet_at_mm": (-120.0, 0.0), "part_at_mm": (150.0, 0.0)},
        {"part_at_mm": (72.0, -10.0)},  # the part lies over the sheet's edge
        {"megapixels": 3.0},
    ],
)
def test_width_in_unkind_photos(change: dict[str, object]) -> None:
    bench = replace(Bench(tilt_deg=14.0, towards_deg=130.0, megapixels=0.7), **change)  # type: ignore[arg-type]
    square = find_sheet(photograph(bench), paper="A4")
    assert worst_width(bench, square) < 0.005


@pytest.mark.slow
def test_two_and_twelve_megapixels_agree() -> None:
    """Resolution must not decide: the same outline within 0.5 mm."""
    benches = [Bench(tilt_deg=20.0, towards_deg=75.0, megapixels=size) for size in (2.0, 12.0)]
    small, large = (find_sheet(photograph(bench)).to_mm(outline_px(bench)) for bench in benches)
    assert np.abs(small - large).max() < 0.5


def test_what_is_said_of_doubt_holds() -> None:
    """Places all over the part are off by no more than a few times what the square says of them."""
    bench = Bench(tilt_deg=18.0, towards_deg=250.0, noise=0.02)
    square = find_sheet(seen(bench))
    found, true = square.to_mm(outline_px(bench)), bench.part_outline_mm()
    # the two differ by where they count from and how they are turned, which says nothing of the part's shape
    moved, fixed = found - found.mean(axis=0), true - true.mean(axis=0)
    u, _, v = np.linalg.svd(moved.T @ fixed)
    off = np.hypot(*(moved @ u @ v - fixed).T)
    assert off.max() < 4 * square.doubt_mm(outline_px(bench)).max()
    assert square.doubt_mm(outline_px(bench)).max() < 1.0


@pytest.mark.parametrize(("laid", "told"), [("A4", "Letter"), ("Letter", "A4")])
def test_wrong_paper_is_told(laid: str, told: Paper) -> None:
    right = find_sheet(seen(Bench(paper=laid, tilt_deg=8.0, towards_deg=35.0)))
    wrong = find_sheet(seen(Bench(paper=laid, tilt_deg=8.0, towards_deg=35.0)), paper=told)
    assert wrong.residual_mm > 10 * right.residual_mm
    assert any(f"proportions of {laid}, not of {told}" in said for said in wrong.against)
    assert right.against == ()


def test_focal_length_tells_papers_apart() -> None:
    """From one side a tilted Letter looks like a level A4 to a camera of unknown lens; EXIF settles it."""
    bench = Bench(paper="A4", tilt_deg=25.0, towards_deg=90.0, sheet_turn_deg=93.0)
    focal35_mm = bench.focal * 43.27 * 0.8  # of a 4 : 3 picture, whose diagonal is 1.25 long sides
    square = find_sheet(seen(bench), focal35_mm=focal35_mm)
    assert square.by == "A4"
    assert square.against == ()
    assert square.distance_mm == pytest.approx(bench.distance_mm, rel=0.15)  # to the sheet, not to the bench's middle


@pytest.mark.parametrize(("tilt", "towards"), [(3.0, 20.0), (25.0, 110.0), (25.0, 320.0)])
def test_the_printed_frame_beside_the_part(tilt: float, towards: float) -> None:
    """From marks alone, 176 mm apart, to a part that reaches 2.5 times as far: still within the issue's 1 %."""
    bench = Bench(paper="frame", sheet_turn_deg=86.0, tilt_deg=tilt, towards_deg=towards, shadow_mm=12.0)
    square = find_sheet(photograph(bench))
    assert square.by == "frame"
    assert worst_width(bench, square) < 0.01
    assert square.tilt_deg == pytest.approx(tilt, abs=2.5)
    assert square.residual_mm < 0.5


def test_frame_asked_for_and_not_there() -> None:
    with pytest.raises(PictureError, match="the frame's four corner squares were not found"):
        find_sheet(seen(Bench(tilt_deg=18.0, towards_deg=250.0, noise=0.02)), paper="frame")


def test_a_frame_with_a_hidden_mark_is_not_taken_for_a_sheet() -> None:
    """The frame's own edge has nearly A4's proportions at two thirds of its size; its windows tell."""
    bench = Bench(paper="frame", sheet_turn_deg=86.0, tilt_deg=4.0, part_at_mm=(-70.0, 150.0), shadow=0.0)
    with pytest.raises(PictureError, match="no sheet"):
        find_sheet(photograph(bench))


def test_no_paper() -> None:
    bench = Bench(sheet_at_mm=(-2000.0, 0.0))
    with pytest.raises(PictureError, match="no sheet of paper with four straight edges was found; lay a whole white"):
        find_sheet(photograph(bench))


def test_nothing_at_all() -> None:
    with pytest.raises(PictureError, match="no Letter sheet"):
        find_sheet(PictureData(np.full((300, 400, 3), 127, np.uint8)), paper="Letter")


@pytest.mark.parametrize("shape", [(1, 1), (2, 300), (40, 30, 3), (250, 333)])
def test_small_and_grey_and_noisy_pictures_get_one_line(shape: tuple[int, ...]) -> None:
    noise = np.random.default_rng(2).integers(0, 65536, shape).astype(np.uint16)
    with pytest.raises(PictureError, match="no sheet of paper") as told:
        find_sheet(PictureData(noise, file="noise.tif"))
    assert "\n" not in str(told.value)


def test_a_grey_photo_of_sixteen_bits() -> None:
    bench = Bench(tilt_deg=18.0, towards_deg=250.0, noise=0.02)
    grey = seen(bench).pixels.mean(axis=2)
    square = find_sheet(PictureData(np.rint(257 * grey).astype(np.uint16)))
    assert worst_width(bench, square) < 0.005


def test_a_sheet_that_runs_out_of_the_picture_is_not_taken() -> None:
    with pytest.raises(PictureError, match="no sheet"):
        find_sheet(photograph(Bench(sheet_at_mm=(-290.0, 20.0))))


def test_camera_pose_by_hand() -> None:
    """A camera 700 mm above, leaning by 22 deg: the rotation written out, not through the code under test."""
    tilt, focal = math.radians(22.0), 1300.0
    corners = np.array([[-148.5, -105.0], [148.5, -105.0], [148.5, 105.0], [-148.5, 105.0]])
    depth = 700.0 + corners[:, 1] * math.sin(tilt)
    pixels = np.column_stack([corners[:, 0], corners[:, 1] * math.cos(tilt)]) * focal / depth[:, None] + (800.0, 600.0)
    pose = camera_pose(corners, pixels, size_px=(1600, 1200), focal35_mm=1300.0 / 2000.0 * 43.27)
    assert (pose.tilt_deg, pose.distance_mm) == pytest.approx((22.0, 700.0), rel=1e-3)
    assert pose.residual_px < 0.01


@pytest.mark.parametrize("turned", [(0.0, 0.0, 0.0), (1e-9, 0.0, -2e-9), (0.3, -0.2, 0.9), (3.0, 0.4, -0.6)])
def test_a_rotation_is_that_of_a_library(turned: tuple[float, float, float]) -> None:
    """Against scipy.spatial.transform, which works it out by a quaternion."""
    np.testing.assert_allclose(rotations(np.array([turned]))[0], Rotation.from_rotvec(turned).as_matrix(), atol=1e-14)


def test_what_lies_within_a_figure_is_what_a_polygon_filler_fills() -> None:
    """Against skimage.draw, corners in either order, one of them beyond the picture."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        four = np.array([[10.0, 8], [70, 12], [66, 63], [6, 48]]) + rng.uniform(-8, 8, (4, 2))
        middle = four.mean(axis=0)
        filled = polygon2mask((60, 75), (middle + 0.9 * (four - middle))[:, ::-1])
        for order in (four, four[::-1]):
            within, box = within_figure(order, (60, 75))
            placed = np.zeros((60, 75), dtype=bool)
            placed[box] = within
            np.testing.assert_array_equal(placed, filled)


def test_a_map_through_many_points_is_the_one_they_came_from() -> None:
    rng = np.random.default_rng(4)
    matrix = np.array([[3.1, 0.2, 400.0], [-0.1, 2.7, 300.0], [4e-4, -7e-4, 1.0]])
    points = rng.uniform(-150, 150, (9, 2))
    np.testing.assert_allclose(placement_through(points, projected(matrix, points)).matrix, matrix, rtol=1e-8)


MARKS = np.array([[100.0, 210.0], [700.0, 410.0]])


def test_marks_set_the_scale_alone() -> None:
    square = from_marks(PictureData(np.zeros((600, 800, 3), np.uint8)), MARKS, apart_mm=300.0)
    assert square.mm_per_px == pytest.approx(300.0 / math.hypot(600.0, 200.0))
    assert square.tilt_deg is None
    assert np.hypot(*(square.to_mm(MARKS)[1] - square.to_mm(MARKS)[0])) == pytest.approx(300.0)
    np.testing.assert_allclose(square.px_from_mm(square.to_mm(MARKS)), MARKS)
    assert "25 deg by 9 %" in " ".join(square.words)  # cos 25 deg = 0.906


@pytest.mark.parametrize(
    ("marks", "apart_mm"),
    [([[10, 10], [12, 14]], 50.0), ([[10, 10], [900, 10]], 50.0), (MARKS, 0.0), (MARKS, -2.0), (MARKS, math.nan)],
)
def test_marks_that_cannot_be_used(marks: F64, apart_mm: float) -> None:
    with pytest.raises(PictureError, match="a known length apart; give them as"):
        from_marks(PictureData(np.zeros((600, 800, 3), np.uint8)), np.array(marks), apart_mm=apart_mm)


def test_marks_as_they_are_written() -> None:
    """Points in per cent of the picture's width and height; any length that a scheme may hold."""
    picture = PictureData(np.zeros((600, 800, 3), np.uint8))
    points, apart_mm = marks_of("12.5%, 35%,87.5%,70 % = 12 in", picture)
    np.testing.assert_allclose(points, [[100, 210], [700, 420]])
    assert apart_mm == pytest.approx(304.8)


UNREADABLE = ["", "10%,20%,90%", "10%,20%,90%,20%", "10%,20%,90%,20%=300", "10,20,90,20=300 mm", "=,%"]


@pytest.mark.parametrize("text", UNREADABLE)
def test_marks_that_cannot_be_read(text: str) -> None:
    with pytest.raises(PictureError, match="two points in per cent of the picture") as told:
        marks_of(text, PictureData(np.zeros((600, 800, 3), np.uint8)))
    assert "\n" not in str(told.value)


def test_a_thick_part_looks_larger() -> None:
    """A face 40 mm up, 600 mm below the camera, spans 1 / 560 against 1 / 600: 7.14 % more."""
    assert nearer_share(thickness_mm=40.0, distance_mm=600.0) == pytest.approx(600.0 / 560.0 - 1)
    with pytest.raises(ValueError, match="not between 0 and the camera's 30 mm"):
        nearer_share(thickness_mm=40.0, distance_mm=30.0)
    bench = Bench()
    said = find_sheet(seen(bench)).said_of(outline_px(bench), thickness_mm=40.0)
    assert "half lengths from the middle of the sheet" in said[0]
    assert "40 mm above the sheet" in said[1]


def test_squared_is_seen_from_above_and_to_scale() -> None:
    """The sheet in the picture made square has its true sides: 0.5 mm to a pixel, so 594 x 420 pixels."""
    bench = Bench(tilt_deg=25.0, towards_deg=60.0, sheet_turn_deg=90.0, roll_deg=0.0, shadow=0.0, falloff=0.0)
    picture, square = seen(bench), find_sheet(seen(bench))
    low, high = square.known_mm.min(axis=0) - 20, square.known_mm.max(axis=0) + 20
    box = {"left_mm": low[0], "top_mm": low[1], "width_mm": high[0] - low[0], "height_mm": high[1] - low[1]}
    flat = squared(picture, square, **box, mm_per_px=0.5)
    again = find_sheet(flat, paper="A4")
    sides = np.sort(np.hypot(*(np.roll(again.known_px, -1, axis=0) - again.known_px).T))
    np.testing.assert_allclose(sides, [420, 420, 594, 594], rtol=2e-3)


def test_squared_by_closed_form() -> None:
    """A ramp along x, seen through marks at 0.25 mm a pixel and drawn at 0.5 mm: each pixel the mean of its places."""
    ramp = np.broadcast_to(np.arange(400, dtype=np.uint16) * 100, (300, 400))
    square = from_marks(PictureData(ramp), np.array([[40.0, 30.0], [360.0, 30.0]]), apart_mm=80.0)
    flat = squared(PictureData(ramp), square, left_mm=-10.0, top_mm=-5.0, width_mm=25.0, height_mm=10.0, mm_per_px=0.5)
    assert flat.pixels.shape == (20, 50)
    assert flat.alpha is None
    # 10 mm left of the middle (200 px) is 160 px; a pixel of 0.5 mm spans two of the photo's, 160 and 161
    np.testing.assert_allclose(flat.pixels[7], 16050 + 200 * np.arange(50), atol=1)


def test_squared_beyond_the_photo_is_transparent() -> None:
    grey = PictureData(np.full((300, 400, 3), 90, np.uint8))
    square = from_marks(grey, np.array([[40.0, 30.0], [360.0, 30.0]]), apart_mm=320.0)
    flat = squared(grey, square, left_mm=-250.0, top_mm=-100.0, width_mm=100.0, height_mm=50.0)
    assert flat.alpha is not None
    assert (flat.alpha[:, :50] == 0).all()
    assert (flat.alpha[:, 50:] == 255).all()
    assert (flat.pixels[:, 50:] == 90).all()
    with pytest.raises(PictureError, match="the limit is 100"):
        squared(grey, square, left_mm=0, top_mm=0, width_mm=100.0, height_mm=50.0, mm_per_px=0.001)


def test_focal_length_from_exif(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 26
    Image.new("RGB", (8, 6)).save(tmp_path / "with.jpg", exif=exif)
    Image.new("RGB", (8, 6)).save(tmp_path / "without.jpg")
    (tmp_path / "no.jpg").write_text("no picture")
    assert focal35_of(tmp_path / "with.jpg") == 26
    assert [focal35_of(tmp_path / name) for name in ("without.jpg", "no.jpg", "none")] == [None, None, None]


def test_a_huge_photo_or_odd_exif_has_no_focal_length(tmp_path: Path) -> None:
    """PNG's header alone says 200 megapixels (ISO/IEC 15948, 11.2.2); the EXIF ends within its own list."""
    picture = io.BytesIO()
    Image.new("L", (3, 2)).save(picture, "PNG")
    head = b"IHDR" + struct.pack(">II", 20_000, 10_000) + picture.getvalue()[24:29]
    huge = picture.getvalue()[:12] + head + struct.pack(">I", zlib.crc32(head)) + picture.getvalue()[33:]
    (tmp_path / "huge.png").write_bytes(huge)
    Image.new("L", (3, 2)).save(tmp_path / "odd.jpg", exif=b"Exif\0\0MM\0*\0\0\0\x08\xff\xff" + b"\xff" * 200)
    assert [focal35_of(tmp_path / name) for name in ("huge.png", "odd.jpg")] == [None, None]
