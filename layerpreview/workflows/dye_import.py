"""A dye file from a spectrum that an instrument measured."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, resample_to_grid
from layerpreview.errors import InputError, Problem
from layerpreview.film import diffuse_film
from layerpreview.learn.spectra import (
    QUANTITIES,
    ImportedSpectrum,
    Quantity,
    absorbance10_of_transmittance,
    absorbance10_over_white,
    load_spectra,
)
from layerpreview.output.files import file_stem, write_text, written_together
from layerpreview.scheme.dyefile import dye_file_text
from layerpreview.units import UnitError, parse_quantity

F64 = NDArray[np.float64]

_EVERY = slice(None, None, 2)
_WHITE_WORDS = ("white", "bare", "blank")


@dataclass(frozen=True)
class ImportedDye:
    """The dye file written, and what was found on the way."""

    dye_file: Path
    notes: tuple[str, ...]


def import_dye(
    source: Path,
    *,
    out: Path,
    name: str,
    strength: str,
    path: str = "10 mm",
    column: str | None = None,
    quantity: str | None = None,
    concentrate: str | None = None,
    force: bool = False,
) -> ImportedDye:
    """Write NAME.dye.toml from a spectrum file.

    `strength`: pure dye in what was measured ("0.05 g/L"); `path`: the cell ("10 mm") or, for reflectance over white,
    the wet film ("40 um"). `column`: which spectrum; a column called white or bare is the white itself (else a flat
    0.85 is assumed). Raises InputError or OutputError; nothing is written then.
    """
    try:
        g_per_L, path_cm = parse_quantity(strength, "concentration"), parse_quantity(path, "length") / 10.0
        pure = parse_quantity(concentrate, "concentration") if concentrate else None
    except UnitError as error:
        raise InputError(
            Problem(error.rule, error.remedy, str(source), field="strength, path or concentrate")
        ) from error
    if g_per_L <= 0 or path_cm <= 0:
        raise InputError(Problem("strength and path must be above zero", file=str(source)))
    spectra = load_spectra(source, quantity=_known(quantity))
    dye = _chosen(spectra, column, source)
    notes = list(dye.notes)
    values = resample_to_grid(dye.wavelength_nm, dye.values)
    if dye.quantity == "absorbance":
        absorbance = values
    elif dye.quantity == "transmittance":
        absorbance = absorbance10_of_transmittance(values)
    else:
        absorbance = absorbance10_over_white(values, white=_white(spectra, notes), film=diffuse_film())
    if absorbance.min() < -0.005:
        notes.append(f"absorbance falls to {absorbance.min():.3f}: the blank is off; set to zero there")
    if absorbance.max() > 2.5:
        notes.append(
            f"absorbance rises to {absorbance.max():.1f}, where instruments read stray light: dilute and repeat"
        )
    absorptivity = np.maximum(absorbance, 0.0) / (g_per_L * path_cm)
    file = f"{file_stem(name, otherwise='dye')}.dye.toml"
    text = dye_file_text(
        name=name,
        kind="table",
        provenance=f"{dye.quantity} {dye.name!r} of {source.name[:60]}, {strength} over {path}",
        concentrate_g_per_L=pure,
        wavelength_nm=WAVELENGTHS_NM[_EVERY].tolist(),
        best=absorptivity[_EVERY].tolist(),
        remarks=notes,
    )
    with written_together(out, [file], force=force, inputs=[source]) as paths:
        write_text(paths[file], text)
    return ImportedDye(out / file, tuple(notes))


def _known(quantity: str | None) -> Quantity | None:
    found = next((name for name in QUANTITIES if name == quantity), None)
    if quantity is not None and found is None:
        raise InputError(Problem("not known here", f"use {', '.join(QUANTITIES)}", field="quantity", value=quantity))
    return found


def _chosen(spectra: tuple[ImportedSpectrum, ...], column: str | None, source: Path) -> ImportedSpectrum:
    dyes = [spectrum for spectrum in spectra if not _is_white(spectrum)]
    if column is not None:
        dyes = [spectrum for spectrum in spectra if spectrum.name.strip().lower() == column.strip().lower()]
    if len(dyes) != 1:
        names = ", ".join(spectrum.name for spectrum in spectra)
        rule = "no such column" if column else f"{len(dyes)} spectra: which is the dye?"
        raise InputError(
            Problem(rule, f"name one with --column: {names}", str(source), field="column", value=column or "")
        )
    return dyes[0]


def _white(spectra: tuple[ImportedSpectrum, ...], notes: list[str]) -> F64:
    for spectrum in spectra:
        if _is_white(spectrum):
            return resample_to_grid(spectrum.wavelength_nm, spectrum.values)
    notes.append("no column called white: a flat white of 0.85 is assumed")
    return np.full(WAVELENGTHS_NM.size, 0.85)


def _is_white(spectrum: ImportedSpectrum) -> bool:
    return any(word in spectrum.name.lower() for word in _WHITE_WORDS) and "over" not in spectrum.name.lower()
