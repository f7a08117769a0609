"""Tables for a spreadsheet: texts that it would take for a formula are made harmless, wherever they stand."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
MARK = "\ufeff"
"""The mark by which spreadsheets know UTF-8."""


def csv_text(rows: Sequence[Mapping[str, object]], heads: Sequence[str]) -> str:
    """Rows under `heads` as comma-separated values (RFC 4180), with the mark by which spreadsheets know UTF-8.

    >>> csv_text([{"name": "=1+1", "L": -3.5}], ["name", "L"])
    "\\ufeffname,L\\r\\n'=1+1,-3.5\\r\\n"
    """
    return MARK + csv_rows(heads, ([row.get(head) for head in heads] for row in rows))


def csv_rows(
    heads: Sequence[str], rows: Iterable[Iterable[object]], *, line_end: str = "\r\n", digits: int | None = None
) -> str:
    """The same for rows of cells, without the mark; `digits` that fractions are rounded to, all where not given.

    Numbers stay numbers, None is an empty cell. A text that begins as a formula does gets a ' in front, which
    spreadsheets show as text (OWASP, CSV injection), headings as all else; `cell_text` takes it off again.
    """
    made = io.StringIO(newline="")
    writer = csv.writer(made, lineterminator=line_end)
    writer.writerow([_cell(head, digits) for head in heads])
    writer.writerows([_cell(value, digits) for value in row] for row in rows)
    return made.getvalue()


def cell_text(cell: str) -> str:
    """What a cell of text was before it was made harmless.

    >>> cell_text("'=1+1"), cell_text("'twas")
    ('=1+1', "'twas")
    """
    return cell[1:] if cell.startswith("'") and _is_formula(cell) else cell


def _cell(value: object, digits: int | None) -> object:
    if value is None:
        return ""
    if isinstance(value, float) and digits is not None:
        return f"{float(value):.{digits}g}"
    if isinstance(value, bool | int | float):
        return value
    text = str(value)
    return f"'{text}" if _is_formula(text) else text


def _is_formula(text: str) -> bool:
    return text.lstrip(" '").startswith(_FORMULA)
