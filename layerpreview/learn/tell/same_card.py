"""One card read twice, before and after its clear: what became of the dye, told from the readings' own differences."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, NoAnswerError, Problem
from layerpreview.learn.card.model import Card, Lab, Window, as_lab, lab_pair
from layerpreview.learn.fit.colourant import Colourant
from layerpreview.learn.fit.least_squares import ROUGH, misfit, solve
from layerpreview.learn.fit.one_card import dye_of
from layerpreview.learn.fit.prior import DYE_REACH_NM, alike
from layerpreview.learn.fit.problem import CardProblem
from layerpreview.learn.fit.settle import inverse, settle
from layerpreview.learn.tell.changed import Changed, compare

F64 = NDArray[np.float64]

_OTHER_GROUND = 0.05
"""How far, as a share, a ground under dye may be from the bare one beside it once a clear is on: assumed. The bare one
had no film before, and what its first film does to it is not the dye's doing."""
_OTHER_PLACE = 0.5
"""How far what lies under an instrument that is laid on anew differs, over how far windows of one step do: assumed."""


@dataclass(frozen=True)
class WindowChange:
    """One window: what an unchanged dye would read after the clear, and what was read; bare: before and after."""

    background: str
    load: float
    expected_lab: Lab
    read_lab: Lab
    de00: float


@dataclass(frozen=True)
class ReadAgain:
    """What became of a card's dye between two readings of it.

    `windows`: those with dye; `bare`: what the clear did to grounds without. `misfit`: what is left of the differences
    over the readings' noise when the dye may change: far above 1 it is no change of the dye as a whole.
    """

    changed: Changed
    windows: tuple[WindowChange, ...]
    bare: tuple[WindowChange, ...]
    misfit: float

    @property
    def differs(self) -> bool:
        """Whether the dye differs by more than the doubt."""
        return self.changed.stronger_or_weaker or self.changed.other_hue


def read_again(before: Card, after: Card) -> ReadAgain:
    """Compare two readings of one card, window by window.

    The same coats lie in the same places, so that builds are shared unknowns and cancel; the grounds are each reading's
    own. Raises InputError where fewer than two steps were read both times or in different ways.
    """
    first, second = _matched(before, after)
    pair = _Pair(first, second)
    state, covariance, rough = pair.solve()
    count, size = pair.count, pair.first.size
    dye10 = pair.colourant.absorbance10(state[:count])[0]
    change = slice(size, size + pair.change.shape[1])
    changed10, slopes = pair.colourant.absorbance10(state[:count] + pair.change @ state[change])
    doubt = (slopes / changed10[:, None]) @ pair.change @ np.linalg.cholesky(covariance[change, change])
    heaviest = max(window.load for window in first.windows)
    changed = compare(dye10, changed10, [doubt], grounds=second.grounds, loads=(1.0, 0.5 * heaviest, heaviest))
    return ReadAgain(changed, pair.windows(state), _bare(before, after), rough)


def _matched(before: Card, after: Card) -> tuple[Card, Card]:
    """The windows with dye that both hold, in one order, with the first's steps and the numbers read both times."""
    same = before.eye.words == after.eye.words and np.array_equal(before.eye.take, after.eye.take)
    if not same:
        rule = "the two readings of the card are of different kinds"
        raise InputError(Problem(rule, "read it both times with one instrument, in one light, and export alike"))
    later = _keyed(after)
    pairs = [(window, later[key]) for key, window in _keyed(before).items() if key in later]
    if len({window.step for window, _ in pairs}) < 2:
        rule = "fewer than two steps with dye were read both before and after the clear"
        raise InputError(Problem(rule, "give both files the same backgrounds and coats"))
    both = [_sure(a) & _sure(b) for a, b in pairs]
    first = [replace(a, trusted=sure, at_most=None) for (a, _), sure in zip(pairs, both, strict=True)]
    second = [replace(b, step=a.step, trusted=sure, at_most=None) for (a, b), sure in zip(pairs, both, strict=True)]
    used = {window.ground for window in first}
    grounds = tuple(
        replace(ground, spread=np.maximum(ground.spread, _OTHER_GROUND))
        for ground in after.grounds
        if ground.name in used
    )
    kept = tuple(before.ground(ground.name) for ground in grounds)
    return replace(before, grounds=kept, windows=tuple(first)), replace(after, grounds=grounds, windows=tuple(second))


def _keyed(card: Card) -> dict[tuple[str, float, int], Window]:
    """Windows with dye by ground, load and which of several alike."""
    found: dict[tuple[str, float, int], Window] = {}
    for window in card.windows:
        if window.load:
            alike = sum(key[:2] == (window.ground, window.load) for key in found)
            found[window.ground, window.load, alike] = window
    return found


def _sure(window: Window) -> NDArray[np.bool_]:
    return window.trusted if window.at_most is None else window.trusted & ~window.at_most


def _own(problem: CardProblem) -> NDArray[np.bool_]:
    """Which unknowns of a reading are of this reading alone: its grounds and its tone."""
    own = np.zeros(problem.size, dtype=bool)
    for part in problem.gains:
        own[part] = True
    if problem.card.tone_spread:
        own[problem.tone_at] = True
    return own


def _change_of(colourant: Colourant) -> F64:
    """Ways (size, K) in which a dye may change, in its own unknowns: in strength, and smoothly from hue to hue.

    A change has no finer detail than that, however fine a dye's own spectrum is.
    """
    _, shapes = colourant.absorbance10(np.zeros(colourant.size))
    logs = shapes / colourant.absorbance10(np.zeros(colourant.size))[0][:, None]
    size, direction = np.linalg.eigh(1.0 + alike(DYE_REACH_NM))
    kept = size > 1e-4 * size[-1]
    return np.asarray(np.linalg.lstsq(logs, direction[:, kept] * np.sqrt(size[kept]), rcond=1e-3)[0])


class _Pair:
    """Both readings as one least-squares problem.

    Unknowns in a row: all of the first reading; how far the dye went from there; what is the second reading's own, that
    is how far off the first one's place each window was read, its grounds and its tone.
    """

    def __init__(self, first: Card, second: Card) -> None:
        self.colourant = dye_of(first)
        self.first, self.second = CardProblem(first, self.colourant), CardProblem(second, self.colourant)
        self.count = self.colourant.size
        self.numbers = int(self.first.trusted.sum())
        places = np.arange(self.second.first_local, self.second.first_gain)
        apart = [_own(problem) for problem in (self.first, self.second)]
        self.change = _change_of(self.colourant)
        own = self.first.size + self.change.shape[1]
        self.size = own + places.size + int(apart[1].sum())
        # The second reading's unknowns from all: its coats and, nearly, places are those of the first.
        self.to_second = np.zeros((self.second.size, self.size))
        self.to_second[np.flatnonzero(~apart[1]), np.flatnonzero(~apart[0])] = 1.0
        self.to_second[: self.count, self.first.size : own] = self.change
        self.to_second[places, own + np.arange(places.size)] = _OTHER_PLACE
        self.to_second[apart[1], own + places.size :] = np.eye(self.size - own - places.size)

    def residuals(self, state: F64, noise: float) -> F64:
        """Numbers of the first reading, of the second, then every unknown."""
        one = self.first.residuals(state[: self.first.size], noise)[: self.numbers]
        two = self.second.residuals(self.to_second @ state, noise)[: self.numbers]
        return np.concatenate([one, two, state])

    def jacobian(self, state: F64, noise: float) -> F64:
        """Slopes of the residuals."""
        out = np.zeros((2 * self.numbers + self.size, self.size))
        out[: self.numbers, : self.first.size] = self.first.jacobian(state[: self.first.size], noise)[: self.numbers]
        two = self.second.jacobian(self.to_second @ state, noise)[: self.numbers]
        out[self.numbers : 2 * self.numbers] = two @ self.to_second
        out[2 * self.numbers :] = np.eye(self.size)
        return out

    def normal(self, state: F64, noise: float) -> tuple[F64, F64]:
        """The normal equations' two sides."""
        slopes = self.jacobian(state, noise)
        return slopes.T @ slopes, slopes.T @ self.residuals(state, noise)

    def solve(self) -> tuple[F64, F64, float]:
        """The most likely state, its covariance, and the misfit of the differences over the stated noise."""
        alone = solve(self.first)
        noise = self.first.card.noise
        state = np.concatenate([alone.state, np.zeros(self.size - self.first.size)])
        state, covariance, rough = self._settled(state, noise)
        if rough > ROUGH:
            state, covariance, _ = self._settled(state, noise * rough)
        return state, covariance, rough

    def _settled(self, start: F64, noise: float) -> tuple[F64, F64, float]:
        try:
            state = settle(self, noise, start)
        except NoAnswerError:
            raise NoAnswerError("the two readings did not settle: check that they are of one card") from None
        slopes = self.jacobian(state, noise)
        covariance = inverse(slopes.T @ slopes)
        # What both readings miss alike is the model's; their difference is the noise of reading.
        between = (slopes[self.numbers : 2 * self.numbers] - slopes[: self.numbers]) / np.sqrt(2.0)
        away = self.residuals(state, noise)
        apart = (away[self.numbers : 2 * self.numbers] - away[: self.numbers]) / np.sqrt(2.0)
        paid = float(((between @ covariance) * between).sum())
        return state, covariance, misfit(apart, paid=paid)

    def windows(self, state: F64) -> tuple[WindowChange, ...]:
        """Every window beside what it would read had the dye not changed; a number not read is shown as expected."""
        unchanged = state.copy()
        unchanged[self.first.size : self.first.size + self.change.shape[1]] = 0.0
        card = self.second.card
        expected = self.second.predict(self.to_second @ unchanged)[0]
        rows = [
            _window(card, window, as_lab(card.eye, values), np.where(window.trusted, window.read, values))
            for window, values in zip(card.windows, expected, strict=True)
        ]
        return tuple(sorted(rows, key=lambda row: (row.background, row.load)))


def _bare(before: Card, after: Card) -> tuple[WindowChange, ...]:
    """What the clear did to each ground that was read bare both times."""
    out = []
    for ground in before.grounds:
        means = [
            np.mean([as_lab(card.eye, w.read) for w in card.windows if w.ground == ground.name and not w.load], axis=0)
            for card in (before, after)
            if any(w.ground == ground.name and not w.load for w in card.windows)
        ]
        if len(means) == 2:
            out.append(_change(ground.name, 0.0, means[0], means[1]))
    return tuple(out)


def _window(card: Card, window: Window, expected_lab: F64, read: F64) -> WindowChange:
    return _change(window.ground, window.load, expected_lab, as_lab(card.eye, read))


def _change(background: str, load: float, expected: F64, read: F64) -> WindowChange:
    return WindowChange(background, load, *lab_pair(expected, read))
