"""JCAMP-DX and CxF3, by the packages of the extra `instruments`: units, scale, several samples, broken files.

The mistakes these exist for: wavenumbers taken for wavelengths, the ordinate's factor forgotten, a blank lost among
blocks.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.learn.read.spectra import ImportedSpectrum, load_spectra

BLOCK = """\
##TITLE= amber in water
##JCAMP-DX= 4.24
##DATA TYPE= UV-VIS SPECTRUM
##XUNITS= NANOMETERS
##YUNITS= TRANSMITTANCE
##FIRSTX= 380
##LASTX= 480
##NPOINTS= 6
##XFACTOR= 1
##YFACTOR= 0.001
##DELTAX= 20
##XYDATA= (X++(Y..Y))
380 100 200 300
440 400 550 610
##END=
"""
# The same ten values in the standard's forms (McDonald & Wilks, Appl. Spectrosc. 42, 151, 1988, table of ASDF forms).
FORMS = {
    "packed": "400+1+2+3+3+2+1+0-1-2-3",
    "squeezed": "400ABCCBA@abc",
    "difference": "400AJJ%jjjjjj",
    "with repeats": "400AJJ%jX",
}
CXF = """\
<?xml version="1.0" encoding="UTF-8"?>
<cc:CxF xmlns:cc="http://colorexchangeformat.com/CxF3-core">
 <cc:Resources>
  <cc:ObjectCollection>
   <cc:Object ObjectType="Standard" Name="red over white" Id="1"><cc:ColorValues>
    <cc:ReflectanceSpectrum ColorSpecification="S" StartWL="400">0.061 0.062 0.12 0.755</cc:ReflectanceSpectrum>
    <cc:ColorCIELab ColorSpecification="S"><cc:L>50</cc:L><cc:A>1</cc:A><cc:B>2</cc:B></cc:ColorCIELab>
   </cc:ColorValues></cc:Object>
   <cc:Object ObjectType="Standard" Name="white" Id="2"><cc:ColorValues>
    <cc:ReflectanceSpectrum ColorSpecification="S">0.8 0.82 0.83 0.845</cc:ReflectanceSpectrum>
   </cc:ColorValues></cc:Object>
   <cc:Object ObjectType="Standard" Name="amber" Id="3"><cc:ColorValues>
    <cc:TransmittanceSpectrum ColorSpecification="S">0.1 0.42 0.83 0.9</cc:TransmittanceSpectrum>
   </cc:ColorValues></cc:Object>
  </cc:ObjectCollection>
  <cc:ColorSpecificationCollection><cc:ColorSpecification Id="S"><cc:MeasurementSpec>
   <cc:WavelengthRange StartWL="400" Increment="100"/>
  </cc:MeasurementSpec></cc:ColorSpecification></cc:ColorSpecificationCollection>
 </cc:Resources>
</cc:CxF>
"""


def read(tmp_path: Path, name: str, text: str, **how: str) -> tuple[ImportedSpectrum, ...]:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return load_spectra(path, **how)  # type: ignore[arg-type]


def refused(tmp_path: Path, name: str, text: str) -> str:
    with pytest.raises(InputError) as caught:
        read(tmp_path, name, text)
    assert len(caught.value.problems) == 1
    assert "\n" not in str(caught.value)
    return str(caught.value)


class TestJcamp:
    @pytest.fixture(autouse=True)
    def _package(self) -> None:
        pytest.importorskip("jcamp", reason='jcamp is not installed (pip install "layerpreview[instruments]")')

    def test_a_block_with_its_scale(self, tmp_path: Path) -> None:
        (only,) = read(tmp_path, "a.dx", BLOCK)
        assert (only.name, only.quantity) == ("amber in water", "transmittance")
        assert only.wavelength_nm == (380, 400, 420, 440, 460, 480)
        assert only.values == pytest.approx((0.1, 0.2, 0.3, 0.4, 0.55, 0.61))
        assert only.notes[0] == "a JCAMP-DX file"

    def test_several_blocks(self, tmp_path: Path) -> None:
        blank = BLOCK.replace("amber in water", "blank").replace("= TRANSM", "= transm").replace("610", "930")
        text = f"##TITLE= all\n##DATA TYPE= LINK\n##BLOCKS= 2\n{BLOCK}{blank}##END=\n"
        amber, white = read(tmp_path, "a.JDX", text)
        assert (amber.name, white.name) == ("amber in water", "blank")
        assert (amber.values[-1], white.values[-1]) == pytest.approx((0.61, 0.93))

    def test_wavenumbers_become_wavelengths(self, tmp_path: Path) -> None:
        text = BLOCK.replace("NANOMETERS", "1/CM").replace("= 380", "= 25000").replace("= 480", "= 15000")
        text = text.replace("= 20\n", "= -2000\n").replace("\n380 ", "\n25000 ").replace("\n440 ", "\n19000 ")
        (only,) = read(tmp_path, "a.dx", text)
        # 1e7 nm over the wavenumber, by hand: 25000 1/cm is 400 nm, 15000 is 666.67.
        assert only.wavelength_nm[::5] == pytest.approx((400, 666.667), abs=1e-3)
        assert only.values == pytest.approx((0.1, 0.2, 0.3, 0.4, 0.55, 0.61))

    @pytest.mark.parametrize("form", FORMS)
    def test_the_standards_compressed_forms(self, tmp_path: Path, form: str, capfd) -> None:  # type: ignore[no-untyped-def]
        head = BLOCK.split("380 100")[0].replace("= 380", "= 400").replace("= 480", "= 580").replace("= 6", "= 10")
        head = head.replace("TRANSMITTANCE", "ABSORBANCE").replace("YFACTOR= 0.001", "YFACTOR= 0.1")
        (only,) = read(tmp_path, "a.dx", f"{head}{FORMS[form]}\n##END=\n")
        assert only.values == pytest.approx((0.1, 0.2, 0.3, 0.3, 0.2, 0.1, 0, -0.1, -0.2, -0.3))
        assert only.wavelength_nm[-1] == 580
        assert capfd.readouterr() == ("", "")

    def test_what_the_files_own_check_finds_is_told_not_printed(self, tmp_path: Path, capfd) -> None:  # type: ignore[no-untyped-def]
        (only,) = read(tmp_path, "a.dx", BLOCK.replace("\n440 ", "\n455 "))
        assert any(note.startswith("the file's own check: X-Check failed") for note in only.notes)
        assert capfd.readouterr() == ("", "")

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("nonsense\n", "holds no spectrum"),
            (BLOCK.replace("100 200", "1?0 200"), "not a JCAMP-DX file that can be read"),
            (BLOCK.replace("NANOMETERS", "SECONDS"), "XUNITS = seconds: not a unit of wavelength"),
            (BLOCK.replace("= TRANSMITTANCE", "= ARBITRARY"), "absorbance, transmittance or reflectance?"),
        ],
    )
    def test_broken_files_in_one_line(self, tmp_path: Path, text: str, said: str) -> None:
        assert said in refused(tmp_path, "a.dx", text)


class TestCxf:
    @pytest.fixture(autouse=True)
    def _package(self) -> None:
        pytest.importorskip(
            "colour_cxf", reason='colour-cxf is not installed (pip install "layerpreview[instruments]")'
        )

    @pytest.mark.parametrize("name", ["a.cxf", "a.xml"])
    def test_every_spectrum_under_its_objects_name(self, tmp_path: Path, name: str) -> None:
        red, white, amber = read(tmp_path, name, CXF)
        assert [one.name for one in (red, white, amber)] == ["red over white", "white", "amber"]
        assert [one.quantity for one in (red, white, amber)] == ["reflectance", "reflectance", "transmittance"]
        assert red.wavelength_nm == (400, 500, 600, 700)
        assert red.values == (0.061, 0.062, 0.12, 0.755)
        assert white.values == (0.8, 0.82, 0.83, 0.845)
        assert amber.notes == ("a CxF file",)

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            (CXF.replace("</cc:CxF>", ""), "this is no XML file, or not a whole one"),
            (CXF.replace("0.12 ", "dark "), "not a CxF file that can be read"),
            (CXF.replace(' Increment="100"', ""), "red over white: does not say at which wavelengths"),
            (
                CXF.replace("ReflectanceSpectrum", "EmissiveSpectrum").replace("TransmittanceS", "EmissiveS"),
                "without spectra",
            ),
        ],
    )
    def test_broken_files_in_one_line(self, tmp_path: Path, text: str, said: str) -> None:
        assert said in refused(tmp_path, "a.cxf", text)


@pytest.mark.parametrize(("name", "package"), [("a.dx", "jcamp"), ("a.cxf", "colour_cxf")])
def test_a_missing_package_is_named(tmp_path: Path, monkeypatch, name: str, package: str) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.setitem(sys.modules, package, None)
    assert 'pip install "layerpreview[instruments]"' in refused(tmp_path, name, BLOCK if package == "jcamp" else CXF)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    for name in ("none.dx", "none.cxf", "none.xml"):
        with pytest.raises(InputError) as caught:
            load_spectra(tmp_path / name)
        assert "\n" not in str(caught.value)
