"""The arch of a plate: the height of a film blown up over its outline, smooth where the distance to it has a ridge."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]

_CELLS, _ROUNDS = 72, 220


def belly_grid(grid: PixelGrid) -> PixelGrid:
    """A coarse grid over the same face, a cell beyond it on each side, for the belly's shape."""
    wide, high = grid.n_cols * grid.pixel_mm, grid.n_rows * grid.pixel_mm
    step = max(wide, high) / _CELLS
    return PixelGrid(
        step, math.ceil(high / step) + 2, math.ceil(wide / step) + 2, grid.left_mm - step, grid.top_mm - step
    )


def blown_up(inside: NDArray[np.bool_]) -> F32:
    """Height 0..1 of a film blown up over the face: smooth everywhere, where the distance has a ridge.

    Laplace(height) = -1 inside, 0 outside, by successive over-relaxation on the two colours of a chessboard.
    """
    high, wide = inside.shape
    padded = np.zeros((high + 2, wide + 2))
    body = padded[1:-1, 1:-1]
    black = np.add.outer(np.arange(high), np.arange(wide)) % 2 == 0
    weight = 2 / (1 + math.sin(math.pi / max(high, wide)))
    for _ in range(_ROUNDS):
        for colour in (black, ~black):
            around = padded[:-2, 1:-1] + padded[2:, 1:-1] + padded[1:-1, :-2] + padded[1:-1, 2:]
            body += np.where(colour & inside, weight * ((around + 1) / 4 - body), 0)
    return np.asarray(body / max(float(body.max()), 1e-9), dtype=np.float32)
