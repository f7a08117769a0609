"""How far law and film are trusted: exists for a doubt that is as narrow where nothing was read as where it was."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.film import diffuse_film, law_shapes, law_spread
from layerpreview.film.fresnel import fresnel_reflectance


def test_one_percent_within_and_three_more_for_every_factor_e_outside() -> None:
    """Our own figures; how they were found stands beside them."""
    loads = np.array([0.6, 3.0, 5.0, 5.0 * np.e, 0.6 / np.e**2])
    expected = [0.01, 0.01, 0.01, np.hypot(0.01, 0.03), np.hypot(0.01, 0.06)]
    assert law_spread(loads, lightest=0.6, heaviest=5.0) == pytest.approx(expected)
    assert law_spread(0.0, lightest=0.6, heaviest=5.0) == pytest.approx(0.01)


def test_half_of_it_is_alike_at_all_wavelengths_and_half_drifts_over_50_nm() -> None:
    correlation = law_shapes() @ law_shapes().T
    assert np.diag(correlation) == pytest.approx(np.ones(81), abs=1e-12)
    apart = (WAVELENGTHS_NM[:, None] - WAVELENGTHS_NM) / 50.0
    assert np.abs(correlation - 0.5 - 0.5 * np.exp(-0.5 * apart**2)).max() < 0.01


def seen_through(index: float, absorbance10: float, bare: float) -> float:
    """Lambert under a film of another index that reads `bare` without dye, straight on under an even sky: closed form.

    R = T(A) rho / (1 - rho K(A)), both sums over the angles (Gauss-Legendre, 400 of them).
    """
    x, w = np.polynomial.legendre.leggauss(400)
    mu, w = 0.5 * (x + 1.0), 0.5 * w
    into = 1.0 - fresnel_reflectance(mu, index_from=1.0, index_to=index)
    back = fresnel_reflectance(mu, index_from=index, index_to=1.0)
    steep = np.sqrt(1.0 - (1.0 - mu**2) / index**2)

    def parts(a: float) -> tuple[float, float]:
        t = 10.0**-a
        entering = float(np.sum(2 * mu * w * into * t ** (1 / steep)))
        straight = float(1.0 - fresnel_reflectance(1.0, index_from=1.0, index_to=index)) * t / index**2
        return entering * straight, float(np.sum(2 * mu * w * back * t ** (2 / mu)))

    c0, k0 = parts(0.0)
    rho = bare / (c0 + bare * k0)
    c, k = parts(absorbance10)
    return c * rho / (1.0 - rho * k)


def test_another_index_departs_by_about_as_much_as_is_said() -> None:
    """A dye learnt at 1 to 5 coats under a film of 1.47 taken for 1.5, over white: what its absorbance is off by.

    Indices of clear lacquers, 1.47 to 1.53: common practice, no source.
    """
    film, bare, loads = diffuse_film(), 0.8, np.array([1.0, 2.0, 3.0, 4.0, 5.0])

    def taken_for(load: float) -> float:
        """ln of the absorbance that the film of 1.5 needs over the one that the other film has."""
        seen = seen_through(1.47, 0.12 * load, bare)
        fine = np.linspace(0.5 * 0.12 * load, 1.5 * 0.12 * load, 4001)
        reads = film.reflectance(fine, np.full(fine.size, bare))
        return float(np.log(np.interp(-seen, -reads, fine) / (0.12 * load)))

    learnt = np.mean([taken_for(load) for load in loads])
    within = [taken_for(load) - learnt for load in loads]
    assert np.std(within) == pytest.approx(0.01, abs=0.004)
    for load in (1.0 / np.e, 1.0 / np.e**2):
        assert abs(taken_for(load) - learnt) < 1.2 * law_spread(load, lightest=1.0, heaviest=5.0)
