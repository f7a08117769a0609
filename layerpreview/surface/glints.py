"""Flakes that flash: multipliers of mean 1 on the light of a metal under lamps, countable once a pixel is as small.

Few of many flakes lie so that they mirror a lamp; another tilt lights others. Sizes and shares are assumed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]


@dataclass(frozen=True)
class Flakes:
    """Places of `size_mm` that flash together, and the share of a lamp's light that comes as flashes [0..1]."""

    size_mm: float
    share: float

    def seen_on(self, step_mm: float) -> float:
        """The share left on a lattice: over several flakes the unrest falls as the root of their number."""
        return self.share * min(1.0, self.size_mm / step_mm)


SPARKLES = {
    "none": Flakes(0.3, 0.0),
    "fine": Flakes(0.1, 0.4),
    "medium": Flakes(0.3, 0.35),
    "coarse": Flakes(0.75, 0.65),
}
"""Sparkle by name."""

RAREST_FLAKE = 0.0003
"""Brighter than the brightest of a few thousand no flake is."""
SPARKLE_TAIL = 0.3
# The integral of u^-tail over 0..1, held at its value at the rarest flake.
_RARELY = RAREST_FLAKE ** (1.0 - SPARKLE_TAIL)
SPARKLE_MEAN = (1.0 - _RARELY) / (1.0 - SPARKLE_TAIL) + _RARELY


def sparkle_of(flake: F32, *, depth: float, phase: float) -> F32:
    """A multiplier of mean 1 with a heavy tail (Pareto, exponent 1/0.3): few flakes flash, most are dull.

    `flake`: a random number in [0, 1) of the flakes at each place; `depth` [0..1] of it; another `phase` lights others.
    """
    chance = _moved_on(flake, phase)
    np.subtract(np.float32(1), chance, out=chance)
    np.maximum(chance, np.float32(RAREST_FLAKE), out=chance)
    tail: F32 = np.exp(np.float32(-SPARKLE_TAIL) * np.log(chance))
    tail *= np.float32(depth / SPARKLE_MEAN)
    tail += np.float32(1 - depth)
    return tail


FLASHING, DULL = 0.06, 0.2
"""Of a glitter's flakes, how many mirror a lamp at a time, and the light of the others against the mean of all."""


def glitter_of(flake: F32, *, size_mm: float, share: float, cell_mm: float, depth: float, phase: float) -> F32:
    """A multiplier of mean 1 for single bright flakes of `size_mm` that cover the `share` [0..1] of the area.

    `flake`: a random number in [0, 1) of each square of `cell_mm`, at least as large as a flake; `depth` and `phase` as
    in `sparkle_of`.
    """
    filled = (size_mm / cell_mm) ** 2
    often = min(1.0, share / filled)
    chance = _moved_on(flake / np.float32(often), phase)
    flash = np.where(chance < FLASHING, np.float32((1.0 - DULL) / FLASHING + DULL), np.float32(DULL))
    flash -= np.float32(1.0)
    flash *= np.float32(depth * min(filled, share / often))
    flash *= flake < often
    flash += np.float32(1.0)
    return np.asarray(flash)


def _moved_on(flake: F32, phase: float) -> F32:
    moved = flake + np.float32(phase)
    moved -= np.floor(moved)
    return moved
