"""What the film lies on: metal flake or a diffuse surface, as functions of angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.film.fresnel import conductor_reflectance

F64 = NDArray[np.float64]

ALUMINIUM_ETA_IN_FILM = 0.64
ALUMINIUM_KAPPA_IN_FILM = 4.46
"""Aluminium at 550 nm relative to a film of n = 1.5 (the constants of the path-traced reference tables)."""


@dataclass(frozen=True)
class MetalBase:
    """A bed of metal flakes whose tilts follow a Beckmann distribution.

    `flake_spread` is the Beckmann width [slope], 0.05 mirror-like to 0.5 coarse; `scale` multiplies all reflection
    [0..1] (lossy, oxidised flake); `eta`, `kappa`: the metal's optical constants relative to the film.
    """

    flake_spread: float
    scale: float = 1.0
    eta: float = ALUMINIUM_ETA_IN_FILM
    kappa: float = ALUMINIUM_KAPPA_IN_FILM

    def __post_init__(self) -> None:
        # Below 0.04 the mirror lobe is narrower than the solver's angles and light would be lost.
        if not 0.04 <= self.flake_spread <= 1.0:
            raise ValueError(f"flake_spread is {self.flake_spread}: it must lie between 0.04 and 1")
        if not 0.0 <= self.scale <= 1.0:
            raise ValueError(f"scale is {self.scale}: it must lie between 0 and 1")


@dataclass(frozen=True)
class SolidBase:
    """A white, solid or wooden surface that scatters evenly (Lambert); `albedo` [0..1] as seen from inside the film."""

    albedo: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.albedo <= 1.0:
            raise ValueError(f"albedo is {self.albedo}: it must lie between 0 and 1")


Base = MetalBase | SolidBase


def brdf(base: Base, *, mu_in: ArrayLike, mu_out: ArrayLike, azimuth_rad: ArrayLike) -> F64:
    """Radiance sent to (`mu_out`, `azimuth_rad`) per irradiance arriving from `mu_in`, all inside the film [1/sr].

    Arrays broadcast. The azimuth is counted between the two directions seen from the surface: 0 back towards the
    light, pi on the mirror side. Metal: D G F / (4 mu_in mu_out), Beckmann D, Smith G in the rational form of Walter
    et al. 2007 (doi 10.2312/EGWR/EGSR07/195-206), conductor Fresnel.
    """
    mi, mo, azimuth = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (mu_in, mu_out, azimuth_rad)))
    if isinstance(base, SolidBase):
        return np.full(mi.shape, base.albedo / np.pi)
    si, so = np.sqrt(1.0 - mi**2), np.sqrt(1.0 - mo**2)
    cos_between = mi * mo + si * so * np.cos(azimuth)
    half_length = np.sqrt(np.maximum(2.0 + 2.0 * cos_between, 1e-30))
    cos_half = np.minimum((mi + mo) / half_length, 1.0)
    slope_squared = (1.0 - cos_half**2) / cos_half**2
    alpha_squared = base.flake_spread**2
    tilts = np.exp(-slope_squared / alpha_squared) / (np.pi * alpha_squared * cos_half**4)
    seen = _smith(mi, base.flake_spread) * _smith(mo, base.flake_spread)
    mirror = _mirror(0.5 * half_length, base.eta, base.kappa)
    radiance: F64 = base.scale * tilts * seen * mirror / (4.0 * mi * mo)
    return radiance


def _mirror(cosine: F64, eta: float, kappa: float) -> F64:
    """The metal's Fresnel reflectance from a table: exact to 1e-6 and a twentieth of the time."""
    grid = np.linspace(0.0, 1.0, 1025)
    return np.interp(cosine, grid, conductor_reflectance(grid, eta=eta, kappa=kappa))


def _smith(mu: F64, flake_spread: float) -> F64:
    """Share of flakes that are not hidden behind others, for rays at cosine `mu`."""
    slope = np.sqrt(np.maximum(1.0 - mu**2, 1e-30)) / np.maximum(mu, 1e-30)
    a = 1.0 / (flake_spread * slope)
    share: F64 = np.where(a < 1.6, (3.535 * a + 2.181 * a**2) / (1.0 + 2.276 * a + 2.577 * a**2), 1.0)
    return share


def azimuth_modes(base: Base, *, mu_in: F64, mu_out: F64, modes: int) -> F64:
    """Cosine modes of the BRDF, f_m = (1/2pi) integral f cos(m phi) dphi, for m = 0 .. modes - 1.

    `mu_in` (I,), `mu_out` (O,) -> (modes, O, I) [1/sr].
    """
    if isinstance(base, SolidBase):
        table = np.zeros((modes, mu_out.size, mu_in.size))
        table[0] = base.albedo / np.pi
        return table
    # The narrowest lobe in azimuth is about two flake spreads wide; the midpoint rule is exact to rounding once it has
    # a few points across, and needs two points per period of the highest mode.
    points = max(64, int(np.ceil(10.0 / base.flake_spread)), 2 * modes)
    azimuth = np.pi * (np.arange(points) + 0.5) / points
    f = brdf(base, mu_in=mu_in[None, :, None], mu_out=mu_out[:, None, None], azimuth_rad=azimuth)
    cosines = np.cos(np.arange(modes)[:, None] * azimuth)
    return np.asarray(np.einsum("oip,mp->moi", f, cosines, optimize=True) / points)
