"""What every facet of a textured metal sends to the eye, as four numbers by its slope: the law of each pixel.

The lamps' first bounce is exact for every slope. The rest (the sky, and what the film's face throws back) changes
slowly with slope: it is solved for a few leans and turns and interpolated in its logarithm. The sum over all lights
then is a `curves.PathCurve` for each facet, with one denominator for all: three numbers and a start by slope.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.bases import MetalBase, scattered
from layerpreview.film.curves import (
    LOG2_10,
    PathCurve,
    as_fraction,
    density_and_weight,
    fit_points,
    left,
    saturating,
    with_denominator,
)
from layerpreview.film.facets import (
    SMALL,
    Rays,
    direction,
    from_sky,
    make_grid,
    rays_of,
    thrown_back,
    weight_at_once,
    weight_of_later,
)
from layerpreview.film.slab import FILM_INDEX, Lamp, Light, Slab, lamp_disc, make_slab
from layerpreview.threads import thread_pool

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

REACH = 1.5
"""Steepest slope along x or y that is told apart; steeper facets are as dark as these."""
STEP = 0.02
LEANS_DEG = np.linspace(0.0, 65.0, 14)
TURNS = 24
FIT_AT = np.concatenate([[0.0], np.geomspace(0.02, 12.0, 15)])
"""Binary absorbances that the law is fitted at."""
LEAST = 1e-7
_KNEES = np.geomspace(0.03, 12.0, 12)


@dataclass(frozen=True, eq=False)
class FacetLaw:
    """A `PathCurve` for every slope: `numbers` (4, n, n) hold start, n0, n1 and n2 from -REACH to REACH, rows along
    slope y and columns along slope x; `denominator` is common; `error`: largest misfit as a share of start."""

    numbers: F32
    denominator: tuple[float, float]
    error: float

    def at(self, slope_x: F32, slope_y: F32) -> F32:
        """start, n0, n1, n2 (4, ...) of facets with slopes dz/dx, dz/dy; straight between the lattice's points."""
        n = self.numbers.shape[-1]
        x, y = (np.clip((s + np.float32(REACH)) / np.float32(STEP), 0, n - 1.001) for s in (slope_x, slope_y))
        col, row = x.astype(np.int32), y.astype(np.int32)
        x -= col
        y -= row
        flat, first = self.numbers.reshape(4, n * n), row * n + col
        upper = flat[:, first] * (1 - x) + flat[:, first + 1] * x
        lower = flat[:, first + n] * (1 - x) + flat[:, first + n + 1] * x
        return np.asarray(upper * (1 - y) + lower * y, dtype=np.float32)

    def reflectance(self, absorbance10: F64, slope_x: F32 | F64, slope_y: F32 | F64) -> F64:
        """Reflectance factor (facets, P) of facets (facets,) under dye of straight-pass absorbances (P,)."""
        numbers = self.at(np.asarray(slope_x, np.float32), np.asarray(slope_y, np.float32)).astype(np.float64)
        start, n0, n1, n2 = numbers[:, :, None]
        return np.asarray(start * left(LOG2_10 * np.asarray(absorbance10), (n0, n1, n2), self.denominator))

    def mean(self, slope_x: F32, slope_y: F32) -> PathCurve:
        """The curve of many facets (facets,) together; its `start` is their mean start."""
        a = fit_points()
        mean = self.reflectance(a / LOG2_10, slope_x.ravel(), slope_y.ravel()).mean(axis=0)
        return with_denominator(a, mean, self.denominator)


@lru_cache(maxsize=8)
def facet_law(
    base: MetalBase,
    light: Light,
    *,
    view_deg: float = 0.0,
    view_azimuth_deg: float = 0.0,
    film_index: float = FILM_INDEX,
) -> FacetLaw:
    """Solve every facet of `base` in `light` for an eye at `view_deg` [0..90, in air], on the side `view_azimuth_deg`.

    Azimuths count from the picture's right to its bottom. Takes about a second and is kept.
    """
    slab = make_slab(film_index)
    t = np.exp2(-FIT_AT)
    eye = direction(slab.inside(view_deg), np.radians(view_azimuth_deg))
    axis = np.linspace(-REACH, REACH, round(2.0 * REACH / STEP) + 1)
    slope_x, slope_y = (v.ravel() for v in np.meshgrid(axis, axis))
    seen = _rest_at(slope_x, slope_y, _rest(t, base, light, slab, eye, np.radians(view_azimuth_deg)))
    seen += _at_once(slope_x, slope_y, t, base, light, slab, eye)
    seen *= slab.passing(view_deg) * np.power(t, 1.0 / eye[2]) / film_index**2
    knees, path, error = _fit(seen / seen[:, :1])
    numerator, denominator = as_fraction(path, knees)
    numbers = np.stack([seen[:, 0], *numerator])
    return FacetLaw(numbers.reshape(4, axis.size, axis.size).astype(np.float32), denominator, error)


def _disc_rays(slab: Slab, lamp: Lamp, turned_rad: float, *, width: float) -> Rays:
    """A lamp's rays, as many as lobes of `width` [slope] can tell apart."""
    rings = min(6, math.ceil(np.radians(lamp.half_angle_deg) / (1.2 * slab.index * width)))
    disc = lamp_disc(lamp.zenith_deg, lamp.half_angle_deg, rings=rings, spokes=6 * rings)
    return rays_of(slab, disc, np.radians(lamp.azimuth_deg) - turned_rad)


def _at_once(slope_x: F64, slope_y: F64, t: F64, base: MetalBase, light: Light, slab: Slab, eye: F64) -> F64:
    """pi times the radiance (facets, P) of one bounce off every facet, all lamps together."""
    normal = np.stack([-slope_x, -slope_y, np.ones_like(slope_x)], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    mu_out = (normal @ eye)[:, None]
    total = np.zeros((slope_x.size, t.size))
    for lamp in light.lamps:
        rays = _disc_rays(slab, lamp, 0.0, width=base.narrowest)
        mu_in = normal @ rays.towards.T
        mi, mo = np.maximum(mu_in, LEAST), np.maximum(mu_out, LEAST)
        f = scattered(base, mu_in=mi, mu_out=mo, cos_between=rays.towards @ eye)
        lit = np.where(mu_out > LEAST, f * np.maximum(mu_in, 0.0), 0.0) * (lamp.share * rays.share / rays.mu)
        total += np.pi * lit @ np.power(t, 1.0 / rays.mu[:, None])
    return total


def _rest(t: F64, base: MetalBase, light: Light, slab: Slab, eye: F64, eye_turn_rad: float) -> F64:
    """The sky and all that the face throws back, for every lean and turn; (leans, TURNS, P)."""
    grid = make_grid(slab.index, *SMALL)
    turn = 2.0 * np.pi * np.arange(TURNS) / TURNS
    alike = not light.lamps and eye[2] == 1.0  # even light from straight on knows no sides
    eyes = direction(eye[2], eye_turn_rad - (turn[:1] if alike else turn))
    found = np.empty((LEANS_DEG.size, TURNS, t.size))

    def solve(i: int) -> None:
        lean = float(LEANS_DEG[i])
        later = weight_of_later(t, base, slab.index, lean, eyes, SMALL)
        every = weight_at_once(base, lean, eyes, grid)[:, None, :] + later
        found[i] = light.even * from_sky(t, base, slab.index, lean, eyes, later, grid)
        for lamp in light.lamps:
            for j, turned in enumerate(turn):
                thrown = thrown_back(_disc_rays(slab, lamp, turned, width=0.5), t, base, lean, grid)
                found[i, j] += np.pi * lamp.share * np.einsum("pn,pn->p", every[j], thrown)

    with thread_pool() as pool:
        list(pool.map(solve, range(LEANS_DEG.size)))
    return found


def _rest_at(slope_x: F64, slope_y: F64, rest: F64) -> F64:
    """The rest at any slope (facets, P), by cubics in the logarithm over lean and turn."""
    from scipy.ndimage import map_coordinates  # slow to load, and no base but a textured one needs it

    around, beyond = 3, 2
    logs = np.log(np.maximum(rest, LEAST))
    # Through upright a lean goes on as one towards the other side.
    through = np.roll(logs[beyond:0:-1], TURNS // 2, axis=1)
    logs = np.concatenate([through, logs])
    logs = np.concatenate([logs[:, -around:], logs, logs[:, :around]], axis=1)
    lean = np.degrees(np.arctan(np.hypot(slope_x, slope_y))) / (LEANS_DEG[1] - LEANS_DEG[0])
    turn = np.mod(np.arctan2(-slope_y, -slope_x) / (2.0 * np.pi), 1.0) * TURNS
    place = np.stack([lean + beyond, turn + around])
    return np.stack([np.exp(map_coordinates(logs[..., p], place, mode="nearest")) for p in range(rest.shape[-1])], -1)


def _fit(share: F64) -> tuple[tuple[float, float], F64, float]:
    """Knees for all, and p0, p1, p2 (3, facets): a straight term and two that saturate, as `curves` fits them."""
    density, weight = density_and_weight(share)
    some = slice(None, None, len(share) // 500)

    def misfit(pair: tuple[float, float]) -> float:
        _, off = _solved(pair, share[some], density[some], weight[some])
        return float(np.abs(off).max())

    knees = min(combinations(map(float, _KNEES), 2), key=misfit)
    path, off = _solved(knees, share, density, weight)
    return knees, path.T, float(np.abs(off).max())


def _solved(knees: tuple[float, float], share: F64, density: F64, weight: F64) -> tuple[F64, F64]:
    terms = saturating(FIT_AT, knees)
    weighted = terms * weight[..., None]
    normal = np.einsum("fpi,fpj->fij", weighted, weighted)
    path = np.linalg.solve(normal, np.einsum("fpi,fp->fi", weighted, weight * density)[..., None])[..., 0]
    return path, np.exp2(-path @ terms.T) - share
