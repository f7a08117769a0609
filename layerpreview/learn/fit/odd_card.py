"""Which of several cards disagrees with the others, and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import delta_e_2000
from layerpreview.learn.card.model import as_lab
from layerpreview.learn.fit.joint import STRENGTH_SPREAD, JointProblem
from layerpreview.learn.fit.settle import inverse

F64 = NDArray[np.float64]

_SELDOM = 1e-3
"""How seldom cards that agree may look as unlike as this: once in a thousand cards."""


@dataclass(frozen=True)
class Standing:
    """How one card stands to the others.

    `chance` [0..1]: how often a card that agrees would be as far off. `strength_off` [share]: by how much more of a dye
    its coats hold than the others say, in the dye `strength_of` where that is least likely, `deviations` of its doubt.
    `left_out_de00`: mean CIEDE2000 of its windows from what the others' dyes should read there at nominal coats; None
    where the others do not tell its dyes.
    """

    chance: float
    strength_off: float
    strength_of: int
    deviations: float
    left_out_de00: float | None

    @property
    def odd(self) -> bool:
        """Whether it disagrees with the others."""
        return self.chance < _SELDOM


def standings(problem: JointProblem, state: F64) -> list[Standing]:
    """Every card (K) against the others, from the least squares `state` of all of them.

    Two tests of a card. Its strength: an unknown z believed to be 0 +- 1 and found as z with variance c is
    z / sqrt(1 - c) deviations from what all else says, z / (1 - c) of its own spread. Its readings: what the cost falls
    by when it is left out is a chi-square of as many degrees as it has numbers, if it agrees.
    """
    from scipy.stats import chi2, norm

    variance = np.diag(inverse(problem.normal(state, 1.0)[0]))
    whole = float(np.square(problem.residuals(state, 1.0)).sum())
    out = []
    for k, at in enumerate(problem.strengths_at):
        left = np.maximum(1.0 - variance[at], 1e-6)
        deviations = state[at] / np.sqrt(left)
        d = int(np.argmax(np.abs(deviations)))
        chance = 2.0 * float(norm.sf(abs(deviations[d])))
        without = _without(problem, state, k)
        de00 = None
        if without is not None:
            cost, de00 = without
            count = problem.rows[k].stop - problem.rows[k].start
            chance = min(chance, float(chi2.sf(max(whole - cost, 0.0), count)))
        off = float(np.expm1(STRENGTH_SPREAD * state[at][d] / left[d]))
        out.append(Standing(chance, off, d, float(deviations[d]), de00))
    return out


def _without(problem: JointProblem, state: F64, k: int) -> tuple[float, float] | None:
    """Cost of all cards but one, and how far its windows are from their dyes; None where they do not tell its dyes."""
    kept = [j for j in range(len(problem.cards)) if j != k]
    if not kept or not _tell(problem, kept, k):
        return None
    others = JointProblem([problem.cards[j] for j in kept], problem.dyes)
    found = others.solved(problem.carried(state, others, kept))
    cost = float(np.square(others.residuals(found.state, 1.0)).sum())
    own, card = problem.problems[k], problem.cards[k].card
    nominal = np.zeros(own.size)
    nominal[: others.colourant.size] = found.state[: others.colourant.size]
    predicted = own.predict(nominal)[0]
    apart = [
        float(delta_e_2000(as_lab(card.eye, window.read), as_lab(card.eye, should)))
        for window, should in zip(card.windows, predicted, strict=True)
        if window.load and window.sure
    ]
    return (cost, float(np.mean(apart))) if apart else None


def _tell(problem: JointProblem, kept: Sequence[int], k: int) -> bool:
    """Whether the cards `kept` tell the dyes that card `k` holds: their shares say so, and they have two steps."""
    shares = np.array([problem.cards[j].shares for j in kept])
    wanted = problem.cards[k].shares
    reach = np.linalg.pinv(shares, rcond=0.1) @ shares @ wanted
    steps = {window.load for j in kept for window in problem.cards[j].card.windows if window.load}
    return bool(np.allclose(reach, wanted, atol=0.05 * wanted.max())) and len(steps) > 1
