"""Several cards as one least-squares problem: dyes that they share, and what each card has for itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.card.model import Card
from layerpreview.learn.fit.colourant import Colourant, SharedDyes
from layerpreview.learn.fit.least_squares import Solution, misfit, solve
from layerpreview.learn.fit.problem import CardProblem
from layerpreview.learn.fit.settle import inverse

F64 = NDArray[np.float64]

STRENGTH_SPREAD = 0.03
"""How far one card's mix may be off in one dye, of the logarithm: spoon, evaporation, film of the day; assumed."""


@dataclass(frozen=True, eq=False)
class SharedCard:
    """One card of several: what was read, and `shares` (D,), what a coat of it holds of each dye over the reference."""

    name: str
    card: Card
    shares: F64

    def rougher(self, factor: float) -> SharedCard:
        """The same card, its noise `factor` times as large."""
        return replace(self, card=replace(self.card, noise=factor * self.card.noise))


@dataclass(frozen=True)
class Relative:
    """Noise counted in that which each card states for itself."""

    noise: float = 1.0


@dataclass(frozen=True, eq=False)
class Beginnings:
    """The unknowns that come first in a row, and states (size,) to begin with."""

    size: int
    states: Sequence[F64]

    def starts(self) -> list[F64]:
        """Where to try beginning."""
        return list(self.states)


class JointProblem:
    """The unknowns of all cards in a row, all scaled to mean 0 and variance 1.

    First those of every dye; then, card after card, how far its mix is off in each dye; then, card after card, its
    builds, places, bare grounds and tone, as `CardProblem` has them. `begin`: states of the dyes to begin with.
    """

    def __init__(self, cards: Sequence[SharedCard], dyes: Sequence[Colourant], begin: Sequence[F64] = ()) -> None:
        self.card, self.cards, self.dyes = Relative(), tuple(cards), tuple(dyes)
        self.problems = [CardProblem(one.card, SharedDyes(dyes, one.shares, STRENGTH_SPREAD)) for one in cards]
        ends = np.cumsum([0, *(dye.size for dye in dyes)])
        self.parts = [slice(int(start), int(end)) for start, end in pairwise(ends)]
        shared, count = int(ends[-1]), len(self.dyes)
        self.colourant = Beginnings(shared, begin)
        self.strengths_at = shared + np.arange(len(self.cards) * count).reshape(-1, count)
        rest = shared + self.strengths_at.size
        self.places: list[NDArray[np.intp]] = []
        for problem, own in zip(self.problems, self.strengths_at, strict=True):
            more = problem.size - problem.first_build
            self.places.append(np.concatenate([np.arange(shared), own, np.arange(rest, rest + more)]))
            rest += more
        self.size = rest
        self.trusted = np.concatenate([problem.trusted.ravel() for problem in self.problems])
        counts = np.cumsum([0, *(int(problem.trusted.sum()) for problem in self.problems)])
        self.rows = [slice(int(start), int(end)) for start, end in pairwise(counts)]

    def residuals(self, state: F64, noise: float) -> F64:
        """Every trusted number of every card over its noise, then every unknown over its spread."""
        away = [
            problem.residuals(state[place], noise * one.card.noise)[: rows.stop - rows.start]
            for one, problem, place, rows in zip(self.cards, self.problems, self.places, self.rows, strict=True)
        ]
        return np.concatenate([*away, state])

    def scatter(self, state: F64, noise: float) -> tuple[float, float]:
        """What lies between repeated readings of all cards, as of one."""
        every = zip(self.cards, self.problems, self.places, strict=True)
        found = [problem.scatter(state[place], noise * one.card.noise) for one, problem, place in every]
        return sum(squares for squares, _ in found), sum(count for _, count in found)

    def jacobian(self, state: F64, noise: float) -> F64:
        """Slopes of the residuals."""
        slopes = np.zeros((self.rows[-1].stop, self.size))
        for one, problem, place, rows in zip(self.cards, self.problems, self.places, self.rows, strict=True):
            slopes[rows, place] = problem.numbers(state[place], noise * one.card.noise)[1]
        return np.concatenate([slopes, np.eye(self.size)])

    def normal(self, state: F64, noise: float) -> tuple[F64, F64]:
        """The normal equations' two sides: each card adds where its own unknowns are, a small part of all."""
        square, uphill = np.eye(self.size), state.copy()
        for one, problem, place in zip(self.cards, self.problems, self.places, strict=True):
            away, slopes = problem.numbers(state[place], noise * one.card.noise)
            square[np.ix_(place, place)] += slopes.T @ slopes
            uphill[place] += slopes.T @ away
        return square, uphill

    def misfits(self, state: F64) -> F64:
        """Of each card (K,): residuals over its noise, root mean square, the unknowns that they pay for taken off."""
        covariance = inverse(self.normal(state, 1.0)[0])
        found = []
        for one, problem, place in zip(self.cards, self.problems, self.places, strict=True):
            away, slopes = problem.numbers(state[place], one.card.noise)
            paid = float(((slopes.T @ slopes) * covariance[np.ix_(place, place)]).sum())
            repeats = problem.scatter(state[place], one.card.noise)
            found.append(misfit(away, paid=paid, repeats=repeats))
        return np.array(found)

    def carried(self, state: F64, other: JointProblem, kept: Sequence[int]) -> F64:
        """A state of this problem as one of `other`, which has its cards `kept` alone."""
        out = np.zeros(other.size)
        for k, place in zip(kept, other.places, strict=True):
            out[place] = state[self.places[k]]
        return out

    def solved(self, near: F64 | None = None) -> Solution:
        """The most likely unknowns of all cards, from every beginning or from `near`; raises as `solve`."""
        return solve(self, near)
