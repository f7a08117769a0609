"""Tables as they are exported: exist for a separator mistaken for another, a remark taken for a row, and a line number
that is one off.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.errors import InputError
from layerpreview.learn.read.number_table import TextTable, is_number, number, read_table, read_text


def table(tmp_path: Path, text: str | bytes) -> TextTable:
    path = tmp_path / "table.txt"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_table(path)


@pytest.mark.parametrize("sign", ["\t", ";", ",", " "])
def test_cells_are_parted_by_the_sign_that_the_rows_have(tmp_path: Path, sign: str) -> None:
    found = table(tmp_path, f'"nm"{sign} A \n\n400{sign}1.5\n')
    assert found.rows == ((1, ("nm", "A")), (3, ("400", "1.5")))
    names = {"\t": ("cells are parted by tabs",), ";": ("cells are parted by semicolons",), ",": ()}
    assert found.notes == names.get(sign, ("cells are parted by blanks",))
    assert not found.decimal_comma
    assert found.file == str(tmp_path / "table.txt")
    assert found.remarks == {}


def test_the_first_sign_of_several_parts_the_cells(tmp_path: Path) -> None:
    assert table(tmp_path, "a;b,c\td\n1;2,5\t3\n").rows[1][1] == ("1;2,5", "3")
    assert table(tmp_path, "a;b, c\n1;2,5\n").rows[1][1] == ("1", "2,5")


@pytest.mark.parametrize(("with_it", "without", "parts"), [(3, 1, False), (4, 1, True)])
def test_a_sign_parts_cells_where_four_rows_in_five_have_it(
    tmp_path: Path, with_it: int, without: int, parts: bool
) -> None:
    lines = ["x;y"] * with_it + ["xy"] * without
    assert table(tmp_path, "\n".join(lines)).rows[0][1] == (("x", "y") if parts else ("x;y",))


def test_a_sign_that_the_first_row_lacks_parts_nothing(tmp_path: Path) -> None:
    assert table(tmp_path, "xy\n" + "x;y\n" * 9).rows[1][1] == ("x;y",)


@pytest.mark.parametrize(
    ("text", "rows", "decimal"),
    [
        ("nm A\n600,5 0,1\n700 0,2\n", [("nm", "A"), ("600,5", "0,1"), ("700", "0,2")], True),
        ("nm,5 A\n600,5 0,1\n", [("nm,5", "A"), ("600,5", "0,1")], True),  # a comma in every row, but none parts
        ("nm,A\n600,5\n700,2\n", [("nm", "A"), ("600", "5"), ("700", "2")], False),  # one cell without blanks
        ("nm,A\n600,5 0,1\n700,2\n", [("nm", "A"), ("600", "5 0", "1"), ("700", "2")], False),  # not in every row
        ("nm,A\n5 600,x\n", [("nm", "A"), ("5 600", "x")], False),
        ("nm,A\n600, x\n", [("nm", "A"), ("600", "x")], False),
        ("nm, A\n600, 5 1\n700, 6 1\n", [("nm", "A"), ("600", "5 1"), ("700", "6 1")], False),
        ("wavelength nm, A\n600, 0.1\n700, 0.2\n", [("wavelength nm", "A"), ("600", "0.1"), ("700", "0.2")], False),
        ("600,5\n", [("600", "5")], False),  # nothing below the first row to tell by
        ("nm;A\n600;0,5\n", [("nm", "A"), ("600", "0,5")], True),
        ("nm;A, B\n600;0.5\n", [("nm", "A, B"), ("600", "0.5")], False),  # a comma, but in no number
    ],
)
def test_commas_part_cells_or_numbers(tmp_path: Path, text: str, rows: list[tuple[str, ...]], decimal: bool) -> None:
    found = table(tmp_path, text)
    assert [cells for _, cells in found.rows] == rows
    assert found.decimal_comma is decimal
    assert ("numbers have decimal commas" in found.notes) is decimal


def test_remarks_are_kept_with_their_lines(tmp_path: Path) -> None:
    text = (
        "# light: D50\nFlake_spread  = 0.3\n# a comment of no kind\nnote: white, then base\n"
        'nm;A\n400;0.1\n# Strength: "5 mL/L"\nkey: 1; 2\n500;0.2\n'
    )
    found = table(tmp_path, text)
    assert found.remarks == {
        "light": (1, "D50"),
        "flake spread": (2, "0.3"),
        "note": (4, "white, then base"),
        "strength": (7, "5 mL/L"),
    }
    # A line with semicolons or tabs is a row unless it begins with #.
    assert found.rows == ((5, ("nm", "A")), (6, ("400", "0.1")), (8, ("key: 1", "2")), (9, ("500", "0.2")))
    assert table(tmp_path, "# key: 1; 2\nnm;A\n").remarks == {"key": (1, "1; 2")}


def test_a_word_and_blanks_by_the_ten_thousand_are_no_remark(tmp_path: Path) -> None:
    """A pattern with two ways to part blanks took minutes over them."""
    found = table(tmp_path, f"background{' ' * 100_000}77\n# light:{' ' * 100_000}D65\n")
    assert (found.rows, found.remarks) == (((1, ("background", "77")),), {"light": (2, "D65")})


def test_remarks_alone_are_no_readings(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no readings"):
        table(tmp_path, "# light: D50\nnote: nothing else\n# and this\n")


CGATS = """\
CGATS.17
BEGIN_DATA_FORMAT
SAMPLE_ID LAB_L
LAB_A
END_DATA_FORMAT
KEYWORD "between"
BEGIN_DATA
"white 2" 90.5 -1

base 61 4.25
END_DATA
behind 1 2
"""


def test_a_cgats_file_is_read_by_its_marks(tmp_path: Path) -> None:
    found = table(tmp_path, CGATS)
    assert found.rows == (
        (2, ("SAMPLE_ID", "LAB_L", "LAB_A")),  # the line from which the names are counted on
        (8, ("white 2", "90.5", "-1")),
        (10, ("base", "61", "4.25")),
    )
    assert found.notes == ("a CGATS file",)
    assert (found.remarks, found.decimal_comma) == ({}, False)
    assert table(tmp_path, CGATS.replace("4.25", "4,25")).decimal_comma
    assert not table(tmp_path, CGATS.replace("white 2", "white, 2")).decimal_comma


@pytest.mark.parametrize("without", ["SAMPLE_ID LAB_L\nLAB_A\n", '"white 2" 90.5 -1\n\nbase 61 4.25\n'])
def test_a_cgats_file_without_names_or_rows_is_refused(tmp_path: Path, without: str) -> None:
    with pytest.raises(InputError, match="without its data"):
        table(tmp_path, CGATS.replace(without, ""))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16-le", "utf-16-be"])
def test_any_usual_encoding(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "table.txt"
    marked = "\ufeff" if encoding.startswith("utf-16") else ""
    path.write_bytes((marked + "weiß;1 µm\n").encode(encoding))
    assert read_text(path) == "weiß;1 µm\n"


def test_twenty_megabytes_are_read_and_no_more(tmp_path: Path) -> None:
    path = tmp_path / "table.txt"
    for size, said in ((20_000_000, "not a text file"), (20_000_001, "longer than 20 MB")):
        with path.open("wb") as file:
            file.truncate(size)  # nothing but zeros: read, then refused as no text
        with pytest.raises(InputError, match=said):
            read_text(path)


@settings(max_examples=30)
@given(
    value=st.integers(-(10**6), 10**6),
    places=st.integers(0, 4),
    comma=st.booleans(),
    percent=st.sampled_from(["", "%", " %"]),
)
def test_numbers_are_read_as_they_are_written(value: int, places: int, comma: bool, percent: str) -> None:
    written = f"{value / 10**places:+.{places}f}"
    cell = f" {written.replace('.', ',') if comma else written}{percent} "
    assert is_number(cell)
    assert number(cell) == pytest.approx(value / 10**places)


@pytest.mark.parametrize("cell", ["", "L*", "1.2.3", "1,2,3", "%", "-", "1e", "3 mm", "1 000", ".", "nan"])
def test_what_is_no_number(cell: str) -> None:
    assert not is_number(cell)


@pytest.mark.parametrize(("cell", "value"), [("1e-3", 0.001), (".5", 0.5), ("5.", 5.0), ("2,5E+2", 250.0), ("+7", 7.0)])
def test_other_ways_to_write_a_number(cell: str, value: float) -> None:
    assert is_number(cell)
    assert number(cell) == value


@pytest.mark.parametrize(
    ("limit", "line", "said"), [("MOST_LINES", 4, "over 3 lines"), ("LONGEST_LINE", 2, "over 3 signs on one line")]
)
def test_too_many_lines_or_too_long_a_line_is_told_with_its_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: str, line: int, said: str
) -> None:
    (tmp_path / "t.csv").write_text("a\n1234\n" if limit == "LONGEST_LINE" else "a\n" * 9, encoding="utf-8")
    monkeypatch.setattr(f"layerpreview.learn.read.number_table.{limit}", 3)
    with pytest.raises(InputError, match=said) as told:
        read_text(tmp_path / "t.csv")
    assert told.value.problems[0].line == line
