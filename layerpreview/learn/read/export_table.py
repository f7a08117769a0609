"""Tables inside an instrument's text export: header lines before, settings behind, several tables one after another."""

from __future__ import annotations

import csv
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from layerpreview.learn.read.number_table import is_number, matched, read_text

Line = tuple[int, str]
Rows = tuple[tuple[int, tuple[str, ...]], ...]

_FEWEST_ROWS = 3
_SIGNS = ("\t", ";", ",", None)
_LABEL = re.compile(r'"?(?:sample(?: ?name| ?id)?|title|name)"?\s*[:=,;\t]\s*"?([^"]+?)"?[,;\s]*', re.IGNORECASE)
_WAVELENGTH = re.compile(
    r"\W*(?:wave[ _]?lengths?|wave|nm|lambda|λ|wl)(?:[\W_]*(?:nm|nanomet\w+))?\W*",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class ExportTable:
    """One table: a name for each column, rows with their line numbers; `label` names the sample, or is empty."""

    header: tuple[str, ...]
    rows: Rows
    label: str
    first_line: int


def is_wavelength(name: str) -> bool:
    """Tell whether a column's name is that of wavelengths.

    >>> [is_wavelength(name) for name in ("nm", "Wavelength (nm)", "Wave [nm]", "wavenumber", "nm of red")]
    [True, True, True, False, False]
    """
    return matched(_WAVELENGTH, name) is not None


def export_tables(path: Path) -> tuple[ExportTable, ...]:
    """Return the tables of a text whose other lines are no part of them, each of three rows or more.

    A row begins with a number and holds nothing but numbers; what stands between two of the same form and is a number
    short stays, to be told as a fault. Raises InputError where the file cannot be read.
    """
    lines = [(n, raw.strip(" \r\ufeff")) for n, raw in enumerate(read_text(path).splitlines(), start=1)]
    lines = [(n, line) for n, line in lines if line.strip("\t;, ") and not line.startswith("#")]
    tables, before = [], 0
    for start, end, sign in _bodies(lines):
        rows = tuple((n, _cells(line, sign)) for n, line in lines[start:end])
        counts = Counter(len(cells) for _, cells in rows)
        above = len(_cells(lines[start - 1][1], sign)) if start > before else 0
        wide = above if above in counts else counts.most_common(1)[0][0]
        head = _head(lines[before:start], sign, wide)
        label = _label([line for _, line in lines[before:start]], len(head), sign)
        names = _names(head, wide)
        first = lines[start - 1][0] if head else rows[0][0]
        tables.append(ExportTable(names, rows, label, first))
        before = end
    return tuple(tables)


def _bodies(lines: list[Line]) -> list[tuple[int, int, str | None]]:
    """First row, row behind the last, and separator of each table."""
    found: list[tuple[int, int, str | None]] = []
    start = 0
    while start < len(lines):
        shape, end = _shape(lines[start][1]), start + 1
        if shape:
            sign, count = shape
            begin, last = start, found[-1][1] if found else 0
            while begin > last and _row_like(lines[begin - 1][1], sign, count):
                begin -= 1
            while end < len(lines) and _row_like(lines[end][1], sign, count):
                end += 1
            between = [line for _, line in lines[last:begin]]
            # A row with a fault in its wavelength parts nothing: it is told.
            if found and found[-1][2] == sign and all(_faulty(line, sign, count) for line in between):
                begin = found.pop()[0]
            if end - begin >= _FEWEST_ROWS:
                found.append((begin, end, sign))
        start = end
    return found


def _shape(line: str) -> tuple[str | None, int] | None:
    """Separator and count of cells of a row of numbers, None for any other line."""
    for sign in _SIGNS:
        cells = _cells(line, sign)
        if len(cells) > 1 and all(is_number(cell) for cell in cells[:2]) and all(not c or is_number(c) for c in cells):
            return sign, len(cells)
    return None


def _row_like(line: str, sign: str | None, count: int) -> bool:
    """A row, though perhaps with a fault: it begins with a number."""
    cells = _cells(line, sign)
    return is_number(cells[0]) and (len(cells) == count or (sign is not None and sign in line))


def _faulty(line: str, sign: str | None, count: int) -> bool:
    cells = _cells(line, sign)
    return len(cells) == count and any(is_number(cell) for cell in cells[1:])


def _cells(line: str, sign: str | None) -> tuple[str, ...]:
    """Cells of a line; empty ones at its end are only a separator too many."""
    quoted = sign and '"' in line and len(line) < csv.field_size_limit()
    parts = next(csv.reader([line], delimiter=sign, skipinitialspace=True)) if sign and quoted else line.split(sign)
    cells = [cell.strip().strip('"').strip() for cell in parts]
    while len(cells) > 1 and not cells[-1]:
        cells.pop()
    return tuple(cells)


def _head(above: list[Line], sign: str | None, wide: int) -> list[tuple[str, ...]]:
    """Up to two rows of names right above a table, padded to its width; the lower one last."""
    head: list[tuple[str, ...]] = []
    for _, line in reversed(above[-2:]):
        cells = _cells(line, sign)
        if sign is None and len(cells) != wide:
            cells = tuple(re.split(r"\s{2,}|\t", line))  # "Wavelength (nm)   Abs"
        parted = sign is None or sign in line
        if not parted or not any(cells) or (len(cells) != wide and (not head or len(cells) > wide)):
            break
        head.insert(0, cells + ("",) * (wide - len(cells)))
    return head


def _label(above: list[str], head: int, sign: str | None) -> str:
    """The sample's name in the lines above a table: "Sample: red", or the only line above its names."""
    said = [match[1].strip() for line in above if (match := matched(_LABEL, line))]
    if said:
        return said[-1]
    alone = head == 1 and len(above) == 2 and (sign is None or sign not in above[0])
    return above[0].strip('" ') if alone else ""


def _names(head: list[tuple[str, ...]], wide: int) -> tuple[str, ...]:
    """One name a column: of the lower row, with the sample's or the quantity's from above it where one stands there."""
    if not head:
        return ("",) * wide
    low = head[-1]
    if len(head) == 1:
        return low
    top = head[0]
    if any(map(is_wavelength, top)):  # names above units: the wavelengths' own column keeps its name
        return tuple(up if is_wavelength(up) else f"{up} {down}".strip() for up, down in zip(top, low, strict=True))
    names, at = [], 0
    for i, name in enumerate(low):
        at = i if is_wavelength(name) else at
        # "blank,,dye,," above "nm,Abs,nm,Abs", or ",blank,dye" above "nm,Abs,Abs"; "Operator,somebody" is no name.
        of_pair = i == at + 1 and (i + 1 == wide or is_wavelength(low[i + 1]))
        sample = top[i] if not top[at] else top[at] if of_pair and not top[i] else ""
        names.append(name if i == at else f"{sample} {name}".strip())
    return tuple(names)
