"""From a reflectance spectrum to XYZ under a named light."""

from __future__ import annotations

from functools import cache

from layerpreview.colour.tables import Array, light_spd, observer_cmf, read_only


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
