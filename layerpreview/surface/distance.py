"""Signed distance to the edges of a face, exact on a coarse lattice and interpolated for rows of pixels.

The distance to a line is smooth nearly everywhere, so a lattice of a few pixels and a cubic between its nodes is far
closer than a pixel. Where it is not smooth (corners) the cells along the edge are found and computed exactly.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, cast

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem
from layerpreview.kept import kept_arrays
from layerpreview.surface.outline import Outline
from layerpreview.surface.sample import PixelGrid, Sampler, Taps, mm_taps

Floats = NDArray[np.float64]
_Found = tuple[NDArray[np.float32], NDArray[np.int32], NDArray[np.int32], NDArray[np.float32]]

_LATTICE_PX = 4  # lattice step in pixels, where the limits below allow
_LATTICE_MM = 1.0  # and no coarser than this, unless pixels or the face are huge
_LATTICE_MIN_PX = 2
_LATTICE_NODES = 400_000  # no more nodes than about this
_MARGIN = 3  # nodes beyond the picture on each side
_EXACT_PX = 0.03  # cells at the edge whose middle is interpolated worse than this are computed exactly
_SIMPLIFY_PX = 0.02  # how far a line may be moved to spare segments
_BLOCK = 12  # points per side of a block that shares its list of near segments


class _Edges:
    """Segments and the region they bound, whose inside is positive."""

    def __init__(self, rings: list[Floats], region: shapely.Geometry) -> None:
        start = np.concatenate(rings)
        along = np.concatenate([np.roll(ring, -1, axis=0) - ring for ring in rings])
        per_length2 = along / np.maximum((along * along).sum(axis=1, keepdims=True), 1e-30)
        self._segments = np.ascontiguousarray(np.concatenate((start, along, per_length2), axis=1).T)  # (6, n)
        self._region = region
        shapely.prepare(region)

    def squared(self, x: Floats, y: Floats, chosen: NDArray[np.intp] | slice = slice(None)) -> Floats:
        """Squared distance [mm2] of points x, y (they broadcast) to the chosen segments: (n, ...).

        Segments come first: the nearest of a few is found several times as fast along the first axis.
        """
        segments = self._segments[:, chosen]
        ax, ay, dx, dy, sx, sy = segments.reshape(*segments.shape, *[1] * max(x.ndim, y.ndim))
        ux = x - ax
        uy = y - ay
        s = ux * sx + uy * sy
        np.maximum(s, 0.0, out=s)
        np.minimum(s, 1.0, out=s)
        across: Floats = ux - s * dx
        across *= across
        s *= dy
        s -= uy
        s *= s
        across += s
        return across

    def signed(self, distance: Floats, x: Floats, y: Floats) -> Floats:
        """Give the distances (at points of the same shape) their sign."""
        inside: NDArray[np.bool_] = shapely.contains_xy(self._region, x.ravel(), y.ravel()).reshape(distance.shape)
        signed: Floats = np.where(inside, distance, -distance)
        return signed


class DistanceField:
    """Signed distance [mm] to chosen edges of a face for the pixels of a grid; see `distance_field`."""

    def __init__(self, grid: PixelGrid, found: _Found) -> None:
        self.grid = grid
        nodes, self._exact_rows, self._exact_cols, self._exact = found
        lattice = _Lattice(grid)
        rows, cols = lattice.taps(nodes.shape[0], grid.n_rows), lattice.taps(nodes.shape[1], grid.n_cols)
        self._sampler = Sampler(nodes, rows, cols)

    def rows(self, y0: int, y1: int) -> NDArray[np.float32]:
        """Return the signed distance [mm] of pixel rows y0 to y1, float32 (y1 - y0, n_cols); the same in any strips."""
        out = self._sampler.rows(y0, y1)
        part = slice(*np.searchsorted(self._exact_rows, (y0, y1)))
        out[self._exact_rows[part] - y0, self._exact_cols[part]] = self._exact[part]
        return out


class _Lattice:
    """Nodes over a grid: node k lies at (k - _MARGIN) step from the picture's corner, in the middle of its own sample
    of size `step`."""

    def __init__(self, grid: PixelGrid) -> None:
        high_mm, wide_mm = grid.n_rows * grid.pixel_mm, grid.n_cols * grid.pixel_mm
        step = max(min(_LATTICE_PX * grid.pixel_mm, _LATTICE_MM), _LATTICE_MIN_PX * grid.pixel_mm)
        self.grid, self.step = grid, max(step, math.sqrt(high_mm * wide_mm / _LATTICE_NODES))
        self.x = grid.left_mm + self.step * (_numbers(wide_mm / self.step))
        self.y = grid.top_mm + self.step * (_numbers(high_mm / self.step))

    def taps(self, n_in: int, n_out: int) -> Taps:
        """From the nodes to pixels, down or across."""
        offset = (_MARGIN + 0.5) * self.step
        return mm_taps(n_in, n_out, in_pitch_mm=self.step, out_pitch_mm=self.grid.pixel_mm, offset_mm=offset)


class _Solver:
    """Finds what a field is told by: its nodes, and the pixels that they tell wrongly."""

    def __init__(self, edges: _Edges, grid: PixelGrid) -> None:
        lattice = _Lattice(grid)
        self.grid, self._edges, self._step, self._x, self._y = grid, edges, lattice.step, lattice.x, lattice.y

    def found(self) -> _Found:
        """Distances at the nodes; row (in order), column and distance of every pixel that is computed exactly."""
        x, y = np.meshgrid(self._x, self._y)
        nodes = self._edges.signed(_nearest(self._edges, self._x, self._y), x, y)
        rows, cols, exact = self._exact_pixels(nodes)
        return nodes.astype(np.float32), rows.astype(np.int32), cols.astype(np.int32), exact

    def _bad_cells(self, n: Floats) -> Iterator[tuple[int, int, NDArray[np.intp]]]:
        """Cells near the edge that the cubic of the nodes `n` gets wrong in their middle, each with the segments that
        can be nearest."""
        across = 0.5625 * (n[:, 1:-2] + n[:, 2:-1]) - 0.0625 * (n[:, :-3] + n[:, 3:])
        middle = 0.5625 * (across[1:-2] + across[2:-1]) - 0.0625 * (across[:-3] + across[3:])
        rows, cols = np.nonzero(np.abs(middle) < 1.5 * self._step)
        if not len(rows):
            return
        x = self._x[cols + 1] + self._step / 2
        y = self._y[rows + 1] + self._step / 2
        for part, chosen, distance in _by_neighbourhood(self._edges, x, y, 16 * self._step):
            true = self._edges.signed(np.sqrt(distance.min(axis=0)), x[part], y[part])
            wrong = np.abs(true - middle[rows[part], cols[part]]) > _EXACT_PX * self.grid.pixel_mm
            reach = np.sqrt(distance[:, wrong])
            near = reach <= reach.min(axis=0) + 1.5 * self._step
            for k, keep in zip(part[wrong], near.T, strict=True):
                yield int(rows[k]) + 1, int(cols[k]) + 1, chosen[keep]

    def _exact_pixels(self, nodes: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float32]]:
        """Rows (in order), columns and exact distance [mm] of every pixel in a bad cell."""
        x, y = self.grid.x_mm(), self.grid.y_mm()
        first_col, first_row = np.searchsorted(x, self._x), np.searchsorted(y, self._y)
        rows, cols, found = [np.empty(0, np.intp)], [np.empty(0, np.intp)], [np.empty(0)]
        for row, col, chosen in self._bad_cells(nodes):
            high = np.arange(first_row[row], first_row[row + 1])
            wide = np.arange(first_col[col], first_col[col + 1])
            squared = self._edges.squared(x[wide][None, :], y[high][:, None], chosen).min(axis=0)
            rows.append(np.repeat(high, len(wide)))
            cols.append(np.tile(wide, len(high)))
            found.append(squared.ravel())
        all_rows, all_cols = np.concatenate(rows), np.concatenate(cols)
        exact = self._edges.signed(np.sqrt(np.concatenate(found)), x[all_cols], y[all_rows])
        order = np.argsort(all_rows, kind="stable")
        return all_rows[order], all_cols[order], exact[order].astype(np.float32)


def distance_field(outline: Outline, grid: PixelGrid, *, edges: str = "all", seam: bool = False) -> DistanceField:
    """Return the signed distance [mm] to chosen edges of `outline` for the pixels of `grid`.

    edges : "outline" (the outer edge), "openings" (every opening), the name of one opening, or "all". The distance is
        positive on the painted side of the chosen edges and negative on the other: inside the outer edge, outside the
        openings. Other edges do not count.
    seam : an unrolled tube (`outline.wraps`) is closed round: its left and right sides are no edge and an opening is
        also near across the seam. True makes the sides an edge, as the drawn shape needs.
    Raises InputError when no opening has that name, or there is none.
    """
    wraps = outline.wraps and not seam
    rings: list[Floats] = []
    region: Any = None
    if edges in ("outline", "all"):
        outer = outline.outer
        if wraps:  # sides so far away that only top and bottom are ever nearest
            far = outline.width_mm + 2 * outline.height_mm
            outer = np.array([[-far, 0.0], [far, 0.0], [far, outline.height_mm], [-far, outline.height_mm]])
        rings.append(outer)
        region = shapely.Polygon(outer)
    if edges != "outline":
        holes = [
            ring + np.array([shift, 0.0])
            for ring in rings_of(outline, edges)
            for shift in ((-outline.width_mm, 0.0, outline.width_mm) if wraps else (0.0,))
        ]
        rings.extend(holes)
        if holes:
            inside = shapely.union_all([shapely.Polygon(hole) for hole in holes])
            region = region or shapely.box(*_wide(inside.bounds, grid))
            region = region.difference(inside)
    return distance_field_of_rings(rings, region, grid)


def distance_field_of_rings(rings: Sequence[Floats], region: shapely.Geometry, grid: PixelGrid) -> DistanceField:
    """Return the signed distance [mm] to closed lines for the pixels of `grid`, positive inside `region`.

    rings : at least one polyline (n, 2) [mm] that does not repeat its first point; together the border of `region`.
    """
    return _field_of(tuple(np.asarray(ring, np.float64).tobytes() for ring in rings), shapely.to_wkb(region), grid)


@lru_cache(maxsize=48)  # a board asks for some forty, of a megabyte each
def _field_of(rings: tuple[bytes, ...], region: bytes, grid: PixelGrid) -> DistanceField:
    """As above, kept: faces, views and options of a job share their edges."""

    def found() -> _Found:
        lines = [np.frombuffer(ring).reshape(-1, 2) for ring in rings]
        slim = [_simplified(line, _SIMPLIFY_PX * grid.pixel_mm) for line in lines]
        return _Solver(_Edges(slim, shapely.from_wkb(region)), grid).found()

    return DistanceField(grid, cast(_Found, kept_arrays("distance", (*rings, region, repr(grid)), found)))


@dataclass(frozen=True)
class LineDistance:
    """Distance [mm] to a straight line, both sides alike, for the pixels of a grid; see `distance_field_of_line`."""

    grid: PixelGrid
    at_mm: tuple[float, float]
    angle_deg: float
    wrap_mm: float | None = None

    def rows(self, y0: int, y1: int) -> NDArray[np.float32]:
        """Return the distance [mm] of pixel rows y0 to y1, float32 (y1 - y0, n_cols)."""
        heading = math.radians(self.angle_deg)
        sx, sy = math.sin(heading), -math.cos(heading)
        x, y = self.grid.x_mm() - self.at_mm[0], self.grid.y_mm(y0, y1) - self.at_mm[1]
        if self.wrap_mm is None:
            across = np.subtract.outer(y * sx, x * sy)
            return np.abs(across, out=across).astype(np.float32)
        return self._round_the_tube(x, y, sx, sy, self.wrap_mm).astype(np.float32)

    def _round_the_tube(self, x: Floats, y: Floats, sx: float, sy: float, wrap_mm: float) -> Floats:
        """Nearest of the line as drawn on the sheet, once round and no more, and its neighbours across the seam."""
        if abs(sx) < 1e-9:
            across = np.abs(np.mod(x + wrap_mm / 2, wrap_mm) - wrap_mm / 2)
            return np.broadcast_to(across, (len(y), len(x)))
        first, last = sorted(((0.0 - self.at_mm[0]) / sx, (wrap_mm - self.at_mm[0]) / sx))
        found = np.full((len(y), len(x)), np.inf)
        for shift in (-wrap_mm, 0.0, wrap_mm):
            along = np.clip(np.add.outer(y * sy, (x - shift) * sx), first, last)
            away = np.hypot((x - shift) - along * sx, y[:, None] - along * sy)
            np.minimum(found, away, out=found)
        return found


@dataclass(frozen=True)
class PointDistance:
    """Distance [mm] from a point for the pixels of a grid; see `distance_field_of_point`."""

    grid: PixelGrid
    at_mm: tuple[float, float]
    wrap_mm: float | None = None

    def rows(self, y0: int, y1: int) -> NDArray[np.float32]:
        """Return the distance [mm] of pixel rows y0 to y1, float32 (y1 - y0, n_cols)."""
        x, y = self.grid.x_mm() - self.at_mm[0], self.grid.y_mm(y0, y1) - self.at_mm[1]
        if self.wrap_mm is not None:
            x = np.mod(x + self.wrap_mm / 2, self.wrap_mm) - self.wrap_mm / 2
        squared = np.add.outer((y * y).astype(np.float32), (x * x).astype(np.float32))
        return np.sqrt(squared, out=squared)


def distance_field_of_line(
    outline: Outline, grid: PixelGrid, *, at_mm: tuple[float, float], angle_deg: float
) -> LineDistance:
    """Return the distance [mm] to the straight line through `at_mm` (x, y) [mm], both sides alike.

    angle_deg : where the line heads, clockwise from the top of the picture [degrees]: 0 is upright, 90 level.
    On an unrolled tube the line runs once across the sheet and is also near across the seam.
    """
    return LineDistance(grid, at_mm, angle_deg, outline.width_mm if outline.wraps else None)


def distance_field_of_point(outline: Outline, grid: PixelGrid, *, at_mm: tuple[float, float]) -> PointDistance:
    """Return the distance [mm] from the point `at_mm` (x, y) [mm]; on an unrolled tube the shorter way round."""
    return PointDistance(grid, at_mm, outline.width_mm if outline.wraps else None)


def coverage(signed_distance_mm: NDArray[np.float32], pixel_mm: float) -> NDArray[np.float32]:
    """Return how much of each pixel lies on the positive side, 0..1, for edges without steps.

    A straight edge at distance d from the pixel's middle leaves about 0.5 + d / pixel_mm of it (exact for an edge along
    the pixel's sides, within 0.05 at 45 degrees).
    """
    share = signed_distance_mm * np.float32(1 / pixel_mm)
    share += np.float32(0.5)
    # Interpolated distances are off by a few thousandths of a pixel: that must not let the ground shine through.
    share[share > np.float32(0.99)] = 1.0
    share[share < np.float32(0.01)] = 0.0
    return np.clip(share, 0, 1, out=share)


def _numbers(steps: float) -> Floats:
    return np.arange(-_MARGIN, math.ceil(steps) + 1 + _MARGIN, dtype=np.float64)


def rings_of(outline: Outline, edges: str) -> list[Floats]:
    """Return the openings (n, 2) [mm] meant by "all", "openings" or a name; InputError when there is none."""
    if edges == "all":
        return list(outline.openings.values())
    if edges == "openings" and outline.openings:
        return list(outline.openings.values())
    if edges in outline.openings:
        return [outline.openings[edges]]
    names = ", ".join(repr(name) for name in outline.openings)
    raise InputError(
        Problem(
            field="edge",
            value=repr(edges),
            rule="this face has no such opening",
            remedy=f"use 'outline', 'openings' or one of {names}" if names else "use 'outline', or add an opening",
        )
    )


def _simplified(ring: Floats, tolerance_mm: float) -> Floats:
    slim = shapely.get_coordinates(shapely.LineString(np.concatenate((ring, ring[:1]))).simplify(tolerance_mm))[:-1]
    return slim if len(slim) >= 3 else ring


def _wide(bounds: tuple[float, float, float, float], grid: PixelGrid) -> tuple[float, float, float, float]:
    """A box round `bounds` and the whole grid with room to spare: the painted side of openings on their own."""
    far = 10 * (grid.n_rows + grid.n_cols) * grid.pixel_mm + 10 * max(map(abs, bounds))
    return grid.left_mm - far, grid.top_mm - far, grid.left_mm + far, grid.top_mm + far


def _nearest(edges: _Edges, x: Floats, y: Floats) -> Floats:
    """Exact distance [mm] of every node (y, x) to the nearest segment, (len(y), len(x)).

    Nodes go in blocks: a segment can be nearest to some node of a block only if it is no further from the block's
    middle than the nearest one plus the block's diameter.
    """
    out = np.empty((len(y), len(x)))
    rows = [slice(k, k + _BLOCK) for k in range(0, len(y), _BLOCK)]
    cols = [slice(k, k + _BLOCK) for k in range(0, len(x), _BLOCK)]
    mid_x = np.array([(x[c][0] + x[c][-1]) / 2 for c in cols])
    mid_y = np.array([(y[r][0] + y[r][-1]) / 2 for r in rows])
    gx, gy = (g.ravel() for g in np.meshgrid(mid_x, mid_y))
    diameter = math.hypot(x[min(_BLOCK, len(x)) - 1] - x[0], y[min(_BLOCK, len(y)) - 1] - y[0])
    for part, chosen, squared in _by_neighbourhood(edges, gx, gy, 8 * diameter):
        reach = np.sqrt(squared)
        near = reach <= reach.min(axis=0) + diameter
        for k, keep in zip(part, near.T, strict=True):
            r, c = rows[k // len(cols)], cols[k % len(cols)]
            out[r, c] = edges.squared(x[c][None, :], y[r][:, None], chosen[keep]).min(axis=0)
    return np.sqrt(out, out=out)


def _by_neighbourhood(
    edges: _Edges, x: Floats, y: Floats, size_mm: float
) -> Iterator[tuple[NDArray[np.intp], NDArray[np.intp], Floats]]:
    """Sort points (n,) into squares of `size_mm`; yield (numbers of the points, segments that can be near any of them,
    their squared distances)."""
    col = np.floor((x - x.min()) / size_mm).astype(np.intp)
    row = np.floor((y - y.min()) / size_mm).astype(np.intp)
    square = row * (int(col.max()) + 1) + col
    order = np.argsort(square, kind="stable")
    for part in np.split(order, np.flatnonzero(np.diff(square[order])) + 1):
        px, py = x[part], y[part]
        mid_x, mid_y = (px.min() + px.max()) / 2, (py.min() + py.max()) / 2
        radius = math.hypot(px.max() - mid_x, py.max() - mid_y)
        reach = np.sqrt(edges.squared(np.array(mid_x), np.array(mid_y)))
        chosen = np.flatnonzero(reach <= reach.min() + 2 * radius + 0.5 * size_mm)
        yield part, chosen, edges.squared(px, py, chosen)
