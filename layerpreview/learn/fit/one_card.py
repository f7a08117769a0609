"""Learn a dye from a card sprayed in steps: the spectrum that explains every window at once, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import NoAnswerError
from layerpreview.film import LAW_WITHIN, Film, law_shapes, law_spread
from layerpreview.learn.card.checks import check_card
from layerpreview.learn.card.model import (
    Card,
    Eye,
    reading_and_slope,
    reflectance_of,
)
from layerpreview.learn.fit.colourant import (
    Colourant,
    KnownDye,
    KnownDyes,
    SeenDye,
    UnknownDye,
    absorbance10_over_white,
)
from layerpreview.learn.fit.least_squares import Solution, solve
from layerpreview.learn.fit.problem import CardProblem
from layerpreview.units import NINETY, Range

F64 = NDArray[np.float64]

INFLATE = 1.0
"""Intervals from J'J are widened by this: over 200 simulated dyes unlike the prior's that made them hold in 90 %."""
_TWICE, _INSTEAD = 2.0, -0.5  # a range too wide, and a correlation of two dyes, to call them told apart: our own choice


@dataclass(frozen=True, eq=False)
class DyeFit:
    """A dye learnt from a card, as absorbance of one straight pass of one coat of the card's mix.

    `absorbance10` (81,) is the best, `low` and `high` its 90 % interval within the loads sprayed; `doubt` (81, K) are
    roots of the covariance of its logarithm that the readings leave, `roots` with what law and film add. `builds` gives
    for each step the coats it really got; `fitted` (N, m) what the model makes of each window. `misfit`: residuals over
    the stated noise. `ambiguous` [0..1] is the share of belief in spectra unlike the best; it widens the interval.
    `state` and `cost` are the fit's own unknowns and what they cost at the stated noise. `strained` says in words which
    assumption was stretched. `loads`: the lightest and the heaviest of all windows where other cards were fitted with
    it.
    """

    card: Card
    absorbance10: F64
    low: F64
    high: F64
    doubt: F64
    builds: dict[int, Range]
    state: F64
    cost: float
    fitted: F64
    misfit: float
    noise_used: float
    ambiguous: float
    strained: tuple[str, ...]
    loads: tuple[float, float] | None = None

    @property
    def heaviest_load(self) -> float:
        """Coats of the card's mix in its heaviest window: beyond about half as much again a prediction is a guess."""
        return self.loads[1] if self.loads else max(window.load for window in self.card.windows)

    @property
    def rougher(self) -> float:
        """Times the usual by which this card departs from law and noise: as much is law and film doubted."""
        return self.noise_used / self.card.noise

    @property
    def lightest_load(self) -> float:
        """Coats of the card's mix in its lightest window with dye."""
        return self.loads[0] if self.loads else min(window.load for window in self.card.windows if window.load)

    def roots(self, load: float) -> F64:
        """Roots (81, K) of the covariance of ln absorbance of `load` coats: of what was read, and of law and film."""
        spread = self.rougher * law_spread(load, lightest=self.lightest_load, heaviest=self.heaviest_load)
        return np.concatenate([self.doubt, spread * law_shapes()], axis=1)


def fit_dye(card: Card, *, near: DyeFit | None = None) -> DyeFit:
    """Fit one dye, or one mix as a whole, to a card.

    Least squares over all windows at once: each trusted number over the noise, each unknown (shape of the spectrum,
    build of each step, local build, bare grounds, tone) over its own spread. The interval is that of the inverse of J'J
    at the solution, the prior in it, widened by `INFLATE`. `near`: begin only at another fit of the same windows.

    Raises InputError for fewer than two steps or a card that gets lighter; NoAnswerError when the fit fails.
    """
    check_card(card)
    problem = CardProblem(card, dye_of(card))
    found = solve(problem, None if near is None else near.state)
    state = found.state
    absorbance, doubt = spectrum_of(problem.colourant, slice(0, problem.colourant.size), found)
    half = half_of_90(doubt, rougher=found.noise / card.noise)
    return DyeFit(
        card=card,
        absorbance10=absorbance,
        low=absorbance / half,
        high=absorbance * half,
        doubt=doubt,
        builds=builds_of(problem, state, found.covariance),
        state=state,
        cost=float(np.square(problem.residuals(state, card.noise)).sum()),
        fitted=problem.predict(state)[0],
        misfit=found.misfit,
        noise_used=found.noise,
        ambiguous=sum(share for share, _ in found.others),
        strained=problem.strained(state, found.misfit),
    )


def spectrum_of(dye: Colourant, part: slice, found: Solution) -> tuple[F64, F64]:
    """Absorbance (81,) of a dye whose unknowns are `part` of a solution's; roots (81, K) of its logarithm's doubt."""
    absorbance, slopes = dye.absorbance10(found.state[part])
    roots = (slopes / absorbance[:, None]) @ np.linalg.cholesky(found.covariance[part, part])
    apart = [np.sqrt(share) * np.log(dye.absorbance10(other[part])[0] / absorbance) for share, other in found.others]
    return absorbance, INFLATE * np.column_stack([roots, *apart])


def half_of_90(doubt: F64, *, rougher: float) -> F64:
    """Factor (81,) of the 90 % range either way: of the roots `doubt` (81, K), and of law and film within the loads."""
    return np.asarray(np.exp(NINETY * np.sqrt(np.square(doubt).sum(axis=1) + (LAW_WITHIN * rougher) ** 2)))


def dye_of(card: Card) -> Colourant:
    """The unknown dye of a card: free where spectra were read, beginning at what the film model says of each window."""
    if card.eye.at_nm is None:
        return UnknownDye()
    seen = []
    for window in card.windows:
        if window.load:
            ground = card.ground(window.ground)
            light = reflectance_of(card.eye.at_nm, window.read)
            seen.append(absorbance10_over_white(light, white=ground.bare(), film=ground.film) / window.load)
    return SeenDye(np.median(seen, axis=0))


@dataclass(frozen=True, eq=False)
class MixFit:
    """Known dyes separated in one mix: the strength of each over its nominal one, with its 90 % range."""

    strengths: dict[str, Range]
    fitted: F64
    misfit: float
    strained: tuple[str, ...]


def fit_mix(card: Card, dyes: Sequence[KnownDye]) -> MixFit:
    """Tell how much of each of several dyes a card's mix holds, when each was learnt from a card of its own.

    `dyes`: what one nominal coat of this mix should hold of each. Raises as `fit_dye`, and NoAnswerError where one dye
    can stand for another.
    """
    check_card(card)
    colourant = KnownDyes(dyes)
    problem = CardProblem(card, colourant)
    found = solve(problem)
    best = colourant.strengths(found.state)
    sd_ln = INFLATE * colourant.spread * np.sqrt(np.diag(found.covariance)[: len(dyes)])
    strengths = {dye.name: Range.of_log(float(s), float(sd)) for dye, s, sd in zip(dyes, best, sd_ln, strict=True)}
    _tell_apart(strengths, found)
    fitted = problem.predict(found.state)[0]
    return MixFit(strengths, fitted, found.misfit, problem.strained(found.state, found.misfit))


def _tell_apart(strengths: dict[str, Range], found: Solution) -> None:
    """Refuse two dyes of which neither is known to within a factor of two, since more of one is less of the other."""
    count = len(strengths)
    covariance = found.covariance[:count, :count]
    sd = np.sqrt(np.diag(covariance))
    together = covariance / np.outer(sd, sd)
    wide = [range_.high > _TWICE * range_.likely for range_ in strengths.values()]
    for i, j in zip(*np.triu_indices(count, 1), strict=True):
        if wide[i] and wide[j] and together[i, j] < _INSTEAD:
            said = [
                f"{name} may be {100 * range_.low:.0f} to {100 * range_.high:.0f} % of what is meant"
                for name, range_ in (list(strengths.items())[i], list(strengths.items())[j])
            ]
            remedy = "read the card as spectra, with thin and heavy steps, or leave one of the two out"
            raise NoAnswerError(f"two dyes cannot be told apart on this card: {', '.join(said)} (90 %); {remedy}")


@dataclass(frozen=True, eq=False)
class Predicted:
    """What a fitted dye should read somewhere: `read` (m,), its covariance (m, m), and the spectrum (81,)."""

    read: F64
    covariance: F64
    reflectance: F64


def predict(fit: DyeFit, *, film: Film, bare: F64, load: float, eye: Eye) -> Predicted:
    """The colour of `load` coats over a ground that shows `bare` (81,), with the doubt that dye, law and film bring.

    Wider below the lightest and beyond the heaviest load of the card.
    """
    seen, read, by_log = reading_and_slope(eye, film, load * fit.absorbance10, bare)
    root = by_log @ fit.roots(load)
    return Predicted(read, root @ root.T, seen)


def builds_of(problem: CardProblem, state: F64, covariance: F64) -> dict[int, Range]:
    """The coats each step of a card really got, from its unknowns and their covariance, with the 90 % range."""
    part = slice(problem.first_build, problem.first_local)
    sd_ln = np.sqrt(np.einsum("sk,kl,sl->s", problem.build_root, covariance[part, part], problem.build_root))
    coats = problem.loads * problem.builds(state)
    rows = zip(problem.steps, coats, INFLATE * sd_ln, strict=True)
    return {step: Range.of_log(float(likely), float(sd)) for step, likely, sd in rows}
