"""A plate: the shape of a face pulled through its thickness, its edges rounded, its front and back arched."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from layerpreview.kept import kept_arrays
from layerpreview.surface.belly import belly_grid, blown_up
from layerpreview.surface.body import ARRIVED_MM, BACK, BARE, FRONT, SIDE, Corner, Met, laid_on, unit
from layerpreview.surface.distance import distance_field
from layerpreview.surface.lookup import Lookup
from layerpreview.surface.outline import Outline
from layerpreview.surface.sample import PixelGrid, Sampler, mm_taps

F32 = NDArray[np.float32]

LEAST_RADIUS_MM = 0.4
OPENING_RADIUS_MM = 1.5
"""Edge of an opening (assumed)."""
_STEP_MM, _ACROSS, _MOST_POINTS = 0.8, 120, 400_000
"""Lattice of a plate: points so far apart, closer where it has fewer than so many across, but not more in all."""
_BEYOND_MM = 12.0
_TOLD_APART_MM = 0.2
_EVENED = 4  # a traced outline is made of short straight pieces: each would mirror the room by itself
_EDGE_STEP_MM, _NEAR_EDGE_MM = 0.5, 14.0
_THROUGH_MM = 1e4
_OUTER = 4
"""Of a plate's lattice, the distance inside its outer edge."""


@dataclass(frozen=True, eq=False)
class PlateLattices:
    """What a plate is told by, on one lattice: `near` (distance inside the nearest edge, belly 0..1, whether that edge
    is an opening's, how deep the opening goes, distance inside the outer edge), `slopes` of the first two along x and
    y, `turns` (cosine and sine of the way along the outer edge, whose length is `ring_mm`)."""

    near: Lookup
    slopes: Lookup
    turns: Lookup
    ring_mm: float


class Plate:
    """A face with a thickness: `outline` seen from the front, `depth_mm` through at the rim.

    `edge_mm`: radius of its edges; `front_belly_mm`, `back_belly_mm`: how much higher the middle stands than the rim;
    `pockets_mm`: how deep an opening goes, by name, a negative depth from the back; one that is not named goes through.
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
        self.edge_mm = max(min(edge_mm, 0.5 * depth_mm), LEAST_RADIUS_MM)
        self.bellies_mm = np.float32(front_belly_mm), np.float32(back_belly_mm)
        self.outline = outline
        wanted = min(_STEP_MM, min(self.width_mm, self.height_mm) / _ACROSS)
        step = max(wanted, math.sqrt((self.width_mm + 24.0) * (self.height_mm + 24.0) / _MOST_POINTS))
        grid = PixelGrid(
            step,
            math.ceil((self.height_mm + 2.0 * _BEYOND_MM) / step),
            math.ceil((self.width_mm + 2.0 * _BEYOND_MM) / step),
            -_BEYOND_MM,
            -_BEYOND_MM,
        )
        near, slopes = _plate_lattices(outline, grid, pockets_mm)
        self._near, self._slopes = _on(grid, near), _on(grid, slopes)
        steep = np.hypot(slopes[..., 2], slopes[..., 3])[near[..., _OUTER] > 0.0]
        self.steepest = float(steep.max(initial=0.0) * max(self.bellies_mm))
        self._around: Lookup | None = None
        self._grid = grid

    @property
    def box_mm(self) -> tuple[Corner, Corner]:
        """As `Body.box_mm`."""
        front, back = (float(belly) for belly in self.bellies_mm)
        return (0.0, 0.0, -self.depth_mm - back), (self.width_mm, self.height_mm, front)

    def away_mm(self, place: F32) -> F32:
        """As `Body.away_mm`."""
        inside, dome, opening, floor_mm = self._shape_at(place)
        wall, high, radius = self._parts(place, inside, dome, opening)
        corner = np.hypot(np.maximum(wall, 0.0), np.maximum(high, 0.0))
        plate = np.minimum(np.maximum(wall, high), 0.0) + corner - radius
        # In an opening there is its floor.
        above = np.abs(floor_mm) - self._sunk_mm(place, floor_mm)
        floor = np.where((opening > 0.5) & (inside < 0.0), above, np.float32(np.inf))
        return np.asarray(np.minimum(plate, floor), dtype=np.float32)

    def pace(self, towards: F32) -> float:
        """As `Body.pace`: an arch is told by how far a place lies above it, not off it."""
        sideways, upright = math.hypot(towards[0], towards[1]), abs(float(towards[2]))
        return math.hypot(sideways, upright + self.steepest * sideways)

    def _shape_at(self, place: F32) -> tuple[F32, F32, F32, F32]:
        """Distance inside the nearest edge, belly, whether that edge is an opening's, and how deep the opening goes
        (negative: from the back); beyond its floor there is no opening."""
        inside, dome, opening, floor_mm, outer = self._near.at(place[0], place[1]).T
        closed = self._sunk_mm(place, floor_mm) >= np.abs(floor_mm)
        return (
            np.where(closed, outer, inside),
            dome,
            np.where(closed, np.float32(0.0), opening),
            np.where(closed, np.float32(_THROUGH_MM), floor_mm),
        )

    def _sunk_mm(self, place: F32, floor_mm: F32) -> F32:
        """How far below the rim of the face that an opening starts from (P,)."""
        sunk = np.where(floor_mm > 0.0, -place[2], place[2] + np.float32(self.depth_mm))
        return np.asarray(sunk, dtype=np.float32)

    def _parts(self, place: F32, inside: F32, dome: F32, opening: F32) -> tuple[F32, F32, F32]:
        """How far out of the rounding's middle, sideways and up; and the rounding's radius."""
        least = np.float32(min(OPENING_RADIUS_MM, self.edge_mm))
        radius = np.where(opening > 0.5, least, np.float32(self.edge_mm))
        front, back = self.bellies_mm[0] * dome, -np.float32(self.depth_mm) - self.bellies_mm[1] * dome
        high = np.abs(place[2] - 0.5 * (front + back)) - 0.5 * (front - back) + radius
        return radius - inside, high, radius

    def met(self, place: F32, share: F32) -> Met:
        """As `Body.met`."""
        inside, dome, nearest, floor_mm = self._shape_at(place)
        slope_x, slope_y, dome_x, dome_y = self._slopes.at(place[0], place[1]).T
        wall, high, radius = self._parts(place, inside, dome, nearest)
        up = place[2] > -0.5 * self.depth_mm
        sideways, upright = np.maximum(wall, 0.0), np.maximum(high, 0.0)
        belly = np.where(up, self.bellies_mm[0], self.bellies_mm[1])
        sign = np.where(up, np.float32(1.0), np.float32(-1.0))
        normal = np.stack(
            [
                -sideways * slope_x - upright * belly * dome_x,
                -sideways * slope_y - upright * belly * dome_y,
                upright * sign,
            ]
        )
        # By the rounding alone: the steep slope of a high arch is no side.
        flat = upright >= sideways
        opening = nearest > 0.5
        sunk = self._sunk_mm(place, floor_mm)
        floor = opening & (inside < -ARRIVED_MM) & (sunk > np.abs(floor_mm) * np.float32(0.8))
        normal[:, np.abs(normal).max(axis=0) < 1e-6] = np.array([[0.0], [0.0], [1.0]], dtype=np.float32)
        normal[:, floor] = np.array([[0.0], [0.0], [1.0]], dtype=np.float32) * np.sign(floor_mm[floor])
        normal = unit(normal)
        flat |= floor
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
        across, down = laid_on(across, normal), laid_on(down, normal)
        bend = np.where(wall > 0.0, 1.0 / radius, np.float32(0.0))
        return Met(
            share, kind, x, y, place[0], place[1], normal, across, down, self._depth_mm(place, dome, floor_mm), bend
        )

    def _depth_mm(self, place: F32, dome: F32, floor_mm: F32) -> F32:
        """How far below the face that the light comes in through (P,): an arch's own height is no depth."""
        front = self.bellies_mm[0] * dome - place[2]
        back = place[2] + np.float32(self.depth_mm) + self.bellies_mm[1] * dome
        through = np.minimum(front, back)
        depth = np.where(floor_mm < 0.0, back, np.where(floor_mm < np.float32(_THROUGH_MM), front, through))
        return np.asarray(depth, dtype=np.float32)

    @property
    def lattices(self) -> PlateLattices:
        """The lattices that it is told by."""
        return PlateLattices(self._near, self._slopes, self._turns(), _ring_length_mm(self.outline))

    def _turns(self) -> Lookup:
        """Cosine and sine of the way along the outer edge, near it."""
        if self._around is None:
            reach_mm = max(_NEAR_EDGE_MM, self.edge_mm, 2.0 * self._grid.pixel_mm)
            near = np.abs(self._near.values[..., 0]) < reach_mm
            key = [repr((self._grid, reach_mm)), *_told(self.outline)]
            (turns,) = kept_arrays("turns", key, lambda: (_edge_lattice(self.outline, self._grid, near),))
            self._around = _on(self._grid, cast(F32, turns))
        return self._around

    def _along_mm(self, place: F32) -> F32:
        """How far along the outer edge the nearest point of it lies (P,) [mm]."""
        around = self._turns().at(place[0], place[1])
        turn = np.arctan2(around[:, 1], around[:, 0]) / np.float32(2.0 * np.pi)
        return np.asarray((turn - np.floor(turn)) * np.float32(_ring_length_mm(self.outline)), dtype=np.float32)


def _plate_lattices(outline: Outline, grid: PixelGrid, pockets_mm: dict[str, float]) -> tuple[F32, F32]:
    """Those of `_lattices_made`, of this run or an earlier one."""
    key = [repr((grid, list(pockets_mm.items()))), *_told(outline)]
    return cast(tuple[F32, F32], kept_arrays("plate", key, lambda: _lattices_made(outline, grid, pockets_mm)))


def _told(outline: Outline) -> Iterator[bytes | str]:
    """All that a plate takes from an outline."""
    yield repr((outline.width_mm, outline.height_mm, outline.wraps, list(outline.openings)))
    yield outline.outer.tobytes()
    for ring in outline.openings.values():
        yield ring.tobytes()


def _lattices_made(outline: Outline, grid: PixelGrid, pockets_mm: dict[str, float]) -> tuple[F32, F32]:
    """Distance inside the nearest edge, belly 0..1, whether that edge is an opening's, how deep the opening goes, and
    the distance inside the outer edge; and the slopes of the first two."""
    inside = distance_field(outline, grid, edges="all", seam=True).rows(0, grid.n_rows)
    outer = (
        distance_field(outline, grid, edges="outline", seam=True).rows(0, grid.n_rows) if outline.openings else inside
    )
    floor = np.full(inside.shape, _THROUGH_MM, dtype=np.float32)
    nearest = np.full(inside.shape, 4.0 * OPENING_RADIUS_MM, dtype=np.float32)
    for name, depth_mm in pockets_mm.items():
        away = distance_field(outline, grid, edges=name).rows(0, grid.n_rows)
        floor[away < nearest] = depth_mm
        np.minimum(nearest, away, out=nearest)
    slope_y, slope_x = _evened([np.asarray(np.gradient(inside, grid.pixel_mm, axis=axis)) for axis in (0, 1)])
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
    near = np.stack([inside, arched[..., 0], nearer, floor, outer], axis=-1).astype(np.float32)
    return near, np.stack([slope_x, slope_y, arched[..., 1], arched[..., 2]], axis=-1).astype(np.float32)


def _evened(slopes: Sequence[F32]) -> list[F32]:
    """Slopes (rows, cols) whose directions are means over some 1.4 places either way; as steep as before."""
    evened = []
    for slope in slopes:
        mean = slope
        for _ in range(_EVENED):
            for axis in (0, 1):
                before, after = np.roll(mean, 1, axis), np.roll(mean, -1, axis)
                mean = 0.25 * before + 0.5 * mean + 0.25 * after
        evened.append(mean)
    steepness = np.hypot(*slopes) / np.maximum(np.hypot(*evened), 1e-6)
    return [np.asarray(mean * steepness, dtype=np.float32) for mean in evened]


def _edge_lattice(outline: Outline, grid: PixelGrid, near: NDArray[np.bool_]) -> F32:
    """Cosine and sine of the way along the outer edge, as a turn, where the edge is `near` (rows, cols)."""
    from scipy.spatial import KDTree

    x, y = np.meshgrid(grid.x_mm(), grid.y_mm())
    ring = np.concatenate([outline.outer, outline.outer[:1]])
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    along = np.arange(0.0, way[-1], _EDGE_STEP_MM)
    marks = np.stack([np.interp(along, way, ring[:, i]) for i in (0, 1)], axis=-1)
    ahead = np.roll(marks, -1, axis=0) - np.roll(marks, 1, axis=0)
    ahead /= np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-9)
    places = np.stack([x[near], y[near]], axis=-1)
    _, mark = KDTree(marks).query(places)
    beyond = np.clip(((places - marks[mark]) * ahead[mark]).sum(axis=1), -_EDGE_STEP_MM, _EDGE_STEP_MM)
    turn = 2.0 * np.pi * (along[mark] + beyond) / way[-1]
    out = np.zeros((*near.shape, 2), dtype=np.float32)
    out[near] = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return out


def _ring_length_mm(outline: Outline) -> float:
    return float(np.hypot(*np.diff(np.concatenate([outline.outer, outline.outer[:1]]), axis=0).T).sum())


def _on(grid: PixelGrid, values: F32) -> Lookup:
    half = 0.5 * grid.pixel_mm
    return Lookup(np.ascontiguousarray(values), grid.pixel_mm, grid.left_mm + half, grid.top_mm + half)
