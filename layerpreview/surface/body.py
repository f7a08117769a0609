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
import shapely
from numpy.typing import NDArray

from layerpreview.surface.belly import belly_grid, blown_up
from layerpreview.surface.distance import distance_field
from layerpreview.surface.lookup import Lookup
from layerpreview.surface.outline import Outline
from layerpreview.surface.sample import PixelGrid, Sampler, mm_taps

F32 = NDArray[np.float32]
Corner = tuple[float, float, float]

FRONT, BACK, SIDE, BARE = 0, 1, 2, 3
"""What a ray meets: a face, or what is left bare (inside an opening or a shell)."""
MOST_STEPS = 60
_ARRIVED_MM = 0.02
_STRIDE = 0.985
"""Of the distance told, which an arch makes a little too long."""
_BEYOND_MM = 12.0
_TOLD_APART_MM = 0.2
LEAST_RADIUS_MM = 0.4
OPENING_RADIUS_MM = 1.5
"""Edge of an opening (assumed)."""
_STEP_MM, _MOST_POINTS = 0.8, 400_000


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
        """Distance (P,) of places (3, P), negative inside; nowhere more than the true one by much."""
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
    for _ in range(MOST_STEPS):
        place = origin + towards[:, None] * along
        away = body.away_mm(place)
        nearer = np.flatnonzero(away < nearest[active])
        nearest[active[nearer]] = away[nearer]
        best[:, active[nearer]] = place[:, nearer]
        along += np.float32(_STRIDE) * away
        on = np.flatnonzero((away > _ARRIVED_MM) & (along < last))
        if not on.size:
            break
        if on.size < active.size:
            active, origin, along, last = active[on], origin[:, on], along[on], last[on]
    share = np.clip(1.0 - (nearest - np.float32(_ARRIVED_MM)) / np.float32(pixel_mm), 0.0, 1.0)
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


class Plate:
    """A face with a thickness: `outline` seen from the front, `depth_mm` through at the rim.

    `edge_mm`: radius of its edges; `front_belly_mm`, `back_belly_mm`: how much higher the middle stands than the rim;
    `pockets_mm`: how deep an opening goes, by name; one that is not named goes through.
    """

    def __init__(
        self,
        outline: Outline,
        *,
        depth_mm: float,
        edge_mm: float,
        front_belly_mm: float,
        back_belly_mm: float,
        pockets_mm: dict[str, float],
    ) -> None:
        self.width_mm, self.height_mm, self.depth_mm = outline.width_mm, outline.height_mm, depth_mm
        self._edge_mm = max(min(edge_mm, 0.5 * depth_mm), LEAST_RADIUS_MM)
        self._bellies = np.float32(front_belly_mm), np.float32(back_belly_mm)
        self._outline = outline
        step = max(_STEP_MM, math.sqrt((self.width_mm + 24.0) * (self.height_mm + 24.0) / _MOST_POINTS))
        grid = PixelGrid(
            step,
            math.ceil((self.height_mm + 2.0 * _BEYOND_MM) / step),
            math.ceil((self.width_mm + 2.0 * _BEYOND_MM) / step),
            -_BEYOND_MM,
            -_BEYOND_MM,
        )
        near, slopes = _plate_lattices(outline, grid, pockets_mm)
        self._near, self._slopes = _on(grid, near), _on(grid, slopes)
        self._around: Lookup | None = None
        self._grid = grid

    @property
    def box_mm(self) -> tuple[Corner, Corner]:
        """As `Body.box_mm`."""
        front, back = (float(belly) for belly in self._bellies)
        return (0.0, 0.0, -self.depth_mm - back), (self.width_mm, self.height_mm, front)

    def away_mm(self, place: F32) -> F32:
        """As `Body.away_mm`."""
        inside, dome, opening, floor_mm = self._near.at(place[0], place[1]).T
        wall, high, radius = self._parts(place, inside, dome, opening)
        corner = np.hypot(np.maximum(wall, 0.0), np.maximum(high, 0.0))
        plate = np.minimum(np.maximum(wall, high), 0.0) + corner - radius
        # In an opening there is its floor.
        below = np.maximum(place[2] + floor_mm, -np.float32(self.depth_mm) - place[2])
        floor = np.where((opening > 0.5) & (inside < 0.0), below, np.float32(np.inf))
        return np.asarray(np.minimum(plate, floor), dtype=np.float32)

    def _parts(self, place: F32, inside: F32, dome: F32, opening: F32) -> tuple[F32, F32, F32]:
        """How far out of the rounding's middle, sideways and up; and the rounding's radius."""
        least = np.float32(min(OPENING_RADIUS_MM, self._edge_mm))
        radius = np.where(opening > 0.5, least, np.float32(self._edge_mm))
        front, back = self._bellies[0] * dome, -np.float32(self.depth_mm) - self._bellies[1] * dome
        high = np.abs(place[2] - 0.5 * (front + back)) - 0.5 * (front - back) + radius
        return radius - inside, high, radius

    def met(self, place: F32, share: F32) -> Met:
        """As `Body.met`."""
        inside, dome, nearest, floor_mm = self._near.at(place[0], place[1]).T
        slope_x, slope_y, dome_x, dome_y = self._slopes.at(place[0], place[1]).T
        wall, high, radius = self._parts(place, inside, dome, nearest)
        up = place[2] > -0.5 * self.depth_mm
        sideways, upright = np.maximum(wall, 0.0), np.maximum(high, 0.0)
        belly = np.where(up, self._bellies[0], self._bellies[1])
        sign = np.where(up, np.float32(1.0), np.float32(-1.0))
        normal = np.stack(
            [
                -sideways * slope_x - upright * belly * dome_x,
                -sideways * slope_y - upright * belly * dome_y,
                upright * sign,
            ]
        )
        opening = nearest > 0.5
        floor = opening & (inside < -_ARRIVED_MM) & (place[2] < floor_mm * -0.8)
        normal[:, floor | (np.abs(normal).max(axis=0) < 1e-6)] = np.array([[0.0], [0.0], [1.0]], dtype=np.float32)
        normal = _unit(normal)
        flat = np.abs(normal[2]) > math.sqrt(0.5)
        kind = np.where(flat, np.where(up, FRONT, BACK), np.where(opening, BARE, SIDE)).astype(np.int8)
        kind[floor] = BARE
        x, y = place[0].copy(), place[1].copy()
        across = np.zeros_like(normal)
        across[0] = np.where(kind == BACK, np.float32(-1.0), np.float32(1.0))
        down = np.zeros_like(normal)
        down[1] = 1.0
        np.subtract(np.float32(self.width_mm), x, out=x, where=kind == BACK)
        side = np.flatnonzero(kind == SIDE)
        if side.size:
            x[side] = self._along_mm(place[:, side])
            y[side] = -place[2, side]
            across[:, side] = np.stack([slope_y[side], -slope_x[side], np.zeros(side.size, np.float32)])
            down[:, side] = np.array([[0.0], [0.0], [-1.0]], dtype=np.float32)
        across, down = _laid_on(across, normal), _laid_on(down, normal)
        bend = np.where(wall > 0.0, 1.0 / radius, np.float32(0.0))
        return Met(share, kind, x, y, place[0], place[1], normal, across, down, -place[2], bend)

    def _along_mm(self, place: F32) -> F32:
        """How far along the outer edge the nearest point of it lies (P,) [mm]."""
        if self._around is None:
            self._around = _on(self._grid, _edge_lattice(self._outline, self._grid, self._near.values[..., 0]))
        around = self._around.at(place[0], place[1])
        turn = np.arctan2(around[:, 1], around[:, 0]) / np.float32(2.0 * np.pi)
        return np.asarray((turn - np.floor(turn)) * np.float32(_ring_length_mm(self._outline)), dtype=np.float32)


def _plate_lattices(outline: Outline, grid: PixelGrid, pockets_mm: dict[str, float]) -> tuple[F32, F32]:
    """Distance inside the nearest edge, belly 0..1, whether that edge is an opening's and how deep the opening goes;
    and the slopes of the first two."""
    inside = distance_field(outline, grid, edges="all", seam=True).rows(0, grid.n_rows)
    outer = (
        distance_field(outline, grid, edges="outline", seam=True).rows(0, grid.n_rows) if outline.openings else inside
    )
    floor = np.full(inside.shape, 1e4, dtype=np.float32)
    for name, depth_mm in pockets_mm.items():
        here = distance_field(outline, grid, edges=name).rows(0, grid.n_rows) < grid.pixel_mm * 2.0
        floor[here] = depth_mm
    slope_y, slope_x = np.gradient(inside, grid.pixel_mm)
    coarse = belly_grid(grid)
    distance_mm = distance_field(outline, coarse, edges="outline", seam=True).rows(0, coarse.n_rows)
    dome = blown_up(distance_mm)
    dome_y, dome_x = np.gradient(dome, coarse.pixel_mm)
    rows, cols = (
        mm_taps(n_in, n_out, in_pitch_mm=coarse.pixel_mm, out_pitch_mm=grid.pixel_mm, offset_mm=start)
        for n_in, n_out, start in (
            (coarse.n_rows, grid.n_rows, grid.top_mm - coarse.top_mm),
            (coarse.n_cols, grid.n_cols, grid.left_mm - coarse.left_mm),
        )
    )
    arched = Sampler(np.stack([dome, dome_x, dome_y], axis=-1).astype(np.float32), rows, cols).rows(0, grid.n_rows)
    nearer = (outer > inside + np.float32(_TOLD_APART_MM)).astype(np.float32)
    near = np.stack([inside, arched[..., 0], nearer, floor], axis=-1).astype(np.float32)
    return near, np.stack([slope_x, slope_y, arched[..., 1], arched[..., 2]], axis=-1).astype(np.float32)


def _edge_lattice(outline: Outline, grid: PixelGrid, inside_mm: F32) -> F32:
    """Cosine and sine of the way along the outer edge, as a turn, where the edge is near."""
    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    near = np.abs(inside_mm) < 14.0
    ring = shapely.LineString(np.concatenate([outline.outer, outline.outer[:1]]))
    shapely.prepare(ring)
    turn = 2.0 * np.pi * shapely.line_locate_point(ring, shapely.points(x[near], y[near]), normalized=True)
    out = np.zeros((*inside_mm.shape, 2), dtype=np.float32)
    out[near] = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return out


def _ring_length_mm(outline: Outline) -> float:
    return float(np.hypot(*np.diff(np.concatenate([outline.outer, outline.outer[:1]]), axis=0).T).sum())


class Shell:
    """A tube that stands upright: the outside is a face unrolled, whose middle looks forward.

    `wall_mm` thick, its rims rounded; z = 0 at the front of it.
    """

    def __init__(self, *, diameter_mm: float, height_mm: float, wall_mm: float) -> None:
        self.width_mm, self.height_mm, self.depth_mm = diameter_mm, height_mm, diameter_mm
        self._outer, self._wall = np.float32(0.5 * diameter_mm), np.float32(wall_mm)
        self._radius = np.float32(min(2.0, 0.4 * wall_mm))

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

    def met(self, place: F32, share: F32) -> Met:
        """As `Body.met`."""
        x, z, round_mm, wall, high = self._parts(place)
        outside = round_mm > self._outer - 0.5 * self._wall
        sideways = np.maximum(wall, 0.0) * np.where(outside, np.float32(1.0), np.float32(-1.0))
        upright = np.maximum(high, 0.0) * np.sign(place[1] - np.float32(0.5 * self.height_mm))
        length = np.maximum(round_mm, np.float32(1e-6))
        normal = _unit(np.stack([sideways * x / length, upright, sideways * z / length]).astype(np.float32))
        kind = np.where(outside, FRONT, BARE).astype(np.int8)
        turn = np.arctan2(x, z) / np.float32(2.0 * np.pi) + np.float32(0.5)
        across = np.stack([z / length, np.zeros_like(x), -x / length]).astype(np.float32)
        down = np.zeros_like(across)
        down[1] = 1.0
        down = _laid_on(down, normal)
        along = np.asarray(turn * np.float32(np.pi * self.width_mm), dtype=np.float32)
        upright = np.clip(place[1], 0.0, np.float32(self.height_mm))
        # It is dark where neither rim is near.
        depth = np.minimum(place[1], np.float32(self.height_mm) - place[1])
        bend = np.where(high > 0.0, 1.0 / self._radius, 1.0 / self._outer)
        return Met(share, kind, along, upright, along, upright, normal, across, down, depth, bend)


def _on(grid: PixelGrid, values: F32) -> Lookup:
    half = 0.5 * grid.pixel_mm
    return Lookup(np.ascontiguousarray(values), grid.pixel_mm, grid.left_mm + half, grid.top_mm + half)


def _unit(vector: F32) -> F32:
    return np.asarray(vector / np.maximum(np.sqrt((vector * vector).sum(axis=0)), np.float32(1e-9)), dtype=np.float32)


def _laid_on(direction: F32, normal: F32) -> F32:
    """Directions (3, P) laid onto surfaces of unit normals (3, P)."""
    return _unit(direction - normal * (direction * normal).sum(axis=0))
