"""How far apart two colours fall under another light that look alike under the first."""

from __future__ import annotations

import numpy as np

from layerpreview.colour.difference import delta_e_2000
from layerpreview.colour.spaces import xyz_to_lab
from layerpreview.colour.spectra import white_xyz, xyz_weights
from layerpreview.colour.tables import Array


def metamerism_de00(spectrum_1: Array, spectrum_2: Array, *, light: str, other: str, observer_deg: int = 2) -> Array:
    """Return the special metamerism index, change in illuminant, in CIEDE2000.

    spectrum_1, spectrum_2: (..., 81) reflectances, broadcast against each other; `light`, `other`: names of lights.
    What differs under `light` already is taken off first: X, Y and Z of the second under `other` are multiplied by
    what those of the first are to its own under `light`; of a black one, which has none, they stay 0.
    Returns (...), 0 or more. One figure, as an orientation.
    Reference: CIE 15:2018 Colorimetry, "special metamerism index: change in illuminant", with the multiplicative
    correction; the difference in CIEDE2000.
    """
    under, there = (xyz_weights(name, observer_deg=observer_deg).T for name in (light, other))
    white = white_xyz(other, observer_deg=observer_deg)
    first, own = np.broadcast_arrays(spectrum_1 @ under, spectrum_2 @ under)
    corrected = (spectrum_2 @ there) * np.divide(first, own, out=np.zeros_like(own), where=own > 0.0)
    found: Array = delta_e_2000(xyz_to_lab(spectrum_1 @ there, white_xyz=white), xyz_to_lab(corrected, white_xyz=white))
    return found
