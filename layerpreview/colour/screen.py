"""The last step to the screen: what is too bright or too colourful for it keeps its hue.

Cut off channel by channel, a bright amber turns yellow and a deep turquoise green. Here what is too bright is dimmed by
half of its excess (by its root), lightness rolls off towards white, and chroma comes down to what the display has at
that lightness and hue: in Oklab (B. Ottosson, "A perceptual color space for image processing", 2020), whose lines of
equal hue stay equal for the eye. Figures are taken before this step.
"""

from __future__ import annotations

from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F = TypeVar("F", np.float32, np.float64)

NOT_ROLLED, LIFELIKE = 1.0, 0.9
"""Oklab lightness from which highlights are bent towards white: not at all, so that what the display has is shown as it
is; and in pictures of a room, where facets mirror lamps (a choice: from 73 % of a white card's light)."""
RGB_LIN_TO_CONE = np.array(
    [
        [0.4122214708, 0.5363325363, 0.0514459929],
        [0.2119034982, 0.6806995451, 0.1073969566],
        [0.0883024619, 0.2817188376, 0.6299787005],
    ]
)
CONE_TO_OKLAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)
_CONE_TO_RGB_LIN, _OKLAB_TO_CONE = np.linalg.inv(RGB_LIN_TO_CONE), np.linalg.inv(CONE_TO_OKLAB)
SLACK = 1e-2
"""By how much of its light a channel may lie outside before chroma is taken back; then it is cut. The way from grey to
pure blue runs a little outside the gamut, and a colour there would lose a fifth of its chroma at a step. Costs 1.6
degrees of hue at most."""
_LIGHTNESSES, _HUES = 257, 360


def rgb_lin_to_oklab(rgb_lin: NDArray[F]) -> NDArray[F]:
    """Oklab (..., 3) of linear sRGB (..., 3), any values; float32 or float64 (kept)."""
    to_cone, to_oklab = (matrix.T.astype(rgb_lin.dtype) for matrix in (RGB_LIN_TO_CONE, CONE_TO_OKLAB))
    return np.asarray(np.cbrt(rgb_lin @ to_cone) @ to_oklab)


def oklab_to_rgb_lin(oklab: NDArray[F]) -> NDArray[F]:
    """The inverse of `rgb_lin_to_oklab`."""
    root = oklab @ _OKLAB_TO_CONE.T.astype(oklab.dtype)
    return np.asarray(root * root * root @ _CONE_TO_RGB_LIN.T.astype(oklab.dtype))


def on_screen(rgb_lin: F32, *, rolled_from: float = NOT_ROLLED) -> F32:
    """Linear RGB (..., 3) as the display shows it, 0 to 1; what is well inside its range is not touched.

    `rolled_from`: Oklab lightness from which highlights are bent, NOT_ROLLED or less.

    >>> on_screen(np.array([[0.25, 0.5, 1.0], [3.0, 3.0, 3.0]], dtype=np.float32)).round(3).tolist()
    [[0.25, 0.5, 1.0], [1.0, 1.0, 1.0]]
    """
    red, green, blue = np.moveaxis(rgb_lin, -1, 0)
    # The cube of a grey's lightness is its light: no colour below it in all channels is lighter.
    beyond = np.maximum(np.maximum(red, green), blue) > np.float32(rolled_from**3)
    beyond = np.asarray(beyond | (np.minimum(np.minimum(red, green), blue) < 0.0))
    if not beyond.any():
        return rgb_lin
    out = rgb_lin.copy(order="K")
    out[beyond] = _mapped(rgb_lin[beyond], rolled_from)
    return out


def _mapped(rgb_lin: F32, rolled_from: float) -> F32:
    dimmed = rgb_lin / np.sqrt(np.maximum(rgb_lin.max(axis=1, keepdims=True), np.float32(1.0)))
    lightness, a, b = rgb_lin_to_oklab(dimmed).T
    bent = np.clip(lightness, 0.0, np.float32(rolled_from))
    if rolled_from < NOT_ROLLED:
        room = np.float32(NOT_ROLLED - rolled_from)
        bent = bent - room * np.expm1(-np.maximum(lightness - np.float32(rolled_from), 0.0) / room)
    shown = oklab_to_rgb_lin(np.stack([bent, a, b], axis=-1))
    over = np.flatnonzero((shown.min(axis=1) < 0.0) | (shown.max(axis=1) > 1.0))
    bent, a, b = bent[over], a[over], b[over]
    share = np.minimum(1.0, _most_chroma(bent, np.arctan2(b, a)) / np.maximum(np.hypot(a, b), np.float32(1e-9)))
    shown[over] = oklab_to_rgb_lin(np.stack([bent, share * a, share * b], axis=-1))
    return np.asarray(np.clip(shown, 0.0, 1.0), dtype=np.float32)


def _most_chroma(lightness: F32, hue_rad: F32) -> F32:
    """Chroma that the display has at a lightness and hue, by straight lines in a table."""
    hues, table = _gamut()
    y, x = lightness * np.float32(_LIGHTNESSES - 1), np.interp(hue_rad, hues, np.arange(hues.size)).astype(np.float32)
    top, left = np.minimum(y.astype(np.int32), _LIGHTNESSES - 2), np.minimum(x.astype(np.int32), hues.size - 2)
    y, x = y - top, x - left
    upper = table[top, left] * (1 - x) + table[top, left + 1] * x
    lower = table[top + 1, left] * (1 - x) + table[top + 1, left + 1] * x
    return np.asarray(upper * (1 - y) + lower * y, dtype=np.float32)


@cache
def _gamut() -> tuple[NDArray[np.float64], F32]:
    """Hues from -pi to pi, and the largest chroma in the display's gamut (lightnesses, hues), by halving.

    The gamut's edges, from black to each pure colour, are ridges along a hue: these hues are among those of the table.
    """
    edges = rgb_lin_to_oklab(np.array([[r, g, b] for r in (0.0, 1.0) for g in (0.0, 1.0) for b in (0.0, 1.0)][1:-1]))
    even = np.linspace(-np.pi, np.pi, _HUES + 1)
    hues = np.sort(np.concatenate([even, np.arctan2(edges[:, 2], edges[:, 1])]))
    lightness, hue = np.meshgrid(np.linspace(0.0, 1.0, _LIGHTNESSES), hues, indexing="ij")
    slack = SLACK * lightness[..., None] ** 3
    low, high = np.zeros(hue.shape), np.full(hue.shape, 0.5)
    for _ in range(16):
        middle = 0.5 * (low + high)
        rgb = oklab_to_rgb_lin(np.stack([lightness, middle * np.cos(hue), middle * np.sin(hue)], axis=-1))
        inside = np.all((rgb >= -slack) & (rgb <= 1.0 + slack), axis=-1)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return hues, low.astype(np.float32)
