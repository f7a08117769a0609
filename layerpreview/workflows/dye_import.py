"""A dye file from a spectrum that an instrument measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, resample_to_grid
from layerpreview.errors import InputError, Problem
from layerpreview.film import diffuse_film
from layerpreview.learn.fit.colourant import absorbance10_of_transmittance, absorbance10_over_white
from layerpreview.learn.read.blank import (
    FLAT_ABSORBANCE10,
    WHITE_REFLECTANCE,
    cost_over_white,
    is_blank,
    least_absorbance10,
)
from layerpreview.learn.read.spectra import QUANTITIES, ImportedSpectrum, Quantity, load_spectra
from layerpreview.output.files import file_stem, write_text, written_together
from layerpreview.scheme.dyefile import dye_file_text, dye_name
from layerpreview.units import UnitError, parse_quantity

F64 = NDArray[np.float64]

_MOST_ABSORBANCE = 1000.0
_EVERY = slice(None, None, 2)
_NAME = 30  # letters of a name in the provenance, which a dye file holds to 200


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
    sample: str | None = None,
    quantity: str | None = None,
    blank: str | None = None,
    use_blank: bool = True,
    baseline: str | None = None,
    concentrate: str | None = None,
    force: bool = False,
) -> ImportedDye:
    """Write NAME.dye.toml from a spectrum file.

    `strength`: pure dye in what was measured ("0.05 g/L"); `path`: the cell ("10 mm") or, for reflectance over white,
    the wet film ("40 um"). `sample`: which spectrum. `blank`: the spectrum of the same without dye, by its name or as a
    file of its own; without it the one called blank, white or bare. Transmittance is divided by it, from absorbance it
    is subtracted, over white it is the white (else a flat 0.85 is assumed); `use_blank=False` leaves it.
    `baseline="flat"` takes the least absorbance of 400..700 nm off everywhere. Raises InputError or OutputError;
    nothing is written then.
    """
    name = dye_name(name)
    g_per_L, path_cm, pure = _amounts(strength, path, concentrate, source)
    if baseline not in (None, "flat"):
        raise InputError(Problem("not known here", "use flat", field="baseline", value=str(baseline)))
    spectra = load_spectra(source, quantity=_known(quantity))
    dye = _chosen(spectra, sample, source)
    first, *_, last = dye.wavelength_nm
    if first > 700.0 or last < 400.0:
        rule = f"given from {first:g} to {last:g} nm, where nothing is seen"
        raise InputError(Problem(rule, "380 to 780 nm is wanted", str(source), field=dye.name))
    apart = Path(blank) if blank and Path(blank).is_file() else None
    if apart:
        beside: ImportedSpectrum | None = _blank_of_file(apart, dye, quantity)
    else:
        beside = _blank(spectra, dye, blank, source) if use_blank or blank else None
    if beside and not use_blank:
        raise InputError(Problem("a blank to use and none to use", "leave one of the two out", field="blank"))
    notes = list(dict.fromkeys([*dye.notes, *(beside.notes if beside else ())]))
    absorbance = _absorbance10(dye, beside, notes)
    if absorbance.max() > _MOST_ABSORBANCE:
        rule = f"an absorbance of {absorbance.max():.3g}, more than any instrument reads"
        raise InputError(Problem(rule, "check --quantity, and the column of the dye", str(source), field=dye.name))
    flat, treated = _flat(absorbance, baseline, beside is not None, notes), _treated(dye, beside)
    if flat:
        absorbance, treated = absorbance - flat, f"{treated}, {flat:.4f} taken off"
    if absorbance.max() <= 0.0:
        rule = "nothing of the dye is left: no absorbance is above zero"
        raise InputError(Problem(rule, "check which is the dye, which the blank, and --quantity", str(source)))
    with np.errstate(over="ignore"):  # the dye file's own rule says what is too much
        absorptivity = np.maximum(absorbance, 0.0) / (g_per_L * path_cm)
    file = f"{file_stem(name, otherwise='dye')}.dye.toml"
    text = dye_file_text(
        name=name,
        kind="table",
        provenance=f"{dye.quantity} {dye.name[:_NAME]!r} of {source.name[:40]}{treated}, {strength} over {path}",
        concentrate_g_per_L=pure,
        wavelength_nm=WAVELENGTHS_NM[_EVERY].tolist(),
        best=absorptivity[_EVERY].tolist(),
        remarks=notes,
    )
    inputs = [source, *([apart] if apart else [])]
    with written_together(out, [file], force=force, inputs=inputs, lasting=[file]) as paths:
        write_text(paths[file], text)
    return ImportedDye(out / file, tuple(notes))


def _amounts(strength: str, path: str, concentrate: str | None, source: Path) -> tuple[float, float, float | None]:
    """Dye [g/L], way of the light [cm] and dye as sold [g/L]."""
    try:
        g_per_L, path_cm = parse_quantity(strength, "concentration"), parse_quantity(path, "length") / 10.0
        pure = parse_quantity(concentrate, "concentration") if concentrate else None
    except UnitError as error:
        raise InputError(
            Problem(error.rule, error.remedy, str(source), field="strength, path or concentrate")
        ) from error
    if g_per_L <= 0 or path_cm <= 0:
        raise InputError(Problem("strength and path must be above zero", file=str(source)))
    return g_per_L, path_cm, pure


def _known(quantity: str | None) -> Quantity | None:
    found = next((name for name in QUANTITIES if name == quantity), None)
    if quantity is not None and found is None:
        raise InputError(Problem("not known here", f"use {', '.join(QUANTITIES)}", field="quantity", value=quantity))
    return found


def _chosen(spectra: tuple[ImportedSpectrum, ...], sample: str | None, source: Path) -> ImportedSpectrum:
    dyes = _named(spectra, sample) if sample is not None else [one for one in spectra if not is_blank(one.name)]
    if len(dyes) != 1:
        rule = _how_many(dyes) if sample else f"{len(dyes)} spectra: which is the dye?"
        raise InputError(
            Problem(rule, f"name one with --sample: {_names(spectra)}", str(source), field="sample", value=sample or "")
        )
    return dyes[0]


def _blank(
    spectra: tuple[ImportedSpectrum, ...], dye: ImportedSpectrum, name: str | None, source: Path
) -> ImportedSpectrum | None:
    """The spectrum of what holds no dye; None where the file has none."""
    found = _named(spectra, name) if name is not None else [one for one in spectra if is_blank(one.name)]
    found = [one for one in found if one is not dye]
    if len(found) > 1 or (name is not None and not found):
        rule = _how_many(found) if name else f"{len(found)} blanks: which is the dye's?"
        remedy = f"name one with --blank, or say --no-blank: {_names(spectra)}"
        raise InputError(Problem(rule, remedy, str(source), field="blank", value=name or ""))
    return _of_a_kind(found[0], dye, source) if found else None


def _blank_of_file(file: Path, dye: ImportedSpectrum, quantity: str | None) -> ImportedSpectrum:
    """The blank that was read into a file of its own: the only spectrum there, or the only one called so."""
    spectra = load_spectra(file, quantity=_known(quantity))
    found = spectra if len(spectra) == 1 else [one for one in spectra if is_blank(one.name)]
    if len(found) != 1:
        rule = f"{len(spectra)} spectra: which is the blank?"
        raise InputError(Problem(rule, "give a file with one spectrum, or with one called blank", str(file)))
    return _of_a_kind(replace(found[0], name=f"{found[0].name} of {file.name}"), dye, file)


def _of_a_kind(blank: ImportedSpectrum, dye: ImportedSpectrum, source: Path) -> ImportedSpectrum:
    if "reflectance" in (kinds := {blank.quantity, dye.quantity}) and len(kinds) > 1:
        rule = f"the blank {blank.name!r} is {blank.quantity}, the dye {dye.quantity}"
        raise InputError(Problem(rule, "name another with --blank, or say --no-blank", str(source)))
    return blank


def _named(spectra: tuple[ImportedSpectrum, ...], name: str) -> list[ImportedSpectrum]:
    """Spectra of that name; where there are none, those whose name it begins ("dye 1" of "dye 1 %T")."""
    wanted = name.strip().lower()
    whole = [one for one in spectra if one.name.strip().lower() == wanted]
    return whole or [one for one in spectra if one.name.strip().lower().startswith(f"{wanted} ")]


def _how_many(found: list[ImportedSpectrum]) -> str:
    return f"{len(found)} spectra are called so" if found else "no such spectrum"


def _names(spectra: tuple[ImportedSpectrum, ...]) -> str:
    return ", ".join(one.name for one in spectra)


def _absorbance10(dye: ImportedSpectrum, blank: ImportedSpectrum | None, notes: list[str]) -> F64:
    """Absorbance (81,) of the dye alone as far as the blank tells; below zero where the blank is too dark."""
    if dye.quantity == "reflectance":
        values = resample_to_grid(dye.wavelength_nm, dye.values)
        if blank is None:
            notes.append(f"no white beside it: a flat white of {WHITE_REFLECTANCE} is assumed")
            white = np.full(WAVELENGTHS_NM.size, WHITE_REFLECTANCE)
        else:
            notes.append(f"{blank.name!r} is the white under it")
            white = resample_to_grid(blank.wavelength_nm, blank.values)
        read = absorbance = absorbance10_over_white(values, white=white, film=diffuse_film())
    else:
        read = absorbance = _as_absorbance10(dye)
        if blank is not None:
            absorbance = read - _as_absorbance10(blank)
            how = "divided by" if dye.quantity == "transmittance" else "less"
            notes.append(f"{dye.name!r} is {how} the blank {blank.name!r}")
    if absorbance.min() < -0.005:
        notes.append(f"absorbance falls to {absorbance.min():.3f}: the blank is off; set to zero there")
    if read.max() > 2.5:
        notes.append(f"absorbance rises to {read.max():.1f}, where instruments read stray light: dilute and repeat")
    return absorbance


def _as_absorbance10(spectrum: ImportedSpectrum) -> F64:
    values = resample_to_grid(spectrum.wavelength_nm, spectrum.values)
    if spectrum.quantity == "absorbance":
        return values
    # Not held at 1: what lies above it is the blank's fault, and is told.
    return absorbance10_of_transmittance(values, most=np.inf)


def _flat(absorbance: F64, baseline: str | None, has_blank: bool, notes: list[str]) -> float:
    """What to take off everywhere; where neither a blank nor the user sees to it, what that costs is told."""
    least, at_nm = least_absorbance10(absorbance)
    if baseline:
        notes.append(f"{least:.4f} is taken off the absorbance everywhere, its least from 400 to 700 nm ({at_nm:g} nm)")
        return least
    if not has_blank and least > FLAT_ABSORBANCE10:
        once, thrice = (cost_over_white(absorbance, offset10=least, times=times) for times in (1.0, 3.0))
        notes.append(
            f"no blank, and absorbance is nowhere below {least:.3f} ({at_nm:g} nm): if that is cell or glass, "
            f"not dye, it makes {once:.1f} CIEDE2000 over white, {thrice:.1f} at three times the strength; "
            "read a blank, or take it off with --baseline flat"
        )
    return 0.0


def _treated(dye: ImportedSpectrum, blank: ImportedSpectrum | None) -> str:
    how = {"transmittance": "divided by", "absorbance": "less", "reflectance": "over"}[dye.quantity]
    return f" {how} {blank.name[:_NAME]!r}" if blank else ""
