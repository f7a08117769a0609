"""The spray-out frame: our own plain layout in millimetres, and where its parts lie in a photo, whichever way up.

A sheet with two rows of window openings is laid over a sprayed card, its white half behind one row and its base half
behind the other. Four solid square marks stand at the corners; the first, top left, has a round hole, so that a photo
from any side can be put upright. Millimetres count from the middle of that mark, x right, y down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.marks import CORNERS_MM, MARK_MM, find_marks
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement

F64 = NDArray[np.float64]

WINDOW_MM = (20.0, 30.0)
FIRST_WINDOW_MM, PITCH_MM = 6.0, 24.0
ROW_TOP_MM = {"white": 12.0, "base": 48.0}
GREY_MM = (6.0, 86.0, 62.0, 22.0)
COLUMNS = 7
_INSET = 0.16
"""Share of a window left out along each edge: shadow of the paper, overspray, a frame laid a little askew."""


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


_TURNED = ("", "the card lies on its side", "the card lies upside down", "the card lies on its side")
"""By the number of the corner that lies nearest the picture's top left."""


def find_card(picture: PictureData) -> Placement:
    """Find the frame by its marks (`surface.marks.find_marks`), and say in its notes how it lay.

    Raises PictureError with one line when the marks are not there.
    """
    placed = find_marks(picture)
    note = _TURNED[np.argmin(placed.to_px(CORNERS_MM).sum(axis=1))]
    return Placement(placed.matrix, (f"{note}: put upright",) if note else ())
