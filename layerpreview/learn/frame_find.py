"""Finding the frame's four marks in a photo, whichever way up it lies."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.learn.frame import (
    FRAME_HEIGHT_MM,
    FRAME_WIDTH_MM,
    HOLE_MM,
    MARK_MM,
    Placement,
    mark_box,
    placement_of,
)
from layerpreview.surface.picture_file import PictureData

F64 = NDArray[np.float64]

_LOOK_PX = 1100  # the photo is reduced to this many pixels a side before the marks are looked for
_DARK_SHARE = 0.42  # of the paper beside it, in sRGB code: a mark is darker than that
_AREA_SHARE = MARK_MM**2 / (FRAME_WIDTH_MM * FRAME_HEIGHT_MM)
_TURNED = {0: "", 1: "the card lies on its side", 2: "the card lies upside down", 3: "the card lies on its side"}


@dataclass(frozen=True)
class _Blob:
    x: float
    y: float
    area: float
    holed: bool


def find_card(picture: PictureData) -> Placement:
    """Find the frame by its marks.

    Looks for four dark, solid, square spots of like size at the corners of a rectangle of the frame's proportions in
    perspective; the one with a hole is top left. Raises PictureError with one line when there are no such four.
    """
    codes = _small(picture)
    factor = picture.width_px / codes.shape[1]
    blobs = _blobs(codes)
    best = _best_four(blobs)
    if best is None:
        remedy = "show all four corner squares, flat, on something lighter; or give their pixels with --corners"
        rule = f"the frame's four corner squares were not found ({len(blobs)} spots looked like one)"
        raise PictureError(Problem(rule, remedy, picture.file))
    corners = [((blob.x + 0.5) * factor, (blob.y + 0.5) * factor) for blob in best]
    first = np.array(corners)
    turned = int(np.argmin(first.sum(axis=1)))
    # The corner nearest the picture's top left is number `turned` of the frame: 2 means upside down.
    note = _TURNED[(4 - turned) % 4 if turned else 0]
    return placement_of(corners, (f"{note}: put upright",) if note else ())


def _small(picture: PictureData) -> F64:
    """The photo in grey, reduced by whole boxes, 0..1 in sRGB code."""
    step = max(1, max(picture.height_px, picture.width_px) // _LOOK_PX)
    codes = picture.pixels.astype(np.float64) / np.iinfo(picture.pixels.dtype).max
    # Saturated dyes are dark in one channel only; ink is dark in all: take the lightest.
    grey = codes if codes.ndim == 2 else codes.max(axis=2)
    high, wide = grey.shape[0] // step * step, grey.shape[1] // step * step
    return np.asarray(grey[:high, :wide].reshape(high // step, step, wide // step, step).mean(axis=(1, 3)))


def _blobs(codes: F64) -> list[_Blob]:
    from scipy.ndimage import maximum_filter, uniform_filter
    from skimage.measure import label, regionprops

    reach = max(codes.shape) // 10
    paper = uniform_filter(maximum_filter(codes, size=reach), size=reach)
    dark = codes < _DARK_SHARE * paper
    found = []
    for region in regionprops(label(dark)):
        if _is_square(region, codes.size):
            y, x = _middle(region)
            holed = region.area_filled > region.area * (1.0 + 0.35 * np.pi / 4 * (HOLE_MM / MARK_MM) ** 2)
            found.append(_Blob(x, y, float(region.area_filled), bool(holed)))
    return sorted(found, key=lambda blob: -blob.area)[:24]


def _is_square(region: Any, pixels: int) -> bool:
    top, left, bottom, right = region.bbox
    high, wide = bottom - top, right - left
    # A square on its corner fills half of its box.
    return bool(
        0.05 * _AREA_SHARE * pixels < region.area_filled < 2.0 * _AREA_SHARE * pixels
        and 0.5 < wide / high < 2.0
        and region.area_filled > 0.9 * region.area_convex
        and region.area_filled > 0.45 * wide * high
        and region.axis_minor_length > 0.6 * region.axis_major_length
    )


def _middle(region: Any) -> tuple[float, float]:
    """Middle of the spot with its hole filled."""
    top, left, _, _ = region.bbox
    rows, cols = np.nonzero(region.image_filled)
    return float(rows.mean() + top), float(cols.mean() + left)


def _best_four(blobs: list[_Blob]) -> list[_Blob] | None:
    """The four that fit the frame best, clockwise from the holed one."""
    best: tuple[float, list[_Blob]] | None = None
    for four in combinations(blobs, 4):
        ordered = _clockwise_from_hole(list(four))
        if ordered is None:
            continue
        misfit = _misfit(ordered)
        if misfit < 1.0 and (best is None or misfit < best[0]):
            best = (misfit, ordered)
    return best[1] if best else None


def _clockwise_from_hole(four: list[_Blob]) -> list[_Blob] | None:
    if sum(blob.holed for blob in four) != 1:
        return None
    cx, cy = (sum(values) / 4 for values in zip(*((blob.x, blob.y) for blob in four), strict=True))
    ordered = sorted(four, key=lambda blob: np.arctan2(blob.y - cy, blob.x - cx))
    start = next(i for i, blob in enumerate(ordered) if blob.holed)
    return ordered[start:] + ordered[:start]


def _misfit(four: list[_Blob]) -> float:
    """How unlike the frame in perspective: convex, its proportions, the size of each mark; 1 or more is none."""
    points = np.array([[blob.x, blob.y] for blob in four])
    sides = np.roll(points, -1, axis=0) - points
    before = np.roll(sides, 1, axis=0)
    if np.any(before[:, 0] * sides[:, 1] - before[:, 1] * sides[:, 0] <= 0):  # a corner turns the wrong way
        return np.inf
    length = np.hypot(sides[:, 0], sides[:, 1])
    proportion = (length[0] + length[2]) / (length[1] + length[3]) / (FRAME_WIDTH_MM / FRAME_HEIGHT_MM)
    placement = placement_of(points.tolist())
    expected = [_area(placement.to_px(mark_box(corner).corners_mm())) for corner in range(4)]
    sizes = [abs(np.log(blob.area / area)) for blob, area in zip(four, expected, strict=True)]
    return float(max(abs(np.log(proportion)) / 0.5, max(sizes) / 0.4))


def _area(corners: F64) -> float:
    x, y = corners[:, 0], corners[:, 1]
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
