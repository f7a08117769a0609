"""The four square marks of the printed frame, found in a photo whichever way up; the first has a round hole.

Millimetres count from the middle of the mark with the hole, x along the frame's long side, y down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement

F64 = NDArray[np.float64]

FRAME_WIDTH_MM, FRAME_HEIGHT_MM = 176.0, 116.0
MARK_MM, HOLE_MM = 10.0, 4.0

CORNERS_MM: F64 = np.array(
    [[0.0, 0.0], [FRAME_WIDTH_MM, 0.0], [FRAME_WIDTH_MM, FRAME_HEIGHT_MM], [0.0, FRAME_HEIGHT_MM]]
)
"""Middles of the marks, clockwise from the one with the hole."""


def mark_corners_mm(corner: int) -> F64:
    """Corners (4, 2) of the square mark 0..3 [mm], clockwise from its top left."""
    half = MARK_MM / 2
    return np.asarray(CORNERS_MM[corner] + half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]))


def placement_of(corners_px: Sequence[Sequence[float]], notes: tuple[str, ...] = ()) -> Placement:
    """The placement that brings the middles of the four marks to `corners_px` (4, 2), first the one with the hole.

    The perspective is solved from the eight equations of a projective map.
    """
    rows, right = [], []
    for (x, y), (u, v) in zip(CORNERS_MM, corners_px, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    matrix = np.append(np.linalg.solve(np.array(rows), np.array(right)), 1.0).reshape(3, 3)
    return Placement(matrix, notes)


_LOOK_PX = 1100  # the photo is reduced to this many pixels a side before the marks are looked for
_DARK_SHARE = 0.42  # of the paper beside it, in sRGB code: a mark is darker than that
_AREA_SHARE = MARK_MM**2 / (FRAME_WIDTH_MM * FRAME_HEIGHT_MM)


@dataclass(frozen=True)
class _Blob:
    x: float
    y: float
    area: float
    holed: bool


def find_marks(picture: PictureData, *, smallest: float = 0.05) -> Placement:
    """Find the frame's four marks, each `smallest` or more of what it would be in a frame that fills the picture.

    Looks for four dark, solid, square spots of like size at the corners of a rectangle of the frame's proportions in
    perspective; the one with a hole is top left. Raises PictureError with one line when there are no such four.
    """
    step = max(1, max(picture.height_px, picture.width_px) // _LOOK_PX)
    blobs = _blobs(_small(picture, step), smallest)
    best = _best_four(blobs)
    if best is None:
        remedy = "show all four corner squares, flat, on something lighter; or give their pixels with --corners"
        rule = f"the frame's four corner squares were not found ({len(blobs)} spots looked like one)"
        raise PictureError(Problem(rule, remedy, picture.file))
    return placement_of([((blob.x + 0.5) * step, (blob.y + 0.5) * step) for blob in best])


def _small(picture: PictureData, step: int) -> F64:
    """The photo in grey, reduced by whole boxes of `step` pixels a side, in sRGB code."""
    codes = picture.pixels
    # Saturated dyes are dark in one channel only; ink is dark in all: take the lightest.
    grey = codes if codes.ndim == 2 else codes.max(axis=2)
    high, wide = grey.shape[0] // step * step, grey.shape[1] // step * step
    return np.asarray(
        grey[:high, :wide].reshape(high // step, step, wide // step, step).mean(axis=(1, 3), dtype=np.float64)
    )


def _blobs(codes: F64, smallest: float) -> list[_Blob]:
    from scipy.ndimage import maximum_filter, uniform_filter
    from skimage.measure import label, regionprops

    reach = max(codes.shape) // 10
    paper = uniform_filter(maximum_filter(codes, size=reach), size=reach)
    dark = codes < _DARK_SHARE * paper
    found = []
    for region in regionprops(label(dark)):
        if _is_square(region, codes.size, smallest):
            y, x = _middle(region)
            holed = region.area_filled > region.area * (1.0 + 0.35 * np.pi / 4 * (HOLE_MM / MARK_MM) ** 2)
            found.append(_Blob(x, y, float(region.area_filled), bool(holed)))
    return sorted(found, key=lambda blob: -blob.area)[:24]


def _is_square(region: Any, pixels: int, smallest: float) -> bool:
    return bool(
        smallest * _AREA_SHARE * pixels < region.area_filled < 2.0 * _AREA_SHARE * pixels
        and region.area_filled > 0.9 * region.area_convex
        and region.axis_minor_length > 0.6 * region.axis_major_length
    )


def _middle(region: Any) -> tuple[float, float]:
    """Middle of the spot with its hole filled."""
    top, left, _, _ = region.bbox
    rows, cols = np.nonzero(region.image_filled)
    return float(rows.mean() + top), float(cols.mean() + left)


def _best_four(blobs: list[_Blob]) -> list[_Blob] | None:
    """The four that fit the frame best, clockwise from the holed one."""
    one_holed = (four for four in combinations(blobs, 4) if sum(blob.holed for blob in four) == 1)
    misfit, best = min(
        ((_misfit(four), four) for four in map(_clockwise_from_hole, one_holed)),
        key=lambda fit: fit[0],
        default=(np.inf, None),
    )
    return best if misfit < 1.0 else None


def _clockwise_from_hole(four: Sequence[_Blob]) -> list[_Blob]:
    x, y = np.mean([blob.x for blob in four]), np.mean([blob.y for blob in four])
    ordered = sorted(four, key=lambda blob: np.arctan2(blob.y - y, blob.x - x))
    start = next(i for i, blob in enumerate(ordered) if blob.holed)
    return ordered[start:] + ordered[:start]


def _misfit(four: list[_Blob]) -> float:
    """How unlike the frame in perspective: convex, its proportions, the size of each mark; 1 or more is none."""
    points = np.array([complex(blob.x, blob.y) for blob in four])
    sides = np.roll(points, -1) - points
    if np.any((sides.conj() * np.roll(sides, -1)).imag <= 0):  # a corner turns the wrong way
        return np.inf
    top, right, bottom, left = np.abs(sides)
    proportion = (top + bottom) / (right + left) / (FRAME_WIDTH_MM / FRAME_HEIGHT_MM)
    placement = placement_of([(blob.x, blob.y) for blob in four])
    expected = [_area(placement.to_px(mark_corners_mm(corner))) for corner in range(4)]
    sizes = np.abs(np.log(np.array([blob.area for blob in four]) / expected))
    return float(max(abs(np.log(proportion)) / 0.5, sizes.max() / 0.4))


def _area(corners: F64) -> float:
    x, y = corners[:, 0], corners[:, 1]
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
