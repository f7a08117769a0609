"""What every facet of a textured metal sends to the eye, as four numbers by its slope: the law of each pixel.

The lamps' first bounce is exact for every slope. The rest (the sky, and what the film's face throws back) changes
slowly with slope: it is solved for a few leans and turns and interpolated in its logarithm. The sum over all lights
then is `start * 2^-D(a)`, `D = a (p0 + p1 / (1 + a / k1) + p2 / (1 + a / k2))` with `a` the binary absorbance of a
straight pass and two knees that all facets share: a pixel costs three products and an exponential for a wavelength.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from layerpreview.film.bases import MetalBase, scattered
from layerpreview.film.curves import LOG2_10
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
from layerpreview.film.slab import FILM_INDEX, Slab, lamp_disc, make_slab

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


@dataclass(frozen=True)
class Lamp:
    """A round lamp far away: `zenith_deg` from straight on, `azimuth_deg` in the picture's plane (from right to down),
    `half_angle_deg` of its disc as the part sees it, `share` of the light on a level white card [0..1]."""

    zenith_deg: float
    azimuth_deg: float
    half_angle_deg: float
    share: float


@dataclass(frozen=True)
class Light:
    """What falls on the part: an `even` part from all round, and lamps; a level white card is 1, so shares sum to 1."""

    even: float = 1.0
    lamps: tuple[Lamp, ...] = ()

    def __post_init__(self) -> None:
        if abs(self.even + sum(lamp.share for lamp in self.lamps) - 1.0) > 1e-6:
            raise ValueError("the shares of the even part and of the lamps must sum to 1")


@dataclass(frozen=True, eq=False)
class FacetLaw:
    """The four numbers on a lattice of slopes from -REACH to REACH: `numbers` (4, n, n) hold start, p0, p1 and p2 with
    rows along slope y and columns along slope x; `knees` (2,); `error`: largest misfit as a share of start."""

    numbers: F32
    knees: tuple[float, float]
    error: float

    def at(self, slope_x: F32, slope_y: F32) -> F32:
        """start, p0, p1, p2 (4, ...) of facets with slopes dz/dx, dz/dy; straight between the lattice's points."""
        n = self.numbers.shape[-1]
        x, y = (np.clip((s + np.float32(REACH)) / np.float32(STEP), 0, n - 1.001) for s in (slope_x, slope_y))
        left, top = x.astype(np.int32), y.astype(np.int32)
        x -= left
        y -= top
        flat, first = self.numbers.reshape(4, -1), top * n + left
        upper = flat[:, first] * (1 - x) + flat[:, first + 1] * x
        lower = flat[:, first + n] * (1 - x) + flat[:, first + n + 1] * x
        return np.asarray(upper * (1 - y) + lower * y, dtype=np.float32)

    def reflectance(self, absorbance10: F64, slope_x: F64, slope_y: F64) -> F64:
        """Reflectance factor (facets, P) of facets (facets,) under dye of straight-pass absorbances (P,)."""
        start, *path = self.at(np.asarray(slope_x, np.float32), np.asarray(slope_y, np.float32)).astype(np.float64)
        density = np.stack(path, axis=-1) @ _terms(LOG2_10 * absorbance10, self.knees).T
        return np.asarray(start[:, None] * np.exp2(-density))


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
    slab = make_slab(film_index, nodes=24)
    t = np.exp2(-FIT_AT)
    eye = direction(slab.inside(view_deg), np.radians(view_azimuth_deg))
    axis = np.linspace(-REACH, REACH, round(2.0 * REACH / STEP) + 1)
    slope_x, slope_y = (v.ravel() for v in np.meshgrid(axis, axis))
    seen = _rest_at(slope_x, slope_y, _rest(t, base, light, slab, eye, np.radians(view_azimuth_deg)))
    seen += _at_once(slope_x, slope_y, t, base, light, slab, eye)
    seen *= slab.passing(view_deg) * np.power(t, 1.0 / eye[2]) / film_index**2
    knees, path, error = _fit(seen / seen[:, :1])
    numbers = np.concatenate([seen[:, :1], path], axis=1).T.reshape(4, axis.size, axis.size)
    return FacetLaw(np.ascontiguousarray(numbers, dtype=np.float32), knees, error)


def _disc_rays(slab: Slab, lamp: Lamp, turned_rad: float, *, width: float) -> Rays:
    """A lamp's rays, as many as lobes of `width` [slope] can tell apart."""
    rings = int(np.clip(np.ceil(np.radians(lamp.half_angle_deg) / (2.0 * slab.index) / (0.6 * width)), 1, 6))
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
        there = (mu_in > LEAST) & (mu_out > LEAST)
        mi, mo = np.where(there, mu_in, 1.0), np.where(mu_out > LEAST, mu_out, 1.0)
        f = scattered(base, mu_in=mi, mu_out=mo, cos_between=rays.towards @ eye)
        lit = np.where(there, f * mu_in, 0.0) * (lamp.share * rays.share / rays.mu)
        total += np.pi * lit @ np.power(t, 1.0 / rays.mu[:, None])
    return total


def _rest(t: F64, base: MetalBase, light: Light, slab: Slab, eye: F64, eye_turn_rad: float) -> F64:
    """The sky and all that the face throws back, for every lean and turn; (leans, TURNS, P)."""
    grid = make_grid(slab.index, *SMALL)
    turn = 2.0 * np.pi * np.arange(TURNS) / TURNS
    eyes = direction(eye[2], eye_turn_rad - turn)
    found = np.empty((LEANS_DEG.size, TURNS, t.size))
    for i, lean in enumerate(LEANS_DEG):
        later = weight_of_later(t, base, slab.index, lean, eyes, SMALL)
        every = weight_at_once(base, lean, eyes, grid)[:, None, :] + later
        found[i] = light.even * from_sky(t, base, slab.index, lean, eyes, later, grid)
        for lamp in light.lamps:
            for j, turned in enumerate(turn):
                thrown = thrown_back(_disc_rays(slab, lamp, turned, width=0.5), t, base, lean, grid)
                found[i, j] += np.pi * lamp.share * np.einsum("pn,pn->p", every[j], thrown)
    return found


def _rest_at(slope_x: F64, slope_y: F64, rest: F64) -> F64:
    """The rest at any slope (facets, P), by cubics in the logarithm over lean and turn."""
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


def _terms(absorbance2: F64, knees: tuple[float, float]) -> F64:
    a = np.asarray(absorbance2, dtype=np.float64)
    return np.stack([a, *(a / (1.0 + a / knee) for knee in knees)], axis=-1)


def _fit(share: F64) -> tuple[tuple[float, float], F64, float]:
    """Knees for all, and p0, p1, p2 of every facet (facets, 3), by least squares in steps of equal lightness."""
    density = -np.log2(np.maximum(share, 1e-30))
    weight = share / (np.sqrt(share) + 0.03)
    some = slice(None, None, max(1, len(share) // 500))
    best, knees = np.inf, (1.0, 1.0)
    for i, first in enumerate(_KNEES):
        for second in _KNEES[i + 1 :]:
            off = np.abs(_solved((first, second), share[some], density[some], weight[some])[1]).max()
            if off < best:
                best, knees = off, (float(first), float(second))
    path, off = _solved(knees, share, density, weight)
    return knees, path, float(np.abs(off).max())


def _solved(knees: tuple[float, float], share: F64, density: F64, weight: F64) -> tuple[F64, F64]:
    terms = _terms(FIT_AT, knees)
    weighted = terms * weight[..., None]
    normal = np.einsum("fpi,fpj->fij", weighted, weighted)
    path = np.linalg.solve(normal, np.einsum("fpi,fp->fi", weighted, weight * density)[..., None])[..., 0]
    return path, np.exp2(-path @ terms.T) - share
