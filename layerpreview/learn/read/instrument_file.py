"""Spectra in open formats: IES TM-27-14 by colour-science, JCAMP-DX and CxF3 by packages of the extra `instruments`."""

from __future__ import annotations

import contextlib
import io
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.learn.read.number_table import LIMIT_BYTES, read_text

JCAMP_ENDINGS = (".dx", ".jdx", ".jcm", ".jcamp")
CXF_ENDINGS = (".cxf",)
TM_27_ENDINGS = (".spdx", ".xml")
# What multiplies a wavelength to give nm; a wavenumber in 1/cm divides 1e7 nm.
_NM = {"nanometers": 1.0, "nanometer": 1.0, "nm": 1.0, "micrometers": 1000.0, "micrometer": 1000.0, "um": 1000.0}
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
    try:
        # The package prints what it finds wrong, which would stand in our own output.
        with contextlib.redirect_stdout(said):
            whole: dict[str, Any] = jcamp.read(lines)
    except Exception as error:  # it raises Exception itself
        raise _broken("JCAMP-DX", path, error) from error
    faults = tuple(f"the file's own check: {line}" for line in said.getvalue().splitlines())
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
    try:
        if path.stat().st_size > LIMIT_BYTES:
            raise InputError(Problem("too large for a table of readings", file=str(path)))
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # a number that is none is only warned of
            whole: Any = colour_cxf.read_cxf(path.read_bytes())
    except InputError:
        raise
    except (OSError, ValueError, TypeError, LookupError, Warning) as error:
        raise _broken("CxF", path, error) from error
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
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # colour-science warns of libraries that only its charts need
            import colour

            file: Any = colour.SpectralDistribution_IESTM2714(str(path))
            file.read()
    except (OSError, ValueError, TypeError, SyntaxError, AttributeError) as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        raise InputError(Problem(f"not a TM-27-14 spectrum ({reason})", "export it as CSV", file=str(path))) from error
    wavelengths = tuple(float(nm) for nm in file.wavelengths)
    values = tuple(float(value) for value in file.values)
    return FiledSpectrum(path.stem, str(file.spectral_quantity or ""), wavelengths, values, ("a TM-27-14 file",))


def _needs(package: str, path: Path) -> InputError:
    remedy = 'pip install "layerpreview[instruments]", or export it as CSV'
    return InputError(Problem(f"needs one more package ({package})", remedy, file=str(path)))


def _broken(form: str, path: Path, error: BaseException) -> InputError:
    reason = " ".join(str(error).split()) or type(error).__name__
    return InputError(Problem(f"not a {form} file that can be read ({reason})", "export it as CSV", file=str(path)))
