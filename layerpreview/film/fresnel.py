"""Reflection at a smooth face, between air and film and between film and metal."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

F64 = NDArray[np.float64]


def cosine_across(cosine: ArrayLike, *, index_from: float, index_to: float) -> F64:
    """Cosine of the refracted ray's angle (Snell); 0 where the ray is totally reflected.

    `cosine` in [0, 1], any shape, measured on the `index_from` side.
    """
    sine_squared = (index_from / index_to) ** 2 * (1.0 - np.square(np.asarray(cosine, dtype=np.float64)))
    return np.sqrt(np.maximum(0.0, 1.0 - sine_squared))


def fresnel_reflectance(cosine: ArrayLike, *, index_from: float, index_to: float) -> F64:
    """Reflectance for unpolarised light at a smooth face between two clear media.

    `cosine` in [0, 1], any shape: of the ray's angle to the normal on the `index_from` side. Total reflection gives 1.
    At normal incidence this is ((n - 1) / (n + 1))^2.

    >>> round(float(fresnel_reflectance(1.0, index_from=1.0, index_to=1.5)), 6)
    0.04
    """
    ci = np.asarray(cosine, dtype=np.float64)
    ct = cosine_across(ci, index_from=index_from, index_to=index_to)
    # A grazing ray has ci = 0 and ct > 0: both ratios are then exactly 1 in size, and no division by zero occurs.
    s_wave = (index_from * ci - index_to * ct) / (index_from * ci + index_to * ct + 1e-300)
    p_wave = (index_to * ci - index_from * ct) / (index_to * ci + index_from * ct + 1e-300)
    reflectance: F64 = np.where(ct > 0.0, 0.5 * (s_wave**2 + p_wave**2), 1.0)
    return reflectance


def conductor_reflectance(cosine: ArrayLike, *, eta: float, kappa: float) -> F64:
    """Reflectance of a metal for unpolarised light; `eta` + i `kappa` is relative to the medium above it.

    `cosine` in [0, 1], any shape. Exact Fresnel equations for an absorbing medium (Born & Wolf, Principles of Optics,
    section 14.2). At normal incidence ((eta - 1)^2 + kappa^2) / ((eta + 1)^2 + kappa^2).
    """
    c = np.asarray(cosine, dtype=np.float64)
    index = complex(eta, kappa)
    inside = np.sqrt(index**2 - (1.0 - c**2))
    s_wave = (c - inside) / (c + inside)
    p_wave = (index**2 * c - inside) / (index**2 * c + inside)
    reflectance: F64 = 0.5 * (np.abs(s_wave) ** 2 + np.abs(p_wave) ** 2)
    return reflectance


def split_quadrature(*, film_index: float, nodes: int) -> tuple[F64, F64]:
    """Gauss-Legendre nodes and weights over the inside cosine 0..1, split at the critical angle.

    Returns `mu` and `weight`, each (2 * nodes,), mu increasing. The split matters: the face's reflectance has a
    vertical tangent at the critical angle, and one rule across it converges slowly.
    """
    critical = float(np.sqrt(1.0 - 1.0 / film_index**2))
    x, w = np.polynomial.legendre.leggauss(nodes)
    half = 0.5 * (x + 1.0)
    # Towards the critical angle from above, r falls like a square root; squaring the variable makes it smooth.
    below = critical * half
    above = critical + (1.0 - critical) * half**2
    mu = np.concatenate([below, above])
    weight = np.concatenate([0.5 * w * critical, 0.5 * w * (1.0 - critical) * 2.0 * half])
    return mu, weight
