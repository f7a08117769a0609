"""Tables of numbers as shops and instruments export them: any separator, decimal point or comma, any encoding."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

from layerpreview.errors import InputError, Problem
from layerpreview.held import bytes_of, text_of, without_controls

LIMIT_BYTES, MOST_CELLS, MOST_FAULTS = 20_000_000, 400_000, 1_000
MOST_LINES, LONGEST_LINE = 100_000, 200_000
_LONGEST_NAME = 500
_REMARK = re.compile("[A-Za-z][A-Za-z0-9 _/]*")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?\s*%?", re.ASCII)


@dataclass(frozen=True)
class TextTable:
    """Rows of cells with their line numbers, `remarks` ("key: value" lines before or between them), and what was found.

    `notes` say in plain words how the file was read.
    """

    file: str
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    remarks: dict[str, tuple[int, str]]
    decimal_comma: bool
    notes: tuple[str, ...]


def read_text(path: Path) -> str:
    """Return a text file's content, whatever usual encoding it has; raises InputError with one line."""
    data = bytes_of(path, what="a table of readings", most_bytes=LIMIT_BYTES)
    text = without_controls(text_of(data, str(path), remedy="export the readings as CSV", usual=True))
    if sum(map(text.count, ",;\t\n")) + len(re.findall(" +", text)) > MOST_CELLS:
        rule = f"it has more than {MOST_CELLS:,} cells, too many for a table of readings"
        raise InputError(Problem(rule, "export what belongs to this dye alone", str(path)))
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_LINE or number > MOST_LINES:
            what = f"over {LONGEST_LINE:,} signs on one line" if number <= MOST_LINES else f"over {MOST_LINES:,} lines"
            rule, remedy = f"too large for a table of readings: {what}", "export fewer samples, a row each"
            raise InputError(Problem(rule, remedy, str(path), number))
    return text


def read_table(path: Path) -> TextTable:
    """Split a file into rows: the separator is the first of tab, semicolon, comma and blanks that its rows have.

    Lines that begin with # (or hold only `key: value`) are remarks. Raises InputError for a file without rows.
    """
    lines, remarks = [], {}
    content = read_text(path)
    if "BEGIN_DATA_FORMAT" in content:
        return _cgats(path, content)
    for number, raw in enumerate(content.splitlines(), start=1):
        line = raw.strip().strip("\ufeff")
        if not line:
            continue
        name, said = _remark(line)
        if said and (line.startswith("#") or not re.search(r"[;\t]", line)):
            remarks[" ".join(name.lower().replace("_", " ").split())] = (number, said.strip('"'))
        elif not line.startswith("#"):
            lines.append((number, line))
    if not lines:
        raise InputError(Problem("holds no readings", "one row a window: background, coats, L, a, b", file=str(path)))
    separator, name = _separator([line for _, line in lines])
    rows = tuple((number, _cells(line, separator)) for number, line in lines)
    comma = separator != "," and any("," in cell and is_number(cell) for _, cells in rows for cell in cells)
    notes = [] if separator == "," else [f"cells are parted by {name}"]
    if comma:
        notes.append("numbers have decimal commas")
    return TextTable(str(path), rows, remarks, comma, tuple(notes))


def _remark(line: str) -> tuple[str, str]:
    """The two halves of `key: value`; two empty ones where a line is none."""
    name, sign, said = re.split("([:=])", line, maxsplit=1) if re.search("[:=]", line) else (line, "", "")
    name = name.removeprefix("#").strip()
    return (name, said.strip()) if sign and matched(_REMARK, name) else ("", "")


def matched(pattern: re.Pattern[str], text: str) -> re.Match[str] | None:
    """The match with all of a name or a cell; none with one too long to be either, over which a pattern may brood."""
    return pattern.fullmatch(text) if len(text) <= _LONGEST_NAME else None


def _cgats(path: Path, content: str) -> TextTable:
    """A CGATS text file (ANSI CGATS.17): column names and rows each between their own BEGIN and END lines."""
    names: list[str] = []
    rows: list[tuple[int, tuple[str, ...]]] = []
    inside, begun = "", {}
    for number, raw in enumerate(content.splitlines(), start=1):
        line = raw.strip()
        if line.startswith(("BEGIN_DATA", "END_DATA")):
            inside = line if line.startswith("BEGIN") else ""
            begun[inside] = number
        elif inside == "BEGIN_DATA_FORMAT":
            names += line.split()
        elif inside == "BEGIN_DATA" and line:
            rows.append((number, tuple(cell.strip('"') for cell in re.findall(r'"[^"]*"|\S+', line))))
    if not names or not rows:
        raise InputError(Problem("a CGATS file without its data", "it needs BEGIN_DATA ... END_DATA", file=str(path)))
    comma = any("," in cell and is_number(cell) for _, cells in rows for cell in cells)
    return TextTable(str(path), ((begun["BEGIN_DATA_FORMAT"], tuple(names)), *rows), {}, comma, ("a CGATS file",))


def _separator(lines: list[str]) -> tuple[str | None, str]:
    for sign, name in (("\t", "tabs"), (";", "semicolons"), (",", "commas")):
        # "600,5 0,1" is parted by blanks, its commas are decimal; "600, 0.1" is not.
        cells = [line.split() for line in lines[1:]]
        decimal = sign == "," and cells != [] and all(len(row) > 1 and all(map(_complete, row)) for row in cells)
        if not decimal and sign in lines[0] and sum(sign in line for line in lines) >= 0.8 * len(lines):
            return sign, name
    return None, "blanks"


def _complete(cell: str) -> bool:
    """A number that no comma follows."""
    return is_number(cell) and not cell.endswith(",")


def _cells(line: str, separator: str | None) -> tuple[str, ...]:
    cells = line.split(separator) if separator else line.split()
    return tuple(cell.strip().strip('"').strip() for cell in cells)


def is_number(cell: str) -> bool:
    """Tell whether a cell is a plain number that is not beyond all measure, with decimal point or comma, and maybe a %.

    >>> [is_number(cell) for cell in ("12,5", "-0.3", "45 %", "L*")]
    [True, True, True, False]
    """
    return _NUMBER.fullmatch(cell.strip()) is not None and math.isfinite(number(cell))


def number(cell: str) -> float:
    """Return the number in a cell for which `is_number` holds.

    >>> number("12,5")
    12.5
    """
    return float(cell.replace("%", "").strip().replace(",", "."))
