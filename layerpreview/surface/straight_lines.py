"""Straight edges in a picture, each with a bright and a dark side, and how much of any stretch of one is there.

An oriented Hough transform: every edge pixel votes for the lines through it that face the way its light falls (Duda
and Hart, doi:10.1145/361237.361242, with the gradient's direction as in Ballard, doi:10.1016/0031-3203(81)90009-1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

_BLUR_PX = 1.2
_FAINTEST = 0.012  # edge strength [change of ln light per px]: half of what white paper on a white worktop shows
_TURN_DEG = 2.0
_NEAR_PX, _NEAR_DEG = 3.0, 15.0
_LINES = 56


@dataclass(frozen=True, eq=False)
class Lines:
    """Lines `normal . x = reach` [px], normals (N, 2) towards the dark side; `there` (N, T) sums edge pixels along."""

    normal: F64
    reach: F64
    there: F64
    along0: float

    def share(self, line: NDArray[np.intp], start: F64, end: F64) -> F64:
        """Share 0..1 of the stretch of `line` (M,) between points `start` and `end` (M, 2) where an edge is."""
        tangent = np.column_stack([-self.normal[line, 1], self.normal[line, 0]])
        ends = np.sort(np.stack([(start * tangent).sum(axis=1), (end * tangent).sum(axis=1)]), axis=0) - self.along0
        low, high = np.clip(np.rint(ends), 0, self.there.shape[1] - 1).astype(np.intp)
        return np.asarray((self.there[line, high] - self.there[line, low]) / np.maximum(high - low, 1))


@dataclass(frozen=True, eq=False)
class _Edges:
    at: F64  # (E, 2) x, y
    outward: F64  # (E, 2)


def straight_lines(ln_light: F64) -> tuple[Lines, NDArray[np.bool_]]:
    """The longest straight edges of a picture (h, w) of ln light, and where any edge is (h, w)."""
    is_edge, gx, gy = _edges(ln_light)
    row, col = np.nonzero(is_edge)
    outward = -np.column_stack([gx[is_edge], gy[is_edge]])
    at = np.column_stack([col + 0.5, row + 0.5])
    edges = _Edges(at, outward / np.hypot(*outward.T)[:, None])
    diagonal = float(np.hypot(*ln_light.shape))
    found = [_settled(edges, normal, reach, diagonal) for normal, reach in _most_voted(edges, diagonal)]
    lines = Lines(
        np.array([each[0] for each in found]).reshape(-1, 2),
        np.array([each[1] for each in found]),
        np.array([each[2] for each in found]).reshape(len(found), 2 * int(diagonal) + 2),
        -diagonal,
    )
    return lines, is_edge


def _edges(ln_light: F64) -> tuple[NDArray[np.bool_], F64, F64]:
    """Where the light changes most across an edge, and its gradient."""
    from scipy.ndimage import gaussian_filter, map_coordinates

    gx = gaussian_filter(ln_light, _BLUR_PX, order=(0, 1))
    gy = gaussian_filter(ln_light, _BLUR_PX, order=(1, 0))
    strength = np.hypot(gx, gy)
    least = max(_FAINTEST, 2.5 * float(np.median(strength)))
    row, col = np.nonzero(strength > least)
    here = strength[row, col]
    step_y, step_x = gy[row, col] / here, gx[row, col] / here
    beside = [map_coordinates(strength, (row + s * step_y, col + s * step_x), order=1) for s in (-1.0, 1.0)]
    is_edge = np.zeros(ln_light.shape, bool)
    is_edge[row, col] = (here >= beside[0]) & (here > beside[1])
    is_edge[[0, -1]] = is_edge[:, [0, -1]] = False
    return is_edge, gx, gy


def _most_voted(edges: _Edges, diagonal: float) -> list[tuple[F64, float]]:
    """Normals and reaches of the lines with the most votes."""
    from scipy.ndimage import maximum_filter

    turns, reaches = round(360 / _TURN_DEG), int(diagonal) + 2  # reaches in steps of 2 px, from -diagonal
    facing = np.rint(np.degrees(np.arctan2(edges.outward[:, 1], edges.outward[:, 0])) / _TURN_DEG).astype(int)
    votes = np.zeros(turns * reaches)
    for off in range(-2, 3):
        turn = (facing + off) % turns
        angle = np.radians(_TURN_DEG * turn)
        reach = edges.at[:, 0] * np.cos(angle) + edges.at[:, 1] * np.sin(angle)
        votes += np.bincount(turn * reaches + ((reach + diagonal) / 2).astype(int), minlength=votes.size)
    table = votes.reshape(turns, reaches)
    peak = (table == maximum_filter(table, size=(5, 5), mode=("wrap", "nearest"))) & (table > diagonal / 20)
    turn, far = np.nonzero(peak)
    best = np.argsort(-table[turn, far], kind="stable")[:_LINES]
    angle = np.radians(_TURN_DEG * turn[best])
    normals = np.column_stack([np.cos(angle), np.sin(angle)])
    return [(n, float(r)) for n, r in zip(normals, 2.0 * far[best] + 1.0 - diagonal, strict=True)]


def _settled(edges: _Edges, normal: F64, reach: float, diagonal: float) -> tuple[F64, float, F64]:
    """A line laid through the edge pixels beside it, and the running count of places along it that have one."""
    for _ in range(2):
        near = np.abs(edges.at @ normal - reach) < _NEAR_PX
        near &= edges.outward @ normal > np.cos(np.radians(_NEAR_DEG))
        tangent = np.array([-normal[1], normal[0]])
        along, off = edges.at[near] @ tangent, edges.at[near] @ normal
        if len(along) > 2 and np.ptp(along) > 10:
            slope, start = np.polyfit(along, off, 1)
            turned = normal - slope * tangent
            length = float(np.hypot(*turned))
            normal, reach = turned / length, float(start) / length
    tangent = np.array([-normal[1], normal[0]])
    filled = np.zeros(2 * int(diagonal) + 2)
    place = np.rint(edges.at[near] @ tangent + diagonal).astype(int)
    for off_px in (-1, 0, 1):  # a slanting edge skips pixels
        filled[np.clip(place + off_px, 0, len(filled) - 1)] = 1.0
    return normal, reach, np.cumsum(filled)
