"""Results as JSON and as columns: one way for all of them, the same bytes for the same result."""

from __future__ import annotations

import json
import math
import re
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from fractions import Fraction
from pathlib import PurePath

import numpy as np
from numpy.typing import NDArray

_STEERING = re.compile(r"[\x7f-\x9f\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
"""Signs that steer a terminal, and halves of pairs, which no file holds: as escapes, which JSON takes for the same."""
_HALVES = re.compile(r"[\ud800-\udfff]")
"""How Python holds the bytes of a file's name that is not UTF-8: no text can be written with them."""
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


def plain_json(value: object) -> str:
    """Dataclasses, mappings, sequences, arrays and paths as indented JSON with a line end.

    Fractions become decimal numbers. Raises ValueError for a number that is none (nan, infinite): no result holds one.
    """
    return _escaped(json.dumps(plain(value), indent=2, ensure_ascii=False, allow_nan=False), _STEERING) + "\n"


def json_line(value: object, *, packed: bool = False, ascii_only: bool = False) -> str:
    """The same on one line with sorted keys: for the log, for typst, and `packed` (no blanks) for pages and codes.

    `ascii_only`: every other sign as \\u escapes.
    """
    gaps = (",", ":") if packed else (", ", ": ")
    text = json.dumps(plain(value), ensure_ascii=ascii_only, allow_nan=False, separators=gaps, sort_keys=True)
    return _escaped(text, _HALVES)


def _escaped(text: str, signs: re.Pattern[str]) -> str:
    return signs.sub(lambda sign: f"\\u{ord(sign[0]):04x}", text)


def plain(value: object) -> object:
    """A result as JSON knows it: dicts, lists, texts, numbers, true, false and null.

    A dataclass shows its fields, and the properties that it names in `also_in_json`; a time is ISO 8601 in UTC.
    """
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="seconds")
    if isinstance(value, Fraction):
        return round(float(value), 9)
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if is_dataclass(value) and not isinstance(value, type):
        names = [field.name for field in fields(value)]
        return {name: plain(getattr(value, name)) for name in [*names, *getattr(value, "also_in_json", ())]}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, PurePath):  # with / on every system, which all of them read
        return value.as_posix()
    if isinstance(value, Sequence | set | frozenset) and not isinstance(value, str):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("a result holds a number that is none")
    return str(value) if isinstance(value, str) else value
