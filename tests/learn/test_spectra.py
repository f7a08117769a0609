"""Spectra of dyes through the import path, against liquids whose absorbance is published.

The mistakes these exist for: transmittance taken for absorbance, percent for fractions, a wrong logarithm, and
wavelengths that are shifted or unsorted.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.learn.spectra import ImportedSpectrum, absorbance10_of_transmittance, load_spectra

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
# How far that liquid itself is from Beer's law over this range (check values 1.3): share of each reading.
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
    np.testing.assert_allclose(fitted, (12.429, 14.470, 4.836, 10.728), atol=2e-3)  # check values 1.3
    for i, share in enumerate(DICHROMATE_WITHIN):
        np.testing.assert_allclose(absorbance[:, i], fitted[i] * g_per_L_cm, rtol=share)


def test_davis_gibson_filters_scale_as_their_recipes_do(tmp_path: Path, colour_science) -> None:  # type: ignore[no-untyped-def]
    # Davis & Gibson, NBS Misc. Publ. 114 (1931): a lamp of illuminant A through two liquid filters gives B or C; both
    # hold the same liquids at 0.71 to 0.72 of each other. Tables of A, B, C: CIE, by way of colour-science; slope
    # 0.7225 and residual 0.0022: check values 1.6.
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


def test_a_broken_xml_file_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "dye.xml"
    path.write_text("<nothing", encoding="utf-8")
    with pytest.raises(InputError, match="TM-27-14") as caught:
        load_spectra(path)
    assert "\n" not in str(caught.value)
