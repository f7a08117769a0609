"""What is unknown about the dye on a card: one dye of which nothing is known, or known dyes in unknown strengths; and
dyes from spectra measured by an instrument, where Beer's law alone is enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.film import Film
from layerpreview.learn.fit.prior import dye_prior, hues, seen_prior

F64 = NDArray[np.float64]

LEAST_TRANSMITTANCE = 1e-4
"""Below this an instrument reads its own stray light."""


def absorbance10_of_transmittance(transmittance: F64, *, most: float = 1.0) -> F64:
    """A = -log10 T, with T held above 1e-4 and, since no dye makes light, at `most`."""
    return np.asarray(-np.log10(np.clip(transmittance, LEAST_TRANSMITTANCE, most)))


def absorbance10_over_white(reflectance: F64, *, white: F64, film: Film) -> F64:
    """Single-pass absorbance of a dye from its reflectance over a white that reads `white` bare; both (W,) or (N, W).

    The film model is inverted by halving between 0 and 4, where it always falls; a reading above the white counts as 0.
    """
    low, high = np.zeros_like(reflectance), np.full_like(reflectance, 4.0)
    for _ in range(40):
        middle = 0.5 * (low + high)
        darker = film.reflectance(middle, white) < reflectance
        high = np.where(darker, middle, high)
        low = np.where(darker, low, middle)
    return middle


class Colourant(Protocol):
    """Absorbance of one coat as a function of `size` unknowns, each of mean 0 and variance 1 beforehand."""

    @property
    def size(self) -> int: ...

    def absorbance10(self, state: F64) -> tuple[F64, F64]:
        """Absorbance (81,) of a straight pass of one coat, and its slopes (81, size)."""
        ...

    def starts(self) -> list[F64]:
        """Where to try beginning."""
        ...


@dataclass(frozen=True)
class UnknownDye:
    """Any dye: log absorbance by the prior's mean and shapes."""

    @property
    def size(self) -> int:
        return int(dye_prior().shapes.shape[1])

    def absorbance10(self, state: F64) -> tuple[F64, F64]:
        prior = dye_prior()
        absorbance = np.exp(prior.mean + prior.shapes @ state)
        return absorbance, absorbance[:, None] * prior.shapes

    def starts(self) -> list[F64]:
        """The mean dye and a number of made-up ones of every hue, from a hint of colour to dark in one coat."""
        return [
            np.concatenate([[strength + hue[0]], hue[1:]])
            for hue in hues()
            for strength in np.linspace(-3.0, 0.6, 4) / dye_prior().shapes[:, 0].mean()
        ]


@dataclass(frozen=True, eq=False)
class SeenDye:
    """A dye whose spectrum was read: log absorbance free at every wavelength; `near` (81,) is where to begin."""

    near: F64

    @property
    def size(self) -> int:
        return int(seen_prior().shapes.shape[1])

    def absorbance10(self, state: F64) -> tuple[F64, F64]:
        prior = seen_prior()
        absorbance = np.exp(prior.mean + prior.shapes @ state)
        return absorbance, absorbance[:, None] * prior.shapes

    def starts(self) -> list[F64]:
        prior = seen_prior()
        normal = prior.shapes.T @ prior.shapes + 0.01 * np.eye(self.size)
        away = np.log(np.maximum(self.near, 1e-4)) - prior.mean
        return [np.asarray(np.linalg.solve(normal, prior.shapes.T @ away))]


@dataclass(frozen=True, eq=False)
class KnownDye:
    """A dye learnt before: `absorbance10` (81,) of its nominal amount in a coat; `doubt` (81, K): roots, of its log."""

    name: str
    absorbance10: F64
    doubt: F64


@dataclass(frozen=True, eq=False)
class KnownDyes:
    """Known dyes, each in its nominal strength times exp(`spread` z); their own doubts are unknowns as well."""

    dyes: Sequence[KnownDye]
    spread: float = 1.2

    @property
    def size(self) -> int:
        return len(self.dyes) + sum(int(dye.doubt.shape[1]) for dye in self.dyes)

    def strengths(self, state: F64) -> F64:
        """Strength of each dye over its nominal one (D,)."""
        return np.exp(self.spread * state[: len(self.dyes)])

    def absorbance10(self, state: F64) -> tuple[F64, F64]:
        total, slopes = np.zeros(WAVELENGTHS_NM.size), np.zeros((WAVELENGTHS_NM.size, self.size))
        strengths, at = self.strengths(state), len(self.dyes)
        for d, dye in enumerate(self.dyes):
            to = at + dye.doubt.shape[1]
            part = strengths[d] * dye.absorbance10 * np.exp(dye.doubt @ state[at:to])
            total += part
            slopes[:, d] = self.spread * part
            slopes[:, at:to] = part[:, None] * dye.doubt
            at = to
        return total, slopes

    def starts(self) -> list[F64]:
        return [np.full(self.size, 0.0)]


@dataclass(frozen=True, eq=False)
class SharedDyes:
    """What one coat of a card holds of dyes that other cards hold too.

    `shares` (D,): of each dye over what a coat of its own reference holds. Its unknowns: those of every dye, then for
    each dye how far this card's mix is off in it, exp(`spread` z).
    """

    dyes: Sequence[Colourant]
    shares: F64
    spread: float

    @property
    def size(self) -> int:
        return sum(dye.size for dye in self.dyes) + len(self.dyes)

    def absorbance10(self, state: F64) -> tuple[F64, F64]:
        total, slopes = np.zeros(WAVELENGTHS_NM.size), np.zeros((WAVELENGTHS_NM.size, self.size))
        amounts = self.shares * np.exp(self.spread * state[self.size - len(self.dyes) :])
        at = 0
        for d, dye in enumerate(self.dyes):
            to = at + dye.size
            absorbance, dye_slopes = dye.absorbance10(state[at:to])
            total += amounts[d] * absorbance
            slopes[:, at:to] = amounts[d] * dye_slopes
            slopes[:, self.size - len(self.dyes) + d] = self.spread * amounts[d] * absorbance
            at = to
        return total, slopes

    def starts(self) -> list[F64]:
        return [np.concatenate([*(dye.starts()[0] for dye in self.dyes), np.zeros(len(self.dyes))])]
