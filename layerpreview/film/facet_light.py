"""What facets of any lean send to one eye, in any light: the sum that the laws of pixels are tables of.

The lamps' first bounce is exact for every facet. The rest (the sky, and what the film's face throws back) changes
slowly with lean and turn: it is solved for a few of them and interpolated in its logarithm. What does not depend on the
lamps is followed back from the eye once, by its zenith, and kept.

Coordinates: z out of the film; azimuths are counted from the eye's side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.bases import MetalBase, scattered
from layerpreview.film.curves import density_and_weight, saturating
from layerpreview.film.facets import (
    Rays,
    direction,
    from_sky,
    make_grid,
    rays_of,
    thrown_back,
    weight_at_once,
    weight_of_later,
)
from layerpreview.film.slab import Lamp, Slab, lamp_disc, make_slab
from layerpreview.threads import passing, thread_pool

F64 = NDArray[np.float64]

FIT_AT = np.concatenate([[0.0], np.geomspace(0.02, 12.0, 15)])
"""Binary absorbances that a law is fitted at."""
LEAST = 1e-7
STEEPEST_DEG = 65.0
_KNEES = np.geomspace(0.03, 12.0, 12)
_AS_A_POINT = 0.2
"""Share of what a lobe tells apart below which a lamp is one ray: a hundredth of the light at most."""


@dataclass(frozen=True)
class Fineness:
    """How many leans and turns the rest is solved for, and the directions it is followed over (`facets.make_grid`).

    `lobe` [slope]: for which a lamp's rays are counted where the film's face throws them back, since little is left of
    them then.
    """

    leans: int
    turns: int
    grid: tuple[int, int]
    lobe: float

    @property
    def leans_deg(self) -> F64:
        return np.linspace(0.0, STEEPEST_DEG, self.leans)

    @property
    def turns_rad(self) -> F64:
        return 2.0 * np.pi * np.arange(self.turns) / self.turns


@dataclass(frozen=True, eq=False)
class EyeTable:
    """The way back from an eye, by a facet's lean and the eye's turn from the side it leans to.

    `weight` (leans, turns, P, N): what light that arrives from each direction of the grid adds; `sky` (leans, turns,
    P): what a sky of radiance 1 does. Absorbances are FIT_AT.
    """

    weight: F64
    sky: F64

    def towards(self, other: EyeTable, share: float) -> EyeTable:
        """The table of an eye between two, on the way to the `other` by `share`."""
        if share == 0.0:
            return self
        return EyeTable(
            (1.0 - share) * self.weight + share * other.weight, (1.0 - share) * self.sky + share * other.sky
        )


@passing(16)
def eye_table(base: MetalBase, film_index: float, zenith_deg: float, fineness: Fineness) -> EyeTable:
    """Solve the way back from an eye at `zenith_deg` [in air]; one half of the turns mirrors the other."""
    t, grid = np.exp2(-FIT_AT), make_grid(film_index, *fineness.grid)
    half = fineness.turns // 2
    eyes = direction(make_slab(film_index).inside(zenith_deg), fineness.turns_rad[: half + 1])
    weight = np.empty((fineness.leans, fineness.turns, t.size, grid.mu.size))
    sky = np.empty((fineness.leans, fineness.turns, t.size))
    across = np.arange(grid.mu.size).reshape(-1, fineness.grid[1])[:, ::-1].ravel()

    def solve(i: int) -> None:
        lean = float(fineness.leans_deg[i])
        later = weight_of_later(t, base, film_index, lean, eyes, fineness.grid)
        weight[i, : half + 1] = weight_at_once(base, lean, eyes, grid)[:, None, :] + later
        weight[i, half + 1 :] = weight[i, half - 1 : 0 : -1][:, :, across]
        sky[i, : half + 1] = from_sky(t, base, film_index, lean, eyes, later, grid)
        sky[i, half + 1 :] = sky[i, half - 1 : 0 : -1]

    with thread_pool() as pool:
        list(pool.map(solve, range(fineness.leans)))
    return EyeTable(weight, sky)


def facets_seen(
    normals: F64,
    table: EyeTable,
    base: MetalBase,
    *,
    even: float,
    lamps: Sequence[Lamp],
    zenith_deg: float,
    film_index: float,
    fineness: Fineness,
) -> F64:
    """pi times the radiance (facets, P) that reaches the eye at `zenith_deg` and azimuth 0, under dye of FIT_AT.

    `normals` (facets, 3) of unit length; `table` of that eye; lamps' shares are of a level white card, as `even` is.
    """
    slab = make_slab(film_index)
    t, mu_eye = np.exp2(-FIT_AT), slab.inside(zenith_deg)
    seen = _rest_at(normals, _rest(table, base, even, lamps, slab, t, fineness))
    seen += at_once(normals, t, base, lamps, slab, direction(mu_eye, np.zeros(())))
    seen *= slab.passing(zenith_deg) * np.power(t, 1.0 / mu_eye) / film_index**2
    return seen


def at_once(normals: F64, t: F64, base: MetalBase, lamps: Sequence[Lamp], slab: Slab, eye: F64) -> F64:
    """pi times the radiance (facets, P) of one bounce off facets of `normals` (facets, 3), all lamps together."""
    mu_out = (normals @ eye)[:, None]
    total = np.zeros((len(normals), t.size))
    for lamp in lamps:
        rays = _disc_rays(slab, lamp, width=base.narrowest)
        mu_in = normals @ rays.towards.T
        mi, mo = np.maximum(mu_in, LEAST), np.maximum(mu_out, LEAST)
        f = scattered(base, mu_in=mi, mu_out=mo, cos_between=rays.towards @ eye)
        lit = np.where(mu_out > LEAST, f * np.maximum(mu_in, 0.0), 0.0) * (lamp.share * rays.share / rays.mu)
        total += np.pi * lit @ np.power(t, 1.0 / rays.mu[:, None])
    return total


def _disc_rays(slab: Slab, lamp: Lamp, *, width: float) -> Rays:
    """A lamp's rays above the film's horizon, as many as lobes of `width` [slope] can tell apart."""
    wide = np.radians(lamp.half_angle_deg) / (1.2 * slab.index * width)
    rings = min(6, math.ceil(wide))
    half_angle_deg = 0.0 if wide < _AS_A_POINT else lamp.half_angle_deg
    zenith_deg, turn_rad, share = lamp_disc(lamp.zenith_deg, half_angle_deg, rings=rings, spokes=6 * rings)
    up = share > 0.0
    return rays_of(slab, (zenith_deg[up], turn_rad[up], share[up]), np.radians(lamp.azimuth_deg))


def _rest(
    table: EyeTable, base: MetalBase, even: float, lamps: Sequence[Lamp], slab: Slab, t: F64, fineness: Fineness
) -> F64:
    """The sky and all that the face throws back, for every lean and turn; (leans, turns, P)."""
    grid = make_grid(slab.index, *fineness.grid)
    found = even * table.sky
    for lamp in lamps:
        rays = _disc_rays(slab, lamp, width=fineness.lobe).turned(fineness.turns_rad)
        for i, lean in enumerate(fineness.leans_deg):
            thrown = thrown_back(rays, t, base, float(lean), grid)
            found[i] += np.pi * lamp.share * np.einsum("jpn,jpn->jp", table.weight[i], thrown)
    return found


def _rest_at(normals: F64, rest: F64) -> F64:
    """The rest of any facet (facets, P), by cubics in the logarithm over lean and turn."""
    from scipy.ndimage import map_coordinates  # slow to load, and no base but a textured one needs it

    around, beyond = 3, 2
    leans, turns, _ = rest.shape
    logs = np.log(np.maximum(rest, LEAST))
    # Through upright a lean goes on as one towards the other side.
    through = np.roll(logs[beyond:0:-1], turns // 2, axis=1)
    logs = np.concatenate([through, logs])
    logs = np.concatenate([logs[:, -around:], logs, logs[:, :around]], axis=1)
    lean = np.degrees(np.arccos(np.clip(normals[:, 2], -1.0, 1.0))) * (leans - 1) / STEEPEST_DEG
    turn = np.mod(-np.arctan2(normals[:, 1], normals[:, 0]) / (2.0 * np.pi), 1.0) * turns
    place = np.stack([lean + beyond, turn + around])
    return np.stack([np.exp(map_coordinates(logs[..., p], place, mode="nearest")) for p in range(rest.shape[-1])], -1)


def common_knees(share: F64) -> tuple[float, float]:
    """The two knees that suit all of the shares (facets, P), by some of them."""
    some = share[:: max(1, len(share) // 500)]
    return min(combinations(map(float, _KNEES), 2), key=lambda pair: float(np.abs(fitted_path(some, pair)[1]).max()))


def fitted_path(share: F64, knees: tuple[float, float]) -> tuple[F64, F64]:
    """p0, p1, p2 (facets, 3) of a straight term and two that saturate, and what they miss the shares by (facets, P)."""
    density, weight = density_and_weight(share)
    terms = saturating(FIT_AT, knees)
    products = (terms[:, :, None] * terms[:, None, :]).reshape(len(FIT_AT), 9)
    squared = weight * weight
    normal = (squared @ products).reshape(-1, 3, 3)
    path = np.asarray(np.linalg.solve(normal, ((squared * density) @ terms)[..., None])[..., 0], dtype=np.float64)
    return path, np.exp2(-path @ terms.T) - share
