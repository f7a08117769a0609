"""Plain Beer's law for measured spectra: what real liquids are held against."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

F64 = NDArray[np.float64]


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
    amounts, _ = nnls(np.stack(absorptivities, axis=1), np.asarray(absorbance10))
    return np.asarray(amounts, dtype=np.float64)
