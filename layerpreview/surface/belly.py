"""The arch of a plate: the height of a film blown up over its outline, smooth where the distance to it has a ridge."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

_CELLS = 140
_LEAST_WAY = 0.02
"""Nearest that an edge may lie to a point of the grid, as a share of a cell: nearer would only upset the sums."""


def belly_grid(grid: PixelGrid) -> PixelGrid:
    """A coarse grid over the same face, two cells beyond it on each side, for the belly's shape."""
    wide, high = grid.n_cols * grid.pixel_mm, grid.n_rows * grid.pixel_mm
    step = max(wide, high) / _CELLS
    return PixelGrid(
        step, math.ceil(high / step) + 4, math.ceil(wide / step) + 4, grid.left_mm - 2 * step, grid.top_mm - 2 * step
    )


def blown_up(distance_mm: F32) -> F32:
    """Height 0..1 (rows, cols) of a film over the face, by the signed distance to its edge, positive inside.

    Laplace(height) = -1 inside and 0 on the edge, which lies where the distances of two neighbours put it (G. Shortley
    and R. Weller, J. Appl. Phys. 9 (1938) 334), so that no staircase of cells shows in its slopes. Outside it goes on
    as it falls at the edge.
    """
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import spsolve

    distance = np.pad(distance_mm.astype(np.float64), 1, constant_values=-1e3)
    inside = distance > 0.0
    if not inside.any():
        return np.zeros_like(distance_mm)
    number = np.full(distance.shape, -1)
    number[inside] = np.arange(inside.sum())
    rows, cols = np.nonzero(inside)
    at, own = number[inside], np.zeros(len(rows))
    entries: list[tuple[NDArray[np.intp], NDArray[np.intp], F64]] = []
    for down, right in ((1, 0), (0, 1)):
        ways = [_way(distance, rows, cols, sign * down, sign * right) for sign in (1, -1)]
        both = ways[0] + ways[1]
        own += 2.0 / (ways[0] * ways[1])
        for sign, way in zip((1, -1), ways, strict=True):
            there = number[rows + sign * down, cols + sign * right]
            met = there >= 0
            entries.append((at[met], there[met], -2.0 / (way * both)[met]))
    entries.append((at, at, own))
    i, j, value = (np.concatenate(part) for part in zip(*entries, strict=True))
    height = np.zeros(distance.shape)
    height[inside] = spsolve(coo_array((value, (i, j))).tocsc(), np.ones(len(rows)))
    return np.asarray(_gone_on(height / height.max(), distance)[1:-1, 1:-1], dtype=np.float32)


def _way(distance: F64, rows: NDArray[np.intp], cols: NDArray[np.intp], down: int, right: int) -> F64:
    """How far the next point that way is [cells]: a cell, or as far as the edge."""
    here, there = distance[rows, cols], distance[rows + down, cols + right]
    return np.where(there > 0.0, 1.0, np.clip(here / np.maximum(here - there, 1e-9), _LEAST_WAY, 1.0))


def _gone_on(height: F64, distance: F64) -> F64:
    """The height outside, a few cells far: the neighbours' fall, so much a mm, times the distance."""
    known = distance > 0.0
    fall = np.where(known, height / np.maximum(distance, 1e-9), 0.0)
    known &= distance > 1e-3
    for _ in range(3):
        total, count = np.zeros_like(fall), np.zeros_like(fall)
        for down in (-1, 0, 1):
            for right in (-1, 0, 1):
                total += np.roll(np.where(known, fall, 0.0), (down, right), (0, 1))
                count += np.roll(known, (down, right), (0, 1))
        fresh = ~known & (count > 0)
        fall[fresh] = total[fresh] / count[fresh]
        known |= fresh
    return np.where(distance > 0.0, height, fall * np.maximum(distance, -1e2))
