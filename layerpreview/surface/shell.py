"""A shell: a tube with a wall, open at both ends, that stands upright."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.body import BARE, FRONT, Corner, Met, laid_on, unit

F32 = NDArray[np.float32]


class Shell:
    """A tube that stands upright: the outside is a face unrolled, whose middle looks forward.

    `wall_mm` thick, its rims rounded; z = 0 at the front of it.
    """

    def __init__(self, *, diameter_mm: float, height_mm: float, wall_mm: float) -> None:
        self.width_mm, self.height_mm, self.depth_mm = diameter_mm, height_mm, diameter_mm
        self.wall_mm, self.edge_mm = wall_mm, min(2.0, 0.4 * wall_mm)
        self._outer, self._wall, self._radius = (np.float32(v) for v in (0.5 * diameter_mm, wall_mm, self.edge_mm))

    def _parts(self, place: F32) -> tuple[F32, F32, F32, F32, F32]:
        x, z = place[0] - self._outer, place[2] + self._outer
        round_mm = np.hypot(x, z)
        wall = np.abs(round_mm - self._outer + 0.5 * self._wall) - 0.5 * self._wall + self._radius
        high = np.abs(place[1] - np.float32(0.5 * self.height_mm)) - np.float32(0.5 * self.height_mm) + self._radius
        return x, z, round_mm, wall, high

    @property
    def box_mm(self) -> tuple[Corner, Corner]:
        """As `Body.box_mm`."""
        return (0.0, 0.0, -self.depth_mm), (self.width_mm, self.height_mm, 0.0)

    def away_mm(self, place: F32) -> F32:
        """As `Body.away_mm`."""
        *_, wall, high = self._parts(place)
        corner = np.hypot(np.maximum(wall, 0.0), np.maximum(high, 0.0))
        return np.asarray(np.minimum(np.maximum(wall, high), 0.0) + corner - self._radius, dtype=np.float32)

    def pace(self, towards: F32) -> float:
        """As `Body.pace`: the distance is the true one."""
        return 1.0

    def met(self, place: F32, share: F32) -> Met:
        """As `Body.met`."""
        x, z, round_mm, wall, high = self._parts(place)
        outside = round_mm > self._outer - 0.5 * self._wall
        sideways = np.maximum(wall, 0.0) * np.where(outside, np.float32(1.0), np.float32(-1.0))
        upright = np.maximum(high, 0.0) * np.sign(place[1] - np.float32(0.5 * self.height_mm))
        length = np.maximum(round_mm, np.float32(1e-6))
        normal = unit(np.stack([sideways * x / length, upright, sideways * z / length]).astype(np.float32))
        kind = np.where(outside, FRONT, BARE).astype(np.int8)
        turn = np.arctan2(x, z) / np.float32(2.0 * np.pi) + np.float32(0.5)
        across = np.stack([z / length, np.zeros_like(x), -x / length]).astype(np.float32)
        down = np.zeros_like(across)
        down[1] = 1.0
        down = laid_on(down, normal)
        along = np.asarray(turn * np.float32(np.pi * self.width_mm), dtype=np.float32)
        upright = np.clip(place[1], 0.0, np.float32(self.height_mm))
        # It is dark where neither rim is near.
        depth = np.minimum(place[1], np.float32(self.height_mm) - place[1])
        bend = np.where(high > 0.0, 1.0 / self._radius, 1.0 / self._outer)
        return Met(share, kind, along, upright, along, upright, normal, across, down, depth, bend)
