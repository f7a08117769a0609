"""The film's answer as one short formula: what the engine and the board evaluate for every pixel and wavelength.

Light that left the base crossed the dye some number of times on slanted paths. As dye is added the long ways round go
dark first and the straight way in and out remains, so the effective density grows steeply at first and then in
proportion. A straight line and two saturating terms hold every curve of this model to a few parts in ten thousand:
three numbers fitted linearly, no poles, one exponential.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.bases import MetalBase
from layerpreview.film.slab import EVEN, FILM_INDEX, Lamp, Light, make_slab
from layerpreview.film.streams import body_in

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

LOG2_10 = float(np.log2(10.0))
HARDLY_ANY = 1e-3
_KNEES = np.geomspace(0.015, 20.0, 20)
"""Binary absorbances at which a term may saturate; the best pair is searched."""


def left(
    absorbance2: F64, numerator: tuple[float, float, float] | tuple[F64, F64, F64], denominator: tuple[float, float]
) -> F64:
    """2^-D(a): the share of light that is left under dye of binary absorbances a; all broadcast."""
    a, (n0, n1, n2), (q1, q2) = absorbance2, numerator, denominator
    return np.asarray(np.exp2(-a * (n0 + a * (n1 + a * n2)) / (1.0 + a * (q1 + a * q2))))


@dataclass(frozen=True)
class PathCurve:
    """f(a) = start * 2^-D(a), D(a) = a (n0 + n1 a + n2 a^2) / (1 + q1 a + q2 a^2), a = absorbance in binary logarithms.

    a is log2(10) times the decadic absorbance of one straight pass. `error` is the largest misfit found over 0 <= a <=
    12, as a share of `start`.
    """

    start: float
    numerator: tuple[float, float, float]
    denominator: tuple[float, float]
    error: float

    def __call__(self, absorbance10: F64) -> F64:
        """Value at decadic absorbances [>= 0], any shape, in double precision."""
        return self.start * left(LOG2_10 * np.asarray(absorbance10), self.numerator, self.denominator)

    def fill(self, absorbance2: F32, out: F32, space: F32, numerator: F32 | None = None) -> None:
        """Write f / start at binary absorbances (nodes, P) to `out`, single precision; `space` is scratch of its shape.

        `numerator` (3, P): of each pixel's own curve, where they share the denominator alone.
        """
        q1, q2 = map(np.float32, self.denominator)
        n0, n1, n2 = np.array(self.numerator, dtype=np.float32) if numerator is None else numerator
        np.multiply(absorbance2, -n2, out=out)
        for n in (n1, n0):
            out -= n
            out *= absorbance2
        np.multiply(absorbance2, q2, out=space)
        space += q1
        space *= absorbance2
        space += np.float32(1.0)
        out /= space
        np.exp2(out, out=out)


@dataclass(frozen=True)
class MetalFilm:
    """Metal under dye: reflectance = photo * tau(A), tau(0) = 1; `bare` is the flakes' own reflectance factor."""

    tau: PathCurve
    bare: float

    def reflectance(self, absorbance10: F64, bare: F64) -> F64:
        """Reflectance factor under dye of `absorbance10` over a base that shows `bare` without; the two broadcast."""
        return self.tau(absorbance10) * bare


@dataclass(frozen=True, eq=False)
class MixedMetalFilm(MetalFilm):
    """Metal between two kinds: of each point (N,) the density is `share` (N,) of the way from tau's to another's.

    A share may be below 0 or above 1: the line goes on.
    """

    step: tuple[float, float, float]
    """From tau's numerators to the other's, on tau's denominator."""
    share: F64

    def reflectance(self, absorbance10: F64, bare: F64) -> F64:
        """As for `MetalFilm`, of points (N, wavelengths)."""
        n0, n1, n2 = (n + step * self.share[:, None] for n, step in zip(self.tau.numerator, self.step, strict=True))
        return self.tau.start * left(LOG2_10 * absorbance10, (n0, n1, n2), self.tau.denominator) * bare

    def at(self, point: int) -> MetalFilm:
        """The film of one point."""
        share = float(self.share[point])
        n0, n1, n2 = (n + step * share for n, step in zip(self.tau.numerator, self.step, strict=True))
        return MetalFilm(replace(self.tau, numerator=(n0, n1, n2)), self.bare)


def mixed_film(film: MetalFilm, other: MetalFilm, share: F64) -> MixedMetalFilm:
    """`film` on its way to `other`: by density, `share` (N,) of it for each point."""
    a = fit_points()
    there = with_denominator(a, other.tau(a / LOG2_10), film.tau.denominator)
    n0, n1, n2 = (b - n for n, b in zip(film.tau.numerator, there.numerator, strict=True))
    return MixedMetalFilm(film.tau, film.bare, (n0, n1, n2), share)


@dataclass(frozen=True)
class DiffuseFilm:
    """White, solid or wood under dye: reflectance = C(A) rho / (1 - rho K(A)), rho from the photo at A = 0."""

    c: PathCurve
    k: PathCurve

    def albedo(self, bare: F64) -> F64:
        """Albedo inside the film of a surface that shows `bare` through it with no dye."""
        return np.asarray(bare / (self.c.start + bare * self.k.start))

    def reflectance(self, absorbance10: F64, bare: F64) -> F64:
        """As for metal: `bare` is what the photo shows; it is turned into the albedo inside the film first."""
        rho = self.albedo(bare)
        return self.c(absorbance10) * rho / (1.0 - rho * self.k(absorbance10))


Film = MetalFilm | DiffuseFilm


@lru_cache(maxsize=64)
def metal_film(
    base: MetalBase, light: Light = EVEN, *, view_deg: float = 0.0, view_azimuth_deg: float = 0.0
) -> MetalFilm:
    """tau(A) = body(A) / body(0) of a level metal base in a light, for an eye as in `streams.body_in`."""
    a = fit_points()
    body = body_in(light, a / LOG2_10, base, view_deg=view_deg, view_azimuth_deg=view_azimuth_deg)
    if body[0] < HARDLY_ANY:
        # Mirror-like flakes far from the lamp's mirror direction: what little arrives took the straight way.
        zenith_deg = max(light.lamps, key=lambda lamp: lamp.share).zenith_deg if light.lamps else 0.0
        legs = float((1.0 / make_slab(FILM_INDEX).inside([view_deg, zenith_deg])).sum())
        return MetalFilm(PathCurve(1.0, (legs, 0.0, 0.0), (0.0, 0.0), 0.0), float(body[0]))
    return MetalFilm(_fit(a, body / body[0]), float(body[0]))


@lru_cache(maxsize=64)
def diffuse_film(light: Light = EVEN, *, view_deg: float = 0.0) -> DiffuseFilm:
    """C and K of a Lambert base in a light, for an eye at `view_deg`; from which side makes no difference."""
    a, slab = fit_points(), make_slab(FILM_INDEX)
    thrown_back = 2.0 * slab.mu * slab.weight * slab.reflectance
    k = (thrown_back * np.exp2(-a)[:, None] ** (2.0 / slab.mu)).sum(axis=1)
    return DiffuseFilm(_fit(a, sent_up(a, even=light.even, lamps=light.lamps, view_deg=view_deg)), _fit(a, k))


def sent_up(absorbance2: F64, *, even: float, lamps: Sequence[Lamp], view_deg: float) -> F64:
    """C (P,) at binary absorbances: what an eye at `view_deg` gets, by way of one even scattering, of the light on a
    film whose lamps have shares of a level white card's."""
    t, slab = np.exp2(-absorbance2), make_slab(FILM_INDEX)
    # A uniform sky: n^2 inside cancels against the n^2 on the way out.
    entering = 2.0 * slab.mu * slab.weight * (1.0 - slab.reflectance)
    arriving = even * (entering * t[:, None] ** (1.0 / slab.mu)).sum(axis=1)
    for lamp in lamps:
        zenith_deg = min(lamp.zenith_deg, 89.0)  # of a lamp half below the horizon the upper half arrives
        arriving += lamp.share * slab.passing(zenith_deg) * t ** (1.0 / slab.inside(zenith_deg)) / FILM_INDEX**2
    return np.asarray(slab.passing(view_deg) * t ** (1.0 / slab.inside(view_deg)) * arriving)


def fit_points() -> F64:
    """Binary absorbances to fit at: none, then even steps in its logarithm and in itself."""
    return np.unique(np.concatenate([[0.0], np.geomspace(1e-3, 12.0, 26), np.linspace(0.25, 12.0, 18)]))


def _fit(a: F64, f: F64) -> PathCurve:
    """Least squares in steps of equal lightness rather than of equal light; exact at a = 0 by its form."""
    share = f / f[0]
    density, weight = density_and_weight(share)

    def fitted(knees: tuple[float, float]) -> tuple[float, tuple[float, float], F64]:
        terms = saturating(a, knees)
        path = np.asarray(np.linalg.lstsq(terms * weight[:, None], density * weight, rcond=None)[0], dtype=np.float64)
        return float(np.abs(np.exp2(-terms @ path) - share).max()), knees, path

    error, knees, path = min(map(fitted, combinations(map(float, _KNEES), 2)), key=lambda fit: fit[0])
    (n0, n1, n2), denominator = as_fraction(path, knees)
    return PathCurve(float(f[0]), (float(n0), float(n1), float(n2)), denominator, error)


def density_and_weight(share: F64) -> tuple[F64, F64]:
    """Binary density of shares of light, and what an error in it counts for: about its step of lightness."""
    return -np.log2(np.maximum(share, 1e-30)), share / (np.sqrt(share) + 0.03)


def saturating(absorbance2: F64, knees: tuple[float, float]) -> F64:
    """The terms of the density at binary absorbances (P,): a straight one and two that saturate; (P, 3)."""
    a = absorbance2
    return np.stack([a, *(a / (1.0 + a / knee) for knee in knees)], axis=-1)


def as_fraction(path: F64, knees: tuple[float, float]) -> tuple[tuple[F64, F64, F64], tuple[float, float]]:
    """Numerator and denominator, as `PathCurve` has them, of the terms `saturating` times `path` (3, ...)."""
    (p0, p1, p2), (u, v) = path, (1.0 / knees[0], 1.0 / knees[1])
    return (p0 + p1 + p2, p0 * (u + v) + p1 * v + p2 * u, p0 * u * v), (u + v, u * v)


def with_denominator(a: F64, f: F64, denominator: tuple[float, float]) -> PathCurve:
    """The curve through `f` at binary absorbances `a` (P,), the first of them 0, whose denominator is given."""
    share = f / f[0]
    density, weight = density_and_weight(share)
    terms = np.stack([a, a**2, a**3], axis=1) / (1.0 + a * (denominator[0] + a * denominator[1]))[:, None]
    n0, n1, n2 = (float(n) for n in np.linalg.lstsq(terms * weight[:, None], density * weight, rcond=None)[0])
    curve = PathCurve(float(f[0]), (n0, n1, n2), denominator, 0.0)
    return replace(curve, error=float(np.abs(curve(a / LOG2_10) / f[0] - share).max()))
