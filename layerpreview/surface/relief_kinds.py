"""The slopes of each kind of relief, a block of rows at a time.

A kind prepares its random tables once and then answers for any block of rows. All sizes are millimetres; slopes
are dz/dx with x to the right and dz/dy with y down. What each kind looks like was tried out by eye: the sizes,
tilts and the sparkle of `Kind` are choices, not measurements.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from layerpreview.surface.hashed_fields import F32, MARGIN_CELLS, Cells, Lattice, Near, Noise, hashed

Slopes: TypeAlias = tuple[F32, F32]
BlockOfSlopes: TypeAlias = Callable[[slice], Slopes]


@dataclass(frozen=True)
class Kind:
    """How one kind is made and sparkles."""

    prepare: Callable[[Lattice, float, int], BlockOfSlopes]
    """(lattice, cell_mm, seed) -> the slopes of any block of rows."""
    cell_mm: float
    """Usual size of its main feature."""
    flake_mm: float
    """Size of the places that sparkle together."""
    sparkle: float
    """Share of a lamp's light that comes as sparkle."""


TURN_COS, TURN_SIN = np.float32(np.cos(0.5)), np.float32(np.sin(0.5))
"""The cells' grid lies askew by half a radian: neighbours in a row of the grid are parted by borders across that row,
which would else show as level and upright cuts, the one direction that the eye knows from the picture's own edges."""


class _AskewCells(Cells):
    """Cells whose grid is turned about the panel's top left corner; asked and answering in the turned directions.

    Turned, a panel reaches above its own corner. The rows up there have numbers below 0, so that a wider panel has
    more of them and still finds the same cells; they come by the 256, so that it finds them to the last bit.
    """

    def __init__(self, lattice: Lattice, *, cell_mm: float, seed: int, salt: int, jitter: float = 0.8) -> None:
        above_mm = lattice.cols * lattice.step_mm * float(TURN_SIN)
        self._above = 256 * int(np.ceil(above_mm / (256 * cell_mm)))
        wide = lattice.cols * float(TURN_COS) + lattice.rows * float(TURN_SIN)
        high = lattice.rows * float(TURN_COS) + (self._above + 1) * cell_mm / lattice.step_mm
        turned = Lattice(int(np.ceil(high)), int(np.ceil(wide)), lattice.step_mm)
        super().__init__(turned, cell_mm=cell_mm, seed=seed, salt=salt, jitter=jitter)

    def table(self, number: int) -> F32:
        """As that of its kind, from the row `above` on."""
        column, row = np.arange(self._nx) - MARGIN_CELLS, np.arange(self._ny) - MARGIN_CELLS - self._above
        ix, iy = (index.astype(np.int32).view(np.uint32) for index in (column, row))
        return hashed(ix[None, :], iy[:, None], seed=self._seed, salt=self._salt * 64 + number).ravel()

    def nearest(self, x_mm: F32, y_mm: F32, *, count: int) -> list[Near]:
        """The `count` nearest cells of every point given in turned directions."""
        return super().nearest(x_mm, y_mm + np.float32(self._above * self.cell_mm), count=count)


def _turned(x: F32, y: F32, *, back: bool = False) -> Slopes:
    """Places or slopes in the picture's directions as the cells' grid sees them, or the other way round."""
    sine = -TURN_SIN if back else TURN_SIN
    along, down = TURN_COS * x, TURN_COS * y
    along += sine * y
    down -= sine * x
    return along, down


@dataclass(frozen=True)
class _Border:
    """The border between the nearest cell and one of the next nearest."""

    other: Near
    away_mm: F32
    """Distance of the point from the border."""
    x: F32
    y: F32
    """Unit vector from the own cell's centre to the other's."""


def _borders(near: list[Near], cell_mm: float) -> list[_Border]:
    first = near[0]
    own = first.x * first.x + first.y * first.y
    borders = []
    for other in near[1:]:
        x, y = first.x - other.x, first.y - other.y
        apart = np.sqrt(x * x + y * y)
        x /= apart
        y /= apart
        away = other.x * other.x + other.y * other.y
        away -= own
        away /= apart
        away *= np.float32(cell_mm / 2)
        borders.append(_Border(other, away, x, y))
    return borders


def _joined(near: list[Near], borders: list[_Border], plane: Callable[[Near], Slopes], blend_mm: float) -> Slopes:
    """Each cell's own slopes, running into its neighbours' over `blend_mm` about the border."""
    slope_x, slope_y = plane(near[0])
    total = np.ones_like(slope_x)
    for border in borders:
        weight = np.exp(border.away_mm * np.float32(-2 / blend_mm))
        other_x, other_y = plane(border.other)
        other_x *= weight
        other_y *= weight
        slope_x += other_x
        slope_y += other_y
        total += weight
    slope_x /= total
    slope_y /= total
    return slope_x, slope_y


def _random_tilts(cells: Cells, tilt: float, *, crowd: int = 0) -> Slopes:
    """One slope a cell: even over a disc of radius `tilt`, or crowded towards its middle."""
    turn = cells.table(2) * np.float32(2 * np.pi)
    size = np.sqrt(cells.table(3)) ** (1 + crowd) * np.float32(tilt)
    return size * np.cos(turn), size * np.sin(turn)


class _Facets:
    """Cells that are folded planes of random tilt, with thin raised ridges along their borders."""

    def __init__(
        self, cells: Cells, *, tilt: float, fold: float, ridge_slope: float, ridge_mm: float, neighbours: int
    ) -> None:
        self._cells, self._neighbours = cells, neighbours
        self._blend_mm, self._ridge_mm = cells.cell_mm / 10, np.float32(ridge_mm)
        self._tilt_x, self._tilt_y = _random_tilts(cells, tilt)
        # a fold runs across the cell in a direction of its own, somewhere near the middle
        turn = cells.table(4) * np.float32(2 * np.pi)
        self._fold_x, self._fold_y = np.cos(turn), np.sin(turn)
        self._fold_at = (cells.table(5) - np.float32(0.5)) * np.float32(0.6)
        self._fold = cells.table(6) * np.float32(fold)
        self._crease = cells.table(7)
        # the flank of exp(-u^2) is at most sqrt(2/e) steep, so that ridge_slope is the steepest there is
        self._ridge_slope = np.float32(ridge_slope * 2 / np.sqrt(2 / np.e))

    def _plane(self, near: Near) -> Slopes:
        fold_x, fold_y = self._fold_x.take(near.index), self._fold_y.take(near.index)
        across = fold_x * near.x
        across += fold_y * near.y
        across -= self._fold_at.take(near.index)
        across *= np.float32(self._cells.cell_mm / (0.35 * self._blend_mm))
        # from -1 to 1 over the fold: a soft sign, cheaper than tanh
        across /= np.sqrt(across * across + np.float32(1))
        across *= self._fold.take(near.index)
        fold_x *= across
        fold_y *= across
        fold_x += self._tilt_x.take(near.index)
        fold_y += self._tilt_y.take(near.index)
        return fold_x, fold_y

    def _ridges(self, first: Near, borders: list[_Border]) -> Slopes:
        own = self._crease.take(first.index)
        ridge_x, ridge_y = np.zeros_like(first.x), np.zeros_like(first.x)
        for border in borders:
            away = border.away_mm / self._ridge_mm
            # two cells with like numbers share no ridge: most borders are faint and a few stand out
            steep = np.abs(own - self._crease.take(border.other.index))
            steep *= away
            away *= -away
            steep *= np.exp(away, out=away)
            steep *= self._ridge_slope
            ridge_x += steep * border.x
            ridge_y += steep * border.y
        return ridge_x, ridge_y

    def slopes(self, x_mm: F32, y_mm: F32) -> tuple[Slopes, Slopes]:
        """The slopes of the planes and of the ridges at the given places."""
        near = self._cells.nearest(x_mm, y_mm, count=self._neighbours)
        borders = _borders(near, self._cells.cell_mm)
        return _joined(near, borders, self._plane, self._blend_mm), self._ridges(near[0], borders)


class _Warp:
    """Where each point of a block is looked up, askew: bent smoothly, so that no border is a ruled line."""

    def __init__(self, lattice: Lattice, *, cell_mm: float, reach_mm: float, seed: int) -> None:
        self._x = lattice.x_mm().astype(np.float32)
        self._y = lattice.y_mm().astype(np.float32)[:, None]
        self._reach = np.float32(reach_mm)
        self._noise_x = Noise(lattice, cell_mm=cell_mm, seed=seed, salt=1)
        self._noise_y = Noise(lattice, cell_mm=cell_mm, seed=seed, salt=2)

    def __call__(self, rows: slice) -> Slopes:
        x, y = self._noise_x.height(rows), self._noise_y.height(rows)
        x *= self._reach
        x += self._x
        y *= self._reach
        y += self._y[rows]
        return _turned(x, y)


def _added(slopes: Slopes, *more: Slopes) -> Slopes:
    for more_x, more_y in more:
        np.add(slopes[0], more_x, out=slopes[0])
        np.add(slopes[1], more_y, out=slopes[1])
    return slopes


def _lifted(lattice: Lattice, cell_mm: float, seed: int) -> BlockOfSlopes:
    """What paper or foil leaves when pressed into a wet metallic coat and lifted: crumpled facets and ridges."""
    warp = _Warp(lattice, cell_mm=cell_mm * 1.1, reach_mm=cell_mm * 0.7, seed=seed)
    large_cells = _AskewCells(lattice, cell_mm=cell_mm, seed=seed, salt=3)
    small_cells = _AskewCells(lattice, cell_mm=cell_mm * 4 / 11, seed=seed, salt=4)
    large = _Facets(large_cells, tilt=0.58, fold=0.45, ridge_slope=0.8, ridge_mm=0.4, neighbours=3)
    # a wrong third neighbour shows over a tenth of a cell: too little to see in a cell of 4 mm
    small = _Facets(small_cells, tilt=0.2, fold=0.2, ridge_slope=0.35, ridge_mm=0.3, neighbours=2)
    fine = Noise(lattice, cell_mm=1.0, seed=seed, salt=5)

    def block(rows: slice) -> Slopes:
        x, y = warp(rows)
        planes, ridges = large.slopes(x, y)
        # small facets end at the large creases: each large facet looks them up somewhere else
        x += np.float32(cell_mm * 0.7) * planes[0]
        y += np.float32(cell_mm * 0.7) * planes[1]
        return _added(
            _turned(*_added(planes, ridges, *small.slopes(x, y)), back=True), fine.slopes(rows, height_mm=0.05)
        )

    return block


def _fine_flake(lattice: Lattice, cell_mm: float, seed: int) -> BlockOfSlopes:
    """A smooth metallic coat: a trace of orange peel and the unrest of flakes too small to see singly."""
    peel = Noise(lattice, cell_mm=cell_mm, seed=seed, salt=1)
    lie = Noise(lattice, cell_mm=0.4, seed=seed, salt=2)

    def block(rows: slice) -> Slopes:
        return _added(peel.slopes(rows, height_mm=cell_mm * 0.06), lie.slopes(rows, height_mm=0.045))

    return block


def _coarse_flake(lattice: Lattice, cell_mm: float, seed: int) -> BlockOfSlopes:
    """Flakes that can be seen one by one: a bed of flakes of about `cell_mm`, and larger ones strewn on it."""
    bed = _AskewCells(lattice, cell_mm=cell_mm, seed=seed, salt=1)
    top = _AskewCells(lattice, cell_mm=cell_mm * 2, seed=seed, salt=3)
    bed_x, bed_y = _random_tilts(bed, 0.22, crowd=1)
    top_x, top_y = _random_tilts(top, 0.32)
    # from none to 0.9 mm across at the usual size; in cells of `top`
    radius = np.maximum(top.table(4) * np.float32(0.55) - np.float32(0.18), 0)
    soft = np.float32(0.5)
    peel = Noise(lattice, cell_mm=3.0, seed=seed, salt=2)
    x, y = lattice.x_mm().astype(np.float32), lattice.y_mm().astype(np.float32)[:, None]

    def lie(near: Near) -> Slopes:
        return bed_x.take(near.index), bed_y.take(near.index)

    def block(rows: slice) -> Slopes:
        place = _turned(*np.broadcast_arrays(x, y[rows]))
        near = bed.nearest(*place, count=2)
        # a flake's rim is seen through the clear between it and its neighbours: no hard edge
        below = _joined(near, _borders(near, cell_mm), lie, cell_mm * 0.35)
        (flake,) = top.nearest(*place, count=1)
        size = radius.take(flake.index)
        covered = (size - np.sqrt(flake.x * flake.x + flake.y * flake.y)) / (soft * size + np.float32(1e-6))
        np.clip(covered, 0, 1, out=covered)
        for part, tilt in zip(below, (top_x, top_y), strict=True):
            part += covered * (tilt.take(flake.index) - part)
        return _added(_turned(*below, back=True), peel.slopes(rows, height_mm=0.18))

    return block


def _brushed(lattice: Lattice, cell_mm: float, seed: int) -> BlockOfSlopes:
    """Fine scratches from left to right, about `cell_mm` long: steep across, level along."""
    sizes = ((cell_mm * 0.4, 0.26, 0.13), (cell_mm * 1.1, 0.45, 0.17), (cell_mm * 1.3, 2.3, 0.25))
    scratches = [
        (Noise(lattice, cell_mm=(length, across), seed=seed, salt=salt), height)
        for salt, (length, across, height) in enumerate(sizes)
    ]

    def block(rows: slice) -> Slopes:
        first, *more = [noise.slopes(rows, height_mm=height) for noise, height in scratches]
        return _added(first, *more)

    return block


def _hammered(lattice: Lattice, cell_mm: float, seed: int) -> BlockOfSlopes:
    """Round dimples side by side, each a hollow with its own depth, their rims rounded over."""
    cells = _AskewCells(lattice, cell_mm=cell_mm, seed=seed, salt=3, jitter=0.9)
    tilt_x, tilt_y = _random_tilts(cells, 0.12)
    depth = cells.table(4) * np.float32(0.6) + np.float32(0.75)
    warp = _Warp(lattice, cell_mm=cell_mm * 0.8, reach_mm=cell_mm * 0.15, seed=seed)
    fine = Noise(lattice, cell_mm=1.3, seed=seed, salt=5)

    def hollow(near: Near) -> Slopes:
        steep = depth.take(near.index)
        return steep * near.x + tilt_x.take(near.index), steep * near.y + tilt_y.take(near.index)

    def block(rows: slice) -> Slopes:
        near = cells.nearest(*warp(rows), count=3)
        dimples = _joined(near, _borders(near, cell_mm), hollow, cell_mm * 0.13)
        return _added(_turned(*dimples, back=True), fine.slopes(rows, height_mm=0.04))

    return block


KINDS: dict[str, Kind] = {
    "lifted": Kind(_lifted, cell_mm=11.0, flake_mm=0.3, sparkle=0.25),
    "fine flake": Kind(_fine_flake, cell_mm=2.6, flake_mm=0.3, sparkle=0.4),
    "coarse flake": Kind(_coarse_flake, cell_mm=0.6, flake_mm=0.75, sparkle=0.65),
    "brushed": Kind(_brushed, cell_mm=30.0, flake_mm=0.3, sparkle=0.12),
    "hammered": Kind(_hammered, cell_mm=8.0, flake_mm=0.3, sparkle=0.2),
}
