"""Least squares by damped normal equations: exists for a step taken uphill, a noise that is not passed on, and a
descent that stops before it is down.
"""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.fit.least_squares import LeastSquares
from layerpreview.learn.fit.settle import NEARLY, distinct, settle

F64 = NDArray[np.float64]
Numbers = Callable[[F64, float], F64]


def problem_of(residuals: Numbers, jacobian: Numbers) -> LeastSquares:
    def normal(state: F64, noise: float) -> tuple[F64, F64]:
        slopes = jacobian(state, noise)
        return slopes.T @ slopes, slopes.T @ residuals(state, noise)

    return cast(LeastSquares, SimpleNamespace(residuals=residuals, jacobian=jacobian, normal=normal))


def line(read: F64, slopes: F64) -> LeastSquares:
    """Readings that are linear in unknowns, each of which is believed to be 0 +- 1."""
    count = slopes.shape[1]
    return problem_of(
        lambda state, noise: np.concatenate([(slopes @ state - read) / noise, state]),
        lambda state, noise: np.concatenate([slopes / noise, np.eye(count)]),
    )


def test_a_straight_problem_has_the_answer_of_its_normal_equations() -> None:
    rng = np.random.default_rng(2)
    slopes, read = rng.standard_normal((9, 4)), 20.0 * rng.standard_normal(9)
    for noise in (0.3, 2.0):
        right = np.linalg.solve(slopes.T @ slopes / noise**2 + np.eye(4), slopes.T @ read / noise**2)
        found = settle(line(read, slopes), noise, np.full(4, 0.7))
        np.testing.assert_allclose(found, right, atol=2e-3)


def test_from_a_coarse_noise_to_the_stated_one() -> None:
    """cosh(z) = 1 reads best at 0, exp(z) = e^5 at 5 but for the belief: from far away, by steps of at most three."""
    asked: list[float] = []

    def residuals(state: F64, noise: float) -> F64:
        asked.append(noise)
        return np.array([(np.exp(state[0]) - np.exp(5.0)) / noise, (np.cosh(state[1]) - 1.0) / noise, *state])

    def jacobian(state: F64, noise: float) -> F64:
        return np.array([[np.exp(state[0]) / noise, 0.0], [0.0, np.sinh(state[1]) / noise], [1.0, 0.0], [0.0, 1.0]])

    problem = problem_of(residuals, jacobian)
    found = settle(problem, 0.1, settle(problem, 1.0, np.array([-4.0, 6.0])))
    np.testing.assert_allclose(found, [5.0, 0.0], atol=1e-3)
    assert asked[0] == 1.0
    assert asked[-1] == 0.1
    assert sorted(asked, reverse=True) == asked


def test_where_it_is_already_down_it_stays() -> None:
    found = settle(line(np.zeros(3), np.eye(3)), 0.5, np.zeros(3))
    np.testing.assert_array_equal(found, np.zeros(3))


def test_ways_down_to_one_place_count_once() -> None:
    there, here = np.array([1.0, -2.0]), np.array([1.0, -2.0 + 0.1])
    kept = distinct([there, there + 0.01, here, here - 0.002, there])
    assert [state is one for state, one in zip(kept, (there, here), strict=True)] == [True, True]


def test_nearly_down_is_one_place_with_down() -> None:
    """Bent and rough, so that the way down is long: what is left of it must not make two places of one."""

    def residuals(state: F64, noise: float) -> F64:
        return np.array([(np.exp(state[0] * state[1]) - 3.0) / noise, (state[0] ** 2 - 0.2) / noise, *state])

    def jacobian(state: F64, noise: float) -> F64:
        bent = np.exp(state[0] * state[1]) / noise
        return np.array([[state[1] * bent, state[0] * bent], [2.0 * state[0] / noise, 0.0], [1.0, 0.0], [0.0, 1.0]])

    problem = problem_of(residuals, jacobian)
    ends = [settle(problem, 1.0, np.array([x, y])) for x, y in ((0.4, 0.4), (2.0, 1.0), (0.3, 2.0))]
    nearly = [settle(problem, 1.0, np.array([x, y]), enough=NEARLY) for x, y in ((0.4, 0.4), (2.0, 1.0), (0.3, 2.0))]
    assert len(distinct([*ends, *nearly])) == 1
