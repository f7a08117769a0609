"""What a card says of its own assumptions: exists for one stretched in silence, or one cried over for nothing.

Every unknown has mean 0 and deviation 1 beforehand, so three deviations are a state of 3 (one normal draw in 370).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.learn.card.model import Card
from layerpreview.learn.fit.colourant import UnknownDye
from layerpreview.learn.fit.least_squares import solve
from layerpreview.learn.fit.one_card import fit_dye
from layerpreview.learn.fit.problem import CardProblem

from .simulated import lab_card, random_truth

F64 = NDArray[np.float64]


@pytest.fixture(scope="module")
def card() -> Card:
    rng = np.random.default_rng(42)
    return replace(lab_card(random_truth(rng), rng), tone_spread=0.1)


def said(card: Card, **states: float) -> tuple[str, ...]:
    """What is said with one unknown away from its mean."""
    problem = CardProblem(card, UnknownDye())
    state = np.zeros(problem.size)
    places = {"dye": 4, "white": problem.first_gain + 1, "base": problem.first_gain + 5, "tone": problem.tone_at}
    for name, value in states.items():
        state[places[name]] = value
    return problem.strained(state, 1.0)


def test_as_expected_nothing_is_said(card: Card) -> None:
    assert said(card) == ()
    assert said(card, dye=2.9, white=-2.9, base=2.9, tone=-2.9) == ()


@pytest.mark.parametrize("sign", [1.0, -1.0])
@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("dye", "the dye is unlike"),
        ("white", "the bare white does not agree"),
        ("base", "the bare base does not agree"),
        ("tone", "the photo's tone curve is unlike"),
    ],
)
def test_beyond_three_deviations_it_is_said(card: Card, sign: float, name: str, words: str) -> None:
    (line,) = said(card, **{name: 3.1 * sign})
    assert line.startswith(words)


@pytest.mark.parametrize(("deviations", "told"), [(2.9, False), (3.1, True), (-3.1, True), (30.0, True)])
def test_a_step_that_holds_another_amount_is_told_with_it(card: Card, deviations: float, told: bool) -> None:
    """Of n coats the sum scatters by 1/sqrt(n) of one coat's share: 0.06 / sqrt(4) is 3 %, three of them 9 %."""
    problem = CardProblem(card, UnknownDye())
    away = np.zeros(6)
    away[3] = deviations * 0.06 / 2.0
    state = np.zeros(problem.size)
    state[problem.first_build : problem.first_local] = np.linalg.solve(problem.build_root, away)
    lines = problem.strained(state, 1.0)
    assert lines == ((f"step 4 holds {100 * np.expm1(away[3]):+.0f} % of its coats' dye",) if told else ())


@pytest.mark.parametrize(("misfit", "told"), [(1.99, False), (2.01, True)])
def test_steps_that_scatter_are_told(card: Card, misfit: float, told: bool) -> None:
    problem = CardProblem(card, UnknownDye())
    lines = problem.strained(np.zeros(problem.size), misfit)
    assert lines == ((f"the steps scatter {misfit:.1f} times as much as readings of this kind should",) if told else ())


@pytest.mark.parametrize(("noise", "rough"), [(0.006, False), (0.02, True)])
def test_where_the_card_is_rougher_than_stated_its_noise_is_taken_larger(noise: float, rough: bool) -> None:
    """The residuals' own size, once they are more than a little over the stated noise; never less than stated."""
    rng = np.random.default_rng(8)
    card = lab_card(random_truth(rng), rng, noise=noise)
    fit = fit_dye(card)
    assert (fit.misfit > 1.3) is rough
    assert fit.noise_used == pytest.approx(card.noise * (fit.misfit if rough else 1.0))


def test_the_misfit_is_the_residuals_size_less_what_the_unknowns_took() -> None:
    """Chi squared over its degrees of freedom: as many readings as were made, less the trace of the hat matrix."""
    rng = np.random.default_rng(8)
    card = lab_card(random_truth(rng), rng, noise=0.006)
    problem = CardProblem(card, UnknownDye())
    found = solve(problem)
    jacobian, residuals = problem.jacobian(found.state, card.noise), problem.residuals(found.state, card.noise)
    hat = jacobian @ np.linalg.inv(jacobian.T @ jacobian) @ jacobian.T
    count = problem.read.size
    free = count - np.trace(hat[:count, :count])
    assert found.misfit == pytest.approx(np.sqrt(np.sum(residuals[:count] ** 2) / free), rel=1e-6)
    assert found.noise == card.noise
