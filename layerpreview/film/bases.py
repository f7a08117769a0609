"""What the film lies on: metal flake or a diffuse surface, as functions of angle."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.film.fresnel import conductor_reflectance

F64 = NDArray[np.float64]

ALUMINIUM_ETA_IN_FILM = 0.64
ALUMINIUM_KAPPA_IN_FILM = 4.46
"""Aluminium at 550 nm relative to a film of n = 1.5 (the constants of the path-traced reference tables)."""


@dataclass(frozen=True)
class MetalBase:
    """A bed of metal flakes whose tilts follow a Beckmann distribution, or a mixture of a level and a broad one.

    `flake_spread` is the Beckmann width [slope] of the level bed, 0.05 mirror-like to 0.5 coarse; `broad_share` [0..1]
    of the light comes from flakes that lie as they fell, of width `broad_spread` (real silver paints need both: one
    width misses their L* by 7 to 14). `scale` multiplies all reflection [0..1] (lossy, oxidised flake); `eta`, `kappa`:
    the metal's optical constants relative to the film.
    """

    flake_spread: float
    broad_spread: float = 0.5
    broad_share: float = 0.0
    scale: float = 1.0
    eta: float = ALUMINIUM_ETA_IN_FILM
    kappa: float = ALUMINIUM_KAPPA_IN_FILM

    def __post_init__(self) -> None:
        # Below 0.04 the mirror lobe is narrower than the solver's angles and light would be lost.
        limits = {"flake_spread": 0.04, "broad_spread": 0.04, "broad_share": 0.0, "scale": 0.0}
        for name, least in limits.items():
            if not least <= getattr(self, name) <= 1.0:
                raise ValueError(f"{name} is {getattr(self, name)}: it must lie between {least:g} and 1")

    @property
    def lobes(self) -> tuple[tuple[float, float], ...]:
        """Share and Beckmann width of each lobe that there is; the shares sum to 1."""
        both = ((1.0 - self.broad_share, self.flake_spread), (self.broad_share, self.broad_spread))
        return tuple((share, spread) for share, spread in both if share)

    @property
    def narrowest(self) -> float:
        """The smallest Beckmann width there is."""
        return min(spread for _, spread in self.lobes)


@dataclass(frozen=True)
class SolidBase:
    """A white, solid or wooden surface that scatters evenly (Lambert); `albedo` [0..1] as seen from inside the film."""

    albedo: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.albedo <= 1.0:
            raise ValueError(f"albedo is {self.albedo}: it must lie between 0 and 1")


Base = MetalBase | SolidBase

SILVERS = {
    "fine": MetalBase(flake_spread=0.13, broad_spread=0.48, broad_share=0.7, scale=0.33),
    "medium": MetalBase(flake_spread=0.1045, broad_spread=0.4545, broad_share=0.585, scale=0.2935),
    "coarse": MetalBase(flake_spread=0.104, broad_spread=0.391, broad_share=0.311, scale=0.286),
    "bright": MetalBase(flake_spread=0.12, broad_spread=0.42, broad_share=0.45, scale=0.6),
}
"""Silver base coats by name. Medium and coarse are fitted to two measured silver paints (L* at 15, 25, 45, 75 and 110
degrees from the mirror, lamp at 45: 92.8 64.6 36.5 24.1 21.5 met within 2.1 rms, 109.1 72.9 30.6 13.8 11.4 within 2.7),
worked out from the neural fits (Sztrajman et al. 2021) of the MERL measurements (Matusik et al. 2003); fine and bright
are assumed."""
_COSINES = np.linspace(0.0, 1.0, 1025)


def brdf(base: Base, *, mu_in: ArrayLike, mu_out: ArrayLike, azimuth_rad: ArrayLike) -> F64:
    """Radiance sent to (`mu_out`, `azimuth_rad`) per irradiance arriving from `mu_in`, all inside the film [1/sr].

    Arrays broadcast. The azimuth is counted between the two directions seen from the surface: 0 back towards the
    light, pi on the mirror side. Metal: D G F / (4 mu_in mu_out), Beckmann D, Smith G in the rational form of Walter
    et al. 2007 (doi 10.2312/EGWR/EGSR07/195-206), conductor Fresnel.
    """
    mi, mo, azimuth = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (mu_in, mu_out, azimuth_rad)))
    cos_between = mi * mo + np.sqrt(1.0 - mi**2) * np.sqrt(1.0 - mo**2) * np.cos(azimuth)
    return scattered(base, mu_in=mi, mu_out=mo, cos_between=cos_between)


def scattered(base: Base, *, mu_in: F64, mu_out: F64, cos_between: F64) -> F64:
    """`brdf` by the cosine of the angle between the directions instead of their azimuth [1/sr]; arrays broadcast.

    Both directions are counted from the base's own normal, so that it serves a base that leans, too.
    """
    if isinstance(base, SolidBase):
        return np.full(np.shape(cos_between), base.albedo / np.pi)
    half_length = np.sqrt(np.maximum(2.0 + 2.0 * cos_between, 1e-30))
    cos_half = np.minimum((mu_in + mu_out) / half_length, 1.0)
    slope_squared = (1.0 - cos_half**2) / cos_half**2
    tilts = sum(
        share * np.exp(-slope_squared / spread**2) / (np.pi * spread**2) * smith(mu_in, spread) * smith(mu_out, spread)
        for share, spread in base.lobes
    )
    mirror = mirror_reflectance(0.5 * half_length, base.eta, base.kappa)
    radiance: F64 = base.scale * tilts * mirror / (4.0 * cos_half**4 * mu_in * mu_out)
    return radiance


def mirror_reflectance(cosine: F64, eta: float, kappa: float) -> F64:
    """The metal's Fresnel reflectance from a table in a twentieth of the time: aluminium's to 1e-6, others' to 5e-6."""
    return np.interp(cosine, _COSINES, _mirror_table(eta, kappa))


@lru_cache(maxsize=8)
def _mirror_table(eta: float, kappa: float) -> F64:
    return conductor_reflectance(_COSINES, eta=eta, kappa=kappa)


def smith(mu: F64, flake_spread: float) -> F64:
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
    points = max(64, int(np.ceil(10.0 / base.narrowest)), 2 * modes)
    azimuth = np.pi * np.arange(0.5, points) / points
    f = brdf(base, mu_in=mu_in[None, :, None], mu_out=mu_out[:, None, None], azimuth_rad=azimuth)
    cosines = np.cos(np.arange(modes)[:, None] * azimuth)
    return np.asarray(np.moveaxis(f @ cosines.T, -1, 0) / points)
