"""Dyes from spectra measured by an instrument: no fit of colours, only Beer's law."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import DiffuseFilm

F64 = NDArray[np.float64]

LEAST_TRANSMITTANCE = 1e-4
"""Below this an instrument reads its own stray light."""


def absorbance10_of_transmittance(transmittance: F64) -> F64:
    """A = -log10 T, with T held above 1e-4 and, since no dye makes light, at most 1."""
    return np.asarray(-np.log10(np.clip(transmittance, LEAST_TRANSMITTANCE, 1.0)))


def absorbance10_over_white(reflectance: F64, *, white: F64, film: DiffuseFilm) -> F64:
    """Single-pass absorbance of a dye from its reflectance over a white that reads `white` bare; both (W,) or (N, W).

    The film model is inverted by halving between 0 and 4, where it always falls; a reading above the white counts as 0.
    """
    low, high = np.zeros_like(reflectance), np.full_like(reflectance, 4.0)
    for _ in range(40):
        middle = 0.5 * (low + high)
        darker = film.reflectance(middle, white) < reflectance
        high = np.where(darker, middle, high)
        low = np.where(darker, low, middle)
    return 0.5 * (low + high)
