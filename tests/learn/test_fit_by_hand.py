"""What a fit makes of a solution, and which cards it refuses: exists for a doubt that leaves another answer out, for a
range of another share, and for one background judged by the other's windows.

The solution is given here, so that all that follows from it can be worked out by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.errors import InputError
from layerpreview.film import MetalBase, diffuse_film, law_shapes, metal_film
from layerpreview.learn.card.checks import check_card
from layerpreview.learn.card.model import Card, Window, ground_of_rgb, lab_eye, lightness_root, photo_eye, spectrum_eye
from layerpreview.learn.fit import one_card as fitting
from layerpreview.learn.fit.colourant import KnownDye
from layerpreview.learn.fit.least_squares import Solution
from layerpreview.learn.fit.one_card import fit_dye, fit_mix, predict
from layerpreview.learn.fit.prior import dye_prior
from layerpreview.learn.fit.problem import CardProblem

F64 = NDArray[np.float64]
METAL, WHITE = metal_film(MetalBase(flake_spread=0.3)), diffuse_film()
YES = np.ones(3, dtype=bool)


def card(*rows: tuple[str, float, float]) -> Card:
    """Windows of (ground, load, L*), each load a step of its own, its line the tenth and on."""
    grounds = tuple(
        ground_of_rgb(name, film, np.full(3, level), spread=0.02)
        for name, film, level in (("white", WHITE, 0.85), ("base", METAL, 0.6))
    )
    windows = tuple(
        Window(name, int(10 * load), load, np.array([light, 4.0, 30.0]), YES, line=10 + n)
        for n, (name, load, light) in enumerate(rows)
    )
    return Card(lab_eye("D65", 2), grounds, windows, noise=0.5)


CARD = card(("white", 0, 93), ("white", 1, 80), ("white", 4, 61), ("base", 1, 70), ("base", 2.5, 60), ("base", 4, 52))


@pytest.fixture(params=[1.0, 1.5])
def inflate(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> float:
    """What every range is widened by."""
    monkeypatch.setattr(fitting, "INFLATE", request.param)
    return float(request.param)


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> Solution:
    """The mean dye, a first coat one deviation heavy, every unknown known to 0.2, and two other answers: stronger by
    e^(1.5 x 0.5), and by e^(-1.5)."""
    stronger, weaker = np.zeros(26), np.zeros(26)
    stronger[0], weaker[0] = 0.5, -1.0
    solution = Solution(np.zeros(26), 0.04 * np.eye(26), ((0.3, stronger), (0.1, weaker)), 2.4, 1.2)

    def solve(problem: CardProblem, near: F64 | None = None) -> Solution:
        more = problem.size - problem.colourant.size
        others = tuple((share, np.append(state, np.zeros(more))) for share, state in solution.others)
        state = np.eye(problem.size)[problem.first_build]
        return replace(solution, state=state, covariance=0.04 * np.eye(problem.size), others=others)

    monkeypatch.setattr(fitting, "solve", solve)
    return solution


def test_other_answers_widen_the_doubt_by_their_share(given: Solution, inflate: float) -> None:
    fit, shapes = fit_dye(CARD), dye_prior().shapes
    np.testing.assert_allclose(fit.absorbance10, np.exp(dye_prior().mean))
    variance = inflate**2 * (0.04 * shapes @ shapes.T + 0.3 * 0.75**2 + 0.1 * 1.5**2)
    np.testing.assert_allclose(fit.doubt @ fit.doubt.T, variance, atol=1e-9)
    # Law and film, 1 % (see `law_spread`), more by as much as the readings scatter more than stated: 1.2 for 0.5.
    half = 1.645 * np.sqrt(np.diag(variance) + (0.01 * 1.2 / 0.5) ** 2)
    np.testing.assert_allclose(np.log(fit.high / fit.absorbance10), half, rtol=1e-6)
    np.testing.assert_allclose(np.log(fit.low / fit.absorbance10), -half, rtol=1e-6)
    assert fit.ambiguous == pytest.approx(0.4)
    assert (fit.misfit, fit.noise_used) == (2.4, 1.2)
    assert fit.strained == ("the steps scatter 2.4 times as much as readings of this kind should",)
    assert fit.heaviest_load == 4.0


def test_builds_have_the_range_of_their_coats(given: Solution, inflate: float) -> None:
    """n coats of 6 % each, whose unknowns are known to 0.2: 1.645 x 0.2 x 0.06 / sqrt(n).

    All have the first coat, which is 6 % heavy: one part in n of theirs.
    """
    fit = fit_dye(CARD)
    for step, coats in ((10, 1.0), (25, 2.5), (40, 4.0)):
        build, half = fit.builds[step], np.exp(inflate * 1.645 * 0.2 * 0.06 / np.sqrt(coats))
        likely = coats * np.exp(0.06 / coats)
        assert (build.low, build.likely, build.high) == pytest.approx((likely / half, likely, likely * half))
    assert len(fit.builds) == 3


def test_the_cost_is_that_at_the_stated_noise(given: Solution) -> None:
    fit = fit_dye(CARD)
    read = np.stack([window.read for window in CARD.windows])
    assert fit.cost == pytest.approx(np.sum((fit.fitted - read) ** 2) / 0.25 + 1.0)  # one unknown off by 1
    bare = CARD.eye.mix @ lightness_root(CARD.eye.take @ CARD.grounds[0].bare(np.ones(3)))
    np.testing.assert_allclose(fit.fitted[0], bare, atol=1e-9)


def test_strengths_of_a_mix_have_the_range_of_their_logarithm(given: Solution, inflate: float) -> None:
    """Each strength is e^(1.2 z), z known to 0.2."""
    dyes = [KnownDye(name, np.full(81, level), np.zeros((81, 1))) for name, level in (("one", 0.1), ("two", 0.3))]
    found, half = fit_mix(CARD, dyes), np.exp(inflate * 1.645 * 1.2 * 0.2)
    for name in ("one", "two"):
        strength = found.strengths[name]
        assert (strength.low, strength.likely, strength.high) == pytest.approx((1 / half, 1.0, half))
    assert found.misfit == 2.4
    assert found.fitted.shape == (6, 3)
    assert len(found.strained) == 1


@pytest.mark.parametrize("eye", [lab_eye("A", 10), photo_eye("D50"), spectrum_eye()], ids=["lab", "photo", "spectrum"])
@pytest.mark.parametrize("film", [METAL, WHITE], ids=["metal", "white"])
@pytest.mark.parametrize(
    ("load", "law"),
    [(2.7, 0.01), (0.3, np.hypot(0.01, 0.03 * np.log(1.0 / 0.3))), (11.0, np.hypot(0.01, 0.03 * np.log(11.0 / 4.0)))],
)
def test_a_predicted_colour_has_the_doubt_of_the_dye(given, film, eye, load, law) -> None:  # type: ignore[no-untyped-def]
    """Each root of the doubt moves log absorbance; what that moves the reading, by differences, is its own root.

    So do those of law and film: within the card's loads of 1 to 4, and wider at 0.3 and 11.
    """
    fit, bare = fit_dye(CARD), CARD.grounds[1].bare(np.array([1.1, 1.0, 0.8]))
    found = predict(fit, film=film, bare=bare, load=load, eye=eye)

    def read(dye: F64) -> F64:
        return np.asarray(eye.mix @ lightness_root(eye.take @ film.reflectance(load * dye, bare)))

    roots = np.concatenate([fit.doubt, law * 1.2 / 0.5 * law_shapes()], axis=1)
    np.testing.assert_allclose(found.reflectance, film.reflectance(load * fit.absorbance10, bare), rtol=1e-12)
    np.testing.assert_allclose(found.read, read(fit.absorbance10), atol=1e-9)
    steps = [(fit.absorbance10 * np.exp(1e-5 * r), fit.absorbance10 * np.exp(-1e-5 * r)) for r in roots.T]
    slopes = np.stack([(read(up) - read(down)) / 2e-5 for up, down in steps], axis=1)
    np.testing.assert_allclose(found.covariance, slopes @ slopes.T, rtol=1e-5, atol=1e-5)


def told(card: Card) -> list[tuple[int | None, str]]:
    with pytest.raises(InputError) as caught:
        check_card(card)
    return [(problem.line, problem.rule) for problem in caught.value.problems]


def test_a_card_that_gets_lighter_is_told_where() -> None:
    """Beyond six deviations of one reading, here 3 L*: chance and a matt patch do not do it (our own choice)."""
    check_card(card(("white", 1, 60), ("white", 4, 62.9)))
    wrong = card(("base", 2, 50), ("base", 4, 53.1), ("base", 1, 60), ("base", 8, 56.2))
    assert told(wrong) == [
        (11, "over base the card gets lighter from 2 to 4 coats"),
        (13, "over base the card gets lighter from 4 to 8 coats"),
    ]


def test_each_ground_is_judged_by_its_own_windows_and_in_its_order() -> None:
    both = card(("base", 1, 60), ("base", 4, 70), ("white", 2, 75), ("white", 3, 85))
    assert told(both) == [
        (13, "over white the card gets lighter from 2 to 3 coats"),
        (11, "over base the card gets lighter from 1 to 4 coats"),
    ]
    check_card(card(("white", 2, 80), ("base", 1, 60), ("base", 3, 50), ("white", 4, 70)))
    bare = card(("white", 0, 80), ("white", 1, 90), ("base", 2, 50))
    assert told(bare) == [(11, "over white the card gets lighter from 0 to 1 coats")]


def test_windows_of_one_load_or_not_wholly_read_say_nothing_of_the_order() -> None:
    check_card(card(("white", 2, 60), ("white", 2, 80), ("white", 3, 60)))
    shiny = card(("white", 1, 80), ("white", 2, 90), ("white", 3, 70))
    assert len(told(shiny)) == 1
    half_read = replace(shiny.windows[1], trusted=np.array([True, False, True]))
    check_card(replace(shiny, windows=(shiny.windows[0], half_read, shiny.windows[2])))


def test_one_step_is_too_few_however_often_it_was_read() -> None:
    check_card(card(("white", 1, 80), ("base", 2, 50)))
    one = card(("white", 0, 93), ("white", 2, 70), ("base", 0, 65), ("base", 2, 50))
    assert told(one) == [(None, "fewer than two steps: strength and shape cannot be told apart")]
    assert told(card(("white", 1, 70), ("white", 1, 71)))[0][0] is None
    none = replace(one, windows=tuple(replace(window, load=0.0) for window in one.windows if not window.load))
    assert len(told(none)) == 1
