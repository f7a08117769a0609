"""How the numbers of one reading err together."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.card.model import Eye, lightness_root_back, lightness_root_slope
from layerpreview.learn.fit.prior import alike

F64 = NDArray[np.float64]

_SMOOTH, _SMOOTH_NM = 0.3, 20.0
_EACH = 0.1
_FLOOR = 0.04


def noise_shape(eye: Eye, read: F64) -> F64:
    """Covariance (m, m) of the noise of one reading (m,), over the square of the card's noise.

    Three numbers err each on its own. A spectrum is mostly too light or too dark as a whole (place, pressure,
    standard), by a share of its light that makes 1 of a white; beside that 0.3 that drifts over some 20 nm and 0.1 of
    each wavelength alone; and a floor of 0.04, in a card of 0.35 L* about 0.04 % of a white's light, that dark readings
    have as well. All assumed, no source.
    """
    if eye.at_nm is None:
        return np.eye(eye.count)
    light = lightness_root_back(read / 116.0)
    slope = 3.0 * lightness_root_slope(light)  # in the card's unit: 1 of a white
    near = alike(_SMOOTH_NM, at_nm=eye.at_nm)
    alone = np.eye(eye.count)
    share = np.maximum(light, 0.0)
    relative = np.outer(share, share) * (1.0 + _SMOOTH**2 * near + _EACH**2 * alone)
    return np.asarray(np.outer(slope, slope) * (relative + _FLOOR**2 * (0.5 * near + 0.5 * alone)))
