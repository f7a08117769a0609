"""Spectra of dyes through the import path, against liquids whose absorbance is published.

The mistakes these exist for: transmittance taken for absorbance, percent for fractions, a wrong logarithm, and
wavelengths that are shifted or unsorted.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.learn.fit.colourant import absorbance10_of_transmittance
from layerpreview.learn.read.spectra import ImportedSpectrum, load_spectra

from ..beer import absorptivity_through_zero, share_of_shape

# Potassium dichromate in 0.001 M perchloric acid, 10 mm cell: starna.com, "Nominal absorbance values at certified
# wavelengths" (solutions made from NIST SRM 935a). mg/L -> A at 235, 257, 313, 350 nm.
DICHROMATE_NM = (235, 257, 313, 350)
DICHROMATE = {
    20: (0.246, 0.286, 0.096, 0.214),
    40: (0.493, 0.574, 0.193, 0.428),
    60: (0.743, 0.865, 0.290, 0.643),
    80: (0.994, 1.157, 0.387, 0.858),
    100: (1.247, 1.452, 0.484, 1.074),
}
# How far that liquid itself is from Beer's law over this range, share of each reading: the table above fitted through
# the origin; partial dimerization bends it (Burke & Mavrodineanu, J. Res. NBS 80A, 631, 1976).
DICHROMATE_WITHIN = (0.013, 0.013, 0.009, 0.004)


def read(tmp_path: Path, text: str, **how: str) -> tuple[ImportedSpectrum, ...]:
    path = tmp_path / "dye.csv"
    path.write_text(text, encoding="utf-8")
    return load_spectra(path, **how)  # type: ignore[arg-type]


def dichromate_text(value) -> str:  # type: ignore[no-untyped-def]
    head = "wavelength nm;" + ";".join(f"{mg} mg/L" for mg in DICHROMATE)
    rows = [";".join([str(nm), *(value(DICHROMATE[mg][i]) for mg in DICHROMATE)]) for i, nm in enumerate(DICHROMATE_NM)]
    return "\n".join([head, *rows]) + "\n"


@pytest.mark.parametrize("quantity", ["absorbance", "transmittance"])
def test_dichromate_follows_beers_law_as_well_as_the_liquid_does(tmp_path: Path, quantity: str) -> None:
    written = {
        "absorbance": lambda a: f"{a:.3f}".replace(".", ","),
        "transmittance": lambda a: f"{100 * 10**-a:.5f} %".replace(".", ","),
    }
    spectra = read(tmp_path, dichromate_text(written[quantity]), quantity=quantity)
    values = np.stack([spectrum.values for spectrum in spectra])
    absorbance = values if quantity == "absorbance" else absorbance10_of_transmittance(values)
    g_per_L_cm = np.array(list(DICHROMATE)) / 1000.0 * 1.0  # 10 mm cell
    fitted = absorptivity_through_zero(absorbance, g_per_L_cm)
    np.testing.assert_allclose(fitted, (12.429, 14.470, 4.836, 10.728), atol=2e-3)  # the table's own fit, by hand
    for i, share in enumerate(DICHROMATE_WITHIN):
        np.testing.assert_allclose(absorbance[:, i], fitted[i] * g_per_L_cm, rtol=share)


def test_davis_gibson_filters_scale_as_their_recipes_do(tmp_path: Path, colour_science) -> None:  # type: ignore[no-untyped-def]
    # Davis & Gibson, NBS Misc. Publ. 114 (1931): a lamp of illuminant A through two liquid filters gives B or C; both
    # hold the same liquids at 0.71 to 0.72 of each other. Tables of A, B, C: CIE, by way of colour-science; slope
    # 0.7225 and residual 0.0022: a straight line through those tables, by numpy.
    nm = np.arange(400, 721, 5)
    shape = colour_science.SpectralShape(380, 780, 5)
    a, b, c = (
        np.interp(nm, np.arange(380, 781, 5), colour_science.SDS_ILLUMINANTS[name].copy().align(shape).values)
        for name in "ABC"
    )
    text = "nm,filter C transmittance,filter B transmittance\n"
    # The unknown grey of the filters drops out: scaled so that none transmits more than all.
    for row in zip(nm, c / a / (c / a).max(), b / a / (b / a).max(), strict=True):
        text += ",".join(f"{value:.6f}" for value in row) + "\n"
    filters = [absorbance10_of_transmittance(np.array(spectrum.values)) for spectrum in read(tmp_path, text)]
    share, blank = share_of_shape(filters[1], filters[0])
    assert share == pytest.approx(0.7225, abs=0.001)
    assert np.std(filters[1] - share * filters[0] - blank) < 0.0025


def test_kinds_are_told_by_the_header(tmp_path: Path) -> None:
    text = "nm,%T of amber,abs red,R\n400,12.5,0.9,0.1\n500,55,0.35,0.42\n600,90,0.1,0.8\n"
    amber, red, over_white = read(tmp_path, text)
    assert (amber.quantity, red.quantity, over_white.quantity) == ("transmittance", "absorbance", "reflectance")
    assert amber.values == pytest.approx((0.125, 0.55, 0.9))
    assert any("percent" in note for note in amber.notes)
    assert any("held level" in note for note in red.notes)  # 400 to 600 nm only


def test_unsorted_wavelengths_without_a_header(tmp_path: Path) -> None:
    (only,) = read(tmp_path, "600 0.1\n400 2.5\n500 0.35\n700 0.02\n")
    assert only.wavelength_nm == (400, 500, 600, 700)
    assert only.values == (2.5, 0.35, 0.1, 0.02)
    assert any("no header" in note for note in only.notes)
    assert any("taken as absorbance" in note for note in only.notes)


def test_blanks_between_decimal_commas(tmp_path: Path) -> None:
    (only,) = read(tmp_path, "nm  A\n400,5  1,25\n500,5  0,5\n600,5  0,75\n")
    assert only.wavelength_nm == (400.5, 500.5, 600.5)
    assert only.values == (1.25, 0.5, 0.75)


def test_commas_and_blanks_between_cells(tmp_path: Path) -> None:
    red, blue = read(tmp_path, "wavelength nm, A of red, abs blue\n380, 0.1, 1.2\n780, 0.3, 0.4\n")
    assert (red.name, blue.name) == ("A of red", "abs blue")
    assert (red.wavelength_nm, red.values, blue.values) == ((380, 780), (0.1, 0.3), (1.2, 0.4))
    assert red.notes == ()


def test_reflectances_in_a_cgats_file(tmp_path: Path) -> None:
    bands = " ".join(f"SPECTRAL_NM{nm}" for nm in range(400, 701, 50))
    text = f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {bands}\nEND_DATA_FORMAT\n"
    text += "BEGIN_DATA\nA1 4 5 20 51 72 80 82\nEND_DATA\n"
    (only,) = read(tmp_path, text)
    assert only.quantity == "reflectance"
    assert only.values == pytest.approx((0.04, 0.05, 0.2, 0.51, 0.72, 0.8, 0.82))


def test_the_open_xml_format(tmp_path: Path, colour_science) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "dye.spdx"
    values = dict(zip(range(400, 721, 40), (0.1, 0.2, 0.4, 0.6, 0.7, 0.8, 0.85, 0.9, 0.9), strict=True))
    colour_science.SpectralDistribution_IESTM2714(str(path), data=values, spectral_quantity="transmittance").write()
    (only,) = load_spectra(path)
    assert only.quantity == "transmittance"
    assert dict(zip(only.wavelength_nm, only.values, strict=True)) == pytest.approx(values)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("nm,amber\n400,0.2\n500,0.9\n", "absorbance, transmittance or reflectance?"),
        ("nm,A\n400,0.2\n400,0.3\n500,0.3\n", "stands there twice"),
        ("nm,A\n0.4,0.2\n0.5,0.3\n", "give them in nm"),
        ("nm,A\n400,low\n500,0.3\n", "not a number"),
        ("nm,A\n400,0.2,7\n500,0.3\n", "has 3 cells, the header 2"),
        ("nm\n400\n500\n", "only one column"),
    ],
)
def test_bad_spectra_are_told_in_one_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert len(caught.value.problems) == 1
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("name", "quantity"),
    [
        ("Absorbance of amber", "absorbance"),
        ("amber OD 10 mm", "absorbance"),
        ("ABS", "absorbance"),
        ("a", "absorbance"),
        ("transmission (5 mm)", "transmittance"),
        ("transmittivity", "transmittance"),
        ("%T", "transmittance"),
        ("reflectance_of_amber", "reflectance"),
        ("reflectivity", "reflectance"),
        ("R over white", "reflectance"),
        ("reflectance, not transmittance", "transmittance"),  # the first of the three kinds that is named
    ],
)
def test_a_column_says_what_it_holds(tmp_path: Path, name: str, quantity: str) -> None:
    (only,) = read(tmp_path, f"nm;{name}\n380;0.2\n780;0.9\n")
    assert (only.name, only.quantity, only.values, only.notes) == (name, quantity, (0.2, 0.9), PARTED)


PARTED = ("cells are parted by semicolons",)


def test_what_is_said_of_a_file_holds_against_its_columns(tmp_path: Path) -> None:
    (only,) = read(tmp_path, "nm;absorbance\n380;0.2\n780;0.9\n", quantity="reflectance")
    assert only.quantity == "reflectance"


@pytest.mark.parametrize(("most", "taken"), [(1.01, False), (1.03, True), (5.9, True), (6.1, False)])
def test_what_goes_beyond_one_but_not_far_is_absorbance(tmp_path: Path, most: float, taken: bool) -> None:
    """No share goes beyond 1 but by noise, and instruments read absorbance up to 6 at most (common practice, no
    source)."""
    text = f"nm;amber\n380;0.25\n500;{most}\n780;0.5\n"
    if taken:
        (only,) = read(tmp_path, text)
        assert (only.quantity, only.values) == ("absorbance", (0.25, most, 0.5))
        assert only.notes == (*PARTED, f"amber: values up to {most:g}, taken as absorbance")
    else:
        with pytest.raises(InputError, match="say which: absorbance, transmittance, reflectance"):
            read(tmp_path, text)


@pytest.mark.parametrize(("most", "share"), [(1.5, 1.5), (1.7, 0.017), (90.0, 0.9)])
def test_shares_well_beyond_one_are_percent(tmp_path: Path, most: float, share: float) -> None:
    """Gloss and fluorescence read up to 1.5 of white; below 2 % all over is no dye (common practice, no source)."""
    (only,) = read(tmp_path, f"nm;%R\n380;0.4\n780;{most}\n")
    assert only.values == pytest.approx((0.4 * share / most, share))
    assert only.notes == (PARTED if share == most else (*PARTED, "%R: taken as percent"))
    (absorbance,) = read(tmp_path, f"nm;A\n380;0.4\n780;{most}\n")
    assert absorbance.values == (0.4, most)  # never percent


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [(380, 780, False), (400, 700, False), (402, 780, True), (380, 698, True), (402.5, 698, True)],
)
def test_what_is_missing_of_the_visible_is_said(tmp_path: Path, first: float, last: float, said: bool) -> None:
    (only,) = read(tmp_path, f"nm;A\n{first};0.4\n{last};0.1\n")
    note = f"A: given from {first:g} to {last:g} nm, held level beyond; 380 to 780 is wanted"
    assert only.notes == ((*PARTED, note) if said else PARTED)


@pytest.mark.parametrize(
    ("first", "last", "fine"), [(201, 2999, True), (199, 700, False), (400, 3001, False), (500, 500, False)]
)
def test_wavelengths_are_nanometres_of_light(tmp_path: Path, first: float, last: float, fine: bool) -> None:
    """What instruments for ultraviolet to near infrared read (common practice, no source); in um or 1/cm: refused."""
    text = f"nm;A\n{first};0.4\n{last};0.1\n" if first < last else f"nm;A\n{first};0.4\n"
    if fine:
        assert read(tmp_path, text)[0].wavelength_nm == (first, last)
    else:
        with pytest.raises(InputError, match=f"wavelengths run from {first} to {last}"):
            read(tmp_path, text)


def test_columns_before_the_wavelengths_are_passed_over(tmp_path: Path) -> None:
    first, second = read(tmp_path, "row;Wavelength nm;A;A of blue\nfirst;700;0.25;0.5\nsecond;380;1.5;2.5\n")
    assert (first.name, first.wavelength_nm, first.values) == ("A", (380, 700), (1.5, 0.25))
    assert (second.name, second.values) == ("A of blue", (2.5, 0.5))


def test_the_first_column_is_the_wavelength_where_none_is_called_so(tmp_path: Path) -> None:
    first, second = read(tmp_path, "Wellenlänge;A;A of blue\n380;1.5;2.5\n780;0.25;0.5\n")
    assert (first.name, first.wavelength_nm, first.values) == ("A", (380, 780), (1.5, 0.25))
    assert second.name == "A of blue"


def test_columns_without_a_name_are_counted(tmp_path: Path) -> None:
    found = read(tmp_path, "380 1.5 2.5\n780 0.25 0.5\n")
    assert [spectrum.name for spectrum in found] == ["spectrum 1", "spectrum 2"]
    assert found[1].values == (2.5, 0.5)
    assert found[1].notes == (
        "cells are parted by blanks",
        "line 1: no header; first column taken as wavelength [nm]",
        "spectrum 2: values up to 2.5, taken as absorbance",
    )
    named, unnamed = read(tmp_path, "nm;A;;\n380;0.1;1.5;\n780;0.2;1.25;\n".replace(";\n", "\n"))
    assert (named.name, unnamed.name) == ("A", "spectrum 2")


def test_numbers_may_be_names_beside_others(tmp_path: Path) -> None:
    """Amounts as names, as in "nm; 3; 6": one word among them makes it a header, blanks do not."""
    three, six = read(tmp_path, "nm;3;6\n380;0.1;1.5\n780;0.2;1.25\n", quantity="absorbance")
    assert (three.name, six.name, three.wavelength_nm) == ("3", "6", (380, 780))
    (only,) = read(tmp_path, "380;0.1;\n780;0.2;\n".replace(";\n", "\n"), quantity="absorbance")
    assert only.name == "spectrum 1"


def test_every_bad_cell_is_told_with_its_place(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, "row;nm;A;\nx;380;low;?\ny;none;0.5;0.5\nz;780;1;1;1\n")
    told = [(problem.line, problem.field, problem.value) for problem in caught.value.problems]
    assert told == [(2, "A", "'low'"), (2, "column 4", "'?'"), (3, "nm", "'none'"), (4, "", "")]


@pytest.mark.parametrize("bands", [4, 5])
def test_a_cgats_file_has_five_bands_at_least(tmp_path: Path, bands: int) -> None:
    """The bands are its columns of three digits; other numbers in names are none."""
    names = " ".join(f"nm{400 + 70.5 * i:g}" for i in range(bands))
    values = " ".join(str(10 * (i + 1)) for i in range(bands))
    text = f"BEGIN_DATA_FORMAT\nROW SAMPLE_NAME D500 {names}\nEND_DATA_FORMAT\n"
    text += f'BEGIN_DATA\n1 "a b" 7 {values}\n2 c 7 {values}\nEND_DATA\n'
    if bands < 5:
        with pytest.raises(InputError, match="without spectra"):
            read(tmp_path, text)
        return
    first, second = read(tmp_path, text)
    assert (first.name, second.name) == ("a b", "c")
    assert first.wavelength_nm == (400, 470.5, 541, 611.5, 682)
    assert first.values == pytest.approx((0.1, 0.2, 0.3, 0.4, 0.5))
    assert first.notes[0] == "a CGATS file"
    assert read(tmp_path, text, quantity="transmittance")[0].quantity == "transmittance"
    assert read(tmp_path, text.replace("SAMPLE_NAME", "OTHER"))[1].name == "2"  # no name: the first column
    for row in ("2 c 7 10 20 30 40\n", "2 c 7 10 20 30 40 high\n", "2 c 7 10 20 30 40 50 60\n"):
        with pytest.raises(InputError, match="does not fit its columns") as caught:
            read(tmp_path, text.replace(f"2 c 7 {values}\n", row))
        assert caught.value.problems[0].line == 6


def test_an_xml_file_says_what_it_holds_or_is_asked(tmp_path: Path, colour_science) -> None:  # type: ignore[no-untyped-def]
    path = tmp_path / "dye.xml"
    data = {380: 0.1, 580: 0.4, 780: 0.9}
    colour_science.SpectralDistribution_IESTM2714(str(path), data=data, spectral_quantity="Reflectance").write()
    (only,) = load_spectra(path)
    assert (only.name, only.quantity) == ("dye", "reflectance")
    assert only.notes == ("a TM-27-14 file",)
    assert load_spectra(path, quantity="absorbance")[0].quantity == "absorbance"
    path = tmp_path / "other.xml"
    colour_science.SpectralDistribution_IESTM2714(str(path), data=data, spectral_quantity="flux").write()
    path = path.rename(tmp_path / "OTHER.XML")
    with pytest.raises(InputError, match="absorbance, transmittance or reflectance"):
        load_spectra(path)


def test_a_broken_xml_file_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "dye.xml"
    path.write_text("<nothing", encoding="utf-8")
    with pytest.raises(InputError, match=r"dye\.xml:1: this is no XML file") as caught:
        load_spectra(path)
    assert "\n" not in str(caught.value)
