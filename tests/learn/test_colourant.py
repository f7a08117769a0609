"""Dyes as unknowns of a fit, and dyes from an instrument's numbers: exist for a logarithm of the wrong base, a slope
that belongs to another dye, and a fit that begins far from every dye there is.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import approx_fprime, brentq

from layerpreview.film import diffuse_film
from layerpreview.learn.fit.colourant import (
    KnownDye,
    KnownDyes,
    UnknownDye,
    absorbance10_of_transmittance,
    absorbance10_over_white,
)
from layerpreview.learn.fit.prior import dye_prior, hues

F64 = NDArray[np.float64]


def test_absorbance_is_the_decadic_logarithm_of_transmittance() -> None:
    """By hand: 10^-0.5 is 0.3162. No dye makes light, and below 0.01 % an instrument reads its own stray light."""
    through = np.array([1.05, 1.0, 0.999, 0.31623, 0.1, 0.0002, 0.0001, 0.00005, 0.0, -0.01])
    assert absorbance10_of_transmittance(through) == pytest.approx(
        [0.0, 0.0, 0.000435, 0.5, 1.0, 3.69897, 4.0, 4.0, 4.0, 4.0], abs=1e-5
    )


def test_absorbance_over_white_is_the_root_of_the_film_model() -> None:
    """Held against Brent's method; lighter than the white is no dye, and what is black all over stops at 4."""
    film, white = diffuse_film(), np.array([0.85, 0.62, 0.91])
    seen = np.array([[0.84, 0.30, 0.02], [0.10, 0.55, 0.0009]])
    found = absorbance10_over_white(seen, white=np.broadcast_to(white, seen.shape), film=film)
    for (row, column), value in np.ndenumerate(seen):
        bare = white[column]
        root = brentq(lambda a, bare=bare, value=value: float(film.reflectance(a, bare)) - value, 0, 5, xtol=1e-13)
        assert found[row, column] == pytest.approx(root, abs=1e-10)
    lighter, black = absorbance10_over_white(np.array([0.86, 0.0]), white=np.array([0.85, 0.85]), film=film)
    assert lighter == pytest.approx(0.0, abs=1e-10)
    assert black == pytest.approx(4.0, abs=1e-10)


def test_an_unknown_dye_follows_the_prior() -> None:
    """Absorbance is exp(mean + shapes z): one deviation of strength is a factor of e^1.5 at every wavelength."""
    dye, prior = UnknownDye(), dye_prior()
    rest, stronger = np.zeros(dye.size), np.eye(dye.size)[0]
    assert dye.size == prior.shapes.shape[1]
    np.testing.assert_allclose(dye.absorbance10(rest)[0], np.exp(prior.mean))
    np.testing.assert_allclose(dye.absorbance10(stronger)[0], 4.48169 * np.exp(prior.mean), rtol=1e-5)


def test_a_fit_begins_with_every_hue_in_four_strengths() -> None:
    """From a hint of colour to dark in one coat: e^-3, e^-1.8, e^-0.6 and e^0.6 times a dye of peak 1."""
    dye, begin = UnknownDye(), UnknownDye().starts()
    assert len(begin) == 4 * len(hues())
    for k, hue in enumerate(hues()):
        plain = dye.absorbance10(hue)[0]
        for state, strength in zip(begin[4 * k : 4 * k + 4], (0.049787, 0.165299, 0.548812, 1.822119), strict=True):
            np.testing.assert_allclose(dye.absorbance10(state)[0], strength * plain, rtol=1e-5)


def mixed(spread: float) -> tuple[KnownDyes, list[KnownDye], F64]:
    rng = np.random.default_rng(3)
    dyes = [
        KnownDye(name, rng.uniform(0.05, 0.6, 81), 0.1 * rng.standard_normal((81, roots)))
        for name, roots in (("amber", 2), ("red", 3), ("blue", 1))
    ]
    return KnownDyes(dyes, spread), dyes, rng.standard_normal(9)


def test_known_dyes_add_up_each_with_its_own_doubt() -> None:
    colourant, (amber, red, blue), z = mixed(0.7)
    assert colourant.size == 3 + 2 + 3 + 1
    total = (
        np.exp(0.7 * z[0]) * amber.absorbance10 * np.exp(amber.doubt @ z[3:5])
        + np.exp(0.7 * z[1]) * red.absorbance10 * np.exp(red.doubt @ z[5:8])
        + np.exp(0.7 * z[2]) * blue.absorbance10 * np.exp(blue.doubt @ z[8:])
    )
    np.testing.assert_allclose(colourant.absorbance10(z)[0], total, rtol=1e-12)
    assert colourant.strengths(z) == pytest.approx(np.exp(0.7 * z[:3]))


@pytest.mark.parametrize("colourant", [mixed(0.7)[0], UnknownDye()], ids=["known", "unknown"])
def test_slopes_are_those_of_the_absorbance(colourant: KnownDyes | UnknownDye) -> None:
    z = 0.4 * np.random.default_rng(4).standard_normal(colourant.size)
    slopes = approx_fprime(z, lambda state: colourant.absorbance10(state)[0], 1e-7)
    np.testing.assert_allclose(colourant.absorbance10(z)[1], slopes, rtol=1e-4, atol=2e-6)


def test_a_mix_begins_at_its_nominal_strengths() -> None:
    colourant, dyes, _ = mixed(0.7)
    (begin,) = colourant.starts()
    assert begin.tolist() == [0.0] * 9
    np.testing.assert_allclose(colourant.absorbance10(begin)[0], sum(dye.absorbance10 for dye in dyes))
