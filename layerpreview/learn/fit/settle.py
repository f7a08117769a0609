"""Least squares of many unknowns: damped steps by the normal equations."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import NoAnswerError

F64 = NDArray[np.float64]

_STEPS = 60
ENOUGH = 1e-7
"""Share of the cost: a step that gains less is the last."""
NEARLY = 1e-4
"""The same, to tell where a way down leads: what is left of it is below `_SAME`."""
_FARTHEST = 3.0  # standard deviations that an unknown may move in one step: keeps exponentials finite
_HOPELESS = 1e8
_SAME = 0.03  # standard deviations: what two ways down to one place may leave between them


class Squares(Protocol):
    """Unknowns of mean 0 and variance 1; residuals are every trusted number over its noise, then every unknown."""

    def residuals(self, state: F64, noise: float) -> F64: ...

    def jacobian(self, state: F64, noise: float) -> F64: ...

    def normal(self, state: F64, noise: float) -> tuple[F64, F64]:
        """The residuals' slopes J and themselves r as J'J (P, P) and J'r (P,)."""
        ...


def settle(problem: Squares, noise: float, start: F64, *, enough: float = ENOUGH) -> F64:
    """The unknowns (P,) of the least cost near `start`, until a step gains no more than the share `enough` of it.

    Levenberg and Marquardt's method. Every unknown has a row of its own that believes it to be 0 +- 1, so the normal
    equations are well conditioned and cost a tenth of an orthogonal decomposition where unknowns go into hundreds.
    Raises NoAnswerError where that is no number.
    """
    found = _descend(problem, noise, start, enough)
    if not np.isfinite(found).all():
        raise NoAnswerError("the fit did not settle: check the readings and the coats of each step")
    return found


def inverse(normal: F64) -> F64:
    """The inverse (P, P) of a normal matrix: by its Cholesky factor, in half the time of any matrix's."""
    from scipy.linalg.lapack import dpotrf, dpotri

    half = np.triu(dpotri(dpotrf(normal)[0])[0])
    return np.asarray(half + np.triu(half, 1).T)


def distinct(states: Sequence[F64]) -> list[F64]:
    """The states (P,) without those that lie where one before them does."""
    kept: list[F64] = []
    for state in states:
        if all(np.abs(state - other).max() > _SAME for other in kept):
            kept.append(state)
    return kept


def _descend(problem: Squares, noise: float, state: F64, enough: float) -> F64:
    from scipy.linalg.lapack import dposv

    away, damping = problem.residuals(state, noise), 1e-3
    for _ in range(_STEPS):
        normal, uphill = problem.normal(state, noise)
        while True:
            # Positive definite: LAPACK's Cholesky solver takes half the time of one for any matrix.
            damped = normal.copy()
            damped.ravel()[:: len(normal) + 1] *= 1.0 + damping
            _, step, _ = dposv(damped, -uphill)
            step *= min(1.0, _FARTHEST / max(float(np.abs(step).max()), 1e-12))
            tried = problem.residuals(state + step, noise)
            gained = float(away @ away - tried @ tried)
            if gained >= 0.0:
                break
            damping *= 8.0
            if damping > _HOPELESS:
                return state
        state, away, damping = state + step, tried, damping / 8.0
        if gained <= enough * float(tried @ tried):
            break
    return state
