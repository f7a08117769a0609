"""The next card: which two further windows would narrow the doubt most, in CIEDE2000 of the colours that are wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, WAVELENGTHS_NM, adapted_xyz_weights, metric_de00
from layerpreview.film import Film
from layerpreview.learn.card.model import Eye, Ground, lab_eye, reading_and_slope
from layerpreview.learn.fit.noise import noise_shape
from layerpreview.learn.fit.one_card import DyeFit
from layerpreview.learn.read.columns import Column

F64 = NDArray[np.float64]

ENOUGH_DE00 = 0.3
"""Doubt below which no further card is worth its while: well below what half of the observers see (0.8); assumed."""

LITTLE_DE00 = 5.0
"""Doubt above which a card told next to nothing: colours that nobody would take for one another; assumed."""

CANDIDATES = (
    *(Column(1.0, strength) for strength in (0.25, 0.5, 0.75, 1.0, 1.5)),
    *(Column(coats) for coats in (2.0, 3.0, 4.0, 5.0, 6.0)),
    *(Column(coats, 2.0) for coats in (4.0, 5.0, 6.0)),
)
"""What a shop can spray and mix: thin coats in quarters, as many coats as a card has columns, then twice as strong."""


@dataclass(frozen=True, eq=False)
class Aim:
    """A colour that is to be known: `load` coats of the card's mix over what shows `bare` (81,) through `film`.

    Seen under `light` by the observer of 2 or 10 degrees; `other10` (81,) is the absorbance of other dyes there.
    """

    film: Film
    bare: F64
    load: float
    light: str
    observer_deg: int = 2
    other10: F64 = field(default_factory=lambda: np.zeros(WAVELENGTHS_NM.size))

    @property
    def eye(self) -> Eye:
        """L*a*b* as everywhere outside of the fit: adapted to D65."""
        take = adapted_xyz_weights(self.light, observer_deg=self.observer_deg) / DISPLAY_WHITE_XYZ[:, None]
        return replace(lab_eye(self.light, self.observer_deg), take=take)


@dataclass(frozen=True)
class NextWindow:
    """A window worth spraying, and the doubt before and after it.

    Doubt [CIEDE2000]: the size expected (root mean square) of the difference between a colour and what is foretold of
    it, mean over the aims, as far as readings can narrow it: what law and film add (`DyeFit.roots`) is not in it.
    """

    window: Column
    doubt_before_de00: float
    doubt_after_de00: float


def card_aims(fit: DyeFit) -> list[Aim]:
    """What a card alone stands for: a coat, half of its heaviest window and all of it, by daylight and lamp light."""
    return [
        Aim(ground.film, ground.bare(), load, light)
        for ground in fit.card.grounds
        for load in (1.0, 0.5 * fit.heaviest_load, fit.heaviest_load)
        for light in ("D65", "A")
    ]


def next_windows(
    fit: DyeFit, *, aims: Sequence[Aim], elsewhere: Sequence[Ground] = ()
) -> tuple[NextWindow, NextWindow]:
    """The two windows, of all pairs of `CANDIDATES` over the card's backgrounds, that leave the least doubt of `aims`.

    `elsewhere`: backgrounds that this card had not, for a next one.

    First the one that tells more alone. Linear theory from the fit's covariance C: reading windows with slopes J and
    noise R leaves C - C J' (R + J C J')^-1 J C. R holds the noise of the reading and the scatter of the coats; the bare
    backgrounds of the next card are taken as read.
    """
    wanted = np.stack([_aim_slopes(fit, aim) for aim in aims])
    windows = [
        _Window(fit, ground, replace(column, background=ground.name), wanted)
        for ground in (*fit.card.grounds, *elsewhere)
        for column in CANDIDATES
    ]
    before = _doubt(fit, (), wanted)
    best = min(combinations(windows, 2), key=lambda pair: _doubt(fit, pair, wanted))
    (first, alone), (second, _) = sorted(
        ((window, _doubt(fit, (window,), wanted)) for window in best), key=lambda each: each[1]
    )
    both = _doubt(fit, best, wanted)
    return NextWindow(first.column, before, alone), NextWindow(second.column, alone, both)


class _Window:
    """A window that may be read: slopes of its reading over the roots of the doubt (m, K) and over the log of its load
    (m,), its noise (m, m), and what it has in common with the aims (aims, 3, m).
    """

    def __init__(self, fit: DyeFit, ground: Ground, column: Column, wanted: F64) -> None:
        card = fit.card
        self.column = column
        _, read, by_log = reading_and_slope(card.eye, ground.film, column.load * fit.absorbance10, ground.bare())
        self.by_root, self.by_load = by_log @ fit.doubt, by_log.sum(axis=1)
        self.noise = fit.noise_used**2 * noise_shape(card.eye, read)
        self.noise += card.local_scatter**2 * np.outer(self.by_load, self.by_load)
        self.shared = wanted @ self.by_root.T


def _aim_slopes(fit: DyeFit, aim: Aim) -> F64:
    """Slopes (3, K) of an aim over the roots of the doubt, in steps of CIEDE2000: the metric's root is in them."""
    dye = aim.load * fit.absorbance10
    _, lab, by_log = reading_and_slope(aim.eye, aim.film, dye, aim.bare, other10=aim.other10)
    return np.asarray(np.linalg.cholesky(metric_de00(lab)).T @ by_log @ fit.doubt)


def _doubt(fit: DyeFit, windows: Sequence[_Window], wanted: F64) -> float:
    """Doubt of the aims [CIEDE2000], slopes `wanted` (aims, 3, K), once all of `windows` were read."""
    variance = np.square(wanted).sum(axis=(1, 2))
    if windows:
        slopes = np.concatenate([window.by_root for window in windows])
        shared = np.concatenate([window.shared for window in windows], axis=2).reshape(-1, len(slopes))
        told = shared * np.linalg.solve(_noise(fit, windows) + slopes @ slopes.T, shared.T).T
        variance = variance - told.sum(axis=1).reshape(-1, 3).sum(axis=1)
    return float(np.sqrt(np.maximum(variance, 0.0)).mean())


def _noise(fit: DyeFit, windows: Sequence[_Window]) -> F64:
    """Noise of the readings of `windows` together; coats that were sprayed in the same strokes scatter as one."""
    rows = [
        [
            one.noise * (one is other) + _in_common(fit, one, other) * np.outer(one.by_load, other.by_load)
            for other in windows
        ]
        for one in windows
    ]
    return np.block(rows)


def _in_common(fit: DyeFit, one: _Window, other: _Window) -> float:
    """Covariance of the logarithms of two windows' loads, of n coats scatter^2 / n; see `build_covariance`."""
    if one.column.strength != other.column.strength:
        return 0.0
    few, many = sorted((one.column.coats, other.column.coats))
    return fit.card.coat_scatter**2 / many if fit.card.masked or few == many else 0.0
