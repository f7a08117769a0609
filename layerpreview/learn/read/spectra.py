"""Spectra of dyes from a file: transmittance, absorbance, or reflectance over white, at any wavelengths."""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, cast

from layerpreview.errors import InputError, Problem
from layerpreview.held import shown
from layerpreview.learn.read.export_table import ExportTable, export_tables, is_wavelength
from layerpreview.learn.read.instrument_file import (
    JCAMP_ENDINGS,
    TM_27_ENDINGS,
    FiledSpectrum,
    is_cxf,
    read_cxf,
    read_jcamp,
    read_tm_27,
)
from layerpreview.learn.read.number_table import MOST_FAULTS, TextTable, is_number, number, read_table

Quantity = Literal["absorbance", "transmittance", "reflectance"]
QUANTITIES: tuple[Quantity, ...] = ("absorbance", "transmittance", "reflectance")
_LONGEST_NAME = 80
_PERCENT = "taken as percent"
_SHORT = {"a": "absorbance", "abs": "absorbance", "od": "absorbance", "t": "transmittance", "r": "reflectance"}


@dataclass(frozen=True)
class ImportedSpectrum:
    """One column of a file: `values` of `quantity` (0..1 but for absorbance) at `wavelength_nm`, which increases."""

    name: str
    quantity: Quantity
    wavelength_nm: tuple[float, ...]
    values: tuple[float, ...]
    notes: tuple[str, ...]


def load_spectra(path: Path, *, quantity: Quantity | None = None) -> tuple[ImportedSpectrum, ...]:
    """Read every spectrum of a file, each under a name of its own.

    Delimited text (wavelengths in a column, or pairs of columns, or one row a sample under its wavelengths; other lines
    around the table and several tables one after another are fine), CGATS text, IES TM-27-14 (.spdx, .xml),
    JCAMP-DX (.dx, .jdx) or CxF3 (.cxf, .xml).
    `quantity` says what the numbers are where the file does not. Raises InputError with every problem, one line each.
    """
    if path.suffix.lower() in JCAMP_ENDINGS:
        return _told_apart(_of_file(path, read_jcamp(path), quantity))
    if is_cxf(path):
        return _told_apart(_of_file(path, read_cxf(path), quantity))
    if path.suffix.lower() in TM_27_ENDINGS:
        return _told_apart(_of_file(path, (read_tm_27(path),), quantity))
    table = read_table(path)
    if "a CGATS file" in table.notes:
        return _told_apart(_from_rows(table.file, table.rows, quantity or "reflectance", list(table.notes)))
    tables = export_tables(path)
    if _is_all(table, tables):
        header, body, notes = _split(table)
        spectra = _of_table(table.file, header, body, quantity, notes)
        return _told_apart(_labelled(spectra, tables[0], 1) if tables else spectra)
    return _told_apart(
        [
            spectrum
            for one in tables
            for spectrum in _labelled(
                _of_table(table.file, list(one.header), list(one.rows), quantity, [_found(one)]), one, len(tables)
            )
        ]
    )


def _of_file(path: Path, filed: tuple[FiledSpectrum, ...], quantity: Quantity | None) -> list[ImportedSpectrum]:
    return [
        _checked(
            str(path),
            one.name,
            list(one.wavelength_nm),
            list(one.values),
            quantity or _quantity_in(one.kind),
            [*one.notes],
        )
        for one in filed
    ]


def _is_all(table: TextTable, tables: tuple[ExportTable, ...]) -> bool:
    """Whether the whole text is one table, so that whatever does not fit it is a fault."""
    if len(tables) != 1 or sum(map(is_wavelength, tables[0].header)) > 1:
        return not tables
    ends = (table.rows[0][0], table.rows[-1][0])
    return ends == (tables[0].first_line, tables[0].rows[-1][0])


def _found(table: ExportTable) -> str:
    return f"a table was found in lines {table.first_line} to {table.rows[-1][0]}"


def _labelled(spectra: list[ImportedSpectrum], table: ExportTable, tables: int) -> list[ImportedSpectrum]:
    if not table.label or (tables == 1 and len(spectra) > 1):
        return spectra
    return [replace(spectrum, name=f"{table.label} {spectrum.name}") for spectrum in spectra]


def _told_apart(spectra: list[ImportedSpectrum]) -> tuple[ImportedSpectrum, ...]:
    """Spectra of one name counted: "Abs", "Abs (2)"."""
    seen: Counter[str] = Counter()
    out = []
    for spectrum in spectra:
        seen[spectrum.name] += 1
        count = seen[spectrum.name]
        out.append(spectrum if count == 1 else replace(spectrum, name=f"{spectrum.name} ({count})"))
    return tuple(out)


def _of_table(
    file: str, header: list[str], body: list[tuple[int, tuple[str, ...]]], quantity: Quantity | None, notes: list[str]
) -> list[ImportedSpectrum]:
    if _is_of_rows(header):
        named = tuple(f"nm{name}" if is_number(name) else name for name in header)
        return _from_rows(file, [(0, named), *body], quantity, notes)
    problems: list[Problem] = []
    ats = [i for i, name in enumerate(header) if is_wavelength(name)] or [0]
    for line, cells in body:
        if len(problems) > MOST_FAULTS:
            break
        if len(cells) != len(header) and len(ats) == 1:
            problems.append(Problem(f"has {len(cells)} cells, the header {len(header)}", file=file, line=line))
        problems += [
            Problem("not a number", file=file, line=line, field=header[i] or f"column {i + 1}", value=repr(cell))
            for i, cell in enumerate(cells[: len(header)])
            # Of pairs of columns one may be shorter than the other.
            if i >= ats[0] and not is_number(cell) and (cell or len(ats) == 1)
        ]
    if problems:
        raise InputError(problems)
    out: list[ImportedSpectrum] = []
    for i, name in enumerate(header):
        if i > ats[0] and i not in ats:
            at = max(k for k in ats if k < i)
            read = [(line, cells) for line, cells in body if len(cells) > i and cells[at] and cells[i]]
            if not read:
                continue  # a sample that was never read
            wavelengths, values = ([number(cells[k]) for _, cells in read] for k in (at, i))
            lines = [line for line, _ in read]
            out.append(_checked(file, name or f"spectrum {len(out) + 1}", wavelengths, values, quantity, notes, lines))
    if not out:
        raise InputError(Problem("only one column: a wavelength needs its value beside it", file=file))
    return _percent_alike(out)


def _percent_alike(spectra: list[ImportedSpectrum]) -> list[ImportedSpectrum]:
    """Columns of one table and kind are all in percent where one is: a dark dye stays below 2 % beside its blank."""
    percent = {one.quantity for one in spectra if f"{one.name}: {_PERCENT}" in one.notes}
    return [
        replace(
            one,
            values=tuple(value / 100.0 for value in one.values),
            notes=(*one.notes, f"{one.name}: {_PERCENT}, as others beside it"),
        )
        if one.quantity in percent and f"{one.name}: {_PERCENT}" not in one.notes
        else one
        for one in spectra
    ]


def _from_rows(
    file: str, rows: Sequence[tuple[int, tuple[str, ...]]], quantity: Quantity | None, notes: list[str]
) -> list[ImportedSpectrum]:
    """One sample a row, under its wavelengths."""
    header = [name.lower() for name in rows[0][1]]
    bands = _bands(header)
    if len(bands) < 5:
        raise InputError(Problem("a CGATS file without spectra", "it needs columns such as SPECTRAL_NM400", file))
    label = next((i for i, name in enumerate(header) if name in ("sample_name", "sample_id", "sample", "name")), 0)
    out = []
    for line, cells in rows[1:]:
        if len(cells) != len(header) or not all(is_number(cells[i]) for i, _ in bands):
            raise InputError(Problem("a row that does not fit its columns", file=file, line=line))
        wavelengths, values = [nm for _, nm in bands], [number(cells[i]) for i, _ in bands]
        out.append(_checked(file, cells[label], wavelengths, values, quantity, notes))
    return out


def _bands(header: list[str]) -> list[tuple[int, float]]:
    """Columns named after a wavelength, as SPECTRAL_NM400 or 400 nm."""
    found = [(i, re.search(r"\d{3}(?:\.\d+)?$", name)) for i, name in enumerate(header)]
    return [(i, float(match[0])) for i, match in found if match and ("spectral" in header[i] or "nm" in header[i])]


def _is_of_rows(header: list[str]) -> bool:
    """Whether plain wavelengths stand above the columns: five or more that increase, and no column of them."""
    bands = [number(name) for name in header if is_number(name)]
    rising = all(300.0 <= a < b <= 1100.0 for a, b in itertools.pairwise(bands))
    return len(bands) >= 5 and rising and not any(map(is_wavelength, header))


def _split(table: TextTable) -> tuple[list[str], list[tuple[int, tuple[str, ...]]], list[str]]:
    (line, first), notes = table.rows[0], list(table.notes)
    # A number among the later names ("red 10 uL" is none, "3" is): the first cell decides.
    if any(cell and not is_number(cell) for cell in first):
        return list(first), list(table.rows[1:]), notes
    notes.append(f"line {line}: no header; first column taken as wavelength [nm]")
    return ["nm", *[""] * (len(first) - 1)], list(table.rows), notes


def _checked(
    file: str,
    name: str,
    wavelengths: list[float],
    values: list[float],
    quantity: Quantity | None,
    notes: list[str],
    lines: Sequence[int] = (),
) -> ImportedSpectrum:
    """The spectrum, its wavelengths in order; `lines`: where each of its values stands, if each has a line."""
    notes, name = list(notes), shown(name, longest=_LONGEST_NAME)

    def line(at: int) -> int | None:
        return lines[at] if lines else None

    if not all(map(math.isfinite, (*wavelengths, *values))):
        rule = "it holds a number that is none, or too large"
        raise InputError(Problem(rule, "export it again", file=file, field=name))
    known = quantity or _quantity_in(name)
    if known is None and not 1.02 < max(values) < 6.0:
        rule = f"is {name!r} absorbance, transmittance or reflectance?"
        raise InputError(Problem(rule, f"say which: {', '.join(QUANTITIES)}", file=file, field="quantity"))
    if known is None:
        known = "absorbance"
        notes.append(f"{name}: values up to {max(values):.3g}, taken as absorbance")
    if not 200.0 < min(wavelengths) < max(wavelengths) < 3000.0:
        rule, remedy = f"wavelengths run from {min(wavelengths):g} to {max(wavelengths):g}", "give them in nm"
        far = next((at for at, nm in enumerate(wavelengths) if not 200.0 < nm < 3000.0), None)
        where = None if far is None else line(far)
        raise InputError(Problem(rule, f"{remedy}, at least two, 380 to 780 at best", file, where, name))
    order = sorted(range(len(wavelengths)), key=wavelengths.__getitem__)
    twice = [b for a, b in itertools.pairwise(order) if wavelengths[a] == wavelengths[b]]
    if twice:
        rule, remedy = "a wavelength stands there twice", "leave one of its rows out"
        raise InputError(Problem(rule, remedy, file, line(twice[0]), name, f"{wavelengths[twice[0]]:g} nm"))
    wavelengths, values = [wavelengths[i] for i in order], [values[i] for i in order]
    if known != "absorbance" and max(values) > 1.6:
        values = [value / 100.0 for value in values]
        notes.append(f"{name}: {_PERCENT}")
    if min(wavelengths) > 400.0 or max(wavelengths) < 700.0:
        reach = f"{min(wavelengths):g} to {max(wavelengths):g} nm"
        notes.append(f"{name}: given from {reach}, held level beyond; 380 to 780 is wanted")
    return ImportedSpectrum(name, known, tuple(wavelengths), tuple(values), tuple(notes))


def _quantity_in(name: str) -> Quantity | None:
    percent = re.search(r"%\s?([TR])\b|\b([TR])\s?%", name)
    if percent:
        return "transmittance" if "T" in percent[0] else "reflectance"
    words = re.findall(r"[a-z]+", name.lower())
    for quantity in QUANTITIES:
        if any(word in (quantity, quantity.replace("ance", "ivity")) for word in words):
            return quantity
    # "transmission", "abs", "OD"; a letter alone is rather a name where a word stands beside it
    if any(word.startswith("transm") for word in words):
        return "transmittance"
    return cast(
        Quantity | None, next((_SHORT[word] for word in sorted(words, key=len, reverse=True) if word in _SHORT), None)
    )
