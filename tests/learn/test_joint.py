"""Several cards as one least-squares problem: exists for a slope of one card in another's place, a dye that is not
shared, and a share that multiplies the wrong dye.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.errors import InputError
from layerpreview.learn.fit.colourant import KnownDye, KnownDyes, SharedDyes, UnknownDye
from layerpreview.learn.fit.joint import JointProblem, SharedCard
from layerpreview.learn.fit.least_squares import solve
from layerpreview.learn.fit.problem import CardProblem
from layerpreview.learn.fit.several import check_cards

from .simulated import lab_card, random_truth

BAND = np.exp(-0.5 * ((WAVELENGTHS_NM - 560.0) / 45.0) ** 2)


def known(name: str, level: float) -> KnownDyes:
    return KnownDyes([KnownDye(name, level * (0.02 + BAND), 0.1 * np.cos(WAVELENGTHS_NM / 70.0)[:, None])])


DYES = (known("one", 0.2), known("two", 0.07))


def cards(shares: tuple[tuple[float, ...], ...]) -> list[SharedCard]:
    made = []
    for k, share in enumerate(shares):
        rng = np.random.default_rng(60 + k)
        made.append(SharedCard(f"card {k}", lab_card(random_truth(rng), rng), np.array(share)))
    return made


def test_a_coat_of_a_mix_holds_its_share_of_each_dye() -> None:
    shared = SharedDyes(DYES, np.array([0.4, 1.7]), 0.03)
    state = np.array([0.3, -0.2, 0.5, 0.1, 1.5, -2.0])  # two unknowns a dye, then how far off each is
    total, slopes = shared.absorbance10(state)
    one, two = DYES[0].absorbance10(state[:2])[0], DYES[1].absorbance10(state[2:4])[0]
    np.testing.assert_allclose(total, 0.4 * np.exp(0.045) * one + 1.7 * np.exp(-0.06) * two, rtol=1e-12)
    for unknown, step in enumerate(1e-6 * np.eye(6)):
        by_hand = (shared.absorbance10(state + step)[0] - shared.absorbance10(state - step)[0]) / 2e-6
        np.testing.assert_allclose(slopes[:, unknown], by_hand, atol=1e-8)
    assert shared.size == shared.starts()[0].size == 6


def test_one_card_of_one_dye_is_the_card_alone() -> None:
    (one,) = cards(((1.0,),))
    alone, joint = CardProblem(one.card, DYES[0]), JointProblem([one], DYES[:1])
    state = 0.3 * np.random.default_rng(4).standard_normal(alone.size)
    same = np.insert(state, 2, 0.0)  # its strength as stated
    numbers = int(alone.trusted.sum())
    np.testing.assert_allclose(
        joint.residuals(same, 2.0)[:numbers], alone.residuals(state, 2.0 * one.card.noise)[:numbers], rtol=1e-12
    )


def test_every_slope_of_three_cards() -> None:
    three = cards(((1.0, 0.0), (0.4, 1.3), (0.0, 1.0)))
    three[1] = three[1].rougher(1.8)
    problem = JointProblem(three, DYES)
    state = 0.3 * np.random.default_rng(5).standard_normal(problem.size)
    slopes = problem.jacobian(state, 0.7)
    for unknown, step in enumerate(1e-5 * np.eye(problem.size)):
        by_hand = (problem.residuals(state + step, 0.7) - problem.residuals(state - step, 0.7)) / 2e-5
        np.testing.assert_allclose(slopes[:, unknown], by_hand, atol=2e-3 + 1e-4 * np.abs(by_hand).max())
    square, uphill = problem.normal(state, 0.7)
    np.testing.assert_allclose(square, slopes.T @ slopes, rtol=1e-9, atol=1e-9 * square.max())
    np.testing.assert_allclose(uphill, slopes.T @ problem.residuals(state, 0.7), atol=1e-8 * np.abs(uphill).max())


def test_a_rougher_card_weighs_less_and_says_so() -> None:
    two = cards(((1.0,), (1.0,)))
    state = np.zeros(JointProblem(two, DYES[:1]).size)
    even = JointProblem(two, DYES[:1]).residuals(state, 1.0)
    rough = JointProblem([two[0], two[1].rougher(3.0)], DYES[:1]).residuals(state, 1.0)
    np.testing.assert_allclose(rough[:42], even[:42])
    np.testing.assert_allclose(rough[42:84], even[42:84] / 3.0)


def test_what_a_card_without_its_neighbour_begins_with() -> None:
    three = cards(((1.0,), (0.5,), (2.0,)))
    whole = JointProblem(three, DYES[:1])
    state = np.arange(whole.size, dtype=float)
    two = JointProblem([three[0], three[2]], DYES[:1])
    carried = whole.carried(state, two, [0, 2])
    for problem, k in ((0, 0), (1, 2)):
        np.testing.assert_array_equal(carried[two.places[problem]], state[whole.places[k]])


@pytest.mark.slow
def test_each_card_has_its_own_misfit() -> None:
    """Readings strewn three times as far on one card alone: its misfit is three times as large, the other's is not."""
    made = []
    for k, noise in enumerate((0.01, 0.03)):
        rng = np.random.default_rng(70 + k)
        truth = replace(random_truth(np.random.default_rng(9)), builds=random_truth(rng).builds)
        made.append(SharedCard(str(k), lab_card(truth, rng, noise=noise), np.ones(1)))
    problem = JointProblem(made, [UnknownDye()], UnknownDye().starts())
    fine, rough = problem.misfits(solve(problem).state)
    assert fine < 1.4
    assert rough > 1.6 * fine


def test_dyes_in_one_ratio_on_every_card_are_refused() -> None:
    mixes = cards(((1.0, 2.0, 0.0), (0.5, 1.0, 0.0), (0.0, 0.0, 1.0)))
    with pytest.raises(InputError, match="amber and brown stand in one ratio on every card") as caught:
        check_cards(mixes, ["amber", "brown", "red"])
    assert "red" not in str(caught.value)
    check_cards([*mixes, *cards(((0.0, 1.0, 0.0),))], ["amber", "brown", "red"])


def test_fewer_cards_than_dyes_are_refused() -> None:
    with pytest.raises(InputError, match="amber and brown stand in one ratio"):
        check_cards(cards(((1.0, 0.7),)), ["amber", "brown"])


def test_a_card_that_gets_lighter_is_told_with_its_name() -> None:
    right, wrong = cards(((1.0,), (1.0,)))
    windows = tuple(replace(w, load=7.0 - w.load) if w.load else w for w in wrong.card.windows)
    turned = replace(wrong, name="turned.csv", card=replace(wrong.card, windows=windows))
    with pytest.raises(InputError, match=r"turned\.csv: over white the card gets lighter"):
        check_cards([right, turned], ["amber"])


def test_two_cards_of_one_step_each_are_two_steps_if_their_strengths_differ() -> None:
    def of_one_step(share: float) -> SharedCard:
        (one,) = cards(((share,),))
        return replace(one, card=replace(one.card, windows=tuple(w for w in one.card.windows if w.load in (0.0, 2.0))))

    check_cards([of_one_step(1.0), of_one_step(0.5)], ["amber"])
    with pytest.raises(InputError, match="fewer than two steps on all cards"):
        check_cards([of_one_step(1.0), of_one_step(1.0)], ["amber"])
