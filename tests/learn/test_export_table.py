"""Text exports in the forms that instruments commonly write (layouts: common practice; numbers made up, no two alike).

The mistakes these exist for: a setting taken for a reading, a sample's name lost or given to its neighbour, and a
faulty row left out in silence.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layerpreview.errors import InputError
from layerpreview.learn.read.spectra import ImportedSpectrum, load_spectra

PAIRS = """\
blank,,"dye 1, warm",,dye 2,
Wavelength (nm),%T,Wavelength (nm),%T,Wavelength (nm),%T
700.0,91.5,700.0,90.25,700.0,88.0
550.0,91.0,550.0,40.5,550.0,12.5
400.0,89.5,400.0,61.5,,
380.0,88.5,,,,

Method: scan,
Start (nm),700.0
Averaging (s),0.1
Baseline correction,On
"""
UNITS = """\
Integration time [ms]: 12,5
Smoothing pixels: 3
Wave;Sample;Blank
[nm];[%T];[%T]
380,5;40,5;91,25
540,0;12,5;90,75
699,5;88,0;91,5
"""
FIXED = """\
Scan report
Operator            nobody
Slit width          2 nm
Points              4

Wavelength (nm)     Absorbance
   380.00             0.1250
   500.00             0.9050
   600.00             0.3075
   700.00             0.0115
End of scan
"""
MARKED = """\
Data from somewhere
Date\tWed Nov 25
Integration Time (usec)\t4500
>>>>>Begin Spectral Data<<<<<
380.5\t0.12
500.2\t0.9
699.9\t0.31
>>>>>End Spectral Data<<<<<
"""
BLOCKS = """\
Sample,amber in water
Date,2026-11-25
nm,Abs
380,1.5
500,0.75
700,0.0125
Sample,blank
Date,2026-11-25
nm,Abs
380,0.05
500,0.0425
700,0.041
"""
PIECES = (
    "380",
    "500,5",
    "700.5",
    "0.25",
    "1e-3",
    "",
    "nm",
    "Abs",
    "%T",
    '"dye, 1"',
    '"',
    "Sample: x",
    "#",
    "OVER",
    "12 %",
)


def read(tmp_path: Path, text: str, **how: str) -> dict[str, ImportedSpectrum]:
    path = tmp_path / "export.csv"
    path.write_text(text, encoding="utf-8")
    return {spectrum.name: spectrum for spectrum in load_spectra(path, **how)}  # type: ignore[arg-type]


def test_a_pair_of_columns_a_sample(tmp_path: Path) -> None:
    found = read(tmp_path, PAIRS)
    assert list(found) == ["blank %T", "dye 1, warm %T", "dye 2 %T"]
    assert {spectrum.quantity for spectrum in found.values()} == {"transmittance"}
    assert found["dye 1, warm %T"].wavelength_nm == (400, 550, 700)
    assert found["dye 1, warm %T"].values == pytest.approx((0.615, 0.405, 0.9025))
    assert found["blank %T"].values == pytest.approx((0.885, 0.895, 0.91, 0.915))
    assert found["dye 2 %T"].wavelength_nm == (550, 700)
    assert found["blank %T"].notes[0] == "a table was found in lines 2 to 6"


def test_one_pair_is_named_too(tmp_path: Path) -> None:
    lines = [line.split(",") for line in PAIRS.splitlines()[:5]]
    found = read(tmp_path, "\n".join(",".join(cells[2:4]) for cells in lines))
    assert list(found) == ["dye 1, warm %T"]


@pytest.mark.parametrize("title", ['"dye 7"', "dye 7,", "Sample: dye 7", 'Sample ID,"dye 7"'])
def test_a_title_is_the_samples_name(tmp_path: Path, title: str) -> None:
    text = f'{title}\n"Wavelength nm.","Abs."\n700.0,0.0125\n550.0,0.75\n380.0,1.5\n'
    assert list(read(tmp_path, text)) == ["dye 7 Abs."]
    assert list(read(tmp_path, f"Operator,nobody\n{text}{text.replace('7', '8', 1)}")) in (
        ["dye 7 Abs.", "dye 8 Abs."],
        ["Abs.", "dye 8 Abs."],  # a bare title is one only where it stands alone
    )


def test_names_above_quantities(tmp_path: Path) -> None:
    rows = "380;1,5;2,5\n500;0,75;1,25\n700;0,0;0,5\n"
    assert list(read(tmp_path, f"Kind;scan\n;blank;dye 3\nWavelength;A;A\n{rows}")) == ["blank A", "dye 3 A"]
    assert list(read(tmp_path, f"Operator;nobody\nWavelength;A of 1;A of 2\n{rows}")) == ["A of 1", "A of 2"]


def test_units_below_the_names(tmp_path: Path) -> None:
    found = read(tmp_path, UNITS)
    assert list(found) == ["Sample [%T]", "Blank [%T]"]
    assert found["Sample [%T]"].wavelength_nm == (380.5, 540, 699.5)
    assert found["Blank [%T]"].values == pytest.approx((0.9125, 0.9075, 0.915))


def test_columns_by_width_with_lines_around(tmp_path: Path) -> None:
    (only,) = read(tmp_path, FIXED).values()
    assert (only.name, only.quantity) == ("Absorbance", "absorbance")
    assert only.wavelength_nm == (380, 500, 600, 700)
    assert only.values == (0.125, 0.905, 0.3075, 0.0115)
    assert only.notes == ("a table was found in lines 6 to 10",)


def test_marks_around_the_numbers(tmp_path: Path) -> None:
    (only,) = read(tmp_path, MARKED, quantity="transmittance").values()
    assert only.name == "spectrum 1"
    assert only.values == (0.12, 0.9, 0.31)


def test_tables_one_after_another(tmp_path: Path) -> None:
    found = read(tmp_path, BLOCKS)
    assert list(found) == ["amber in water Abs", "blank Abs"]
    assert found["amber in water Abs"].values == (1.5, 0.75, 0.0125)
    assert found["blank Abs"].values == (0.05, 0.0425, 0.041)
    unnamed = read(tmp_path, BLOCKS.replace("Sample,", "Number,"))
    assert list(unnamed) == ["Abs", "Abs (2)"]


def test_one_sample_a_row(tmp_path: Path) -> None:
    text = "Sample,remark,400,450,500.5,600,700\nred 2,x,5,6,7.5,60,71\nblank,y,80,81,82,83,84.5\n"
    found = read(tmp_path, text, quantity="reflectance")
    assert list(found) == ["red 2", "blank"]
    assert found["red 2"].wavelength_nm == (400, 450, 500.5, 600, 700)
    assert found["red 2"].values == pytest.approx((0.05, 0.06, 0.075, 0.6, 0.71))
    # Amounts as names of columns are none: their first column is of wavelengths.
    columns = read(tmp_path, "nm,300,400,500,600,700\n380,1,2,3,4,5\n780,1,2,3,4,5.5\n", quantity="absorbance")
    assert columns["700"].values == (5, 5.5)


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (FIXED.replace("0.9050", "OVER"), 8),
        (FIXED.replace("0.1250", "OVER"), 7),
        (FIXED.replace("0.0115", "OVER"), 10),
        (BLOCKS.replace("500,0.75", "500,"), 5),
        (BLOCKS.replace("500,0.75", "500,0.75,3"), 5),
        ("A report\nnm;A\n" + "".join(f"{380 + 10 * i};0.{i}1\n" for i in range(4)) + "x;0.3\n"
         + "".join(f"{480 + 10 * i};0.{i}1\n" for i in range(4)), 7),
    ],
)  # fmt: skip
def test_a_faulty_row_is_told_and_never_passed_over(tmp_path: Path, text: str, line: int) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert [problem.line for problem in caught.value.problems] == [line]


@pytest.mark.parametrize(
    ("name", "quantity"),
    [("dye A %T", "transmittance"), ("R 12 Abs", "absorbance"), ("T% of A", "transmittance"), ("A %R", "reflectance")],
)
def test_a_letter_in_a_samples_name_is_no_quantity(tmp_path: Path, name: str, quantity: str) -> None:
    (only,) = read(tmp_path, f"nm;{name}\n380;0.2\n780;0.9\n").values()
    assert only.quantity == quantity


@pytest.mark.slow
@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.lists(st.lists(st.sampled_from(PIECES), min_size=1, max_size=6), min_size=1, max_size=9),
    st.sampled_from("\t;, "),
)
def test_whatever_stands_there_is_read_or_told(tmp_path: Path, lines: list[list[str]], sign: str) -> None:
    try:
        found = read(tmp_path, "\n".join(sign.join(cells) for cells in lines), quantity="absorbance")
    except InputError as error:
        found = {}
        told = [str(problem) for problem in error.problems]
    else:
        told = []
    assert found or told
    assert "\n" not in "".join(told)
