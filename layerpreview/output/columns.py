"""Tables: rows of text with their cells under each other, and rows of a result turned into columns."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Column = list[object] | NDArray[np.generic]


def text_table(rows: Sequence[Sequence[str]], *, width: int | None = None, ruled: bool = False) -> list[str]:
    """Lines of text, every column as wide as its widest cell.

    `width`: longest line; where the cells do not fit, the widest columns give way and their cells are wrapped. `ruled`:
    a line below the first row.

    >>> text_table([["", "coats"], ["honey", "3"]])
    ['       coats', 'honey  3']
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    if width is not None:
        room = width - 2 * (len(widths) - 1)
        while sum(widths) > room:
            widths[widths.index(max(widths))] -= 1
    lines = []
    for n, row in enumerate(rows):
        cells = [[cell] if width is None else _wrapped(cell, size) for cell, size in zip(row, widths, strict=True)]
        for k in range(max(len(cell) for cell in cells)):
            lines.append(_line([cell[k] if k < len(cell) else "" for cell in cells], widths))
        if ruled and n == 0:
            lines.append(_line(["-" * size for size in widths], widths))
    return lines


def _wrapped(cell: str, size: int) -> list[str]:
    return textwrap.wrap(cell, size) or [""]


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(cell.ljust(size) for cell, size in zip(cells, widths, strict=True)).rstrip()


def columns_of(rows: Sequence[Mapping[str, object]]) -> dict[str, Column]:
    """Rows with the same keys as columns of equal length: arrays of numbers (nan where there is none), lists of else.

    >>> columns_of([{"coats": 1, "srgb": "#c88a3a"}, {"coats": 2, "srgb": "#b0742c"}])
    {'coats': array([1, 2]), 'srgb': ['#c88a3a', '#b0742c']}
    """
    names = list(rows[0]) if rows else []
    return {name: _column([row[name] for row in rows]) for name in names}


def _column(values: list[object]) -> Column:
    numbers = [v for v in values if isinstance(v, int | float | np.number) and not isinstance(v, bool)]
    if len(numbers) + values.count(None) < len(values) or not numbers:
        return values
    return np.array([np.nan if value is None else value for value in values])
