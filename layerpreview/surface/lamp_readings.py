"""What three brightnesses of one place, a lamp at three sides, say of its slopes and its flakes.

A table over the three log brightnesses: how often a base of given unrest gives each reading, and the mean slopes and
log gain of all that give it (the posterior mean, which has the least rms error of all estimates).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from layerpreview.film.bases import MetalBase
from layerpreview.film.between import between
from layerpreview.film.facet_law import REACH, STEP, facet_law
from layerpreview.film.slab import Lamp, Light

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

FLOOR = 0.004
"""Light, a level white card being 1, below which a photo tells next to no difference."""
UNREST = 0.25
"""Spread of the logarithm of flake brightness before the photos are looked at (assumed; coarse sparkle has more)."""
NOISE = 0.03
"""Error of a photo's log brightness, as a finely focused one has (assumed)."""
STRAY = 0.03
"""How often one of the photos says something else, by a cast shadow or a mirrored thing (assumed)."""
LAMP_HALF_ANGLE_DEG = 3.0

_CELL, _BEFORE, _CELLS = 0.08, 3.0, 97
_GAINS = np.linspace(-2.4, 2.4, 17)
_SLOPES = np.linspace(-REACH, REACH, 301)
_LEAST = 1e-5


def law_of_lamp(silver: MetalBase, *, side: str, height_deg: float, even: float) -> F32:
    """Light (slope y, slope x) of bare facets from -REACH to REACH, a lamp at `height_deg` over the bench on `side`.

    `even`: share of the light that comes from all round [0..1]; a level white card is 1.
    """
    lamp = Lamp(90.0 - height_deg, 0.0, LAMP_HALF_ANGLE_DEG, 1.0 - even)
    right = facet_law(silver, Light(even, (lamp,))).numbers[0]
    turned: dict[str, F32] = {"right": right, "left": right[:, ::-1], "bottom": right.T, "top": right.T[::-1]}
    return turned[side]


def cell_of(light: F32 | F64) -> F64:
    """The place of a brightness along an axis of the table."""
    return np.asarray(np.log(light / FLOOR + 1.0) / _CELL + _BEFORE, dtype=np.float64)


def cells_per_log(light: F64) -> F64:
    """How many cells that place moves by, for a change of the logarithm of brightness."""
    return np.asarray(light / (light + FLOOR) / _CELL)


def expected_log(law: F32, steepness: float) -> float:
    """Mean of log(light + FLOOR) over slopes of normal spread `steepness` along x and y."""
    axis = np.linspace(-REACH, REACH, round(2.0 * REACH / STEP) + 1)
    often = np.exp(-0.5 * (axis / steepness) ** 2)
    return float(often @ np.log(law + FLOOR) @ often / often.sum() ** 2)


@dataclass(frozen=True, eq=False)
class Readings:
    """`density` (n, n, n) of readings, sum 1; `moments` (3, n, n, n): the same times slope x, slope y, log gain."""

    density: F64
    moments: F64

    def often(self, cells: F64) -> F64:
        """How often readings (3, pixels) come, those that no facet explains by chance as well."""
        return _at(self.density, cells) + STRAY / _CELLS**3

    def log_gradient(self) -> list[F64]:
        """How the logarithm of `often` changes along each axis, per cell."""
        return list(np.gradient(np.log(self.density + STRAY / _CELLS**3)))

    def means(self, cells: F64) -> F64:
        """Slope x, slope y and log gain (3, pixels)."""
        often = _at(self.density, cells)
        return np.stack([_at(moment, cells) for moment in self.moments]) / np.maximum(often, 1e-30)

    def without(self, photo: int) -> Readings:
        """The readings of the other two photos: the table is the same whatever the third says."""
        density = np.broadcast_to(self.density.mean(axis=photo, keepdims=True), self.density.shape)
        moments = np.broadcast_to(self.moments.mean(axis=photo + 1, keepdims=True), self.moments.shape)
        return Readings(density, moments)


def readings_of(laws: Sequence[F32], full: Sequence[float], *, steepness: float, every: int = 1) -> Readings:
    """The table for three `laws`, of slopes of normal spread `steepness` and gains of UNREST.

    `full`: the light at which each photo is blown out; more light reads as this. `every`: of the fine slopes.
    """
    often = np.exp(-0.5 * (_SLOPES[::every] / steepness) ** 2)
    both = often[:, None] * often
    kept = both > _LEAST
    slope_y, slope_x = (v[kept] for v in np.meshgrid(_SLOPES[::every], _SLOPES[::every], indexing="ij"))
    x, y = (((v + REACH) / STEP).astype(np.float32) for v in (slope_x, slope_y))
    lights = [between(law[None], x, y).ravel().astype(np.float64) for law in laws]
    sums = np.zeros((4, _CELLS**3))
    for gain in _GAINS:
        cells = [
            np.minimum(np.rint(cell_of(np.minimum(light * np.exp(gain * UNREST), most))).astype(np.intp), _CELLS - 1)
            for light, most in zip(lights, full, strict=True)
        ]
        place = (cells[0] * _CELLS + cells[1]) * _CELLS + cells[2]
        weight = both[kept] * np.exp(-0.5 * gain**2)
        for total, value in zip(sums, (1.0, slope_x, slope_y, gain * UNREST), strict=True):
            total += np.bincount(place, weight * value, minlength=total.size)
    sums /= sums[0].sum()
    cube = np.stack([gaussian_filter(v.reshape((_CELLS,) * 3), NOISE / _CELL, truncate=3.0) for v in sums])
    return Readings(cube[0], cube[1:])


def _at(table: F64, cells: F64) -> F64:
    return np.asarray(map_coordinates(table, cells, order=1, mode="nearest"))
