"""The next best step: which further windows would narrow a fit's doubt most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.fit import DyeFit
from layerpreview.learn.model import Eye, film_and_slope, lab_eye, lightness_root, lightness_root_slope
from layerpreview.learn.noise import noise_shape

F64 = NDArray[np.float64]

CANDIDATE_LOADS = (0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0)


@dataclass(frozen=True)
class NextStep:
    """A step worth spraying: `load` in coats of the mix over every background, and the doubt before and after.

    The doubt is the root mean square, over the colours asked about, of the standard deviation in L*a*b*.
    """

    load: float
    doubt_before: float
    doubt_after: float

    @property
    def words(self) -> str:
        """What to spray: whole coats, or one coat of a thinner mix."""
        if self.load < 1.0:
            return f"one coat at {self.load:g} of the strength"
        if self.load == 1.0:
            return "one coat"
        whole = self.load == int(self.load)
        return f"{self.load:g} coats" if whole else f"one coat at {self.load:g} times the strength"


def next_steps(fit: DyeFit, *, wanted_loads: Sequence[float], lights: Sequence[str], count: int = 2) -> list[NextStep]:
    """The `count` steps, one after the other, that would tell most about `wanted_loads` coats under `lights`.

    From the fit's covariance: reading windows with slopes J and noise R leaves C - C J' (R + J C J')^-1 J C (linear
    theory). R holds the reading's noise and the scatter of the coats themselves.
    """
    card = fit.card
    covariance = np.eye(fit.doubt.shape[1])
    aims = [
        _slopes(fit, ground, load, lab_eye(light, 2))[0]
        for ground in range(len(card.grounds))
        for load in wanted_loads
        for light in lights
    ]
    out = []
    before = _doubt(aims, covariance)
    for _ in range(count):
        read = [(load, _read(fit, load, covariance)) for load in CANDIDATE_LOADS]
        tried = [(_doubt(aims, after), load, after) for load, after in read]
        after_doubt, load, covariance = min(tried, key=lambda item: item[0])
        out.append(NextStep(load, before, after_doubt))
        before = after_doubt
    return out


def _slopes(fit: DyeFit, ground: int, load: float, eye: Eye) -> tuple[F64, F64, F64]:
    """Slopes of one window's reading over the roots of the fit's doubt (m, K), and over the log of its load (m,).

    Last the shape of that reading's noise (m, m).
    """
    place = fit.card.grounds[ground]
    dye = load * fit.absorbance10
    seen, over_dye, _ = film_and_slope(place.film, dye, place.bare(np.ones(place.weights.size)))
    light = eye.take @ seen
    by_log = (eye.mix @ (lightness_root_slope(light)[:, None] * eye.take)) * (over_dye * dye)
    return by_log @ fit.doubt, by_log.sum(axis=1), noise_shape(eye, eye.mix @ lightness_root(light))


def _read(fit: DyeFit, load: float, covariance: F64) -> F64:
    """The covariance once a step of `load` was read over every background of the card."""
    from scipy.linalg import block_diag

    card = fit.card
    parts = [_slopes(fit, ground, load, card.eye) for ground in range(len(card.grounds))]
    slopes = np.concatenate([by_root for by_root, _, _ in parts])
    by_load = np.concatenate([by_log for _, by_log, _ in parts])
    shape = block_diag(*(shape for _, _, shape in parts))
    scatter = card.coat_scatter**2 / max(load, 1.0) + card.local_scatter**2
    noise = fit.noise_used**2 * shape + scatter * np.outer(by_load, by_load)
    shared = covariance @ slopes.T
    return np.asarray(covariance - shared @ np.linalg.solve(noise + slopes @ shared, shared.T))


def _doubt(aims: Sequence[F64], covariance: F64) -> float:
    return float(np.sqrt(np.mean([np.trace(aim @ covariance @ aim.T) for aim in aims])))
