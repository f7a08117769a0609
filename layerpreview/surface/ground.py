"""What a part lies on in a photo, as one smooth surface of light: fall-off and gradients are no edges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Grid = NDArray[np.float32]

SHADOW_LN = 1.35
"""A shadow leaves a quarter of the light (assumed): darker than that is a dark part [natural log]."""
_FLARE = 0.004  # linear light of a lens's own flare (assumed): keeps the noise of black out of the logarithm
_ORDER = 2  # of the polynomial: fall-off to the corners and a gradient across
_BORDER_SHARE = 0.02  # of the longer side
_PATCH_SHARE = 0.04  # of the longer side: round a point named as background
_ROUNDS = 8
_FIT_PIXELS = 20_000
_LEAST_SD = 0.008  # natural log of light; 8-bit steps alone are about as large in the dark
_LEAST_BAND = 0.12  # natural log of light that still counts as the same ground while it grows


@dataclass(frozen=True, eq=False)
class Ground:
    """The background's light: `ln_rgb` (h, w, 3), natural log of linear light, everywhere, as if the part were away;
    `seen` (h, w), where the picture shows it; `border` (h, w), the frame of pixels it was begun from; `sd`, how far the
    picture scatters about it [natural log]."""

    ln_rgb: Grid
    seen: NDArray[np.bool_]
    border: NDArray[np.bool_]
    sd: float

    @property
    def border_clear(self) -> float:
        """Share 0..1 of the picture's border that shows this ground."""
        return float(self.seen[self.border].mean())


def ln_light(rgb_lin: Grid) -> Grid:
    """Return the natural log of linear light 0..1, any shape, with a floor for flare."""
    return np.asarray(np.log(rgb_lin + np.float32(_FLARE)))


def light_of(ln_rgb: Grid) -> Grid:
    """Return the linear light of its natural log (`ln_light` backwards)."""
    return np.asarray(np.exp(ln_rgb) - np.float32(_FLARE))


def fit_ground(
    ln_rgb: Grid, *, at: tuple[float, float] | None = None, other: NDArray[np.bool_] | None = None
) -> Ground:
    """Return the ground of a photo as a quadratic of log light, fitted robustly and grown over all that agrees with it.

    ln_rgb : (h, w, 3), natural log of linear light (`ln_light`); at : a point (x, y) of the background, as shares 0..1
        of width and height, to begin from instead of the border; other : (h, w), what is known to be no ground.
    Iteratively reweighted least squares with Cauchy's weights (Holland and Welsch 1977,
    doi:10.1080/03610927708827533): clutter along the border is outvoted, not averaged in.
    """
    high, wide = ln_rgb.shape[:2]
    free = np.ones((high, wide), dtype=np.bool_) if other is None else ~other
    border = _frame(high, wide) & free
    start = border if at is None else _patch(high, wide, at) & free
    values = ln_rgb.reshape(-1, 3)
    line, curve = _basis(high, wide, 1), _basis(high, wide, _ORDER)
    ids = np.flatnonzero(start)
    first = line[:, :1] if at is not None else line  # a patch tells a level; a slope would run wild far from it
    surface, sd = _fit(first, values, ids, least=0.01, steps=20)
    seen = start
    for _ in range(_ROUNDS):
        off = np.linalg.norm(values - surface, axis=1).reshape(high, wide)
        seen = _joined((off < max(4 * sd, _LEAST_BAND)) & free, start)
        ids = np.flatnonzero(seen)
        if len(ids) < 20 * curve.shape[1]:
            break
        surface, sd = _fit(curve, values, ids[:: len(ids) // _FIT_PIXELS + 1], least=_LEAST_SD, steps=3)
    return Ground(surface.reshape(high, wide, 3).astype(np.float32), seen, border, sd)


def _frame(high: int, wide: int) -> NDArray[np.bool_]:
    deep = max(3, int(_BORDER_SHARE * max(high, wide)))
    frame = np.ones((high, wide), dtype=np.bool_)
    frame[deep:-deep, deep:-deep] = False
    return frame


def _patch(high: int, wide: int, at: tuple[float, float]) -> NDArray[np.bool_]:
    rows, cols = np.mgrid[:high, :wide] + 0.5
    near: NDArray[np.bool_] = np.hypot(cols - at[0] * wide, rows - at[1] * high) <= _PATCH_SHARE * max(high, wide)
    return near


def _basis(high: int, wide: int, order: int) -> NDArray[np.float64]:
    """Monomials x^i y^j up to `order`, constant first, (h * w, terms), over -1..1."""
    rows, cols = np.mgrid[:high, :wide]
    x, y = 2 * (cols.ravel() + 0.5) / wide - 1, 2 * (rows.ravel() + 0.5) / high - 1
    return np.stack([x**i * y**j for i in range(order + 1) for j in range(order + 1 - i)], axis=1)


def _fit(
    basis: NDArray[np.float64], values: Grid, ids: NDArray[np.intp], *, least: float, steps: int
) -> tuple[NDArray[np.float64], float]:
    """The surface at every pixel and its scatter, from the pixels `ids`."""
    known, seen = basis[ids], values[ids].astype(np.float64)
    weight, sd = np.ones(len(ids)), least
    factors: NDArray[np.floating[Any]] = np.zeros((basis.shape[1], 3))
    for _ in range(steps):
        root = np.sqrt(weight)[:, None]
        factors = np.linalg.lstsq(known * root, seen * root, rcond=None)[0]
        off = np.linalg.norm(seen - known @ factors, axis=1)
        sd = max(1.4826 * float(np.median(off)), least)
        weight = (1 + (off / (2 * sd)) ** 2) ** -2.0
    return basis @ factors, sd


def _joined(agrees: NDArray[np.bool_], start: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """What agrees and hangs together with the start: a part of the ground's tone is not grown into from afar."""
    from scipy import ndimage

    labels, _ = ndimage.label(agrees)
    wanted = np.unique(labels[start])
    joined: NDArray[np.bool_] = np.isin(labels, wanted[wanted > 0])
    return joined
