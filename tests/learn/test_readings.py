"""Readings come as shops and instruments export them; what was read in is right, and what was put right is said.

The mistakes these exist for: percent taken for fractions, a decimal comma that parts columns, a column taken for
another, and a bad row that is dropped in silence.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.learn.readings import Readings, load_readings


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
    with pytest.raises(InputError, match="cannot be read"):
        load_readings(tmp_path / "nowhere.csv")
