"""The spray-out frame: our own plain layout in millimetres, and where its parts lie in a photo.

A sheet with two rows of window openings is laid over a sprayed card, its white half behind one row and its base half
behind the other. Four solid square marks stand at the corners; the first, top left, has a round hole, so that a photo
from any side can be put upright. Millimetres count from the middle of that mark, x right, y down.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
