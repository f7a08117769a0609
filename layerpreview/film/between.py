"""Numbers on a lattice at places between its points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]

BLOCK_PX = 16_384
"""Places worked on at a time, so that they stay in the cache."""


def between(numbers: F32, x: F32, y: F32) -> F32:
    """Values (k, P) of k lattices (k, h, w) at places (P,), straight between the lattice's points.

    x, y : columns and rows, 0 at the first; places beyond an end are as those close to it.
    """
    count, high, wide = numbers.shape
    out = np.empty((count, len(x)), np.float32)
    for first in range(0, len(x), BLOCK_PX):
        some = slice(first, first + BLOCK_PX)
        left, u = _whole_and_rest(x[some], wide)
        top, v = _whole_and_rest(y[some], high)
        corner = top * wide + left
        for lattice, found in zip(numbers.reshape(count, -1), out[:, some], strict=True):
            upper = _line(lattice, corner, u)
            lower = _line(lattice, corner + wide, u)
            lower -= upper
            lower *= v
            np.add(upper, lower, out=found)
    return out


def _whole_and_rest(place: F32, size: int) -> tuple[NDArray[np.intp], F32]:
    rest = np.clip(place, 0.0, np.float32(size - 1.001))
    whole = rest.astype(np.intp)
    rest -= whole
    return whole, rest


def _line(lattice: F32, at: NDArray[np.intp], share: F32) -> F32:
    start = np.take(lattice, at, mode="clip")
    end = np.take(lattice, at + 1, mode="clip")
    end -= start
    end *= share
    end += start
    return end
