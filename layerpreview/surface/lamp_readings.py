"""What three brightnesses of one place, a lamp at three sides, say of its slopes and its flakes.

A table over the three log brightnesses: how often a base of given unrest gives each reading, and the mean slopes and
log gain of all that give it (the posterior mean, which has the least rms error of all estimates).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from layerpreview.film.bases import MetalBase
from layerpreview.film.between import between
from layerpreview.film.facet_law import REACH, STEP, facet_law
from layerpreview.film.slab import Lamp, Light

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

FLOOR = 0.007
"""Light, a level white card being 1, below which a photo tells next to no difference."""
UNREST = 0.25
"""Spread of the logarithm of flake brightness before the photos are looked at (assumed; coarse sparkle has more)."""
NOISE = 0.03
"""Error of a photo's log brightness, as a finely focused one has (assumed)."""
STRAY = 0.03
"""How often one of the photos says something else, by a cast shadow or a mirrored thing (assumed)."""
SPAN = 7.8
"""Range of log brightness that such a photo may say, all of it alike (assumed)."""
LAMP_HALF_ANGLE_DEG = 3.0

_FAR_GAINS, _FAR_SLOPES, _LEAST = 2.4, 4.8, 1e-5  # in spreads, and what is rarer than the last is left out


@dataclass(frozen=True)
class Fineness:
    """How fine a table is: cells a side, slopes along x and y, gains, and the least blur [natural log].

    A table of few cells blurs by half a cell: one `blur` for all makes their likelihoods comparable.
    """

    cells: int
    slopes: int
    gains: int
    blur: float


SEARCH = Fineness(cells=45, slopes=121, gains=9, blur=0.08)
FINE = Fineness(cells=97, slopes=301, gains=17, blur=NOISE)


def law_of_lamp(silver: MetalBase, *, side: str, height_deg: float, even: float) -> F32:
    """Light (slope y, slope x) of bare facets from -REACH to REACH, a lamp at `height_deg` over the bench on `side`.

    `even`: share of the light that comes from all round [0..1]; a level white card is 1.
    """
    right = np.float32(even) * _sky_law(silver) + np.float32(1.0 - even) * _lamp_law(silver, height_deg)
    turned: dict[str, F32] = {"right": right, "left": right[:, ::-1], "bottom": right.T, "top": right.T[::-1]}
    return turned[side]


@lru_cache(maxsize=8)
def _sky_law(silver: MetalBase) -> F32:
    law: F32 = facet_law(silver, Light(1.0, ())).numbers[0]
    return law


@lru_cache(maxsize=128)
def _lamp_law(silver: MetalBase, height_deg: float) -> F32:
    lamp = Lamp(90.0 - height_deg, 0.0, LAMP_HALF_ANGLE_DEG, 1.0)
    law: F32 = facet_law(silver, Light(0.0, (lamp,))).numbers[0]
    return law


def expected_log(law: F32, steepness: tuple[float, float]) -> float:
    """Mean of log(light + FLOOR) over slopes of normal spreads `steepness` along x and y."""
    axis = np.linspace(-REACH, REACH, round(2.0 * REACH / STEP) + 1)
    often_x, often_y = (np.exp(-0.5 * (axis / spread) ** 2) for spread in steepness)
    return float(often_y @ np.log(law + FLOOR) @ often_x / (often_x.sum() * often_y.sum()))


@dataclass(frozen=True, eq=False)
class Readings:
    """A table of readings, axis k along the log brightness of photo k.

    numbers (n, n, n, 6): how often, per natural log cubed, and the same times slope x, slope y, log gain and the
    squares of both slopes; the last five are missing from a table for likelihood alone. `start`, `cell` (3,): natural
    log of light + FLOOR at the first cell, and of a cell.
    """

    numbers: F32
    start: F32
    cell: F32

    def cells(self, light: F32) -> F32:
        """The places (3, pixels) of light (3, pixels) in the table, its border for what is beyond."""
        place = (np.log(light + np.float32(FLOOR)) - self.start[:, None]) / self.cell[:, None]
        return np.asarray(np.clip(place, 0.0, np.float32(len(self.numbers) - 1.001)))

    def often(self, cells: F32) -> F32:
        """How often readings (3, pixels) come, those that no facet explains by chance as well."""
        density: F32 = map_coordinates(self.numbers[..., 0], cells, order=1, mode="nearest")
        return density + np.float32(STRAY / SPAN**3)

    def log_pull(self, light: F32, cells: F32) -> F32:
        """How the logarithm of `often` changes with that of each photo's light (3, pixels)."""
        log_often = np.log(self.numbers[..., 0] + np.float32(STRAY / SPAN**3))
        slopes = between_cells(np.stack(np.gradient(log_often), axis=-1), cells) / self.cell[:, None]
        return np.asarray(slopes * (light / (light + np.float32(FLOOR))))

    def means(self, cells: F32) -> F32:
        """Slope x, slope y, log gain and the squares of both slopes (5, pixels)."""
        return _shares(between_cells(self.numbers, cells))

    @property
    def plain(self) -> Readings:
        """The same without squares: half the work for a whole photo."""
        return Readings(np.ascontiguousarray(self.numbers[..., :4]), self.start, self.cell)

    def without(self, photo: int, cells: F32) -> tuple[F32, F32]:
        """`often` and `means` by the other two photos: the third may say anything within SPAN."""
        two = np.asarray(self.numbers.sum(axis=photo) * self.cell[photo], dtype=np.float32)
        found = between_cells(two, np.delete(cells, photo, axis=0))
        return found[0] / np.float32(SPAN), _shares(found)


def _shares(found: F32) -> F32:
    return np.asarray(found[1:] / np.maximum(found[0], np.float32(1e-20)))


@dataclass(frozen=True, eq=False)
class Facets:
    """What a base shows under three lamps before it is counted, of every slope that is kept and every gain.

    `lights` (3, facets) at gain 1; `logs` (3, gains, facets): natural log of light + FLOOR; `weight` (gains, facets):
    how often each comes.
    """

    slope_x: F64
    slope_y: F64
    gains: F64
    lights: F32
    logs: F32
    weight: F64


def facets_of(laws: Sequence[F32], *, steepness: tuple[float, float], fineness: Fineness) -> Facets:
    """The facets for three `laws`, of slopes of normal spreads `steepness` along x and y, and gains of UNREST."""
    gains = np.linspace(-_FAR_GAINS, _FAR_GAINS, fineness.gains)
    far = (min(_FAR_SLOPES * spread, REACH) for spread in steepness)
    axes = [np.linspace(-most, most, fineness.slopes) for most in far]
    often_x, often_y = (np.exp(-0.5 * (axis / spread) ** 2) for axis, spread in zip(axes, steepness, strict=True))
    both = often_y[:, None] * often_x
    kept = both > _LEAST
    slope_x, slope_y = (v[kept] for v in np.meshgrid(*axes))
    x, y = (((v + REACH) / STEP).astype(np.float32) for v in (slope_x, slope_y))
    lights = between(np.stack(laws), x, y)
    logs = lights[:, None] * _gain(gains)[:, None]
    logs += np.float32(FLOOR)
    np.log(logs, out=logs)
    weight = np.exp(-0.5 * gains**2)[:, None] * both[kept]
    return Facets(slope_x, slope_y, gains, lights, logs, weight)


def _gain(gains: F64) -> F32:
    return np.exp(UNREST * gains).astype(np.float32)


def readings_of(facets: Facets, full: F32, *, fineness: Fineness, likelihood: bool = False) -> Readings:
    """The table of what `facets` show.

    `full` (3,): the light at which each photo is blown out; more light reads as this. `likelihood`: how often alone.
    """
    gains, weight, lights, gain = facets.gains, facets.weight, facets.lights, _gain(facets.gains)
    ends = [np.log(np.minimum(v, full) + FLOOR) for v in (lights.min(1) * gain[0], lights.max(1) * gain[-1])]
    start, end = (np.asarray(v, dtype=np.float32) for v in ends)
    cell = np.maximum((end - start) / (fineness.cells - 5), np.float32(0.01))
    start = start - 2 * cell
    flat = _flat_cells(facets.logs, np.log(full + np.float32(FLOOR)), start, cell, fineness.cells).ravel()
    slope_x, slope_y = facets.slope_x, facets.slope_y
    weights: list[float | F64] = [1.0] if likelihood else [1.0, slope_x, slope_y, 1.0, slope_x**2, slope_y**2]
    blur = np.sqrt(np.maximum(fineness.blur**2 / cell**2 - 0.25, 0.0))
    alone = np.eye(fineness.cells)
    blurs = [gaussian_filter(alone, (one, 0.0), truncate=3.0).astype(np.float32) for one in blur]
    cubes = []
    for k, value in enumerate(weights):
        value = (gains * UNREST)[:, None] if k == 3 else value
        cube = np.bincount(flat, (weight * value).ravel(), minlength=fineness.cells**3)
        cubes.append(_blurred(cube.reshape((fineness.cells,) * 3).astype(np.float32), blurs))
    numbers = np.stack(cubes, axis=-1)
    numbers /= np.float32(weight.sum() * float(np.prod(cell)))
    return Readings(numbers, start, cell)


def _flat_cells(logs: F32, most: F32, start: F32, cell: F32, cells: int) -> NDArray[np.intp]:
    """The number of the cell (gains, facets) that each of `logs` (3, gains, facets), `most` at most, falls in.

    One photo and gain after the other, in one small space: it stays in the cache.
    """
    flat = np.zeros(logs.shape[1:], dtype=np.intp)
    space = np.empty(logs.shape[2], np.float32)
    for one, full, first, size in zip(logs, most, start, cell, strict=True):
        for log, row in zip(one, flat, strict=True):
            np.minimum(log, full, out=space)
            space -= first
            space /= size
            row *= cells
            row += np.rint(space, out=space).astype(np.intp)
    return flat


def _blurred(cube: F32, blurs: Sequence[F32]) -> F32:
    """A cube blurred along each axis by a matrix of its own: of so few cells far faster than a filter."""
    n = len(cube)
    cube = (blurs[0] @ cube.reshape(n, n * n)).reshape(cube.shape)
    return np.asarray(np.matmul(blurs[1], cube) @ blurs[2].T)


def between_cells(table: F32, cells: F32) -> F32:
    """Numbers (k, pixels) of a table (n, ..., k) at places (axes, pixels), straight between cells."""
    axes, size = len(cells), len(table)
    rows = table.reshape(-1, table.shape[-1])
    whole = cells.astype(np.intp)
    rest = cells - whole.astype(np.float32)
    strides = [size ** (axes - 1 - k) for k in range(axes)]
    corner = sum(w * s for w, s in zip(whole, strides, strict=True))
    found = np.zeros((cells.shape[1], rows.shape[1]), np.float32)
    for ends in np.ndindex((2,) * axes):
        share = np.prod([r if end else 1.0 - r for r, end in zip(rest, ends, strict=True)], axis=0)
        part = np.take(rows, corner + sum(s * end for s, end in zip(strides, ends, strict=True)), axis=0, mode="clip")
        part *= share[:, None]
        found += part
    return found.T
