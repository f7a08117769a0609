"""Slow, literal textbook versions of what layerpreview.film computes, written from the formulae and by adaptive
quadrature. They share no line with the package and exist to be compared with it.

Williams & Clapper, "Multiple internal reflections in photographic color prints", JOSA 43, 595-599 (1953), in the
general form of Simonot, Hebert & Hersch, JOSA A 23, 1432 (2006); Saunderson, JOSA 32, 727 (1942).
"""

from __future__ import annotations

from math import asin, cos, pi, radians, sin, sqrt

from scipy.integrate import quad


def fresnel(angle: float, n_from: float, n_to: float) -> float:
    """Reflectance for unpolarised light at `angle` [rad]; Hecht, Optics, ch. 4: mean of the two polarisations."""
    sine = n_from / n_to * sin(angle)
    if sine >= 1.0:
        return 1.0
    ci, ct = cos(angle), sqrt(1.0 - sine * sine)
    s_wave = (n_from * ci - n_to * ct) / (n_from * ci + n_to * ct)
    p_wave = (n_to * ci - n_from * ct) / (n_to * ci + n_from * ct)
    return 0.5 * (s_wave**2 + p_wave**2)


def thrown_back(t: float, n: float) -> float:
    """r_i(t): what the face sends back of diffuse light that crosses the dye up and down, gathered at the base."""
    critical = asin(1.0 / n)

    def path(angle: float) -> float:
        return float(t ** (2.0 / cos(angle)) * sin(2.0 * angle))

    below = quad(lambda angle: fresnel(angle, n, 1.0) * path(angle), 0.0, critical, epsabs=1e-11)[0]
    return float(below + quad(path, critical, pi / 2, epsabs=1e-11)[0])


def inside(angle_deg: float, n: float) -> float:
    """Cosine inside the film of a ray at `angle_deg` in air (Snell)."""
    return sqrt(1.0 - (sin(radians(angle_deg)) / n) ** 2)


def williams_clapper(t: float, n: float, rho: float, *, lamp_deg: float, view_deg: float) -> float:
    """Reflectance factor of dye over a diffuse base under a lamp, the face's own mirror image left out."""
    through = (1.0 - fresnel(radians(lamp_deg), 1.0, n)) * (1.0 - fresnel(radians(abs(view_deg)), 1.0, n)) / n**2
    legs = 1.0 / inside(lamp_deg, n) + 1.0 / inside(view_deg, n)
    return through * rho * t**legs / (1.0 - rho * thrown_back(t, n))


def diffuse_sky(t: float, n: float, rho: float, *, view_deg: float = 0.0) -> float:
    """The same under a uniform sky (d:0 for a view straight on)."""

    def entering(angle: float) -> float:
        cosine = sqrt(1.0 - (sin(angle) / n) ** 2)
        return float((1.0 - fresnel(angle, 1.0, n)) * t ** (1.0 / cosine) * sin(2.0 * angle))

    arriving = quad(entering, 0.0, pi / 2, epsabs=1e-11)[0]
    leaving = t ** (1.0 / inside(view_deg, n)) * (1.0 - fresnel(radians(view_deg), 1.0, n)) / n**2
    return float(arriving * leaving * rho / (1.0 - rho * thrown_back(t, n)))


def mirror(absorbance10: float, rho: float, n: float) -> float:
    """Dye over a plane mirror seen straight on, the face's own mirror image left out: the sum over all bounces."""
    face = ((n - 1.0) / (n + 1.0)) ** 2
    twice = rho * 10.0 ** (-2.0 * absorbance10)
    return (1.0 - face) ** 2 * twice / (1.0 - face * twice)
