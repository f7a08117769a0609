"""One card as a least-squares problem: exists for an unknown that moves another window than its own, a limit taken for
a reading, and a belief in several answers that does not add up.

What windows should read is worked out window by window here. What becomes of a problem is held against ones that can be
solved by hand: a straight line of readings, and a row of valleys whose depths are known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.film import MetalBase, diffuse_film, law_shapes, metal_film
from layerpreview.learn.card.model import (
    Card,
    Eye,
    Window,
    build_covariance,
    ground_of_rgb,
    lab_eye,
    lightness_root,
    photo_eye,
)
from layerpreview.learn.fit.colourant import KnownDye, KnownDyes
from layerpreview.learn.fit.least_squares import Solution, solve
from layerpreview.learn.fit.problem import CardProblem

F64 = NDArray[np.float64]
NM = WAVELENGTHS_NM
FILMS = {"base": metal_film(MetalBase(flake_spread=0.3)), "white": diffuse_film()}
CYAN = 0.01 + 2.5 / (1.0 + np.exp((575.0 - NM) / 8.0))  # so pure that a screen's red goes below nothing
GREY = np.full(81, 0.05)
DYES = KnownDyes([KnownDye("cyan", CYAN, 0.1 * np.sin(NM / 90.0)[:, None]), KnownDye("grey", GREY, np.ones((81, 1)))])
# Ground, step, load: steps neither in order of load nor counted from one.
WINDOWS = (
    ("base", 7, 2.5),
    ("white", 0, 0.0),
    ("white", 7, 2.5),
    ("white", 3, 4.0),
    ("base", 3, 4.0),
    ("base", 5, 1.0),
)


def card(eye: Eye) -> Card:
    grounds = (
        ground_of_rgb("base", FILMS["base"], np.array([0.62, 0.66, 0.55]), spread=0.05),
        ground_of_rgb("white", FILMS["white"], np.array([0.85, 0.8, 0.75]), spread=0.02),
    )
    windows = tuple(
        Window(name, step, load, np.array([50.0, 10.0 - n, 5.0 * n]), np.ones(3, dtype=bool))
        for n, (name, step, load) in enumerate(WINDOWS)
    )
    return Card(eye, grounds, windows, noise=0.4)


READINGS = card(lab_eye("D50", 10))  # masked, its tone known: so is every card unless it is said
PHOTO = replace(card(photo_eye("D65")), tone_spread=0.12, masked=False)


def some_state(problem: CardProblem) -> F64:
    return 0.5 * np.random.default_rng(2).standard_normal(problem.size)


def expected(card: Card, state: F64) -> F64:
    """What each window should read: dyes 0 and 1, their doubts 2 and 3, steps 4 to 6, windows 7 to 12, grounds 13 to
    18, law 19 to 33, tone 34. One coat scatters by 6 % and a place on the card by 2 % (assumed, no source)."""
    dye = np.exp(1.2 * state[0]) * CYAN * np.exp(state[2] * 0.1 * np.sin(NM / 90.0))
    dye = dye + np.exp(1.2 * state[1]) * GREY * np.exp(state[3])
    loads = np.array([1.0, 2.5, 4.0])  # from the lightest: steps 5, 7, 3
    shares = np.linalg.cholesky(build_covariance(loads, scatter=0.06, masked=card is not PHOTO)) @ state[4:7] / loads
    rows = []
    # Law and film: 1 %, of which the five widest shapes over wavelength are let move, for each step.
    law = 0.01 * law_shapes()[:, -5:] @ state[19:34].reshape(3, 5).T
    for n, (name, step, load) in enumerate(WINDOWS):
        laid = load * dye
        if load:
            at = [5, 7, 3].index(step)
            laid = laid * np.exp(law[:, at] + shares[at] + 0.02 * state[7 + n])
        first = 13 if name == "base" else 16
        spread = 0.05 if name == "base" else 0.02
        bare = card.ground(name).bare(np.exp(spread * state[first : first + 3]))
        light = card.eye.take @ FILMS[name].reflectance(laid, bare)
        if card is PHOTO:
            light = np.sign(light) * np.abs(light) ** np.where(light > 0, np.exp(0.12 * state[-1]), 1.0)
        rows.append(card.eye.mix @ lightness_root(light))
    return np.stack(rows)


@pytest.mark.parametrize("card", [READINGS, PHOTO], ids=["readings", "photo"])
def test_what_every_window_should_read(card: Card) -> None:
    problem = CardProblem(card, DYES)
    state = some_state(problem)
    assert problem.size == (35 if card is PHOTO else 34)
    read, slopes = problem.predict(state)
    assert slopes.size == 0  # not asked for
    np.testing.assert_allclose(read, expected(card, state), atol=1e-9)
    assert card is READINGS or read.min() < -1.0  # below nothing, where no power is taken


@pytest.mark.parametrize("card", [READINGS, PHOTO], ids=["readings", "photo"])
def test_every_slope(card: Card) -> None:
    problem = CardProblem(card, DYES)
    state = some_state(problem)
    _, slopes = problem.predict(state, slopes=True)
    for unknown, step in enumerate(1e-5 * np.eye(problem.size)):
        by_hand = (expected(card, state + step) - expected(card, state - step)) / 2e-5
        np.testing.assert_allclose(slopes[:, :, unknown], by_hand, atol=1e-5, err_msg=f"unknown {unknown}")


def test_slopes_where_a_photo_is_dark() -> None:
    """Below the knee of the cube root, and in negative light: there the tone curve has no say."""
    problem = CardProblem(PHOTO, DYES)
    state = some_state(problem)
    state[0] = 1.5
    slopes = problem.jacobian(state, 0.4)
    for unknown, step in enumerate(1e-6 * np.eye(problem.size)):
        by_hand = (problem.residuals(state + step, 0.4) - problem.residuals(state - step, 0.4)) / 2e-6
        np.testing.assert_allclose(slopes[:, unknown], by_hand, atol=2e-4, err_msg=f"unknown {unknown}")


def test_a_residual_is_what_was_missed_over_its_noise() -> None:
    """Not trusted: none. At most what was read: only what lies above. Twice the noise: half."""
    mixed = [
        replace(READINGS.windows[0], trusted=np.array([True, False, True]), noise_factor=2.0),
        replace(READINGS.windows[1], at_most=np.array([True, True, False])),
        *READINGS.windows[2:],
    ]
    card = replace(READINGS, windows=tuple(mixed))
    problem = CardProblem(card, DYES)
    state = some_state(problem)
    away = expected(READINGS, state) - problem.read
    mixed[1] = replace(mixed[1], read=np.add(mixed[1].read, [away[1, 0] + 1.0, away[1, 1] - 1.0, 0.0]))
    problem = CardProblem(replace(card, windows=tuple(mixed)), DYES)
    residuals = problem.residuals(state, 0.4)
    wanted = [away[0, 0] / 0.8, away[0, 2] / 0.8, 0.0, 1.0 / 0.4, away[1, 2] / 0.4, *(away[2:] / 0.4).ravel(), *state]
    np.testing.assert_allclose(residuals, wanted, atol=1e-9)
    slopes = problem.jacobian(state, 0.4)
    for unknown, step in enumerate(1e-5 * np.eye(problem.size)):
        by_hand = (problem.residuals(state + step, 0.4) - problem.residuals(state - step, 0.4)) / 2e-5
        np.testing.assert_allclose(slopes[:, unknown], by_hand, atol=1e-4)
    assert not slopes[2, : problem.size].any()


class ByHand:
    """The normal equations of residuals and slopes that are written out."""

    residuals: Callable[[F64, float], F64]
    jacobian: Callable[[F64, float], F64]

    def normal(self, state: F64, noise: float) -> tuple[F64, F64]:
        slopes = self.jacobian(state, noise)
        return slopes.T @ slopes, slopes.T @ self.residuals(state, noise)


class Line(ByHand):
    """Readings of one number x, believed to be 0 within `spread`: the least-squares problem of a weighted mean."""

    def __init__(self, readings: list[float], *, noise: float, spread: float) -> None:
        self.card = SimpleNamespace(noise=noise)
        self.colourant = SimpleNamespace(size=1, starts=lambda: [np.array([0.5])])
        self.size, self.trusted = 1, np.ones((len(readings), 1), dtype=bool)
        self.readings, self.spread = np.array(readings), spread
        self.levels: set[float] = set()

    def residuals(self, state: F64, noise: float) -> F64:
        self.levels.add(noise)
        return np.append((state[0] - self.readings) / noise, state[0] / self.spread)

    def scatter(self, state: F64, noise: float) -> tuple[float, float]:
        return 0.0, 0.0

    def jacobian(self, state: F64, noise: float) -> F64:
        return np.append(np.full(self.readings.size, 1.0 / noise), 1.0 / self.spread)[:, None]


def solved(problem: object, near: F64 | None = None) -> Solution:
    return solve(cast(CardProblem, problem), near)


@pytest.mark.parametrize(("apart", "rough"), [(1.29, False), (1.31, True)])
def test_a_mean_its_misfit_and_the_noise_it_is_given(apart: float, rough: bool) -> None:
    """Eight readings 3 -/+ 0.2 `apart` and a belief far wider: mean 3, misfit sqrt(8/7) `apart`, doubt noise / sqrt(8).

    Up to 1.3 is taken for chance (our own choice, no source).
    """
    noise, off = 0.2, 0.2 * apart * np.sqrt(7 / 8)
    line = Line([3.0 - off, 3.0 + off] * 4, noise=noise, spread=1e4)
    found = solved(line)
    used = noise * apart if rough else noise
    assert found.state[0] == pytest.approx(3.0, abs=1e-6)
    assert found.misfit == pytest.approx(apart, rel=1e-6)
    assert found.noise == pytest.approx(used, rel=1e-6)
    assert found.covariance[0, 0] == pytest.approx(used**2 / 8, rel=1e-6)
    assert found.others == ()
    assert line.levels == {10 * noise, noise, found.noise}  # coarse, as stated, and as found out


def test_a_belief_counts_as_one_more_reading_and_is_paid_for() -> None:
    """Six readings, mean 2, within 1, belief 0 within 1: mean 12/7; of six readings 6/7 is what the unknown takes."""
    found = solved(Line([1.0, 3.0, 1.5, 2.5, 2.0, 2.0], noise=1.0, spread=1.0))
    assert found.state[0] == pytest.approx(12 / 7)
    squares = 2.5 + 6 * (2 / 7) ** 2
    assert found.misfit == pytest.approx(np.sqrt(squares / (6 - 6 / 7)))


def test_of_few_readings_four_are_taken_as_free() -> None:
    """Else two or three left over would judge the noise, and often by chance (our own choice, no source)."""
    found = solved(Line([1.0, 3.0, 5.0], noise=2.0, spread=1e4))
    assert found.misfit == pytest.approx(np.sqrt((4.0 + 0.0 + 4.0) / 4.0 / 4.0))


class Valleys(ByHand):
    """Minima `apart` from each other along x, the k-th (k apart, 0) costing (steep k)^2; `noise` is 0.5.

    Between them a hill of 10^4, or 10^2 at ten times the noise. One more reading is missed by `off` wherever x is.
    """

    def __init__(self, starts: list[float], *, apart: float, steep: float, off: float = 0.0) -> None:
        self.card = SimpleNamespace(noise=0.5)
        self.colourant = SimpleNamespace(size=1, starts=lambda: [np.array([start * apart]) for start in starts])
        self.size, self.trusted = 2, np.ones((2, 1), dtype=bool)
        self.apart, self.steep, self.off = apart, steep, off
        self.levels: set[float] = set()

    def residuals(self, state: F64, noise: float) -> F64:
        self.levels.add(noise)
        k = state[0] / self.apart
        return np.array([50.0 * np.sin(np.pi * k) / noise, self.off / noise, self.steep * k, state[1]])

    def scatter(self, state: F64, noise: float) -> tuple[float, float]:
        return 0.0, 0.0

    def jacobian(self, state: F64, noise: float) -> F64:
        k = state[0] / self.apart
        slope = 50.0 * np.pi * np.cos(np.pi * k) / noise
        return np.array([[slope / self.apart, 0.0], [0.0, 0.0], [self.steep / self.apart, 0.0], [0.0, 1.0]])


def test_other_answers_have_their_share_of_the_belief() -> None:
    """exp(-half the extra cost) of each, 1 of the best, together 1; one that is met twice counts once."""
    found = solved(Valleys([2.02, 0.0, 1.0, -1.98, 1.03], apart=3.0, steep=0.8))
    assert found.state == pytest.approx([0.0, 0.0], abs=1e-4)
    first, second = np.exp(-0.5 * 0.64), np.exp(-0.5 * 4 * 0.64)
    total = 1.0 + first + 2 * second
    assert [share for share, _ in found.others] == pytest.approx(np.array([first, second, second]) / total, rel=1e-4)
    places = [state[0] for _, state in found.others]
    assert places[0] == pytest.approx(3.0, abs=1e-3)
    assert sorted(places[1:]) == pytest.approx([-6.0, 6.0], abs=1e-3)


@pytest.mark.parametrize(
    ("apart", "weight", "kept"), [(0.21, 0.021, True), (0.21, 0.019, False), (0.19, 0.9, False), (0.19, 0.021, False)]
)
def test_what_is_hardly_likely_or_hardly_another_is_no_other_answer(apart: float, weight: float, kept: bool) -> None:
    """Below 2 % of the best's likelihood, or within 0.2 deviations in every unknown (our own choice, no source)."""
    found = solved(Valleys([0.0, 1.0], apart=apart, steep=float(np.sqrt(-2.0 * np.log(weight)))))
    assert [share for share, _ in found.others] == pytest.approx([weight / (1.0 + weight)] if kept else [], rel=1e-3)


@pytest.mark.parametrize(
    ("starts", "steep", "left_out"),
    [
        # 0.05 off its valley a start costs (10 sin(0.05 pi))^2 = 2.447 at ten times the noise, beside (steep k)^2.
        ([4.0, -3.0, 1.05, 3.0, -2.0, 2.0, -1.0, 0.0], 0.5, {1.05, 4.0}),  # 2.72 and 4 against 2.25 at most
        ([0.05, -1.0, 1.0, 3.0, -2.0, 2.0, 1.002], 0.55, {3.0}),  # 2.72 against 2.45 at most
    ],
)
def test_six_of_the_beginnings_are_followed(starts: list[float], steep: float, left_out: set[float]) -> None:
    """Those that cost least at ten times the noise."""
    problem = Valleys(starts, apart=3.0, steep=steep)
    found = solved(problem)
    reached = sorted([found.state[0], *(state[0] for _, state in found.others)])
    valleys = {3.0 * round(start) for start in starts if start not in left_out}
    assert reached == pytest.approx(sorted(valleys), abs=0.01)
    assert problem.levels == {5.0, 0.5}


def test_answers_are_weighed_at_the_noise_that_was_found() -> None:
    """A reading 2 off at a noise of 0.5, four taken as free: misfit 4 / 2, noise 1. What it costs, all answers pay."""
    found = solved(Valleys([1.0, 0.0, 2.0], apart=3.0, steep=0.8, off=2.0))
    assert (found.misfit, found.noise) == pytest.approx((2.0, 1.0), rel=1e-3)
    assert found.state == pytest.approx([0.0, 0.0], abs=1e-3)
    weights = np.exp([-0.5 * 0.64, -0.5 * 4 * 0.64])
    assert [share for share, _ in found.others] == pytest.approx(weights / (1.0 + weights.sum()), rel=1e-3)


def test_near_a_solution_no_other_is_looked_for() -> None:
    problem = Valleys([0.0], apart=3.0, steep=0.5)
    found = solved(problem, near=np.array([6.1, 0.3]))
    assert found.state == pytest.approx([6.0, 0.0], abs=1e-3)
    assert found.others == ()
    assert problem.levels == {0.5}
