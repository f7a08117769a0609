"""Spectra given at a few wavelengths, brought to the package's grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from layerpreview.colour.tables import WAVELENGTHS_NM, Array
from layerpreview.errors import InputError, Problem


def resample_to_grid(wavelength_nm: ArrayLike, values: ArrayLike) -> Array:
    """Return a spectrum on `WAVELENGTHS_NM`: straight lines between the points, held flat beyond the ends.

    wavelength_nm: (n,), n >= 1, increasing [nm]; values: (n,), finite, any unit. Returns (81,) in that unit.
    Raises InputError when the two do not belong together or the wavelengths do not increase.

    >>> resample_to_grid([400, 600], [10.0, 30.0])[[0, 24, 80]].tolist()
    [10.0, 20.0, 30.0]
    """
    x, y = np.asarray(wavelength_nm, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if x.ndim != 1 or x.shape != y.shape or x.size == 0:
        raise InputError(Problem("a spectrum needs one value for each wavelength", field="spectrum"))
    if not (np.isfinite(x).all() and np.isfinite(y).all() and (np.diff(x) > 0).all()):
        raise InputError(Problem("a spectrum needs increasing wavelengths and plain numbers", field="spectrum"))
    return np.interp(WAVELENGTHS_NM, x, y)
