"""Spectra of dyes from a file: transmittance, absorbance, or reflectance over white, at any wavelengths."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, cast

from layerpreview.errors import InputError, Problem
from layerpreview.learn.number_table import TextTable, is_number, number, read_table

Quantity = Literal["absorbance", "transmittance", "reflectance"]
QUANTITIES: tuple[Quantity, ...] = ("absorbance", "transmittance", "reflectance")
_SHORT = {"a": "absorbance", "abs": "absorbance", "od": "absorbance", "t": "transmittance", "r": "reflectance"}
_WAVELENGTH = ("wavelength", "wavelengths", "nm", "lambda", "wavelength nm", "wavelength_nm")


@dataclass(frozen=True)
class ImportedSpectrum:
    """One column of a file: `values` of `quantity` (0..1 but for absorbance) at `wavelength_nm`, which increases."""

    name: str
    quantity: Quantity
    wavelength_nm: tuple[float, ...]
    values: tuple[float, ...]
    notes: tuple[str, ...]


def load_spectra(path: Path, *, quantity: Quantity | None = None) -> tuple[ImportedSpectrum, ...]:
    """Read every spectrum of a file: CSV (wavelength, then one column each), CGATS text, or IES TM-27-14 (.spdx, .xml).

    `quantity` says what the numbers are where the file does not. Raises InputError with every problem, one line each.
    """
    if path.suffix.lower() in (".spdx", ".xml"):
        return (_tm_27(path, quantity),)
    table = read_table(path)
    if "a CGATS file" in table.notes:
        return _from_rows(table, quantity)
    return _from_columns(table, quantity)


def _from_columns(table: TextTable, quantity: Quantity | None) -> tuple[ImportedSpectrum, ...]:
    header, body, notes = _split(table)
    at = next((i for i, name in enumerate(header) if name.lower() in _WAVELENGTH), 0)
    problems: list[Problem] = []
    for line, cells in body:
        if len(cells) != len(header):
            problems.append(Problem(f"has {len(cells)} cells, the header {len(header)}", file=table.file, line=line))
        problems += [
            Problem("not a number", file=table.file, line=line, field=header[i] or f"column {i + 1}", value=repr(cell))
            for i, cell in enumerate(cells[: len(header)])
            if i >= at and not is_number(cell)
        ]
    if problems:
        raise InputError(problems)
    wavelengths = [number(cells[at]) for _, cells in body]
    names = [(i, name) for i, name in enumerate(header) if i > at]
    if not names:
        raise InputError(Problem("only one column: a wavelength needs its value beside it", file=table.file))
    return tuple(
        _checked(table.file, name or f"spectrum {k}", wavelengths, [number(c[i]) for _, c in body], quantity, notes)
        for k, (i, name) in enumerate(names, start=1)
    )


def _from_rows(table: TextTable, quantity: Quantity | None) -> tuple[ImportedSpectrum, ...]:
    header = [name.lower() for name in table.rows[0][1]]
    found = [(i, re.search(r"\d{3}(?:\.\d+)?$", name)) for i, name in enumerate(header)]
    bands = [(i, float(match[0])) for i, match in found if match and ("spectral" in header[i] or "nm" in header[i])]
    if len(bands) < 5:
        raise InputError(Problem("a CGATS file without spectra", "it needs columns such as SPECTRAL_NM400", table.file))
    label = next((i for i, name in enumerate(header) if name in ("sample_name", "sample_id")), 0)
    out = []
    for line, cells in table.rows[1:]:
        if len(cells) != len(header) or not all(is_number(cells[i]) for i, _ in bands):
            raise InputError(Problem("a row that does not fit its columns", file=table.file, line=line))
        wavelengths, values = [nm for _, nm in bands], [number(cells[i]) for i, _ in bands]
        out.append(
            _checked(table.file, cells[label], wavelengths, values, quantity or "reflectance", list(table.notes))
        )
    return tuple(out)


def _split(table: TextTable) -> tuple[list[str], list[tuple[int, tuple[str, ...]]], list[str]]:
    (line, first), notes = table.rows[0], list(table.notes)
    # A number among the later names ("red 10 uL" is none, "3" is): the first cell decides.
    if any(cell and not is_number(cell) for cell in first):
        return list(first), list(table.rows[1:]), notes
    notes.append(f"line {line}: no header; first column taken as wavelength [nm]")
    return ["nm", *[""] * (len(first) - 1)], list(table.rows), notes


def _checked(
    file: str, name: str, wavelengths: list[float], values: list[float], quantity: Quantity | None, notes: list[str]
) -> ImportedSpectrum:
    notes = list(notes)
    known = quantity or _quantity_in(name)
    if known is None and not 1.02 < max(values) < 6.0:
        rule = f"is {name!r} absorbance, transmittance or reflectance?"
        raise InputError(Problem(rule, f"say which: {', '.join(QUANTITIES)}", file=file, field="quantity"))
    if known is None:
        known = "absorbance"
        notes.append(f"{name}: values up to {max(values):.3g}, taken as absorbance")
    if not 200.0 < min(wavelengths) < max(wavelengths) < 3000.0:
        rule = f"wavelengths run from {min(wavelengths):g} to {max(wavelengths):g}"
        raise InputError(Problem(rule, "give them in nm, at least two, 380 to 780 at best", file=file, field=name))
    order = sorted(range(len(wavelengths)), key=wavelengths.__getitem__)
    if len(set(wavelengths)) < len(wavelengths):
        raise InputError(Problem("a wavelength stands there twice", file=file, field=name))
    wavelengths, values = [wavelengths[i] for i in order], [values[i] for i in order]
    if known != "absorbance" and max(values) > 1.6:
        values = [value / 100.0 for value in values]
        notes.append(f"{name}: taken as percent")
    if min(wavelengths) > 400.0 or max(wavelengths) < 700.0:
        reach = f"{min(wavelengths):g} to {max(wavelengths):g} nm"
        notes.append(f"{name}: given from {reach}, held level beyond; 380 to 780 is wanted")
    return ImportedSpectrum(name, known, tuple(wavelengths), tuple(values), tuple(notes))


def _quantity_in(name: str) -> Quantity | None:
    words = re.findall(r"[a-z]+", name.lower())
    for quantity in QUANTITIES:
        if any(word in (quantity, quantity.replace("ance", "ivity")) for word in words):
            return quantity
    # "transmission", "%T", "abs"
    if any(word.startswith("transm") for word in words):
        return "transmittance"
    return cast(Quantity | None, next((_SHORT[word] for word in words if word in _SHORT), None))


def _tm_27(path: Path, quantity: Quantity | None) -> ImportedSpectrum:
    """The open spectral format that colour-science reads (ANSI/IES TM-27-14)."""
    import warnings

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # colour-science warns of libraries that only its charts need
            import colour

            file: Any = colour.SpectralDistribution_IESTM2714(str(path))
            file.read()
    except (OSError, ValueError, TypeError, SyntaxError, AttributeError) as error:
        reason = " ".join(str(error).split()) or type(error).__name__
        raise InputError(Problem(f"not a TM-27-14 spectrum ({reason})", "export it as CSV", file=str(path))) from error
    said = str(file.spectral_quantity or "").lower()
    known = quantity or next((name for name in QUANTITIES if name == said), None)
    wavelengths = [float(nm) for nm in file.wavelengths]
    values = [float(value) for value in file.values]
    return _checked(str(path), path.stem, wavelengths, values, known, ["a TM-27-14 file"])
