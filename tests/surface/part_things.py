"""What else lies on the bench in the photos of parts: cup, rule, tape, cloth, a white card, a sheet, two marks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .part_shapes import F32, F64, box_mm, circle_mm, covered

SHEETS_MM = {"A4": (297.0, 210.0), "Letter": (279.4, 215.9)}
"""Width and height of sheets, lying on their long side [mm]: ISO 216; ANSI/ASME Y14.1."""
_INK = (0.03, 0.03, 0.03)


@dataclass(frozen=True, eq=False)
class Thing:
    """Flat shapes of one reflectance each, the later over the earlier."""

    rings: tuple[F64, ...]
    colours: tuple[tuple[float, float, float], ...]
    tall: bool = False
    """Stands on the bench: it has a shadow, and lies over the part."""

    def over(self, picture: F32, light: F32, to_px: F64) -> F32:
        """The picture (rows, cols, 3) with it, in the `light` (rows, cols, 3) of its place."""
        picture = picture.copy()
        rows, cols = picture.shape[:2]
        for ring, colour in zip(self.rings, self.colours, strict=True):
            through = np.column_stack((ring, np.ones(len(ring)))) @ to_px.T
            placed = through[:, :2] / through[:, 2:]
            # Only where it lies: a rule has hundreds of marks.
            left, top = np.clip(np.floor(placed.min(axis=0)), 0, (cols, rows)).astype(int)
            right, bottom = np.clip(np.ceil(placed.max(axis=0)), 0, (cols, rows)).astype(int)
            share = covered([placed - (left, top)], bottom - top, right - left)[:, :, None]
            there = picture[top:bottom, left:right]
            there += share * (light[top:bottom, left:right] * np.array(colour, np.float32) - there)
        return picture


def things_on(
    names: tuple[str, ...], part_mm: F64, *, view_mm: float, sheet: str, marks: bool
) -> tuple[list[Thing], F64 | None, F64 | None]:
    """Return the things, lower ones first, the sheet's corners (4, 2) and the marks' middles (2, 2) [mm].

    names : of "cup", "rule", "tape", "cloth", "card" (in the picture's corners and margins), "cup in shadow", "tape in
    shadow" (beside the part, where its shadow falls with the lamp at the top left), "cup over edge", "leg" of a stand
    (both hide some of it).
    """
    left, top, right, bottom = -view_mm / 2, -0.375 * view_mm, view_mm / 2, 0.375 * view_mm
    high = part_mm.max(axis=0)
    made = {
        "cup": lambda: _cup(right - 52, top + 50),
        "cup in shadow": lambda: _cup(high[0] + 44, high[1] - 30),
        "cup over edge": lambda: _cup(high[0] - 12, high[1] - 100),
        "leg": lambda: Thing((box_mm(high[0] - 25, -14, 140, 28, turn_deg=6),), ((0.09, 0.09, 0.10),), tall=True),
        "rule": lambda: _rule(left + 12, bottom - 34),
        "tape": lambda: _tape(left + 52, bottom - 46),
        "tape in shadow": lambda: Thing(
            (box_mm(high[0] - 130, high[1] + 5, 90, 25, turn_deg=-7),), ((0.55, 0.42, 0.2),)
        ),
        "cloth": lambda: _cloth(left, top, view_mm),
        "card": lambda: Thing((box_mm(left + 14, top + 14, 85.6, 54.0, turn_deg=3),), ((0.86, 0.86, 0.85),)),
    }
    things, corners, middles = [], None, None
    if sheet:
        wide, tall = SHEETS_MM[sheet]
        corners = box_mm(-wide / 2 - 30, bottom - tall - 40, wide, tall, turn_deg=4)
        things.append(Thing((corners,), ((0.80, 0.79, 0.77),)))
    if marks:
        middles = np.array([(left + 60, bottom - 36), (right - 70, bottom - 30)])
        things += [_mark(x, y) for x, y in middles]
    return things + [made[name]() for name in names], corners, middles


def _cup(x: float, y: float) -> Thing:
    rings = (circle_mm(x, y, 38), circle_mm(x, y, 34.5), circle_mm(x + 2, y + 3, 30))
    return Thing(rings, ((0.16, 0.26, 0.5), (0.06, 0.10, 0.22), (0.05, 0.028, 0.015)), tall=True)


def _rule(x: float, y: float) -> Thing:
    """A steel rule of 300 mm, every millimetre marked."""
    long = [box_mm(x + 5 + mm - 0.12, y, 0.24, 7.0 if mm % 10 == 0 else 4.0) for mm in range(291)]
    return Thing((box_mm(x, y, 300, 26), *long), ((0.48, 0.48, 0.47), *[_INK] * len(long)))


def _tape(x: float, y: float) -> Thing:
    rings = (circle_mm(x, y, 46), circle_mm(x, y, 38))
    return Thing(rings, ((0.50, 0.40, 0.20), (0.06, 0.055, 0.05)), tall=True)


def _cloth(left: float, top: float, view_mm: float) -> Thing:
    """A red rag over the top left corner."""
    low = np.array([left - view_mm, top - view_mm])
    rag = [
        low,
        (left + 95, low[1]),
        (left + 88, top + 40),
        (left + 60, top + 88),
        (left + 8, top + 97),
        (low[0], top + 80),
    ]
    fold = [(left + 20, top - 9), (left + 34, top - 9), (left + 60, top + 70), (left + 52, top + 76)]
    return Thing((np.array(rag, float), np.array(fold, float)), ((0.36, 0.06, 0.05), (0.22, 0.035, 0.03)))


def _mark(x: float, y: float) -> Thing:
    """A cross of 16 mm on a white sticker."""
    rings = (box_mm(x - 12, y - 12, 24, 24), box_mm(x - 8, y - 0.6, 16, 1.2), box_mm(x - 0.6, y - 8, 1.2, 16))
    return Thing(rings, ((0.8, 0.8, 0.78), _INK, _INK))
