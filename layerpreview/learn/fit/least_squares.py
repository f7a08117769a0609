"""The most likely unknowns of a problem: least squares from several beginnings, the misfit, and other answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layerpreview.doing import each_of
from layerpreview.learn.fit.settle import ENOUGH, NEARLY, Squares, distinct, inverse, settle

F64 = NDArray[np.float64]

ROUGH = 1.3
"""Misfit over the stated noise above which the noise is taken as larger."""
_STARTS = 6


class HasNoise(Protocol):
    """What a problem's noise is counted in: the standard deviation stated of one number."""

    @property
    def noise(self) -> float: ...


class Begins(Protocol):
    """The unknowns of dyes, `size` of them, and where to try beginning."""

    @property
    def size(self) -> int: ...

    def starts(self) -> list[F64]: ...


class LeastSquares(Squares, Protocol):
    """What `solve` asks of a problem: the unknowns of the dyes come first."""

    @property
    def card(self) -> HasNoise: ...

    @property
    def colourant(self) -> Begins: ...

    @property
    def size(self) -> int: ...

    @property
    def trusted(self) -> NDArray[np.bool_]: ...

    def scatter(self, state: F64, noise: float) -> tuple[float, float]:
        """Squares of what lies between repeated readings, over the noise, and how many they count as."""
        ...


@dataclass(frozen=True, eq=False)
class Solution:
    """The most likely `state`, its `covariance`, other states with their `share` of the belief, misfit and noise used.

    The noise is the stated one, or more where the residuals say so.
    """

    state: F64
    covariance: F64
    others: tuple[tuple[float, F64], ...]
    misfit: float
    noise: float


def solve(problem: LeastSquares, near: F64 | None = None) -> Solution:
    """Find the most likely unknowns from several beginnings, by Levenberg-Marquardt with the model's own slopes.

    Three numbers a step may be explained by two unlike spectra: every other minimum nearly as good is kept, with the
    share of belief exp(-half its extra cost). With `near` only that beginning is tried. Raises NoAnswerError when
    nothing settles.
    """
    noise = problem.card.noise
    # From afar first with a coarse noise; most beginnings then lie in one place.
    if near is not None:
        begun = [near]
    else:
        begun = _settled("trying dyes of several hues", problem, 10.0 * noise, _beginnings(problem), enough=NEARLY)
    settled = _settled("settling the dye", problem, noise, distinct(begun))
    costs = np.array([_cost(problem, state, noise) for state in settled])
    best = settled[int(np.argmin(costs))]
    covariance = _covariance(problem, best, noise)
    rough = _misfit_of(problem, best, covariance, noise)
    if rough > ROUGH:
        noise *= rough
        settled = _settled("settling the dye", problem, noise, distinct(settled))
        costs = np.array([_cost(problem, state, noise) for state in settled])
        best = settled[int(np.argmin(costs))]
        covariance = _covariance(problem, best, noise)
    return Solution(best, covariance, _others(settled, costs, best), rough, noise)


def _others(settled: list[F64], costs: F64, best: F64) -> tuple[tuple[float, F64], ...]:
    kept: list[tuple[float, F64]] = []
    for i in np.argsort(costs):
        weight = float(np.exp(-0.5 * (costs[i] - costs.min())))
        known = [best, *(state for _, state in kept)]
        if weight > 0.02 and all(np.abs(settled[i] - state).max() > 0.2 for state in known):
            kept.append((weight, settled[i]))
    total = 1.0 + sum(weight for weight, _ in kept)
    return tuple((weight / total, state) for weight, state in kept)


def _settled(
    words: str, problem: LeastSquares, noise: float, states: Sequence[F64], *, enough: float = ENOUGH
) -> list[F64]:
    """Each of the states settled at this noise."""
    return [settle(problem, noise, state, enough=enough) for state in each_of(words, states, len(states))]


def _beginnings(problem: LeastSquares) -> list[F64]:
    """The most promising starts, judged with a coarse noise so that a wrong strength does not hide a right hue."""
    rest = np.zeros(problem.size - problem.colourant.size)
    states = [np.concatenate([start, rest]) for start in problem.colourant.starts()]
    costs = np.array([_cost(problem, state, 10.0 * problem.card.noise) for state in states])
    return [states[i] for i in np.argsort(costs)[:_STARTS]]


def _cost(problem: LeastSquares, state: F64, noise: float) -> float:
    return float(np.square(problem.residuals(state, noise)).sum())


def _covariance(problem: LeastSquares, state: F64, noise: float) -> F64:
    return inverse(problem.normal(state, noise)[0])


def _misfit_of(problem: LeastSquares, state: F64, covariance: F64, noise: float) -> float:
    count = int(problem.trusted.sum())
    slopes = problem.jacobian(state, noise)[:count]
    paid = float(((slopes @ covariance) * slopes).sum())
    return misfit(problem.residuals(state, noise)[:count], paid=paid, repeats=problem.scatter(state, noise))


def misfit(away: F64, *, paid: float, repeats: tuple[float, float] = (0.0, 0.0)) -> float:
    """Residuals `away` (n,) over the noise, root mean square; `paid`: as many as the unknowns fit by themselves.

    `repeats`: squares and number of what lies between repeated readings.
    """
    squares, count = repeats
    return float(np.sqrt((np.square(away).sum() + squares) / max(away.size - paid + count, 4.0)))
