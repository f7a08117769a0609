"""The film's answer as short sums of powers of the transmittance: what the engine and the board evaluate per pixel.

Light that left the base crossed the dye some number of times on slanted paths, so its strength is a mixture of powers
of t = 10^-A. A handful of fixed powers, the high ones by squaring, holds every curve of this model to a few parts in
ten thousand, has no poles, and costs a dozen multiplications.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.bases import MetalBase
from layerpreview.film.fresnel import cosine_across, fresnel_reflectance, split_quadrature
from layerpreview.film.streams import FILM_INDEX, body_reflectance

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

POWERS = (1, 2, 3, 4, 8, 16, 32, 64)
"""Powers of t in every curve; the order is part of the board's file as well."""


@dataclass(frozen=True)
class PathCurve:
    """f(t) = sum of coefficient * t^power over `POWERS`; `error` is the largest misfit over 0 <= t <= 1."""

    coefficients: tuple[float, ...]
    error: float

    def __call__(self, t: F64) -> F64:
        """Value at transmittances `t` [0..1], any shape, in double precision."""
        return np.asarray(sum(c * t**p for c, p in zip(self.coefficients, POWERS, strict=True)))

    def fill(self, t: F32, out: F32, power: F32) -> None:
        """Write f(t) to `out` in single precision; `power` is scratch of the same shape. Nothing is allocated."""
        c1, c2, c3, c4, *high = (np.float32(c) for c in self.coefficients)
        np.multiply(t, c4, out=out)
        for c in (c3, c2, c1):
            out += c
            out *= t
        np.multiply(t, t, out=power)
        np.multiply(power, power, out=power)
        for c in high:
            np.multiply(power, power, out=power)
            out += c * power


@dataclass(frozen=True)
class MetalFilm:
    """Metal under dye: reflectance = photo * tau(t), tau(1) = 1."""

    tau: PathCurve

    def reflectance(self, t: F64, bare: F64) -> F64:
        """Reflectance factor for transmittance `t` over a base that shows `bare` with no dye; the two broadcast."""
        return self.tau(t) * bare


@dataclass(frozen=True)
class DiffuseFilm:
    """White, solid or wood under dye: reflectance = C(t) rho / (1 - rho K(t)), rho from the photo at t = 1."""

    c: PathCurve
    k: PathCurve

    @property
    def c_bare(self) -> float:
        return sum(self.c.coefficients)

    @property
    def k_bare(self) -> float:
        return sum(self.k.coefficients)

    def reflectance(self, t: F64, bare: F64) -> F64:
        """As for metal: `bare` is what the photo shows; it is turned into the albedo inside the film first."""
        rho = bare / (self.c_bare + bare * self.k_bare)
        return self.c(t) * rho / (1.0 - rho * self.k(t))


Film = MetalFilm | DiffuseFilm


@lru_cache(maxsize=64)
def metal_film(
    base: MetalBase, *, view_deg: float = 0.0, lamp_deg: float | None = None, film_index: float = FILM_INDEX
) -> MetalFilm:
    """tau(t) = body(A) / body(0) for a metal base at one view, under the sky or a lamp (angles in air [deg])."""
    t = _fit_points()
    body = body_reflectance(-np.log10(t), base, view_deg=view_deg, lamp_deg=lamp_deg, film_index=film_index)
    return MetalFilm(_fit(t, body / body[-1]))


@lru_cache(maxsize=64)
def diffuse_film(
    *, view_deg: float = 0.0, lamp_deg: float | None = None, film_index: float = FILM_INDEX
) -> DiffuseFilm:
    """C and K for a Lambert base at one view, under the sky or a lamp (angles in air [deg])."""
    t = _fit_points()
    mu, weight = split_quadrature(film_index=film_index, nodes=64)
    face = fresnel_reflectance(mu, index_from=film_index, index_to=1.0)
    inside, passing = _through(view_deg, film_index)
    if lamp_deg is None:
        # A uniform sky: n^2 inside cancels against the n^2 on the way out.
        arriving = (2.0 * mu * weight * (1.0 - face) * t[:, None] ** (1.0 / mu)).sum(axis=1)
    else:
        lamp_inside, lamp_passing = _through(lamp_deg, film_index)
        arriving = lamp_passing * t ** (1.0 / lamp_inside) / film_index**2
    c = passing * t ** (1.0 / inside) * arriving
    k = (2.0 * mu * weight * face * t[:, None] ** (2.0 / mu)).sum(axis=1)
    return DiffuseFilm(_fit(t, c), _fit(t, k))


def _through(angle_deg: float, film_index: float) -> tuple[float, float]:
    """Inside cosine and passing share of a ray at `angle_deg` in air."""
    cosine = float(np.cos(np.radians(angle_deg)))
    inside = float(cosine_across(cosine, index_from=1.0, index_to=film_index))
    return inside, 1.0 - float(fresnel_reflectance(cosine, index_from=1.0, index_to=film_index))


def _fit_points() -> F64:
    """Transmittances to fit at, dense where curves bend: near no dye (t = 1) and near black."""
    even = 0.5 * (1.0 - np.cos(np.linspace(0.0, np.pi, 65)))
    near_clear = 1.0 - np.geomspace(1e-4, 0.3, 32)
    return np.unique(np.concatenate([np.maximum(even, 1e-5), near_clear]))


def _fit(t: F64, f: F64) -> PathCurve:
    """Least squares in steps of equal lightness rather than of equal light, exact at t = 1 (no dye)."""
    table = t[:, None] ** np.asarray(POWERS, dtype=np.float64)
    level = f / f[-1]
    weight = 1.0 / (np.sqrt(np.maximum(level, 0.0)) + 0.03)
    # Exact at the end by substitution: f = f(1) t + sum c_p (t^p - t).
    free = table[:, 1:] - table[:, :1]
    high = np.linalg.lstsq(free * weight[:, None], (f - f[-1] * t) * weight, rcond=None)[0]
    coefficients = np.concatenate([[f[-1] - high.sum()], high])
    return PathCurve(tuple(map(float, coefficients)), float(np.abs(table @ coefficients - f).max()))
