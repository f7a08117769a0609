"""A dye that was learnt before, out of its file, with its doubt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, resample_to_grid
from layerpreview.learn.fit.colourant import KnownDye
from layerpreview.learn.fit.prior import DYE_REACH_NM, alike
from layerpreview.scheme.dyefile import DyeFile
from layerpreview.units import NINETY

F64 = NDArray[np.float64]

_ROOTS = 10
_UNKNOWN_DOUBT = 0.3  # of the logarithm, of a dye whose file has no interval: assumed


def known_dye_of_file(file: DyeFile, *, load_mg_m2: float) -> KnownDye:
    """A dye file as part of a mix, of which one coat should hold `load_mg_m2` [mg/m2].

    Its doubt is as the file has it; of an older file that holds an interval alone, that as smooth doubt.
    """
    best = np.maximum(_on_grid(file.absorptivity_L_per_g_cm), 1e-3)
    if file.doubt_of_log:
        nm, *columns = zip(*file.doubt_of_log, strict=True)
        doubt = np.stack([np.interp(WAVELENGTHS_NM, nm, column) for column in columns], axis=1)
        return KnownDye(file.name, 1e-4 * best * load_mg_m2, doubt)
    spread = np.full(best.size, _UNKNOWN_DOUBT)
    if file.low_L_per_g_cm and file.high_L_per_g_cm:
        low, high = (np.maximum(_on_grid(ends), 1e-4) for ends in (file.low_L_per_g_cm, file.high_L_per_g_cm))
        spread = np.log(high / low) / (2.0 * NINETY)
    return KnownDye(file.name, 1e-4 * best * load_mg_m2, smooth_doubt(spread))


def smooth_doubt(spread: F64) -> F64:
    """Roots (81, K) of doubt that changes smoothly over wavelength: standard deviations `spread` (81,) of the log."""
    size, direction = np.linalg.eigh(alike(DYE_REACH_NM))
    roots = direction[:, -_ROOTS:] * np.sqrt(size[-_ROOTS:])
    return np.asarray(spread[:, None] * roots)


def _on_grid(pairs: tuple[tuple[float, float], ...]) -> F64:
    wavelength, values = zip(*pairs, strict=True)
    return resample_to_grid(wavelength, values)
