"""How far Beer's law and the film's own model are trusted: within the loads a card held, and beyond them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.colour import WAVELENGTHS_NM

F64 = NDArray[np.float64]

LAW_WITHIN = 0.01
"""Standard deviation of ln absorbance between the loads that were read.

Food dyes measured at three amounts depart from Beer's law by 0.6 % of their absorbance, mixtures of two by 1.2 % (root
mean square, package photon-canon); an index of 1.47 or 1.53 in place of 1.5 does about 1 % (worked out for a white).
"""
LAW_BEYOND = 0.03
"""What is added for each factor e = 2.7 below the lightest or above the heaviest load: what the index does there."""
_ALIKE, _APART_NM = 0.5, 50.0  # share of its variance that is one factor for all wavelengths; reach of the rest


def law_spread(load: ArrayLike, *, lightest: float, heaviest: float) -> F64:
    """Standard deviation of ln absorbance that law and film leave at a load, in the unit of `lightest` and `heaviest`.

    `load` > 0 of any shape; 0 counts as the lightest.
    """
    asked = np.asarray(load, dtype=np.float64)
    asked = np.where(asked > 0.0, asked, lightest)
    beyond = np.maximum(np.log(lightest / asked), np.log(asked / heaviest))
    return np.asarray(np.hypot(LAW_WITHIN, LAW_BEYOND * np.maximum(beyond, 0.0)))


@lru_cache(maxsize=1)
def law_shapes() -> F64:
    """Roots (81, K) of its correlation over wavelength, each row of length 1: half alike, half drifting over 50 nm."""
    apart = (WAVELENGTHS_NM[:, None] - WAVELENGTHS_NM[None, :]) / _APART_NM
    size, direction = np.linalg.eigh(_ALIKE + (1.0 - _ALIKE) * np.exp(-0.5 * np.square(apart)))
    kept = size > 1e-4 * size[-1]
    roots = direction[:, kept] * np.sqrt(size[kept])
    return np.asarray(roots / np.linalg.norm(roots, axis=1, keepdims=True))
