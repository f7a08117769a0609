"""A coat partly cut back: how much of its build is left after rubbing, and how grain soaks up dye.

Where a hand, a cloth or paper reaches is a matter of habit, not of measurement: the sizes and weights below were
chosen by eye (common practice, no source). Only the stated amount is kept to exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem
from layerpreview.surface.hashed_fields import F32, cell_table

EDGE_MM = 6.0
"""Width of the zone along the edges that is rubbed through first."""
HAND_MM = (60.0, 120.0)
"""Across the place where a hand rests."""
STREAKS = ((0.6, 22.0, 0.5), (2.3, 60.0, 0.5))
"""Scratches: millimetres across and along, and weight."""
PATCH_MM = 52.0
"""Size of the patches that are rubbed a little more or less than their neighbours."""

EDGE_PULL, HAND_PULL, HIGH_PULL, PATCH_PULL = 1.7, 1.5, 0.5, 0.35
"""How much sooner than the middle of the face each place is rubbed through, on the scale of `_SHARPNESS`."""
_SHARPNESS = 3.2
_TABLE = 256


@dataclass(frozen=True, eq=False)
class CutBack:
    """A coat cut back by `amount`; made by `cut_back`, answers for any strip."""

    amount: float
    bias: float
    hands: tuple[tuple[float, float, float], ...]
    """Centre and radius [mm] of each place where a hand rests."""
    along: tuple[float, float]
    """Unit vector of the scratches, x right, y down."""
    knots: F32
    """Random numbers, uniform in -1..1, that all the unrest is made of."""

    def keep(
        self,
        *,
        x_mm: NDArray[np.float64],
        y_mm: NDArray[np.float64],
        distance_mm: F32,
        openness: F32 | None = None,
        pixel_mm: float = 0.0,
    ) -> F32:
        """Share of the coat's build that is left, 0..1, float32 (rows, cols).

        x_mm (cols,), y_mm (rows,): middles of the pixels on the face [mm]. distance_mm (rows, cols): to the nearest
        edge, positive inside [mm]. openness (rows, cols): of wood, 1 on average; open pores keep their dye and high
        spots lose it. pixel_mm: size of a pixel, scratches finer than half of one are left out [mm]; 0 for points.

        keep = 1 / (1 + exp(3.2 (bias + pull))), the pull being the sum of edge, hand, high spots, patches and
        scratches. Nothing depends on other pixels: any strips give the same.
        """
        if self.amount in (0.0, 1.0):
            return np.full(distance_mm.shape, 1 - self.amount, dtype=np.float32)
        pull = self._pull(x_mm, y_mm, distance_mm, openness, pixel_mm)
        return _left(pull, self.bias)

    def _pull(
        self,
        x_mm: NDArray[np.float64],
        y_mm: NDArray[np.float64],
        distance_mm: F32,
        openness: F32 | None,
        pixel_mm: float,
    ) -> F32:
        x, y = x_mm.astype(np.float32)[None, :], y_mm.astype(np.float32)[:, None]
        along_x, along_y = (np.float32(v) for v in self.along)
        along, across = along_x * x + along_y * y, along_x * y - along_y * x
        patch = self._noise(across, along, PATCH_MM, PATCH_MM * 1.4, shift=7)
        # a wandering edge zone: paper does not follow an outline by the millimetre
        inside = np.maximum(distance_mm, 0) / (EDGE_MM * (1 + 0.5 * patch))
        pull: F32 = np.exp(-inside * np.sqrt(inside)) * np.float32(EDGE_PULL)
        for hand_x, hand_y, radius in self.hands:
            away2 = ((x - np.float32(hand_x)) ** 2 + (y - np.float32(hand_y)) ** 2) / np.float32(radius**2)
            pull += np.exp(-away2 * (1 + 0.6 * patch)) * np.float32(HAND_PULL)
        if openness is not None:
            pull -= np.clip(openness - 1, -1, 1.5) * np.float32(HIGH_PULL)
        scratches = np.zeros_like(pull)
        for shift, (wide, long, weight) in enumerate(STREAKS):
            seen = 1.0 if pixel_mm == 0 else min(max(2 * wide / pixel_mm - 1, 0.0), 1.0)
            if seen:
                scratches += self._noise(across, along, wide, long, shift=31 * shift) * np.float32(weight * seen)
        # scratches show where something is rubbed: more of them at edges and under the hand
        pull += scratches * (np.float32(0.25) + np.float32(0.25) * np.minimum(pull, 1.5))
        pull += patch * np.float32(PATCH_PULL)
        return pull

    def _noise(self, x: F32, y: F32, cell_x_mm: float, cell_y_mm: float, *, shift: int) -> F32:
        """Smooth noise about -1..1 at places that need be on no lattice; knots repeat after 256 cells."""
        u, v = x * np.float32(1 / cell_x_mm), y * np.float32(1 / cell_y_mm)
        column, row = np.floor(u), np.floor(v)
        u, v = u - column, v - row
        u *= u * (3 - 2 * u)
        v *= v * (3 - 2 * v)
        left, high = column.astype(np.int32) + shift, row.astype(np.int32) + 3 * shift
        columns = [(left + k) & (_TABLE - 1) for k in (0, 1)]
        rows = [((high + k) & (_TABLE - 1)) * _TABLE for k in (0, 1)]
        upper, lower = (
            (start := self.knots.take(line + columns[0])) + u * (self.knots.take(line + columns[1]) - start)
            for line in rows
        )
        return np.asarray(upper + v * (lower - upper), dtype=np.float32)


def cut_back(
    *,
    amount: float,
    seed: int,
    x_mm: NDArray[np.float64],
    y_mm: NDArray[np.float64],
    distance_mm: F32,
    openness: F32 | None = None,
) -> CutBack:
    """Prepare the cutting back of a coat so that `1 - amount` of it is left, averaged over the painted area.

    amount: share that is rubbed off, 0..1. seed: any whole number; another seed, another hand. The rest is a coarse
    view of the whole face (some 200 points a side is plenty), as for `CutBack.keep`: openness, if given, should be
    picked at those points rather than averaged about them.

    Raises InputError for an amount out of 0..1 or a face with no painted point.
    """
    painted = distance_mm > 0
    if not 0 <= amount <= 1:
        rule, remedy = "must be 0 to 1", "0.2 rubs off a fifth of the coat"
        raise InputError(Problem(rule, remedy, field="cut back", value=f"{amount:g}"))
    if not painted.any():
        raise InputError(Problem("nothing of this face is painted", "check its zones", field="cut back"))
    draw = cell_table(8, 3, seed=seed, salt=41)
    turn = math.pi * float(draw[0, 0])
    knots = (cell_table(_TABLE, _TABLE, seed=seed, salt=42) * np.float32(2) - np.float32(1)).ravel()
    hands = _hands(draw, x_mm, y_mm)
    made = CutBack(float(amount), 0.0, hands, (math.cos(turn), math.sin(turn)), knots)
    if amount in (0, 1):
        return made
    pull = made._pull(x_mm, y_mm, distance_mm, openness, 0.0)[painted]
    low, high = -8.0, 8.0
    for _ in range(40):
        bias = (low + high) / 2
        if float(_left(pull, bias).mean(dtype=np.float64)) > 1 - amount:
            low = bias
        else:
            high = bias
    return CutBack(made.amount, (low + high) / 2, hands, made.along, knots)


def soaked_build(build: F32, openness: F32, *, soak: float) -> F32:
    """Return the build of a dye that soaks into wood: build * (1 + soak * (openness - 1)), never below 0.

    openness: of the grain, 1 on average. soak: 0 for a film that lies on top, 1 for a stain that follows the grain.
    """
    return np.asarray(build * np.maximum(1 + np.float32(soak) * (openness - 1), 0), dtype=np.float32)


def _left(pull: F32, bias: float) -> F32:
    # the exponent stays within what float32 can hold
    return np.asarray(1 / (1 + np.exp(np.clip((pull + np.float32(bias)) * _SHARPNESS, -40, 40))), dtype=np.float32)


def _hands(draw: F32, x_mm: NDArray[np.float64], y_mm: NDArray[np.float64]) -> tuple[tuple[float, float, float], ...]:
    """One or two places well away from the middle of the face, the second opposite rather than beside the first."""
    middle_x, middle_y = (float(v[0] + v[-1]) / 2 for v in (x_mm, y_mm))
    half_x, half_y = (float(v[-1] - v[0]) / 2 for v in (x_mm, y_mm))
    hands = []
    turn = 2 * math.pi * float(draw[0, 1])
    for k in range(1 + int(draw[0, 2] < 0.6)):
        size, out, lean = (float(v) for v in draw[1 + k, :3])
        at = turn + k * (math.pi + (lean - 0.5) * 1.6)
        across = min(HAND_MM[0] + (HAND_MM[1] - HAND_MM[0]) * size, 0.9 * min(half_x, half_y))
        away = 0.55 + 0.25 * out
        hands.append((middle_x + away * half_x * math.cos(at), middle_y + away * half_y * math.sin(at), across / 2))
    return tuple(hands)
