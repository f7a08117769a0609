"""Readings come as shops and instruments export them; what was read in is right, and what was put right is said.

The mistakes these exist for: percent taken for fractions, a decimal comma that parts columns, a column taken for
another, and a bad row that is dropped in silence.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.learn.read.readings import Reading, Readings, load_readings


def read(tmp_path: Path, text: str | bytes, name: str = "card.csv") -> Readings:
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return load_readings(path)


PLAIN = """\
# light: D50
# strength: 12 mL/L
background,coats,L,a,b
white,0,95.1,-0.4,2.2
white,1,84.25,3.5,41.0
base,2,61.0,12.5,48.75
"""


def test_plain_lab(tmp_path: Path) -> None:
    found = read(tmp_path, PLAIN)
    assert found.kind == "lab"
    assert [(row.background, row.coats, row.values, row.line) for row in found.rows] == [
        ("white", 0.0, (95.1, -0.4, 2.2), 4),
        ("white", 1.0, (84.25, 3.5, 41.0), 5),
        ("base", 2.0, (61.0, 12.5, 48.75), 6),
    ]
    assert found.remarks == {"light": "D50", "strength": "12 mL/L"}
    assert found.notes == ()


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    found = read(tmp_path, "background;coats;L*;a*;b*\nwhite;1;84,25;3,5;41\nsilver;2;61;12,5;48,75\n")
    assert found.rows[0].values == (84.25, 3.5, 41.0)
    assert found.rows[1].background == "base"
    assert found.notes == ("cells are parted by semicolons", "numbers have decimal commas")


def test_tabs_other_column_order_and_encodings(tmp_path: Path) -> None:
    text = "Coats\tb*\ta*\tL*\tGround\n3\t41.5\t-2\t70\twhite\n"
    for encoding in ("utf-8-sig", "utf-16", "cp1252"):
        found = read(tmp_path, text.encode(encoding), f"{encoding}.txt")
        assert found.rows[0].values == (70.0, -2.0, 41.5)
        assert found.rows[0].coats == 3


def test_a_missing_header_is_filled_in_and_said(tmp_path: Path) -> None:
    found = read(tmp_path, "white,0,95,0,2\nwhite,1,80,3,40\n")
    assert len(found.rows) == 2
    assert found.notes == ("line 1: no header; columns taken as background, coats, L, a, b",)


def test_a_header_that_cannot_be_guessed_is_asked_for(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no header"):
        read(tmp_path, "1,95,0,2\n2,80,3,40\n")


@pytest.mark.parametrize(("scale", "said"), [(100.0, "percent"), (1.0, "fractions")])
def test_xyz_in_percent_or_fractions(tmp_path: Path, scale: float, said: str) -> None:
    rows = [(0.81, 0.85, 0.88), (0.41, 0.43, 0.12)]
    text = "background,coats,X,Y,Z\n" + "".join(
        f"white,{n},{x * scale:g},{y * scale:g},{z * scale:g}\n" for n, (x, y, z) in enumerate(rows)
    )
    found = read(tmp_path, text)
    assert found.kind == "xyz"
    assert found.rows[1].values == pytest.approx(rows[1])
    assert said in found.notes[0]


@pytest.mark.parametrize("scale", [100.0, 1.0])
def test_spectra_in_percent_or_fractions(tmp_path: Path, scale: float) -> None:
    text = "background,coats,400 nm,450,500,550,600,650,700\n"
    text += "white,0," + ",".join(f"{v * scale:g}" for v in (0.8, 0.82, 0.84, 0.85, 0.86, 0.86, 0.87)) + "\n"
    found = read(tmp_path, text)
    assert found.kind == "spectrum"
    assert found.wavelength_nm == (400, 450, 500, 550, 600, 650, 700)
    assert found.rows[0].values == pytest.approx((0.8, 0.82, 0.84, 0.85, 0.86, 0.86, 0.87))


def test_screen_colours(tmp_path: Path) -> None:
    found = read(tmp_path, "background,coats,srgb\nwhite,0,#ffffff\nwhite,2,#cc6600\n")
    assert found.kind == "srgb"
    assert found.rows[1].values == pytest.approx((0.8, 0.4, 0.0))
    codes = read(tmp_path, "background,coats,R,G,B\nwhite,0,255,255,255\nwhite,2,204,102,0\n", "codes.csv")
    assert codes.rows[1].values == pytest.approx((0.8, 0.4, 0.0))


def test_a_cgats_file(tmp_path: Path) -> None:
    text = (
        'CGATS.17\nORIGINATOR "a shop"\nNUMBER_OF_FIELDS 4\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\n'
        'END_DATA_FORMAT\nBEGIN_DATA\n"white 0" 95.0 -0.5 2.0\n"base, 3 coats" 55.5 20.0 41.0\nEND_DATA\n'
    )
    found = read(tmp_path, text, "card.txt")
    assert [(row.background, row.coats, row.values) for row in found.rows] == [
        ("white", 0.0, (95.0, -0.5, 2.0)),
        ("base", 3.0, (55.5, 20.0, 41.0)),
    ]


def test_other_strengths_in_one_file(tmp_path: Path) -> None:
    found = read(tmp_path, "background,coats,strength,L,a,b\nwhite,1,0.5,90,1,20\nwhite,1,1,84,3,41\n")
    assert [row.strength for row in found.rows] == [0.5, 1.0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (PLAIN + "whte,3,70,5,50\n", 'did you mean "white"'),
        (PLAIN + "white,three,70,5,50\n", "not a number"),
        (PLAIN + "white,3,70,5\n", "has 4 cells, the header 5"),
        (PLAIN + "white,-2,70,5,50\n", "coats = -2: must lie between 0 and 60"),
        (PLAIN + "white,3,170,5,50\n", "L* must lie between 0 and 100"),
        (PLAIN.replace("# light", "# lihgt"), 'did you mean "light"'),
        ("background,coats,L,a,b\n", "no readings"),
        ("background,coats\nwhite,1\n", "no column for a colour"),
        ("background,coats,L,a,b\nwhite,1,0.8,0.1,0.4\n", "fractions"),
        ("background,coats,srgb\nwhite,1,orange\n", "six digits"),
        ("", "holds no readings"),
    ],
)
def test_bad_readings_are_told_in_one_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert len(caught.value.problems) == 1
    assert said in str(caught.value)
    assert "card.csv" in str(caught.value)


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, PLAIN + "whte,3,70,5,50\nwhite,x,70,5,50\n")
    assert [problem.line for problem in caught.value.problems] == [7, 8]


def test_what_is_no_text_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not a text file"):
        read(tmp_path, b"\x89PNG\r\n\x1a\n\0\0")
    with pytest.raises(InputError, match="there is no such file"):
        load_readings(tmp_path / "nowhere.csv")


def problems_of(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    return [str(problem) for problem in caught.value.problems]


BANDS, LOW = (400, 450, 500, 550, 600), (0.05, 0.06, 0.07, 0.08, 0.09)
Row = tuple[str, float, tuple[float, ...]]


@pytest.mark.parametrize(
    ("text", "kind", "rows"),
    [
        ("base,0,61,-1,2.5\nbase,3,40,9,20\n", "lab", [("base", 0, (61, -1, 2.5)), ("base", 3, (40, 9, 20))]),
        ("white,0,95,0,2,dry\n", "lab", [("white", 0, (95, 0, 2))]),  # what stands behind them is passed over
        ("base,2,#1a2b3c\n", "srgb", [("base", 2, (0x1A / 255, 0x2B / 255, 0x3C / 255))]),
        ("coats,l,a,b\n2,61,-1,3\n", "lab", [("base", 2, (61, -1, 3))]),  # with no background told: over the base
        ("over,n,r,g,b\nw,2,255,51,102\n", "srgb", [("white", 2, (1, 0.2, 0.4))]),
        ("over,n,r,g,b\nw,2,0.9,0.2,0.4\n", "srgb", [("white", 2, (0.9, 0.2, 0.4))]),
        (
            "base,coats,400,450,500,550,600\nwhite,1,5,6,7,8,9\n",
            "spectrum",
            [("white", 1, (0.05, 0.06, 0.07, 0.08, 0.09))],
        ),
        ("sample,400,450,500,550,600\nsilver 2,5,6,7,8,9\n", "spectrum", [("base", 2, LOW)]),
        (
            "sample,l,a,b\nwhite,95,0,2\nsilver,60,0,2\n",
            "lab",
            [("white", 0, (95, 0, 2)), ("base", 0, (60, 0, 2))],
        ),
        ("sample,over,coats,l,a,b\nwhite 7,base,2,60,5,9\n", "lab", [("base", 2, (60, 5, 9))]),  # only a name there
        ("sample,coats,l,a,b\nA7,2,60,5,9\n", "lab", [("base", 2, (60, 5, 9))]),
        ("ground,coats,srgb,l,a,b\nw,2,none,60,5,9\n", "lab", [("white", 2, (60, 5, 9))]),  # the numbers say more
        ("ground,coats,l,a,b,x,y,z\nw,2,60,5,9,30,28,20\n", "lab", [("white", 2, (60, 5, 9))]),
        ("ground,coats,x,y,z,srgb\nw,2,30,28,20,#ffffff\n", "xyz", [("white", 2, (0.30, 0.28, 0.20))]),
        ("ground,coats,l,a,b\nw,2,60,5,9,seen wet\n", "lab", [("white", 2, (60, 5, 9))]),
    ],
)
def test_files_as_they_come(tmp_path: Path, text: str, kind: str, rows: list[Row]) -> None:
    found = read(tmp_path, text)
    assert found.kind == kind
    assert found.wavelength_nm == (BANDS if kind == "spectrum" else ())
    assert [(row.background, row.coats) for row in found.rows] == [row[:2] for row in rows]
    for row, (_, _, values) in zip(found.rows, rows, strict=True):
        assert row.values == pytest.approx(values, rel=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "white,0,95,0\n",
        "paint,0,95,0,2\n",
        "0,white,95,0,2\n",
        "white,0,95\n",
        "paint,0,#b9bcc0\n",
        "white,0,#b9bcc0,dry\n",
        "white,#b9bcc0\n",
        "paint\n",
    ],
)
def test_a_first_row_that_could_be_anything_is_not_guessed_at(tmp_path: Path, text: str) -> None:
    (line,) = problems_of(tmp_path, text)
    assert "no header, and the first row does not begin with white or base" in line
    assert "card.csv:1: " in line


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("background,L,a,b\nwhite,95,0,2\n", "no column for the coats"),
        ("background,coats,l,a\nwhite,1,95,0\n", "no column for a colour"),
        ("background,coats,400,450,500,550\nwhite,1,5,6,7,8\n", "no column for a colour"),  # too few for a spectrum
        ("base\n", "no column for a colour"),
        (PLAIN + "zebra,3,70,5,50\n", "write white or base"),
        (PLAIN + "white,3,-250,5,50\n", "l = -250: must lie between -200 and 1000"),  # not told again as a lightness
        (PLAIN + "white,3,1100,5,50\n", "l = 1100: must lie between -200 and 1000"),
        (PLAIN + "white,70,70,5,50\n", "coats = 70: must lie between 0 and 60"),
        (PLAIN + "white,3,-0.5,5,50\n", "L* must lie between 0 and 100"),
        (PLAIN + "white,3,110,5,50\n", "L* must lie between 0 and 100"),
        ("background,coats,l,a,b\nwhite,0,1.0,0,0\nwhite,1,0.5,0,0\n", "every L* is 1 or less"),
        ("background,coats,strength,l,a,b\nwhite,1,0.009,60,0,0\n", "must lie between 0.01 and 100"),
        ("background,coats,strength,l,a,b\nwhite,1,110,60,0,0\n", "must lie between 0.01 and 100"),
        ("background,coats,srgb\nwhite,1,#12345\n", "a colour is # and six digits"),
        ("background,coats,srgb\nwhite,1,#1234567\n", "a colour is # and six digits"),
    ],
)
def test_one_mistake_is_told_once(tmp_path: Path, text: str, said: str) -> None:
    (line,) = problems_of(tmp_path, text)
    assert said in line


def test_unusual_numbers_are_taken_as_they_are(tmp_path: Path) -> None:
    """Many thin coats, a* and b* far out, a lightness a little over 100 (a white lighter than the tile) or near 0."""
    text = "background,coats,strength,L,a,b\nwhite,0,1,104,0,0\nwhite,0.5,0.011,0.5,-180,900\nbase,58,90,20,0,0\n"
    found = read(tmp_path, text)
    assert [(row.coats, row.strength, row.values) for row in found.rows] == [
        (0.0, 1.0, (104.0, 0.0, 0.0)),
        (0.5, 0.011, (0.5, -180.0, 900.0)),
        (58.0, 90.0, (20.0, 0.0, 0.0)),
    ]
    assert read(tmp_path, "background,coats,L,a,b\nbase,9,1.2,0,0\n").rows[0].values == (1.2, 0.0, 0.0)  # near black
    assert Reading("white", 2.0, (60.0, 0.0, 0.0), line=1).strength == 1.0  # the card's own mix


@pytest.mark.parametrize(("most", "said"), [(1.4, "fractions"), (1.8, "percent")])
@pytest.mark.parametrize("columns", ["X,Y,Z", "400,450,500,550,600"])
def test_up_to_one_and_a_half_numbers_are_fractions(tmp_path: Path, columns: str, most: float, said: str) -> None:
    """A reading of a fluorescent dye may pass 1, hardly 1.6; of a whole card in percent none stays below. Assumed."""
    count = columns.count(",") + 1
    low, high = [0.2] * count, [*[0.1] * (count - 1), most]
    lines = [f"white,{n}," + ",".join(f"{v:g}" for v in values) for n, values in enumerate((low, high, low))]
    found = read(tmp_path, "\n".join([f"background,coats,{columns}", *lines]) + "\n")
    whole = f" (white at {1 if said == 'fractions' else 100})"
    assert found.notes == (f"X, Y, Z taken as {said}{whole}" if count == 3 else f"reflectances taken as {said}",)
    assert found.rows[1].values == pytest.approx([v * (1.0 if said == "fractions" else 0.01) for v in high])


@pytest.mark.parametrize(("most", "scaled"), [(0.9, 1.0), (1.2, 1 / 255)])
def test_colours_over_one_are_codes(tmp_path: Path, most: float, scaled: float) -> None:
    found = read(tmp_path, f"background,coats,R,G,B\nwhite,0,0.1,{most},0.1\nwhite,1,0.1,0.2,0.3\n")
    assert found.rows[0].values == pytest.approx([0.1 * scaled, most * scaled, 0.1 * scaled])
    assert found.notes == (("red, green, blue taken as 0 to 255",) if scaled < 1 else ())


def test_a_remark_unlike_any_of_ours_is_kept_and_passed_over(tmp_path: Path) -> None:
    assert read(tmp_path, "# weather: damp\n" + PLAIN).remarks["weather"] == "damp"


def test_too_many_rows_are_told_with_the_first_that_is_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layerpreview.learn.read.readings.MOST_ROWS", 2)
    with pytest.raises(InputError, match="3 rows; a card's readings are at most 2") as told:
        read(tmp_path, PLAIN)
    assert told.value.problems[0].line == 6
