"""Dyes from spectra measured by an instrument: no fit of colours, only Beer's law."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import NoAnswerError
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


def absorptivity_through_zero(absorbance10: F64, amounts: F64) -> F64:
    """One absorptivity (W,) for absorbances (N, W) at `amounts` (N,), by least squares through zero; never negative.

    Its unit is absorbance per unit of amount: with concentration times path in g/L cm, L/(g cm).
    """
    amount = np.asarray(amounts, dtype=np.float64)
    return np.maximum(amount @ np.asarray(absorbance10) / (amount @ amount), 0.0)


def share_of_shape(absorbance10: F64, shape: F64) -> tuple[float, float]:
    """How much of a dye of known `shape` (W,) an absorbance (W,) shows, and the constant its cell or blank adds."""
    terms = np.stack([shape, np.ones_like(shape)], axis=1)
    share, blank = np.linalg.lstsq(terms, absorbance10, rcond=None)[0]
    return float(share), float(blank)


def amounts_in_mixture(absorbance10: F64, absorptivities: Sequence[F64]) -> F64:
    """How much of each dye (D,) makes up the absorbance (W,) of a mixture: least squares, none negative."""
    from scipy.optimize import nnls

    try:
        amounts, _ = nnls(np.stack(absorptivities, axis=1), np.asarray(absorbance10))
    except RuntimeError as error:
        raise NoAnswerError("the mixture cannot be told apart into these dyes") from error
    return np.asarray(amounts, dtype=np.float64)
