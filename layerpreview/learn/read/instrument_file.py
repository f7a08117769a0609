"""Spectra in open formats: IES TM-27-14 by colour-science, JCAMP-DX and CxF3 by packages of the extra `instruments`."""

from __future__ import annotations

import contextlib
import io
import logging
import re
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.held import bytes_of, check_xml
from layerpreview.learn.read.number_table import LIMIT_BYTES, read_text

JCAMP_ENDINGS = (".dx", ".jdx", ".jcm", ".jcamp")
CXF_ENDINGS = (".cxf",)
TM_27_ENDINGS = (".spdx", ".xml")
# What multiplies a wavelength to give nm; a wavenumber in 1/cm divides 1e7 nm.
_NM = {"nanometers": 1.0, "nanometer": 1.0, "nm": 1.0, "micrometers": 1000.0, "micrometer": 1000.0, "um": 1000.0}
_MOST_LINES, _LONGEST_LINE, _MOST_POINTS = 20_000, 2_000, 200_000
_PER_CM = ("1/cm", "cm-1", "cm^-1")


@dataclass(frozen=True)
class FiledSpectrum:
    """One spectrum of a file: `kind` is what the file calls its values, empty where it is silent."""

    name: str
    kind: str
    wavelength_nm: tuple[float, ...]
    values: tuple[float, ...]
    notes: tuple[str, ...]


def is_cxf(path: Path) -> bool:
    """Tell whether a file is CxF3: by its ending, or an .xml file by its root."""
    if path.suffix.lower() in CXF_ENDINGS:
        return True
    try:
        with path.open("rb") as file:
            return path.suffix.lower() == ".xml" and b"CxF3-core" in file.read(4000)
    except OSError:
        return False


def read_jcamp(path: Path) -> tuple[FiledSpectrum, ...]:
    """Read every block of a JCAMP-DX file (Appl. Spectrosc. 42, 151-162, 1988; doi 10.1366/0003702884428734).

    Raises InputError in one line for a file that holds no spectrum over wavelengths or wavenumbers.
    """
    try:
        import jcamp
    except ImportError as error:
        raise _needs("jcamp", path) from error
    said, lines = io.StringIO(), read_text(path).splitlines()
    _check_jcamp(lines, path)
    try:
        # The package prints what it finds wrong, which would stand in our own output.
        with contextlib.redirect_stdout(said), warnings.catch_warnings():
            warnings.simplefilter("error")  # numbers beyond all measure
            whole: dict[str, Any] = jcamp.read(lines)
    except Exception as error:  # it raises Exception itself
        raise _broken("JCAMP-DX", path) from error
    faults = _own_checks(said.getvalue().splitlines())
    return tuple(
        FiledSpectrum(
            str(block.get("title", "")).splitlines()[0] if block.get("title") else path.stem,
            str(block.get("yunits", "")),
            _wavelengths_nm(block, path),
            tuple(float(value) for value in block["y"]),
            ("a JCAMP-DX file", *faults),
        )
        for block in _blocks(whole, path)
    )


def _check_jcamp(lines: list[str], path: Path) -> None:
    """Raises InputError for a file that would keep the package busy without end: its lines are short by the standard,
    and what it says to hold is made room for."""
    told = (re.match(r"##\s*NPOINTS\s*=\s*(\d+)", line, re.IGNORECASE) for line in lines)
    if (
        len(lines) > _MOST_LINES
        or max(map(len, lines), default=0) > _LONGEST_LINE
        or any(one and (len(one[1]) > 9 or int(one[1]) > _MOST_POINTS) for one in told)
    ):
        rule = "it is far larger than the spectrum of a dye"
        raise InputError(Problem(rule, "export 380 to 780 nm alone, or as CSV", str(path)))


def _own_checks(lines: list[str]) -> tuple[str, ...]:
    """What the standard's own checks found, each once."""
    failed = [name for name in ("X-Check", "Y-Check") if any(line.startswith(name) for line in lines)]
    return tuple(f"the file's own check: {name} failed; look at the curve" for name in failed)


def _blocks(whole: dict[str, Any], path: Path) -> list[dict[str, Any]]:
    blocks = [block for block in (whole, *whole.get("children", ())) if len(block.get("y", ())) > 0]
    if not blocks:
        raise InputError(Problem("holds no spectrum (XYDATA or XYPOINTS)", "export it as CSV", str(path)))
    return blocks


def _wavelengths_nm(block: dict[str, Any], path: Path) -> tuple[float, ...]:
    unit = str(block.get("xunits", "")).strip().lower()
    x = [float(value) for value in block["x"]]
    if len(x) != len(block["y"]):
        raise InputError(Problem(f"{len(block['y'])} values at {len(x)} wavelengths", "export it again", str(path)))
    if unit in _PER_CM and all(value > 0 for value in x):
        return tuple(1e7 / value for value in x)
    if unit not in _NM:
        remedy = "NANOMETERS, MICROMETERS or 1/CM are wanted"
        raise InputError(Problem("not a unit of wavelength", remedy, str(path), field="XUNITS", value=unit))
    return tuple(_NM[unit] * value for value in x)


def read_cxf(path: Path) -> tuple[FiledSpectrum, ...]:
    """Read the reflectance and transmittance spectra of a CxF3 file (ISO 17972-1), one or more an object.

    Raises InputError in one line for a file without spectra, or one that does not say at which wavelengths they stand.
    """
    try:
        import colour_cxf
    except ImportError as error:
        raise _needs("colour-cxf", path) from error
    data = _xml_of(path)
    logging.getLogger("xsdata").addHandler(logging.NullHandler())  # else what it finds odd is printed
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a number that is none is only warned of
            whole: Any = colour_cxf.read_cxf(data)
    except Exception as error:  # whatever stands behind the package
        raise _broken("CxF", path) from error
    found = tuple(_cxf_spectra(whole.resources, path))
    if not found:
        raise InputError(Problem("a CxF file without spectra", "export them with their spectra, or as CSV", str(path)))
    return found


def _cxf_spectra(resources: Any, path: Path) -> Iterator[FiledSpectrum]:
    if not resources or not resources.object_collection:
        return
    kept = resources.color_specification_collection
    ranges = {
        spec.id: spec.measurement_spec.wavelength_range
        for spec in (kept.color_specification if kept else ())
        if spec.measurement_spec and spec.measurement_spec.wavelength_range
    }
    for one in resources.object_collection.object_value:
        for spectrum in one.color_values.choice if one.color_values else ():
            kind = type(spectrum).__name__.removesuffix("Spectrum").lower()
            if kind not in ("reflectance", "transmittance"):
                continue
            name, spec = one.name or one.id or path.stem, ranges.get(spectrum.color_specification)
            first_nm = spectrum.start_wl or (spec and spec.start_wl)
            if not first_nm or not spec or not spec.increment:
                rule = "does not say at which wavelengths it stands"
                raise InputError(Problem(rule, "StartWL and Increment are wanted", str(path), field=name))
            wavelengths = tuple(float(first_nm + spec.increment * i) for i in range(len(spectrum.value)))
            yield FiledSpectrum(name, kind, wavelengths, tuple(spectrum.value), ("a CxF file",))


def read_tm_27(path: Path) -> FiledSpectrum:
    """Read the open spectral format ANSI/IES TM-27-14; raises InputError in one line for any other file."""
    _xml_of(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # colour-science warns of libraries that only its charts need
            import colour

            file: Any = colour.SpectralDistribution_IESTM2714(str(path))
            file.read()
        wavelengths = tuple(float(nm) for nm in file.wavelengths)
        values = tuple(float(value) for value in file.values)
    except Exception as error:  # whatever stands behind the package
        raise _broken("TM-27-14", path) from error
    return FiledSpectrum(path.stem, str(file.spectral_quantity or ""), wavelengths, values, ("a TM-27-14 file",))


def _needs(package: str, path: Path) -> InputError:
    remedy = 'pip install "layerpreview[instruments]", or export it as CSV'
    return InputError(Problem(f"needs one more package ({package})", remedy, file=str(path)))


def _xml_of(path: Path) -> bytes:
    data = bytes_of(path, what="a file of readings", most_bytes=LIMIT_BYTES)
    check_xml(data, str(path), remedy="export it as CSV")
    return data


def _broken(form: str, path: Path) -> InputError:
    return InputError(Problem(f"not a {form} file that can be read, or not a whole one", "export it as CSV", str(path)))
