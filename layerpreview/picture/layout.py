"""Faces laid out to one scale, in rows like words, so that the whole part fits one picture."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

GAP = 0.06
WIDE = 1.5
"""How much wider than high the picture is wanted; rows are broken to come near it."""


@dataclass(frozen=True)
class Layout:
    """Top left corners of the faces [mm], in their order, on a picture `width_mm` wide with `border_mm` around."""

    corners_mm: tuple[tuple[float, float], ...]
    width_mm: float
    border_mm: float


def laid_out(sizes_mm: Sequence[tuple[float, float]], *, margin: float) -> Layout:
    """Place faces of (width, height) [mm] in centred rows; `margin` and the gap are shares of the widest.

    The row breaks are the ones that make the picture's proportions come nearest to 3:2; order is kept.
    """
    widest = max(width for width, _ in sizes_mm)
    gap, border = GAP * widest, margin * widest
    best: tuple[float, list[list[int]]] | None = None
    for count in range(1, len(sizes_mm) + 1):
        rows = _broken(sizes_mm, count, gap)
        width, height = _extent(sizes_mm, rows, gap)
        misfit = abs(math.log(width / height / WIDE))
        if best is None or misfit < best[0] - 1e-9:
            best = (misfit, rows)
    assert best is not None
    rows = best[1]
    total = _extent(sizes_mm, rows, gap)[0]
    corners: dict[int, tuple[float, float]] = {}
    top = border
    for row in rows:
        tall = max(sizes_mm[i][1] for i in row)
        left = border + 0.5 * (total - _row_width(sizes_mm, row, gap))
        for i in row:
            corners[i] = (left, top + 0.5 * (tall - sizes_mm[i][1]))
            left += sizes_mm[i][0] + gap
        top += tall + gap
    return Layout(tuple(corners[i] for i in range(len(sizes_mm))), total + 2.0 * border, border)


def _broken(sizes_mm: Sequence[tuple[float, float]], count: int, gap: float) -> list[list[int]]:
    """Fill `count` rows in order, each up to an even share of the whole length."""
    share = sum(width + gap for width, _ in sizes_mm) / count
    rows: list[list[int]] = [[]]
    used = 0.0
    for i, (width, _) in enumerate(sizes_mm):
        if rows[-1] and len(rows) < count and used + 0.5 * (width + gap) > share * len(rows):
            rows.append([])
        rows[-1].append(i)
        used += width + gap
    return rows


def _row_width(sizes_mm: Sequence[tuple[float, float]], row: Sequence[int], gap: float) -> float:
    return sum(sizes_mm[i][0] for i in row) + gap * (len(row) - 1)


def _extent(sizes_mm: Sequence[tuple[float, float]], rows: Sequence[Sequence[int]], gap: float) -> tuple[float, float]:
    width = max(_row_width(sizes_mm, row, gap) for row in rows)
    height = sum(max(sizes_mm[i][1] for i in row) for row in rows) + gap * (len(rows) - 1)
    return width, height
