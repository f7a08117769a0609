"""What every facet of a textured metal sends to the eye, as four numbers by its slope: the law of each pixel.

The sum over all lights (`facet_light`) is a `curves.PathCurve` for each facet, with one denominator for all: three
numbers and a start by slope.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.bases import MetalBase
from layerpreview.film.between import between
from layerpreview.film.curves import LOG2_10, PathCurve, as_fraction, fit_points, left, with_denominator
from layerpreview.film.facet_light import Fineness, common_knees, eye_table, facets_seen, fitted_path
from layerpreview.film.facets import SMALL
from layerpreview.film.slab import FILM_INDEX, Light

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

REACH = 1.5
"""Steepest slope along x or y that is told apart; steeper facets are as dark as these."""
STEP = 0.02
FINENESS = Fineness(leans=15, turns=24, grid=SMALL, lobe=0.4)


@dataclass(frozen=True, eq=False)
class FacetLaw:
    """A `PathCurve` for every slope: `numbers` (4, n, n) hold start, n0, n1 and n2 from -REACH to REACH, rows along
    slope y and columns along slope x; `denominator` is common; `error`: largest misfit as a share of start."""

    numbers: F32
    denominator: tuple[float, float]
    error: float

    def at(self, slope_x: F32, slope_y: F32) -> F32:
        """start, n0, n1, n2 (4, ...) of facets with slopes dz/dx, dz/dy; straight between the lattice's points."""
        at = ((slope.ravel() + np.float32(REACH)) / np.float32(STEP) for slope in (slope_x, slope_y))
        return between(self.numbers, *at).reshape(4, *np.shape(slope_x))

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
    axis = np.linspace(-REACH, REACH, round(2.0 * REACH / STEP) + 1)
    normals = _normals(*(v.ravel() for v in np.meshgrid(axis, axis)), turned_rad=np.radians(view_azimuth_deg))
    seen = facets_seen(
        normals,
        eye_table(base, film_index, view_deg, FINENESS),
        base,
        even=light.even,
        lamps=[replace(lamp, azimuth_deg=lamp.azimuth_deg - view_azimuth_deg) for lamp in light.lamps],
        zenith_deg=view_deg,
        film_index=film_index,
        fineness=FINENESS,
    )
    share = seen / seen[:, :1]
    knees = common_knees(share)
    path, off = fitted_path(share, knees)
    numerator, denominator = as_fraction(path.T, knees)
    numbers = np.stack([seen[:, 0], *numerator])
    return FacetLaw(numbers.reshape(4, axis.size, axis.size).astype(np.float32), denominator, float(np.abs(off).max()))


def _normals(slope_x: F64, slope_y: F64, *, turned_rad: float) -> F64:
    """Unit normals (facets, 3) of slopes, in directions counted from `turned_rad`."""
    cosine, sine = np.cos(turned_rad), np.sin(turned_rad)
    along, across = -slope_x * cosine - slope_y * sine, slope_x * sine - slope_y * cosine
    length = np.sqrt(1.0 + slope_x**2 + slope_y**2)
    return np.stack([along, across, np.ones_like(along)], axis=-1) / length[:, None]
