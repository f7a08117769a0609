"""Random fields fixed to the millimetre: the same value at the same place, whatever the panel or the lattice.

Everything random comes from an integer hash of a cell's own coordinates, never from a generator that is drawn
in order: so a larger panel, another lattice step or another number of threads finds the same surface.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem
from layerpreview.threads import thread_pool

F32: TypeAlias = NDArray[np.float32]

BLOCK_ROWS = 48
"""Rows worked on at a time: fixed, so that the threads never change a result; small enough for the cache."""

BLOCK_POINTS = 400_000
"""Fewer rows at a time where a row is longer than on any usual face: each thread has some forty arrays of a block."""

MOST_CELLS = 20_000_000
"""Irregular cells of one face, each with some ten numbers: a gigabyte."""

MARGIN_CELLS = 6
"""Cells kept around the panel, for the neighbours of border cells and for points a warp pushes outside."""


def hashed(ix: NDArray[np.uint32], iy: NDArray[np.uint32], *, seed: int, salt: int) -> F32:
    """Random numbers, uniform in [0, 1), of the integer cells (ix, iy); arrays broadcast.

    Only 32-bit wrapping integer arithmetic, so every platform gives the same bits.
    """
    key = (seed * 0x9E3779B1 + salt * 0x85EBCA77) & 0xFFFFFFFF
    h = ix * np.uint32(0xC2B2AE3D)
    h = h + np.uint32(key) + iy * np.uint32(0x27D4EB2F)
    for shift, factor in ((15, 0x2C1B3C6D), (12, 0x297A2D39)):
        h ^= h >> np.uint32(shift)
        h *= np.uint32(factor)
    h ^= h >> np.uint32(15)
    # 24 bits are what a float32 holds exactly
    unit: F32 = (h >> np.uint32(8)).astype(np.float32) * np.float32(2.0**-24)
    return unit


def _as_hash_index(index: NDArray[np.int64]) -> NDArray[np.uint32]:
    return (index & 0xFFFFFFFF).astype(np.uint32)


def cell_table(nx: int, ny: int, *, seed: int, salt: int) -> F32:
    """Random table (ny, nx) in [0, 1) for the cells from -MARGIN_CELLS on."""
    ix = _as_hash_index(np.arange(nx, dtype=np.int64) - MARGIN_CELLS)
    iy = _as_hash_index(np.arange(ny, dtype=np.int64) - MARGIN_CELLS)
    return hashed(ix[None, :], iy[:, None], seed=seed, salt=salt)


@dataclass(frozen=True)
class Lattice:
    """The points of a picture: the middles of its step_mm squares, from the top left corner."""

    rows: int
    cols: int
    step_mm: float

    @staticmethod
    def covering(width_mm: float, height_mm: float, step_mm: float) -> Lattice:
        """The smallest lattice that covers width_mm x height_mm."""
        # a whisker less than the exact quotient, so that 300 mm / 0.1 mm is 3000 and not 3001
        return Lattice(int(np.ceil(height_mm / step_mm - 1e-6)), int(np.ceil(width_mm / step_mm - 1e-6)), step_mm)

    def x_mm(self) -> NDArray[np.float64]:
        """Column middles [mm]."""
        return (np.arange(self.cols, dtype=np.float64) + 0.5) * self.step_mm

    def y_mm(self) -> NDArray[np.float64]:
        """Row middles [mm]."""
        return (np.arange(self.rows, dtype=np.float64) + 0.5) * self.step_mm

    def each_block(self, work: Callable[[slice], None]) -> None:
        """Call `work` for every block of rows, on several threads (numpy lets go of the interpreter lock)."""
        high = max(1, min(BLOCK_ROWS, BLOCK_POINTS // max(1, self.cols)))
        blocks = [slice(top, min(top + high, self.rows)) for top in range(0, self.rows, high)]
        with thread_pool() as pool:
            list(pool.map(work, blocks))


def _spline(t: NDArray[np.float64], order: int) -> list[F32]:
    """The four weights of a uniform cubic B-spline at t in [0, 1), or (order 1) their slopes."""
    if order:
        weights = (-((1 - t) ** 2) / 2, (3 * t * t - 4 * t) / 2, (-3 * t * t + 2 * t + 1) / 2, t * t / 2)
    else:
        weights = (
            (1 - t) ** 3 / 6,
            (3 * t**3 - 6 * t * t + 4) / 6,
            (-3 * t**3 + 3 * t * t + 3 * t + 1) / 6,
            t**3 / 6,
        )
    return [w.astype(np.float32) for w in weights]


def _used(cells: NDArray[np.intp]) -> tuple[NDArray[np.uint32], NDArray[np.intp]]:
    """The knots that points in these cells ask for, four for each, and where in them each point's first one is."""
    used = np.unique(cells[:, None] + np.arange(-1, 3))
    return _as_hash_index(used.astype(np.int64)), np.searchsorted(used, cells - 1)


class Noise:
    """Smooth random heights, about -1..1 (standard deviation 0.28), with features of `cell_mm`.

    Cubic B-splines over hashed knots. A lattice is a product of rows and columns, so the columns are done once
    for the whole panel and a block of rows costs four multiply-adds a point.
    """

    def __init__(self, lattice: Lattice, *, cell_mm: float | tuple[float, float], seed: int, salt: int) -> None:
        self._cell_x, self._cell_y = cell_mm if isinstance(cell_mm, tuple) else (cell_mm, cell_mm)
        x, y = lattice.x_mm() / self._cell_x, lattice.y_mm() / self._cell_y
        ix, iy = np.floor(x).astype(np.intp), np.floor(y).astype(np.intp)
        # Only the knots that some point asks for: of knots far closer than the points most are never seen.
        used_x, self._first_x = _used(ix)
        used_y, self._first_y = _used(iy)
        self._columns = np.empty((2, len(used_y), lattice.cols), dtype=np.float32)
        weights = [_spline(x - ix, order) for order in (0, 1)]
        for top in range(0, len(used_y), BLOCK_ROWS):
            rows = slice(top, top + BLOCK_ROWS)
            knots = hashed(used_x[None, :], used_y[rows, None], seed=seed, salt=salt)
            knots = knots * np.float32(2) - np.float32(1)
            for order in (0, 1):
                self._columns[order, rows] = self._along_x(knots, weights[order])
        self._weights_y = [_spline(y - iy, order) for order in (0, 1)]

    def _along_x(self, knots: F32, weights: list[F32]) -> F32:
        total: F32 = knots[:, self._first_x] * weights[0]
        for k in (1, 2, 3):
            total += knots[:, self._first_x + k] * weights[k]
        return total

    def _along_y(self, rows: slice, order_x: int, order_y: int) -> F32:
        first = self._first_y[rows]
        columns, weights = self._columns[order_x], self._weights_y[order_y]
        total: F32 = columns[first] * weights[0][rows, None]
        for k in (1, 2, 3):
            total += columns[first + k] * weights[k][rows, None]
        return total

    def height(self, rows: slice) -> F32:
        """The heights of a block of rows."""
        return self._along_y(rows, 0, 0)

    def slopes(self, rows: slice, *, height_mm: float) -> tuple[F32, F32]:
        """The slopes (x, y) of a block of rows when the height of 1 stands for `height_mm`."""
        sx, sy = self._along_y(rows, 1, 0), self._along_y(rows, 0, 1)
        sx *= np.float32(height_mm / self._cell_x)
        sy *= np.float32(height_mm / self._cell_y)
        return sx, sy


class Cells:
    """Irregular cells: every point belongs to the nearest of hashed centres, one centre a square of `cell_mm`."""

    def __init__(self, lattice: Lattice, *, cell_mm: float, seed: int, salt: int, jitter: float = 0.8) -> None:
        nx = int(lattice.cols * lattice.step_mm / cell_mm) + 2 * MARGIN_CELLS + 1
        ny = int(lattice.rows * lattice.step_mm / cell_mm) + 2 * MARGIN_CELLS + 1
        self.cell_mm, self._nx, self._ny, self._seed, self._salt = cell_mm, nx, ny, seed, salt
        if nx * ny > MOST_CELLS:
            count = f"{nx * ny / 1e6:,.0f} million cells of {cell_mm:.3g} mm"
            rule = f"a face is too large for its texture: {count}, the limit is {MOST_CELLS / 1e6:,.0f} million"
            raise InputError(Problem(rule, "check its size, choose a larger cell, or tell it as several faces"))
        inset = np.float32((1 - jitter) / 2)
        column, row = np.arange(nx, dtype=np.float32), np.arange(ny, dtype=np.float32)[:, None]
        self._x = ((self.table(0) * np.float32(jitter) + inset).reshape(ny, nx) + column).ravel()
        self._y = ((self.table(1) * np.float32(jitter) + inset).reshape(ny, nx) + row).ravel()
        self._shift = np.array([r * nx + c for r in range(3) for c in range(3)], dtype=np.intp)

    def table(self, number: int) -> F32:
        """Random property of the cells, uniform in [0, 1), flat; numbers 0 and 1 are the centres' own."""
        return cell_table(self._nx, self._ny, seed=self._seed, salt=self._salt * 64 + number).ravel()

    def nearest(self, x_mm: F32, y_mm: F32, *, count: int) -> list[Near]:
        """The `count` nearest cells of every point, nearest first."""
        scale, margin = np.float32(1 / self.cell_mm), np.float32(MARGIN_CELLS)
        x, y = x_mm * scale + margin, y_mm * scale + margin
        column = np.clip(x.astype(np.int32), 1, self._nx - 2)
        row = np.clip(y.astype(np.int32), 1, self._ny - 2)
        corner = ((row - 1) * np.int32(self._nx) + (column - 1)).astype(np.intp)
        # The squared distance as bits sorts like the number itself; its last four bits carry which neighbour it
        # is. Keeping the nearest few is then nothing but integer minima and maxima.
        best = [np.full(x.shape, 0xFFFFFFFF, dtype=np.uint32) for _ in range(count)]
        dx, dy = np.empty_like(x), np.empty_like(x)
        for which, shift in enumerate(self._shift):
            np.take(self._x[shift:], corner, out=dx, mode="clip")
            np.take(self._y[shift:], corner, out=dy, mode="clip")
            dx -= x
            dy -= y
            dx *= dx
            dy *= dy
            dx += dy
            code = dx.view(np.uint32)
            code &= np.uint32(0xFFFFFFF0)
            code |= np.uint32(which)
            for rank in range(count - 1):
                beaten = np.maximum(best[rank], code)
                np.minimum(best[rank], code, out=best[rank])
                code = beaten
            np.minimum(best[-1], code, out=best[-1])
        near = []
        for code in best:
            index = corner + self._shift.take(code & np.uint32(15))
            near.append(Near(index, x - self._x.take(index), y - self._y.take(index)))
        return near


@dataclass(frozen=True)
class Near:
    """One of the nearest cells: its index into the cells' tables, and where the point lies from its centre."""

    index: NDArray[np.intp]
    x: F32
    """From the centre, in cells, to the right."""
    y: F32
    """From the centre, in cells, down."""


class Mosaic:
    """One random number in [0, 1) for each little square of `cell_mm`, the squares lying askew.

    Askew, so that squares about as large as a picture's pixels do not beat with them.
    """

    def __init__(self, lattice: Lattice, *, cell_mm: float, seed: int, salt: int) -> None:
        self._seed, self._salt = seed, salt
        x, y = lattice.x_mm() / cell_mm, lattice.y_mm()[:, None] / cell_mm
        turn = 0.55
        self._along = [(k * x).astype(np.float32) for k in (np.cos(turn), -np.sin(turn))]
        self._down = [(k * y).astype(np.float32) for k in (np.sin(turn), np.cos(turn))]

    def __call__(self, rows: slice) -> F32:
        """The numbers of a block of rows."""
        across, down = (
            np.floor(along + down[rows]).astype(np.int32).view(np.uint32)
            for along, down in zip(self._along, self._down, strict=True)
        )
        return hashed(across, down, seed=self._seed, salt=self._salt)
