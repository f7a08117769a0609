"""What a camera does to light, undone: a rising tone curve in each channel, then its mixed-up colours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

_LEAST = 1e-6  # what reads less is black: its logarithm would be noise


@dataclass(frozen=True, eq=False)
class ToneCurve:
    """Linear light over what was read, per channel, through known greys: `log_read`, `log_light` (3, k), rising.

    A monotone cubic (Fritsch and Carlson, SIAM J. Numer. Anal. 17 (1980) 238) in the natural logarithms, so that a
    power is a straight line and an S-shaped curve is followed; beyond its ends it goes straight on.
    """

    log_read: F64
    log_light: F64

    def light(self, rgb_lin: F64) -> F64:
        """Linear light (..., 3) of readings (..., 3), decoded by sRGB, 0..1."""
        logs = np.log(np.maximum(rgb_lin, _LEAST))
        each = [_rising(logs[..., c], self.log_read[c], self.log_light[c]) for c in range(3)]
        return np.exp(np.stack(each, axis=-1))


def _rising(at: F64, x: F64, y: F64) -> F64:
    from scipy.interpolate import PchipInterpolator

    curve = PchipInterpolator(x, y)
    ends = [0, -1]
    # Its own slope there may be none at all, which would end the rise.
    first, last = np.maximum(curve.derivative()(x[ends]), 0.5 * (np.diff(y) / np.diff(x))[ends])
    inside = curve(np.clip(at, x[0], x[-1]))
    return np.asarray(inside + first * np.minimum(at - x[0], 0.0) + last * np.maximum(at - x[-1], 0.0))


def colour_terms(light: F64, *, count: int) -> F64:
    """Red, green, blue (..., 3) of linear light, and for a `count` of 6 the roots of their products (..., 6).

    All grow in proportion with the light, so that what is learnt holds at any exposure: the root polynomial of second
    degree of Finlayson, Mackiewicz and Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460,
    doi:10.1109/TIP.2015.2405336.

    >>> colour_terms(np.array([0.16, 0.25, 0.64]), count=6).round(2).tolist()
    [0.16, 0.25, 0.64, 0.2, 0.4, 0.32]
    """
    if count == 3:
        return light
    red, green, blue = np.moveaxis(np.maximum(light, 0.0), -1, 0)
    roots = np.sqrt(np.stack([red * green, green * blue, red * blue], axis=-1))
    return np.concatenate([light, roots], axis=-1)


@dataclass(frozen=True, eq=False)
class ChartFit:
    """What a chart of known patches says about a camera.

    `power`: contrast over sRGB, of the greys as a whole. `matrix` (3, 3), or (3, 6) over the terms of `colour_terms`.
    `error_de00` of the patches fitted, `left_out_de00` of each told from the others: mean CIEDE2000. `curve`: None
    where the tone is no more than the power. `used`: of how many patches.
    """

    power: float
    matrix: F64
    error_de00: float
    left_out_de00: float = 0.0
    curve: ToneCurve | None = None
    used: int = 24

    def straight(self, rgb_lin: F64) -> F64:
        """Linear light (..., 3) in the camera's own colours, in proportion to what fell on each channel."""
        return np.asarray(rgb_lin ** (1.0 / self.power)) if self.curve is None else self.curve.light(rgb_lin)

    def colours(self, light: F64) -> F64:
        """Linear sRGB (..., 3) of linear light (..., 3) in the camera's own colours, balanced on white."""
        return np.asarray(colour_terms(light, count=self.matrix.shape[1]) @ self.matrix.T)
