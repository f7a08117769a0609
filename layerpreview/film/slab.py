"""The film as an absorbing slab with one smooth face: what dye takes, its inside angles, and the light on it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.film.fresnel import cosine_across, fresnel_reflectance, split_quadrature

F64 = NDArray[np.float64]

FILM_INDEX = 1.5
NODES = 24


@dataclass(frozen=True, eq=False)
class Slab:
    """The film's angles: inside cosines `mu` with quadrature `weight` and the face's `reflectance` from inside."""

    index: float
    mu: F64
    weight: F64
    reflectance: F64

    def inside(self, angle_deg: ArrayLike) -> F64:
        """Inside cosine of a ray at `angle_deg` in air."""
        cosine = np.cos(np.radians(np.asarray(angle_deg, dtype=np.float64)))
        return cosine_across(cosine, index_from=1.0, index_to=self.index)

    def passing(self, angle_deg: ArrayLike) -> F64:
        """Share of a ray at `angle_deg` in air that passes the face, either way."""
        cosine = np.cos(np.radians(np.asarray(angle_deg, dtype=np.float64)))
        return 1.0 - fresnel_reflectance(cosine, index_from=1.0, index_to=self.index)


@lru_cache(maxsize=16)
def make_slab(film_index: float, *, nodes: int = NODES) -> Slab:
    """A film of `film_index` with `nodes` angles on either side of the critical one."""
    mu, weight = split_quadrature(film_index=film_index, nodes=nodes)
    return Slab(film_index, mu, weight, fresnel_reflectance(mu, index_from=film_index, index_to=1.0))


def absorbance10_of_load(*, absorptivity_L_per_g_cm: ArrayLike, load_mg_m2: ArrayLike) -> F64:
    """Decadic absorbance of one straight pass through a dye film.

    A = 0.1 * a * m with `absorptivity_L_per_g_cm` a [L g-1 cm-1, decadic] and m in g/m2; `load_mg_m2` [mg/m2] is
    divided by 1000 here. The two broadcast. Film thickness and thinner do not enter: only dye per area does.

    >>> float(absorbance10_of_load(absorptivity_L_per_g_cm=163.0, load_mg_m2=61.35).round(3))
    1.0
    """
    a = np.asarray(absorptivity_L_per_g_cm, dtype=np.float64)
    return 1e-4 * a * np.asarray(load_mg_m2, dtype=np.float64)


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


EVEN = Light()


def lamp_at(zenith_deg: float | None) -> Light:
    """One small lamp alone, at azimuth 0, so that positive views are on its side; even light where there is none."""
    if zenith_deg is None:
        return EVEN
    return Light(0.0, (Lamp(zenith_deg, 0.0, 0.0, 1.0),))


def lamp_disc(lamp_deg: float, half_angle_deg: float, *, rings: int = 6, spokes: int = 24) -> tuple[F64, F64, F64]:
    """Points of a lamp's disc: zeniths [deg], azimuths from its middle [rad], shares of its irradiance (sum 1)."""
    if half_angle_deg == 0.0:
        return np.array([lamp_deg]), np.zeros(1), np.ones(1)
    x, w = np.polynomial.legendre.leggauss(rings)
    radius = np.radians(half_angle_deg) * np.sqrt(0.5 * (x + 1.0))  # equal areas of the disc
    turn = 2.0 * np.pi * np.arange(0.5, spokes) / spokes
    centre = np.radians(lamp_deg)
    # A small circle around the lamp's direction, in the frame where that direction is the pole.
    r, a = (v.ravel() for v in np.meshgrid(radius, turn, indexing="ij"))
    up = np.cos(r) * np.cos(centre) - np.sin(r) * np.cos(a) * np.sin(centre)
    along = np.cos(r) * np.sin(centre) + np.sin(r) * np.cos(a) * np.cos(centre)
    across = np.sin(r) * np.sin(a)
    share = np.repeat(w, spokes) * np.maximum(up, 0.0)
    share /= max(float(share.sum()), 1e-12)  # of a lamp below the horizon nothing arrives
    return np.degrees(np.arctan2(np.hypot(along, across), up)), np.arctan2(across, along), share
