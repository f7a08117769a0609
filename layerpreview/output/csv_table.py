"""Tables for a spreadsheet: texts that it would take for a formula are made harmless."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(rows: Sequence[Mapping[str, object]], heads: Sequence[str]) -> str:
    """Rows under `heads` as comma-separated values (RFC 4180), with the mark by which spreadsheets know UTF-8.

    Numbers stay numbers, None is an empty cell. A text that begins as a formula does gets a ' in front, which
    spreadsheets show as text (OWASP, CSV injection).

    >>> csv_text([{"name": "=1+1", "L": -3.5}], ["name", "L"])
    "\\ufeffname,L\\r\\n'=1+1,-3.5\\r\\n"
    """
    made = io.StringIO(newline="")
    writer = csv.writer(made)
    writer.writerow(heads)
    writer.writerows([_cell(row.get(head)) for head in heads] for row in rows)
    return "\ufeff" + made.getvalue()


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, bool | int | float):
        return value
    text = str(value)
    return f"'{text}" if text.startswith(_FORMULA) else text
