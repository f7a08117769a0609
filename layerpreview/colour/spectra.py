"""Spectra on the package's grid, and what they sum to: XYZ under a named light."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from layerpreview.colour.tables import WAVELENGTHS_NM, Array, light_spd, observer_cmf, read_only
from layerpreview.errors import InputError, Problem


@cache
def xyz_weights(light: str, *, observer_deg: int = 2) -> Array:
    """Return the weights that sum a reflectance spectrum to XYZ.

    light: one of `LIGHT_NAMES`; observer_deg: 2 or 10 [degrees].
    Returns (3, 81), read-only: `reflectance @ weights.T` is XYZ with Y = 1 for the perfect diffuser.
    Raises InputError for an unknown light or observer.
    Formula: `w_k(l) = S(l) c_k(l) / sum(S y-bar)` over 380..780 nm every 5 nm (CIE 015:2018).

    >>> xyz_weights("D65").sum(axis=1).round(4).tolist()
    [0.9504, 1.0, 1.0888]
    """
    weights = observer_cmf(observer_deg).T * light_spd(light)
    return read_only(weights / weights[1].sum())


@cache
def white_xyz(light: str, *, observer_deg: int = 2) -> Array:
    """Return XYZ of the perfect diffuser under a light, with Y = 1: the sum of `xyz_weights`.

    light: one of `LIGHT_NAMES`; observer_deg: 2 or 10 [degrees]. Returns (3,), read-only.
    Raises InputError for an unknown light or observer.
    """
    return read_only(xyz_weights(light, observer_deg=observer_deg).sum(axis=1))


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
