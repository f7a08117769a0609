"""Tables for a spreadsheet: exists for a client's note that runs as a formula, and numbers that become texts."""

from __future__ import annotations

import csv
import io

import pytest

from layerpreview.output.csv_table import csv_text


def _back(text: str) -> list[dict[str, str]]:
    assert text.startswith("\ufeff")
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


# OWASP, CSV Injection: the signs that a cell must not begin with.
@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_no_text_begins_as_a_formula_does(sign: str) -> None:
    (row,) = _back(csv_text([{"note": f'{sign}HYPERLINK("x")'}], ["note"]))
    assert row["note"] == f'\'{sign}HYPERLINK("x")'


def test_there_and_back_as_the_standard_library_reads_it() -> None:
    """Outside: csv of the standard library (RFC 4180): quotes, commas and line ends in a cell."""
    text = csv_text([{"a": 'says "warm", twice\nover', "b": -3.5, "c": None, "d": True}], ["a", "b", "c", "d", "e"])
    assert _back(text) == [{"a": 'says "warm", twice\nover', "b": "-3.5", "c": "", "d": "True", "e": ""}]
    assert text.split("\r\n")[0] == "\ufeffa,b,c,d,e"
