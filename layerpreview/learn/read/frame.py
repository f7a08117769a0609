"""The spray-out frame: our own plain layout in millimetres, and where its parts lie in a photo, whichever way up.

A sheet with two rows of window openings is laid over a sprayed card, its white half behind one row and its base half
behind the other. Four solid square marks stand at the corners; the first, top left, has a round hole, so that a photo
from any side can be put upright. Millimetres count from the middle of that mark, x right, y down.
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

F64 = NDArray[np.float64]

FRAME_WIDTH_MM, FRAME_HEIGHT_MM = 176.0, 116.0
MARK_MM, HOLE_MM = 10.0, 4.0
WINDOW_MM = (20.0, 30.0)
FIRST_WINDOW_MM, PITCH_MM = 6.0, 24.0
ROW_TOP_MM = {"white": 12.0, "base": 48.0}
GREY_MM = (6.0, 86.0, 62.0, 22.0)
COLUMNS = 7
_INSET = 0.16
"""Share of a window left out along each edge: shadow of the paper, overspray, a frame laid a little askew."""

CORNERS_MM: F64 = np.array(
    [[0.0, 0.0], [FRAME_WIDTH_MM, 0.0], [FRAME_WIDTH_MM, FRAME_HEIGHT_MM], [0.0, FRAME_HEIGHT_MM]]
)
"""Middles of the marks, clockwise from the one with the hole."""


@dataclass(frozen=True)
class Box:
    """A rectangle on the frame [mm]: its background (white, base, grey or paper) and column."""

    what: str
    column: int
    left: float
    top: float
    width: float
    height: float

    def corners_mm(self) -> F64:
        """Its corners (4, 2), clockwise from the top left."""
        right, bottom = self.left + self.width, self.top + self.height
        return np.array([[self.left, self.top], [right, self.top], [right, bottom], [self.left, bottom]])

    def inside(self, share: float = _INSET) -> Box:
        """The same with a margin left out on every side."""
        dx, dy = share * self.width, share * self.height
        return Box(self.what, self.column, self.left + dx, self.top + dy, self.width - 2 * dx, self.height - 2 * dy)


def windows() -> list[Box]:
    """The window openings, row by row."""
    wide, high = WINDOW_MM
    return [
        Box(row, column, FIRST_WINDOW_MM + PITCH_MM * column, top, wide, high)
        for row, top in ROW_TOP_MM.items()
        for column in range(COLUMNS)
    ]


def mark_box(corner: int) -> Box:
    """The square mark at a corner, 0..3."""
    x, y = CORNERS_MM[corner]
    return Box("mark", corner, float(x) - MARK_MM / 2, float(y) - MARK_MM / 2, MARK_MM, MARK_MM)


def grey_box() -> Box:
    """Where a grey card may be laid."""
    return Box("grey", 0, *GREY_MM)


def paper_boxes() -> list[Box]:
    """Pieces of bare paper all over the frame, 2 mm wide or more, clear of windows, marks and print."""
    lanes = [7.0 + PITCH_MM * i for i in range(COLUMNS)]
    across = [Box("paper", i, x + 2.0, y, 14.0, 2.4) for y in (7.5, 43.8, 79.8) for i, x in enumerate(lanes)]
    gaps = [FIRST_WINDOW_MM + PITCH_MM * i - 3.0 for i in range(1, COLUMNS)]
    between = [Box("paper", i, x, top + 4.0, 2.0, 22.0) for top in ROW_TOP_MM.values() for i, x in enumerate(gaps)]
    below = [Box("paper", i, 76.0 + 24.0 * i, 90.0, 18.0, 14.0) for i in range(4)]
    return across + between + below


@dataclass(frozen=True, eq=False)
class Placement:
    """Where the frame lies in a photo: `matrix` (3, 3) takes millimetres (x, y, 1) to pixels; `notes` how it lay."""

    matrix: F64
    notes: tuple[str, ...] = ()

    def to_px(self, points_mm: F64) -> F64:
        """Pixels (N, 2) of points (N, 2) [mm]."""
        homogeneous = np.column_stack([points_mm, np.ones(len(points_mm))]) @ self.matrix.T
        return np.asarray(homogeneous[:, :2] / homogeneous[:, 2:])


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
_TURNED = ("", "the card lies on its side", "the card lies upside down", "the card lies on its side")
"""By the number of the corner that lies nearest the picture's top left."""


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
    step = max(1, max(picture.height_px, picture.width_px) // _LOOK_PX)
    blobs = _blobs(_small(picture, step))
    best = _best_four(blobs)
    if best is None:
        remedy = "show all four corner squares, flat, on something lighter; or give their pixels with --corners"
        rule = f"the frame's four corner squares were not found ({len(blobs)} spots looked like one)"
        raise PictureError(Problem(rule, remedy, picture.file))
    corners = [((blob.x + 0.5) * step, (blob.y + 0.5) * step) for blob in best]
    note = _TURNED[np.argmin([x + y for x, y in corners])]
    return placement_of(corners, (f"{note}: put upright",) if note else ())


def _small(picture: PictureData, step: int) -> F64:
    """The photo in grey, reduced by whole boxes of `step` pixels a side, in sRGB code."""
    codes = picture.pixels.astype(np.float64)
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
    return bool(
        0.05 * _AREA_SHARE * pixels < region.area_filled < 2.0 * _AREA_SHARE * pixels
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
    expected = [_area(placement.to_px(mark_box(corner).corners_mm())) for corner in range(4)]
    sizes = np.abs(np.log(np.array([blob.area for blob in four]) / expected))
    return float(max(abs(np.log(proportion)) / 0.5, sizes.max() / 0.4))


def _area(corners: F64) -> float:
    x, y = corners[:, 0], corners[:, 1]
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
