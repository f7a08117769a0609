"""The part as a solid that can be turned: where a ray meets it, which way its surface faces there, on which face.

A plate is the shape of a face pulled through its thickness, its edges rounded, its front and back arched; a shell is a
tube with a wall. Both are told by how far a point is from them, and rays go as far as that until they arrive (sphere
tracing; J. C. Hart, The Visual Computer 12 (1996) 527). Coordinates of a solid: x to the right, y down, z out of its
front [mm]; a plate's front rim lies at z = 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
Corner = tuple[float, float, float]

FRONT, BACK, SIDE, BARE = 0, 1, 2, 3
"""What a ray meets: a face, or what is left bare (inside an opening or a shell)."""
MOST_STEPS = 60
ARRIVED_MM = 0.02
STRIDE = 0.985
"""Of the distance told over its pace."""


@dataclass(frozen=True, eq=False)
class Met:
    """Where rays meet a solid, each (P,) or (3, P).

    `share`: how much of the pixel it covers; `kind`: FRONT, BACK, SIDE or BARE; `x_mm`, `y_mm` on that face, `at_x_mm`,
    `at_y_mm` on the front above it; `normal` of the surface, and `across`, `down`: where x and y of the face go on it,
    all unit vectors in the solid's coordinates; `depth_mm`: how far below the rim; `bend_per_mm`: how much the normal
    turns along the surface [1/mm].
    """

    share: F32
    kind: NDArray[np.int8]
    x_mm: F32
    y_mm: F32
    at_x_mm: F32
    at_y_mm: F32
    normal: F32
    across: F32
    down: F32
    depth_mm: F32
    bend_per_mm: F32


class Body(Protocol):
    """A solid: its size as seen from the front, how deep it is, and what rays meet."""

    width_mm: float
    height_mm: float
    depth_mm: float

    @property
    def box_mm(self) -> tuple[Corner, Corner]:
        """The lowest and the highest x, y and z that it has."""
        ...

    def away_mm(self, place: F32) -> F32:
        """Distance (P,) of places (3, P), negative inside; it may be more than the true one, see `pace`."""
        ...

    def pace(self, towards: F32) -> float:
        """How fast `away_mm` falls at most along a ray towards `towards` (3,), per mm: 1 for true distances."""
        ...

    def met(self, place: F32, share: F32) -> Met:
        """What is to be seen at places (3, P) on the surface."""
        ...


def trace(body: Body, start: F32, towards: F32, *, pixel_mm: float) -> tuple[F32, F32]:
    """Follow parallel rays from `start` (3, P) towards `towards` (3,): where each comes nearest (3, P), and the share
    of its pixel that the solid covers (P,). Memory is set by the number of rays."""
    along, last = _in_box(body, start, towards, beyond_mm=pixel_mm)
    best = start + towards[:, None] * along
    nearest = np.full(start.shape[1], np.inf, dtype=np.float32)
    active = np.flatnonzero(last > along)
    origin, along, last = start[:, active], along[active], last[active]
    pace = max(1.0, body.pace(towards))
    stride = np.float32(STRIDE / pace)
    for _ in range(math.ceil(MOST_STEPS * pace)):
        place = origin + towards[:, None] * along
        away = body.away_mm(place)
        nearer = np.flatnonzero(away < nearest[active])
        nearest[active[nearer]] = away[nearer]
        best[:, active[nearer]] = place[:, nearer]
        along += stride * away
        on = np.flatnonzero((away > ARRIVED_MM) & (along < last))
        if not on.size:
            break
        if on.size < active.size:
            active, origin, along, last = active[on], origin[:, on], along[on], last[on]
    share = np.clip(1.0 - (nearest - np.float32(ARRIVED_MM)) / np.float32(pixel_mm), 0.0, 1.0)
    return best, share.astype(np.float32)


def _in_box(body: Body, start: F32, towards: F32, *, beyond_mm: float) -> tuple[F32, F32]:
    """How far along each ray the box about a solid begins and ends (P,) [mm]."""
    low, high = body.box_mm
    first, last = np.zeros(start.shape[1], dtype=np.float32), np.full(start.shape[1], np.inf, dtype=np.float32)
    for along, way, least, most in zip(start, towards, low, high, strict=True):
        pace = np.float32(way if abs(way) > 1e-6 else 1e-6)
        one, other = (least - beyond_mm - along) / pace, (most + beyond_mm - along) / pace
        np.maximum(first, np.minimum(one, other), out=first)
        np.minimum(last, np.maximum(one, other), out=last)
    return first, last


def unit(vector: F32) -> F32:
    return np.asarray(vector / np.maximum(np.sqrt((vector * vector).sum(axis=0)), np.float32(1e-9)), dtype=np.float32)


def laid_on(direction: F32, normal: F32) -> F32:
    """Directions (3, P) laid onto surfaces of unit normals (3, P)."""
    return unit(direction - normal * (direction * normal).sum(axis=0))
