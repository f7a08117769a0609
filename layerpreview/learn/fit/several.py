"""Learn dyes from several cards at once: each card weighed by how rough it is, and the odd one told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem
from layerpreview.learn.card.checks import order_problems
from layerpreview.learn.fit.colourant import Colourant, SeenDye, UnknownDye
from layerpreview.learn.fit.joint import STRENGTH_SPREAD, JointProblem, SharedCard
from layerpreview.learn.fit.least_squares import ROUGH, Solution
from layerpreview.learn.fit.odd_card import Standing, standings
from layerpreview.learn.fit.one_card import INFLATE, DyeFit, builds_of, dye_of, half_of_90, spectrum_of
from layerpreview.learn.fit.problem import FAR, UNLIKE
from layerpreview.units import Range

F64 = NDArray[np.float64]

_APART = 0.1  # least singular value of the cards' shares: dyes that differ less are in one ratio on every card
_ROUNDS = 2  # weights of rough cards settle in two


@dataclass(frozen=True, eq=False)
class CardFit:
    """What became of one card among several.

    `builds`, `fitted` (N, m) and `strained` as in `DyeFit`. `strengths` (one per dye): what its coats hold over what
    is stated, with its 90 % range; None of a dye it does not hold. `misfit`: residuals over the stated noise.
    """

    shared: SharedCard
    builds: dict[int, Range]
    fitted: F64
    strengths: tuple[Range | None, ...]
    misfit: float
    strained: tuple[str, ...]
    standing: Standing


@dataclass(frozen=True, eq=False)
class TogetherFit:
    """Dyes (D) learnt from several cards (K), each as from its own reference, the first card of which a share is 1.

    `state`: all unknowns, before rough cards were made to count less.
    """

    dyes: tuple[DyeFit, ...]
    cards: tuple[CardFit, ...]
    state: F64


def fit_together(cards: Sequence[SharedCard], names: Sequence[str]) -> TogetherFit:
    """Fit the dyes `names` to all `cards` at once; a card's noise is what its own readings show, or what is stated.

    Least squares as in `fit_dye`, with every dye shared and how far each card's mix is off one more unknown of it.
    A card that stays rougher among the others than its noise counts less. Raises InputError for cards that get lighter,
    fewer than two steps in all, or dyes that no card tells apart; NoAnswerError when the fit fails.
    """
    check_cards(cards, names)
    dyes = _dyes(cards, len(names))
    problem = JointProblem(cards, dyes, _beginnings(cards, dyes))
    first = problem.solved()
    stood = standings(problem, first.state)
    weighed, found = _weighed(problem, first)
    misfits = problem.misfits(found.state)
    told = tuple(_card_fit(weighed, k, found, misfits[k], stood[k]) for k in range(len(cards)))
    fits = tuple(_dye_fit(weighed, d, found, told) for d in range(len(names)))
    return TogetherFit(fits, told, first.state)


def cost_of(cards: Sequence[SharedCard], near: TogetherFit) -> float:
    """What the same windows cost at the least with other films or grounds, looked for near another fit of them."""
    problem = JointProblem(cards, _dyes(cards, len(near.dyes)))
    return float(np.square(problem.residuals(problem.solved(near.state).state, 1.0)).sum())


def check_cards(cards: Sequence[SharedCard], names: Sequence[str]) -> None:
    """Refuse cards that cannot be fitted together."""
    problems = [replace(problem, file=one.name) for one in cards for problem in order_problems(one.card)]
    steps = {w.load * float(one.shares.sum()) for one in cards for w in one.card.windows if w.load}
    if len(steps) < 2:
        remedy = "read at least two steps, better five: 1, 2, 3, 4, 6 coats"
        problems.append(Problem("fewer than two steps on all cards: strength and shape cannot be told apart", remedy))
    alike = _alike(np.array([one.shares for one in cards]))
    if alike:
        words = " and ".join(names[d] for d in alike)
        remedy = "add a card of one of them alone, or of another ratio"
        problems.append(Problem(f"{words} stand in one ratio on every card: nothing tells them apart", remedy))
    if problems:
        raise InputError(problems)


def _alike(shares: F64) -> list[int]:
    """Dyes (of D) that stand in one ratio, to within a tenth, on every card; `shares` (K, D)."""
    unit = shares / np.linalg.norm(shares, axis=0)
    _, size, ways = np.linalg.svd(unit, full_matrices=True)
    if shares.shape[0] >= shares.shape[1] and size[-1] > _APART:
        return []
    return [int(d) for d in np.flatnonzero(np.abs(ways[-1]) > 0.1)]


def _dyes(cards: Sequence[SharedCard], count: int) -> list[Colourant]:
    """Each dye free where spectra told it (alone, or by the difference of mixes), else by the usual shapes of dyes."""
    read = [(one.shares, seen.near) for one in cards if isinstance(seen := dye_of(one.card), SeenDye)]
    if not read:
        return [UnknownDye() for _ in range(count)]
    shares = np.array([of for of, _ in read])
    back = np.linalg.pinv(shares, rcond=_APART)
    near = np.maximum(back @ np.array([one for _, one in read]), 1e-4)
    told = np.diag(back @ shares) > 0.99
    return [SeenDye(near[d]) if told[d] else UnknownDye() for d in range(count)]


def _beginnings(cards: Sequence[SharedCard], dyes: Sequence[Colourant]) -> list[F64]:
    """Where to begin with all dyes at once: each as its own cards tell it, and every other answer of one at a time."""
    if len(dyes) == 1:
        return dyes[0].starts()
    choices: list[list[F64]] = []
    for d, dye in enumerate(dyes):
        alone = [replace(one, shares=one.shares[d : d + 1]) for one in cards if set(np.flatnonzero(one.shares)) == {d}]
        if alone:
            found = JointProblem(alone, [dye], dye.starts()).solved()
            choices.append([state[: dye.size] for state in (found.state, *(other for _, other in found.others))])
        else:
            choices.append(dye.starts())
    best = [states[0] for states in choices]
    return [np.concatenate([*best[:d], state, *best[d + 1 :]]) for d, states in enumerate(choices) for state in states]


def _weighed(problem: JointProblem, first: Solution) -> tuple[JointProblem, Solution]:
    """The cards once those that are rougher among the others than their noise count less, and the fit of them."""
    weighed, found = problem, first
    for _ in range(_ROUNDS):
        rough = problem.misfits(found.state)
        if (rough <= ROUGH).all():
            break
        cards = [
            one.rougher(float(more) if more > ROUGH else 1.0) for one, more in zip(problem.cards, rough, strict=True)
        ]
        weighed = JointProblem(cards, problem.dyes)
        found = replace(weighed.solved(found.state), others=first.others)
    return weighed, found


def _loads(cards: Sequence[SharedCard], d: int) -> tuple[float, float]:
    """Coats of a dye's reference in the lightest and in the heaviest window of any card."""
    loads = [w.load * float(one.shares[d]) for one in cards for w in one.card.windows]
    return min(load for load in loads if load), max(loads)


def _card_fit(problem: JointProblem, k: int, found: Solution, misfit: float, standing: Standing) -> CardFit:
    one, own, place = problem.cards[k], problem.problems[k], problem.places[k]
    state, covariance = found.state[place], found.covariance[np.ix_(place, place)]
    at = problem.strengths_at[k]
    sd_ln = INFLATE * STRENGTH_SPREAD * np.sqrt(np.diag(found.covariance)[at])
    likely = np.exp(STRENGTH_SPREAD * found.state[at])
    strengths = tuple(
        Range.of_log(float(likely[d]), float(sd_ln[d])) if share else None for d, share in enumerate(one.shares)
    )
    fitted = own.predict(state)[0]
    return CardFit(
        one, builds_of(own, state, covariance), fitted, strengths, misfit, own.strained(state, misfit), standing
    )


def _dye_fit(problem: JointProblem, d: int, found: Solution, told: Sequence[CardFit]) -> DyeFit:
    """One of the dyes, as if learnt from its reference card alone."""
    part = problem.parts[d]
    absorbance, doubt = spectrum_of(problem.dyes[d], part, found)
    half = half_of_90(doubt, rougher=1.0)
    holding = [one for one in told if one.shared.shares[d]]
    reference = next(one for one in holding if one.shared.shares[d] == 1.0)
    state = found.state[part]
    unlike = not isinstance(problem.dyes[d], SeenDye) and np.abs(state).max() > FAR
    misfits = np.array([one.misfit for one in holding])
    return DyeFit(
        card=reference.shared.card,
        absorbance10=absorbance,
        low=absorbance / half,
        high=absorbance * half,
        doubt=doubt,
        builds=reference.builds,
        state=state,
        cost=float(np.square(problem.residuals(found.state, 1.0)).sum()),
        fitted=reference.fitted,
        misfit=float(np.sqrt(np.square(misfits).mean())),
        noise_used=reference.shared.card.noise,
        ambiguous=sum(share for share, _ in found.others),
        strained=(UNLIKE,) if unlike else (),
        loads=_loads(problem.cards, d),
    )
