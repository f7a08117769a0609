"""Light between a facet of the base that leans and the film's level face: streams over all directions.

Coordinates: z out of the film; the facet leans towards x, so lamp and eye are turned about z until it does. Every
bounce meets the same facet, and light that leaves below the horizon is lost. The base's first answer to a lamp is
exact, that to the sky summed over a fine grid; later bounces go over a coarse one, each direction's row scaled to the
energy that it must hold, so that a narrow lobe between two grid directions is neither lost nor counted twice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.bases import Base, SolidBase, mirror_reflectance, scattered, smith
from layerpreview.film.slab import NODES, Slab, lamp_disc, make_slab
from layerpreview.threads import passing

F64 = NDArray[np.float64]

FINE, COARSE, SMALL = (NODES, 96), (12, 48), (8, 24)
"""Polar angles on either side of the critical one, and azimuths: of the sky's grid, of the later bounces', and of those
where thousands of facets are wanted (at most a hundredth of the light is then misplaced)."""
SETTLED = 1e-5
_EVEN = 1e-9


@dataclass(frozen=True, eq=False)
class Grid:
    """Directions inside the film: unit vectors (N, 3), solid angles `weight` (N,), cosines `mu` (N,), the face's
    `reflectance` (N,), and for each direction the place of its `mirrored` one, opposite in azimuth."""

    towards: F64
    weight: F64
    mu: F64
    reflectance: F64
    mirrored: NDArray[np.intp]

    def power(self, t: F64, times: float) -> F64:
        """What a film of straight transmittance `t` (P,) lets through along each direction, `times` over; (P, N)."""
        return np.power(t[:, None], times / self.mu)


@lru_cache(maxsize=8)
def make_grid(film_index: float, polar: int, around: int) -> Grid:
    slab = make_slab(film_index, nodes=polar)
    turn = 2.0 * np.pi * np.arange(0.5, around) / around
    mu, reflectance, share = (np.repeat(v, around) for v in (slab.mu, slab.reflectance, slab.weight))
    place = np.arange(mu.size).reshape(-1, around)
    mirrored = np.roll(place, -(around // 2), axis=1).ravel()
    return Grid(direction(mu, np.tile(turn, slab.mu.size)), share * 2.0 * np.pi / around, mu, reflectance, mirrored)


def direction(mu: F64, azimuth_rad: F64) -> F64:
    """Unit vectors (..., 3) at cosine `mu` from z."""
    across = np.sqrt(1.0 - mu**2)
    return np.stack(np.broadcast_arrays(across * np.cos(azimuth_rad), across * np.sin(azimuth_rad), mu), axis=-1)


def facet_reflectance(
    t: F64,
    base: Base,
    *,
    film_index: float,
    view_deg: float,
    lamp_deg: float | None,
    lamp_azimuth_deg: float,
    half_angle_deg: float,
    facet_tilt_deg: float,
    facet_azimuth_deg: float,
) -> F64:
    """Reflectance factor (P,) of one facet, as in `streams.body_reflectance`; `t` (P,): straight transmittances."""
    slab, grid = make_slab(film_index), make_grid(film_index, *COARSE)
    mu_eye = slab.inside(view_deg)
    side = 0.0 if view_deg >= 0.0 else 180.0
    eye = direction(mu_eye, np.radians(side - facet_azimuth_deg))[None]
    later = weight_of_later(t, base, film_index, facet_tilt_deg, eye, COARSE)
    if lamp_deg is None:
        seen = from_sky(t, base, film_index, facet_tilt_deg, eye, later, grid)
    else:
        lamp = lamp_disc(lamp_deg, half_angle_deg)
        rays = rays_of(slab, lamp, np.radians(lamp_azimuth_deg - facet_azimuth_deg))
        every = weight_at_once(base, facet_tilt_deg, eye, grid)[:, None, :] + later
        again = np.einsum("epn,pn->ep", every, thrown_back(rays, t, base, facet_tilt_deg, grid))
        seen = np.pi * (at_once_from(rays, t, base, facet_tilt_deg, eye) + again)
    out: F64 = slab.passing(view_deg) * np.power(t, 1.0 / mu_eye) * seen[0] / film_index**2
    return out


def from_sky(t: F64, base: Base, film_index: float, tilt_deg: float, eye: F64, later: F64, grid: Grid) -> F64:
    """Radiance at the facet towards each eye (E, 3) under a sky of radiance 1; (E, P).

    `later` (E, P, N): what `weight_of_later` gives on `grid`.
    """
    fine = make_grid(film_index, *FINE)
    at_once = _rows(base, tilt_deg, eye, fine) @ _sky_light(t, fine, film_index).T
    return np.asarray(at_once + np.einsum("epn,pn->ep", later, _sky_light(t, grid, film_index)))


def _sky_light(t: F64, grid: Grid, film_index: float) -> F64:
    return np.asarray(film_index**2 * (1.0 - grid.reflectance) * grid.power(t, 1.0))


@dataclass(frozen=True, eq=False)
class Rays:
    """A lamp as rays inside the film: `towards` (..., L, 3) it, cosines `mu` (L,), and what each brings to the base
    without dye, per irradiance of the whole lamp on the level face (L,). More than one row: the lamp turned about z."""

    towards: F64
    mu: F64
    share: F64

    def turned(self, turns_rad: F64) -> Rays:
        """The same lamp turned about z, once for each of the angles (T,)."""
        cosine, sine = np.cos(turns_rad)[:, None], np.sin(turns_rad)[:, None]
        x, y, z = np.moveaxis(self.towards, -1, 0)
        towards = np.stack(
            [cosine * x - sine * y, sine * x + cosine * y, np.broadcast_to(z, (len(turns_rad), z.size))], -1
        )
        return replace(self, towards=towards)

    def on_facet(self, t: F64, tilt_deg: float) -> F64:
        """Irradiance on the facet's own area through dye of straight transmittances `t` (P,); (..., P, L)."""
        facing = np.maximum(self.towards @ _normal(tilt_deg), 0.0) / self.mu
        return np.asarray((self.share * facing)[..., None, :] * np.power(t[:, None], 1.0 / self.mu))


def rays_of(slab: Slab, lamp: tuple[F64, F64, F64], azimuth_rad: float) -> Rays:
    """The rays of a lamp at `azimuth_rad`, as `slab.lamp_disc` gives it."""
    zenith_deg, turn_rad, share = lamp
    mu = slab.inside(zenith_deg)
    return Rays(direction(mu, turn_rad + azimuth_rad), mu, share * slab.passing(zenith_deg))


def at_once_from(rays: Rays, t: F64, base: Base, tilt_deg: float, eye: F64) -> F64:
    """Radiance at the facet towards each eye (E, 3) by one bounce of a lamp's light; (E, P)."""
    return np.asarray(_scattered(base, tilt_deg, rays.towards, eye) @ rays.on_facet(t, tilt_deg).T)


def thrown_back(rays: Rays, t: F64, base: Base, tilt_deg: float, grid: Grid) -> F64:
    """Radiance (..., P, N) that arrives on the facet from the film's face after one bounce of a lamp's light."""
    seen = _scattered(base, tilt_deg, rays.towards.reshape(-1, 3), grid.towards).T
    leaving = rays.on_facet(t, tilt_deg) @ seen.reshape(*rays.towards.shape[:-1], grid.mu.size)
    return np.asarray(grid.reflectance * grid.power(t, 2.0) * leaving[..., grid.mirrored])


def weight_of_later(t: F64, base: Base, film_index: float, tilt_deg: float, eye: F64, size: tuple[int, int]) -> F64:
    """What light on the facet adds to each eye by way of the film's face, by the grid direction that it comes from.

    `eye` (E, 3) -> (E, P, N): to be multiplied by arriving radiance. Followed back from the eye, so that it serves
    every lamp and the sky.
    """
    grid = make_grid(film_index, *size)
    bounce = _bounce(base, film_index, tilt_deg, size)
    face = grid.reflectance * grid.power(t, 2.0)
    weight = np.repeat(weight_at_once(base, tilt_deg, eye, grid)[:, None, :], t.size, axis=1)
    most, total = weight.max(), np.zeros_like(weight)
    while weight.max() > SETTLED * most:
        weight = (weight * face)[:, :, grid.mirrored] @ bounce
        total += weight
    return total


@passing(8)
def _bounce(base: Base, film_index: float, tilt_deg: float, size: tuple[int, int]) -> F64:
    """One bounce off the facet between grid directions: leaving (N,) = bounce (N, N) @ arriving (N,)."""
    grid = make_grid(film_index, *size)
    return weight_at_once(base, tilt_deg, grid.towards, grid)


def _normal(tilt_deg: float) -> F64:
    tilt = np.radians(tilt_deg)
    return np.array([np.sin(tilt), 0.0, np.cos(tilt)])


def _scattered(base: Base, tilt_deg: float, arriving: F64, leaving: F64) -> F64:
    """BRDF between directions (I, 3) and (O, 3); (O, I), 0 where one is behind the facet [1/sr]."""
    normal = _normal(tilt_deg)
    mu_in, mu_out = arriving @ normal, (leaving @ normal)[:, None]
    mi, mo = np.maximum(mu_in, _EVEN), np.maximum(mu_out, _EVEN)
    seen = scattered(base, mu_in=mi, mu_out=mo, cos_between=leaving @ arriving.T)
    return np.where((mu_in > _EVEN) & (mu_out > _EVEN), seen, 0.0)


def _rows(base: Base, tilt_deg: float, leaving: F64, grid: Grid) -> F64:
    """What each arriving direction of the grid counts for towards `leaving` (O, 3); (O, N)."""
    lit = np.maximum(grid.towards @ _normal(tilt_deg), 0.0) * grid.weight
    return np.asarray(_scattered(base, tilt_deg, grid.towards, leaving) * lit)


def weight_at_once(base: Base, tilt_deg: float, leaving: F64, grid: Grid) -> F64:
    """`_rows` of a coarse grid, scaled lobe by lobe to the share of light that comes from above the horizon at all."""
    if isinstance(base, SolidBase):
        return _rows(base, tilt_deg, leaving, grid)
    total = np.zeros((len(leaving), grid.mu.size))
    for share, spread in base.lobes:
        lobe = replace(base, flake_spread=spread, broad_share=0.0)
        rows = _rows(lobe, tilt_deg, leaving, grid)
        held = base.scale * _albedo(spread, base.eta, base.kappa, tilt_deg, leaving)
        total += share * rows * (held / np.maximum(rows.sum(axis=1), 1e-12))[:, None]
    return total


def _albedo(spread: float, eta: float, kappa: float, tilt_deg: float, leaving: F64) -> F64:
    """What one lobe sends to each direction (O, 3) from a light that is 1 everywhere above the horizon; (O,).

    Summed over the flakes' slopes, of which Gauss-Laguerre and even turns take few: the lobe's width does not matter.
    """
    rings, spokes = 10, 20
    x, share = np.polynomial.laguerre.laggauss(rings)
    turn = np.tile(2.0 * np.pi * np.arange(0.5, spokes) / spokes, rings)
    slope, share = spread * np.sqrt(np.repeat(x, spokes)), np.repeat(share, spokes) / spokes
    normal = _normal(tilt_deg)
    along, across = np.array([normal[2], 0.0, -normal[0]]), np.array([0.0, 1.0, 0.0])
    cosine = 1.0 / np.hypot(1.0, slope)
    flake = normal + (slope * np.cos(turn))[:, None] * along + (slope * np.sin(turn))[:, None] * across
    flake *= cosine[:, None]
    facing = leaving @ flake.T
    mu_out = (leaving @ normal)[:, None]
    mu_in = 2.0 * facing * cosine - mu_out
    above = 2.0 * facing * flake[:, 2] - leaving[:, 2:] > 0.0
    mirror = mirror_reflectance(facing, eta, kappa)
    seen = smith(mu_in, spread) * smith(mu_out, spread)
    part = share * seen * mirror * facing / (np.maximum(mu_out, _EVEN) * cosine)
    return np.asarray(np.where((mu_in > _EVEN) & (mu_out > _EVEN) & above, part, 0.0).sum(axis=1))
