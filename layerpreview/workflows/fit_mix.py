"""How much of each known dye a sprayed mix really holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, resample_to_grid
from layerpreview.errors import InputError, Problem
from layerpreview.learn.card import card_of_readings
from layerpreview.learn.colourant import KnownDye
from layerpreview.learn.fit import fit_mix
from layerpreview.learn.readings import load_readings
from layerpreview.scheme.dyefile import DyeFile, load_dye_file
from layerpreview.units import NINETY, Range
from layerpreview.workflows.fit import FitOptions, asked_of

F64 = NDArray[np.float64]

_REACH_NM, _ROOTS = 30.0, 10
_UNKNOWN_DOUBT = 0.3  # of the logarithm, of a dye whose file has no interval: assumed


@dataclass(frozen=True)
class MixTold:
    """Of each dye, what was meant, and what the card shows with its 90 % range, in the words of its strength."""

    meant: dict[str, str]
    share: dict[str, Range]
    misfit: float
    notes: tuple[str, ...]


def mix_of_card(source: Path, dyes: Mapping[Path, str], *, options: FitOptions) -> MixTold:
    """Tell two or more dyes apart in the readings of a mix's card; `dyes`: dye files with the strength meant of each.

    Raises InputError or SchemeError with every problem of the files.
    """
    if len(dyes) < 2:
        raise InputError(Problem("two dyes are wanted at least", "give --dye FILE=STRENGTH for each", field="--dye"))
    readings = load_readings(source)
    known, meant = [], {}
    for path, strength in dyes.items():
        file = load_dye_file(path)
        concentrate = file.concentrate_g_per_L
        one = replace(options, strength=strength, concentrate=f"{concentrate:g} g/L" if concentrate else None)
        asked = asked_of(one, readings.remarks, str(source))
        known.append(known_dye_of_file(file, load_mg_m2=asked.load_mg_m2))
        meant[file.name] = strength
    found = fit_mix(card_of_readings(readings, asked.setting), known)
    notes = (*readings.notes, *asked.notes, *(f"look again: {line}" for line in found.strained))
    return MixTold(meant, found.strengths, found.misfit, notes)


def known_dye_of_file(file: DyeFile, *, load_mg_m2: float) -> KnownDye:
    """A dye file as part of a mix, of which one coat should hold `load_mg_m2` [mg/m2]; its interval as smooth doubt."""
    best = np.maximum(_on_grid(file.absorptivity_L_per_g_cm), 1e-3)
    spread = np.full(best.size, _UNKNOWN_DOUBT)
    if file.low_L_per_g_cm and file.high_L_per_g_cm:
        low, high = (np.maximum(_on_grid(ends), 1e-4) for ends in (file.low_L_per_g_cm, file.high_L_per_g_cm))
        spread = np.log(high / low) / (2.0 * NINETY)
    apart = (WAVELENGTHS_NM[:, None] - WAVELENGTHS_NM[None, :]) / _REACH_NM
    size, direction = np.linalg.eigh(np.exp(-0.5 * apart**2))
    roots = direction[:, -_ROOTS:] * np.sqrt(size[-_ROOTS:])
    return KnownDye(file.name, 1e-4 * best * load_mg_m2, spread[:, None] * roots)


def _on_grid(pairs: tuple[tuple[float, float], ...]) -> F64:
    wavelength, values = zip(*pairs, strict=True)
    return resample_to_grid(wavelength, values)
