"""What of a measured absorbance is not dye: the blank's part, and a flat rest where no blank was read."""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, spectrum_to_lab
from layerpreview.film import diffuse_film

F64 = NDArray[np.float64]

VISIBLE_NM = (400.0, 700.0)
WHITE_REFLECTANCE = 0.85
"""Of a white that is not known: assumed, matt white paint."""
FLAT_ABSORBANCE10 = 0.01
"""Least absorbance in the visible that is still taken for none; above it faces of a cell or glass are likely in it."""
_BLANK = ("white", "bare", "blank")
_NO_BLANK = re.compile(r"over|correct|minus|subtract|less|removed")


def is_blank(name: str) -> bool:
    """Tell whether a spectrum's name says that it holds no dye.

    >>> [is_blank(name) for name in ("Blank", "white card", "red over white", "red, blank subtracted")]
    [True, True, False, False]
    """
    return any(word in name.lower() for word in _BLANK) and not _NO_BLANK.search(name.lower())


def least_absorbance10(absorbance10: F64) -> tuple[float, float]:
    """Return the least of an absorbance (81,) within 400..700 nm, and its wavelength [nm]."""
    low, high = VISIBLE_NM
    seen = np.flatnonzero((low <= WAVELENGTHS_NM) & (high >= WAVELENGTHS_NM))
    at = seen[np.argmin(absorbance10[seen])]
    return float(absorbance10[at]), float(WAVELENGTHS_NM[at])


def cost_over_white(absorbance10: F64, *, offset10: float, times: float = 1.0) -> float:
    """Return the CIEDE2000 difference in D65 that a flat absorbance `offset10` makes in a film over white.

    absorbance10: (81,), decadic, of a straight pass, offset included; times: strength over that measured. The white
    reflects 0.85, in even light.
    """
    film, white = diffuse_film(), np.full(WAVELENGTHS_NM.size, WHITE_REFLECTANCE)
    passes = [np.maximum(times * (absorbance10 - part), 0.0) for part in (0.0, offset10)]
    with_it, without = (spectrum_to_lab(film.reflectance(each, white), light="D65") for each in passes)
    return float(delta_e_2000(with_it, without))
