"""What spectra of dyes look like: the knowledge a fit falls back on where the card says nothing.

Three numbers a step cannot fix eighty-one. What closes the gap is that dyes have a few broad, smooth bands. That is
written here as a Gaussian over log absorptivity: mean and covariance of a large made-up population of dyes of every
hue, loosened by smooth shapes of any kind so that a dye unlike all of them can still be met.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM

F64 = NDArray[np.float64]

POPULATION = 3000
SHAPES = 26
FLOOR = 0.004
"""Share of the peak below which an absorptivity is not told from nothing; keeps logarithms of tails from ruling."""
DYE_REACH_NM = 30.0
"""Over which a dye's spectrum changes together: assumed."""
_LOOSE, _LOOSE_NM = 0.65, 22.0  # standard deviation of log absorptivity and its reach, of shapes unlike the population
_SEEN_LOOSE = ((2.0, 22.0), (0.3, 8.0))  # the same where a spectrum was read
_SCALE_SPREAD = 1.5  # of log strength: the strength is learnt from the card, not believed beforehand


def alike(reach_nm: float, *, at_nm: F64 = WAVELENGTHS_NM) -> F64:
    """Correlation (m, m) of what changes together over `reach_nm` [nm] of wavelengths `at_nm` (m,) [nm]: a bell."""
    apart = (at_nm[:, None] - at_nm[None, :]) / reach_nm
    return np.asarray(np.exp(-0.5 * np.square(apart)))


@dataclass(frozen=True, eq=False)
class DyePrior:
    """log absorbance of a dye = `mean` (81,) + `shapes` (81, K) @ z, z independent with mean 0 and variance 1.

    `mean` is of a dye whose peak is about 1. The first shape is the strength.
    """

    mean: F64
    shapes: F64


@lru_cache(maxsize=1)
def dye_prior() -> DyePrior:
    """The prior of every fit; the same in every run (its population comes from a fixed seed)."""
    logs = np.log(population(POPULATION, seed=11) + FLOOR)
    mean = logs.mean(axis=0)
    covariance = np.cov(logs.T) + _LOOSE**2 * alike(_LOOSE_NM)
    size, direction = np.linalg.eigh(covariance)
    best = np.argsort(size)[::-1][: SHAPES - 1]
    shapes = direction[:, best] * np.sqrt(size[best])
    strength = np.full((WAVELENGTHS_NM.size, 1), _SCALE_SPREAD)
    return DyePrior(mean, np.concatenate([strength, shapes], axis=1))


@lru_cache(maxsize=1)
def seen_prior() -> DyePrior:
    """What is believed of a dye whose spectrum was read: so little that it does not bind there.

    The same population, loosened far more and down to single instrument steps: it speaks only where nothing was read or
    the dye absorbs next to nothing.
    """
    logs = np.log(population(POPULATION, seed=11) + FLOOR)
    loose = sum(sd**2 * alike(reach_nm) for sd, reach_nm in _SEEN_LOOSE)
    covariance = np.cov(logs.T) + loose + _SCALE_SPREAD**2
    size, direction = np.linalg.eigh(covariance)
    kept = size > 1e-6 * size[-1]
    return DyePrior(logs.mean(axis=0), direction[:, kept] * np.sqrt(size[kept]))


@lru_cache(maxsize=1)
def hues(count: int = 40) -> list[F64]:
    """Dyes of every hue as unknowns z (K,) of the prior: where a fit may begin."""
    prior = dye_prior()
    back = np.linalg.pinv(prior.shapes, rcond=1e-2)
    logs = np.log(population(count, seed=5) + FLOOR) - prior.mean
    return [np.zeros(prior.shapes.shape[1]), *(np.clip(back @ log, -2.5, 2.5) for log in logs)]


def population(count: int, *, seed: int) -> F64:
    """Made-up dyes (count, 81) of peak 1: a main band anywhere, shoulders, a violet band, a tail; one in five a mix.

    Sums of Gaussian bands in wavelength, of our own making, in the shape of known dye classes; nothing measured.
    """
    rng = np.random.default_rng(seed)
    dyes = _bands(rng, count)
    blend = rng.random(count) < 0.2
    share = rng.uniform(0.2, 0.8, (count, 1))
    dyes[blend] = (share * dyes + (1.0 - share) * dyes[rng.permutation(count)])[blend]
    peaks: F64 = dyes / dyes.max(axis=1, keepdims=True)
    return peaks


def _bands(rng: np.random.Generator, count: int) -> F64:
    def bell(centre: F64, width: F64, height: F64) -> F64:
        grid = WAVELENGTHS_NM[None, :]
        return np.asarray(height[:, None] * np.exp(-0.5 * ((grid - centre[:, None]) / width[:, None]) ** 2))

    centre = rng.uniform(390.0, 690.0, count)
    width = rng.uniform(18.0, 50.0, count)
    ones = np.ones(count)
    dyes = bell(centre, width, ones)
    for side, most in ((-1.0, 0.9), (1.0, 0.3)):
        beside = centre + side * rng.uniform(25.0, 60.0, count)
        dyes += bell(beside, width * rng.uniform(0.9, 1.5, count), rng.uniform(0.0, most, count))
    dyes += bell(centre - rng.uniform(80.0, 160.0, count), rng.uniform(25.0, 60.0, count), rng.uniform(0, 0.4, count))
    dyes += bell(rng.uniform(350.0, 410.0, count), rng.uniform(20.0, 50.0, count), rng.uniform(0.0, 0.7, count))
    dyes += bell(centre + rng.uniform(60.0, 140.0, count), rng.uniform(30.0, 60.0, count), rng.uniform(0, 0.08, count))
    dyes += rng.uniform(0.0, 0.02, (count, 1))
    return dyes
