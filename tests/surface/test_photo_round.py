"""Exists for a side or a back that shows what lies round the part in its photo, at another scale, or with a seam."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from layerpreview.surface.outline import Outline, built_in_ring, make_outline, with_openings
from layerpreview.surface.photo import Photo
from layerpreview.surface.photo_round import carried_round, laid_behind
from layerpreview.surface.picture_file import PictureData
from tests.surface.made_photos import silver_texture

F64 = np.ndarray
WIDTH_MM, HEIGHT_MM, PIXEL_MM = 90.0, 120.0, 0.5
GROUND = (30, 90, 200)  # blue, which the silver has nothing of


def _front() -> Outline:
    hole = {"hole": np.add(built_in_ring("disc", diameter_mm=20.0), (25.0, 40.0))}
    return with_openings(make_outline(built_in_ring("teardrop", width_mm=WIDTH_MM, height_mm=HEIGHT_MM)), hole)


def _photo(front: Outline) -> Photo:
    """Silver where the part is and blue all round it and in its hole."""
    grey = np.rint(255 * silver_texture("lifted", WIDTH_MM, HEIGHT_MM, pixel_mm=PIXEL_MM)).astype(np.uint8)
    y, x = (np.indices(grey.shape) + 0.5) * PIXEL_MM
    pixels = np.repeat(grey[:, :, None], 3, axis=2)
    pixels[~shapely.contains_xy(front.polygon, x, y)] = GROUND
    return Photo(PictureData(pixels, file="front.jpg"))


def _blue(photo: Photo) -> F64:
    pixels = photo.picture.pixels.astype(np.float64)
    return pixels[:, :, 2] - pixels[:, :, 0]


def _steps(pixels: F64) -> F64:
    """How much neighbours in a row differ, a column each; the first is from the right end to the left."""
    green = pixels[:, :, 1].astype(np.float64)
    return np.abs(green - np.roll(green, 1, axis=1)).mean(axis=0)


@pytest.mark.parametrize("told", [WIDTH_MM, None])
def test_a_side_is_of_the_parts_own_texture_at_its_scale_and_closed(told: float | None) -> None:
    """Round the outline 343 mm long and 17 mm deep; no step from one end to the other is larger than the texture's."""
    front = _front()
    strip, long_mm = carried_round(_photo(front), front, width_mm=told, side_mm=343.0, depth_mm=17.0)
    rows, cols, _ = strip.picture.pixels.shape
    assert (rows, cols) == (34, 686)
    assert long_mm == pytest.approx(343.0)
    assert _blue(strip).max() < 0.02 * 65535
    steps = _steps(strip.picture.pixels)
    assert steps[0] < 2.0 * steps.mean()
    assert steps.max() < 5.0 * steps.mean()


def test_a_side_of_a_photo_of_its_own_is_of_all_of_it() -> None:
    """Nothing is known of what is the part: blue is taken for texture, too."""
    strip, long_mm = carried_round(_photo(_front()), None, width_mm=180.0, side_mm=401.5, depth_mm=30.0)
    assert strip.picture.pixels.shape[:2] == (30, 402)
    assert long_mm == pytest.approx(402.0)


def test_a_side_that_is_deeper_than_the_part_is_wide() -> None:
    front = _front()
    strip, _ = carried_round(_photo(front), front, width_mm=WIDTH_MM, side_mm=343.0, depth_mm=140.0)
    assert strip.picture.pixels.shape[:2] == (280, 686)
    assert _blue(strip).max() < 0.02 * 65535


def test_a_back_is_the_front_mirrored_and_whole_where_it_has_no_opening() -> None:
    """The hole, 25 to 45 mm from the front's left and 40 to 60 mm down, lies 45 to 65 mm from the back's."""
    front = _front()
    photo = _photo(front)
    closed = make_outline(front.outer[::-1] * (-1.0, 1.0))
    through = with_openings(closed, {"hole": front.openings["hole"] * (-1.0, 1.0) + (WIDTH_MM, 0.0)})
    blind, open_ = (laid_behind(photo, front, back, width_mm=WIDTH_MM) for back in (closed, through))
    assert np.array_equal(open_.picture.pixels, photo.picture.pixels[:, ::-1])
    hole = slice(80, 120), slice(90, 130)
    assert _blue(open_)[hole].max() == GROUND[2] - GROUND[0]
    assert _blue(blind)[hole].max() < 0.02 * 65535
