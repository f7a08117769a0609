"""The ranges told of a fit: exist for a 90 % that is another share, and for a doubt that is not the problem's own.

Slopes are taken by differences and the covariance is the inverse of J'J, as in any book on least squares (Gauss-Newton
with a prior); the 90 % factor is that of scipy's normal distribution.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from layerpreview.learn.card.model import Card
from layerpreview.learn.fit.colourant import KnownDye, KnownDyes, UnknownDye
from layerpreview.learn.fit.least_squares import solve
from layerpreview.learn.fit.one_card import DyeFit, fit_dye, fit_mix
from layerpreview.learn.fit.problem import CardProblem
from layerpreview.units import NINETY

from .simulated import Truth, known_dye, lab_card, random_truth

F64 = NDArray[np.float64]


@pytest.fixture(scope="module")
def learnt() -> tuple[Truth, Card, DyeFit]:
    rng = np.random.default_rng(42)
    truth = random_truth(rng)
    card = lab_card(truth, rng)
    return truth, card, fit_dye(card)


def half_of_90(problem: CardProblem, state: F64, noise: float, figure: Callable[[F64], F64]) -> F64:
    """Half of the 90 % range of the logarithm of `figure`, to first order."""
    jacobian = problem.jacobian(state, noise)
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    steps = 1e-5 * np.eye(state.size)
    slopes = np.stack([(np.log(figure(state + s)) - np.log(figure(state - s))) / 2e-5 for s in steps], axis=1)
    return norm.ppf(0.95) * np.sqrt(np.einsum("si,ij,sj->s", slopes, covariance, slopes))


def test_the_factor_is_that_of_the_normal_distribution() -> None:
    assert pytest.approx(norm.ppf(0.95), abs=5e-4) == NINETY


def test_the_spectrum_has_its_90_percent(learnt: tuple[Truth, Card, DyeFit]) -> None:
    _, card, fit = learnt
    assert fit.ambiguous == 0.0
    problem = CardProblem(card, UnknownDye())
    size = problem.colourant.size
    half = half_of_90(problem, fit.state, fit.noise_used, lambda state: problem.colourant.absorbance10(state[:size])[0])
    half = np.hypot(half, norm.ppf(0.95) * 0.01)  # the 1 % that Beer's law and the film leave
    np.testing.assert_allclose(np.log(fit.high / fit.absorbance10), half, rtol=2e-3)
    np.testing.assert_allclose(np.log(fit.absorbance10 / fit.low), half, rtol=2e-3)


def test_the_coats_of_every_step_have_their_90_percent(learnt: tuple[Truth, Card, DyeFit]) -> None:
    _, card, fit = learnt
    problem = CardProblem(card, UnknownDye())
    half = half_of_90(problem, fit.state, fit.noise_used, lambda state: problem.loads * problem.builds(state))
    for step, expected in zip(problem.steps, half, strict=True):
        build = fit.builds[step]
        assert np.log(build.high / build.likely) == pytest.approx(expected, rel=2e-3)
        assert np.log(build.likely / build.low) == pytest.approx(expected, rel=2e-3)


def test_the_strengths_of_a_mix_have_their_90_percent(learnt: tuple[Truth, Card, DyeFit]) -> None:
    truth, _, fit = learnt
    other, rng = random_truth(np.random.default_rng(7)), np.random.default_rng(9)
    dyes = [known_dye("one", fit), known_dye("other", fit_dye(lab_card(other, rng)), amount=1.3)]
    both = Truth(0.7 * truth.absorbance10 + 0.4 * other.absorbance10, truth.white, truth.metal, truth.builds)
    card = lab_card(both, rng)
    found = fit_mix(card, dyes)
    problem = CardProblem(card, KnownDyes(dyes))
    solved = solve(problem)
    strengths = problem.colourant.strengths
    half = half_of_90(problem, solved.state, solved.noise, strengths)
    for name, expected in zip(("one", "other"), half, strict=True):
        strength = found.strengths[name]
        assert np.log(strength.high / strength.likely) == pytest.approx(expected, rel=2e-3)
        assert np.log(strength.likely / strength.low) == pytest.approx(expected, rel=2e-3)


def test_what_is_believed_of_a_mix_beforehand() -> None:
    """Each known dye in its nominal strength times e^(1.2 z), 0.14 to 7.2 times in 90 % (assumed, no source)."""
    grey = KnownDyes([KnownDye(name, np.full(81, 0.2), np.zeros((81, 1))) for name in ("one", "other")])
    state = np.array([1.0, -0.5, 0.0, 0.0])
    assert grey.strengths(np.zeros(4)).tolist() == [1.0, 1.0]
    assert grey.strengths(state) == pytest.approx([3.3201, 0.5488], rel=1e-4)
    assert grey.absorbance10(state)[0] == pytest.approx(np.full(81, 0.2 * (3.3201 + 0.5488)), rel=1e-4)
