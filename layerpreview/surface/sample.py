"""Resampling of a lattice or a picture to the rows of another picture, in true millimetres, strip by strip.

Every output row depends on nothing but its own taps, so a picture is bit for bit the same however it is cut in strips.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Kind = Literal["smooth", "linear"]

_CACHED = 32_768  # numbers of one array that a pass works on at a time


@dataclass(frozen=True)
class PixelGrid:
    """Where the pixels of a picture lie on a face: pixel (row i, column j) is centred at
    x = left_mm + (j + 0.5) pixel_mm, y = top_mm + (i + 0.5) pixel_mm [mm]."""

    pixel_mm: float
    n_rows: int
    n_cols: int
    left_mm: float = 0.0
    top_mm: float = 0.0

    def x_mm(self) -> NDArray[np.float64]:
        """Centres of the columns (n_cols,) [mm]."""
        return self.left_mm + (np.arange(self.n_cols, dtype=np.float64) + 0.5) * self.pixel_mm

    def y_mm(self, y0: int = 0, y1: int | None = None) -> NDArray[np.float64]:
        """Centres of rows y0 to y1 (y1 - y0,) [mm]."""
        rows = np.arange(y0, self.n_rows if y1 is None else y1, dtype=np.float64)
        return self.top_mm + (rows + 0.5) * self.pixel_mm


@dataclass(frozen=True, eq=False)
class Taps:
    """Which input samples make each output sample: `indices` int32 and `weights` float32, both (n_out, k).

    Weights of a row sum to one.
    """

    indices: NDArray[np.int32]
    weights: NDArray[np.float32]

    def __len__(self) -> int:
        return len(self.indices)


def make_taps(
    n_in: int, n_out: int, *, scale: float, start: float = 0.0, kind: Kind = "smooth", mirror: bool = False
) -> Taps:
    """Return the taps for `n_out` output samples from `n_in` input samples along one axis.

    scale : input samples per output sample, > 0 (below 1 enlarges, above 1 reduces).
    start : where the outer edge of output sample 0 lies, in input samples from the outer edge of input sample 0.
    kind : "smooth" enlarges by Catmull-Rom, "linear" by straight lines; both reduce by a triangle of
        half-width `scale`.
    mirror : beyond the ends the input is repeated mirrored; else its end samples are repeated.
    Raises ValueError for a scale that is not a positive number or an empty axis.
    """
    if not (math.isfinite(scale) and scale > 0 and math.isfinite(start)) or n_in < 1 or n_out < 0:
        raise ValueError(f"cannot resample {n_in} samples to {n_out} at scale {scale} from {start}")
    centre = start + (np.arange(n_out) + 0.5) * scale - 0.5  # in input sample numbers
    if scale == 1 and float(start).is_integer():
        return Taps(_fold(np.rint(centre)[:, None], n_in, mirror), np.ones((n_out, 1), np.float32))
    cubic = kind == "smooth" and scale < 1
    reach = 2.0 if cubic else max(1.0, scale)
    index = np.floor(centre - reach)[:, None] + 1 + np.arange(math.ceil(2 * reach))
    away = index - centre[:, None]
    weights = _catmull_rom(np.abs(away)) if cubic else np.maximum(0.0, 1 - np.abs(away) / reach)
    weights = _balanced(weights, away)
    return Taps(_fold(index, n_in, mirror), weights.astype(np.float32))


def mm_taps(
    n_in: int,
    n_out: int,
    *,
    in_pitch_mm: float,
    out_pitch_mm: float,
    offset_mm: float = 0.0,
    kind: Kind = "smooth",
    mirror: bool = False,
) -> Taps:
    """Return `make_taps` told in millimetres.

    `in_pitch_mm` and `out_pitch_mm` are the sample sizes [mm], `offset_mm` is where the outer edge of output sample 0
    lies from the outer edge of input sample 0 [mm].
    """
    return make_taps(
        n_in, n_out, scale=out_pitch_mm / in_pitch_mm, start=offset_mm / in_pitch_mm, kind=kind, mirror=mirror
    )


class Sampler:
    """A picture seen through row and column taps: `rows(y0, y1)` gives any strip of it."""

    def __init__(
        self,
        lattice: NDArray[Any],
        row_taps: Taps,
        col_taps: Taps,
        *,
        lookup: NDArray[np.float32] | None = None,
    ) -> None:
        """Keep `lattice` (h, w) or (h, w, c), not copied.

        lookup : float32 table applied to the lattice's whole numbers before filtering, for example sRGB to linear light
            (256 entries for uint8). Without it the lattice is taken as numbers.
        """
        self.lattice = lattice
        self.row_taps = row_taps
        self.lookup = lookup
        self.n_cols = len(col_taps)
        self.channels = lattice.shape[2] if lattice.ndim == 3 else 1
        channel = np.arange(self.channels)
        columns = col_taps.indices.T[:, :, None] * self.channels + channel  # (k, n_cols, c)
        self._columns = columns.reshape(len(columns), -1).astype(np.intp)
        self._col_weights = np.repeat(col_taps.weights.T, self.channels, axis=1)
        untouched = self._columns.shape == (1, lattice.shape[1] * self.channels)
        self._columns_as_they_are = untouched and bool((np.diff(self._columns[0]) == 1).all())
        taken = np.ptp(row_taps.indices) + 1 if len(row_taps) else 0
        self._enlarges = bool(taken < len(row_taps))

    def rows(self, y0: int, y1: int) -> NDArray[np.float32]:
        """Return rows y0 to y1 as float32 (y1 - y0, n_cols) or (y1 - y0, n_cols, c).

        The memory used is set by the strip. Raises IndexError for rows outside the picture.
        """
        if not 0 <= y0 <= y1 <= len(self.row_taps):
            raise IndexError(f"rows {y0} to {y1} of a picture of {len(self.row_taps)}")
        source, place = self._source(self.row_taps.indices[y0:y1])
        weights = self.row_taps.weights[y0:y1]
        # The cheap order passes on the fewer rows: which one that is depends on the picture, never on the strip.
        if self._enlarges:
            wide = self._vertical(self._horizontal(source), place, weights)
        else:
            wide = self._horizontal(self._vertical(source, place, weights))
        return wide if self.lattice.ndim == 2 else wide.reshape(y1 - y0, self.n_cols, self.channels)

    def _source(self, indices: NDArray[np.int32]) -> tuple[NDArray[np.float32], NDArray[np.intp]]:
        """The lattice's rows that are needed, as numbers, and where each tap finds its own among them."""
        needed, place = np.unique(indices, return_inverse=True)
        first, last = (int(needed[0]), int(needed[-1]) + 1) if len(needed) else (0, 0)
        whole = len(needed) == last - first
        source = self._numbers(self.lattice[first:last] if whole else self.lattice[needed])
        return source, place.reshape(indices.shape)

    def _vertical(
        self, source: NDArray[np.float32], place: NDArray[np.intp], weights: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        if weights.shape[1] == 1:  # one tap, and its weight is 1
            return source[place[:, 0]]
        out = np.empty((len(place), source.shape[1]), np.float32)
        for some in _cut(len(out), source.shape[1]):
            np.multiply(source[place[some, 0]], weights[some, :1], out=out[some])
            for k in range(1, weights.shape[1]):
                part = source[place[some, k]]
                part *= weights[some, k : k + 1]
                out[some] += part
        return out

    def _horizontal(self, tall: NDArray[np.float32]) -> NDArray[np.float32]:
        if self._columns_as_they_are:
            return tall
        out = np.empty((len(tall), self._columns.shape[1]), np.float32)
        for some in _cut(len(out), max(tall.shape[1], out.shape[1])):
            np.multiply(np.take(tall[some], self._columns[0], axis=1, mode="clip"), self._col_weights[0], out=out[some])
            for columns, weights in zip(self._columns[1:], self._col_weights[1:], strict=True):
                part = np.take(tall[some], columns, axis=1, mode="clip")
                part *= weights
                out[some] += part
        return out

    def _numbers(self, part: NDArray[Any]) -> NDArray[np.float32]:
        flat = part.reshape(len(part), self.lattice.shape[1] * self.channels)
        if self.lookup is not None:
            return np.take(self.lookup, flat, mode="clip")
        return np.asarray(flat, dtype=np.float32)


def _cut(rows: int, width: int) -> Iterator[slice]:
    """Rows in groups that stay in the cache."""
    step = max(1, _CACHED // max(width, 1))
    return (slice(first, first + step) for first in range(0, rows, step))


def _fold(index: NDArray[np.float64], n_in: int, mirror: bool) -> NDArray[np.int32]:
    if mirror:
        index = np.mod(index, 2 * n_in)
        index = np.minimum(index, 2 * n_in - 1 - index)
    return np.clip(index, 0, n_in - 1).astype(np.int32)


def _balanced(weights: NDArray[np.float64], away: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights that sum to one and leave a straight ramp where it is.

    A triangle sampled at a width that is no whole number pulls to one side by up to a sixteenth of a sample: tilting it
    by w (1 + b away) takes that out.
    """
    first = (weights * away).sum(axis=1, keepdims=True)
    second = (weights * away**2).sum(axis=1, keepdims=True)
    tilted = weights * (1.0 - away * first / np.maximum(second, 1e-12))
    balanced: NDArray[np.float64] = tilted / tilted.sum(axis=1, keepdims=True)
    return balanced


def _catmull_rom(away: NDArray[np.float64]) -> NDArray[np.float64]:
    """The cubic through four neighbours with a = -0.5: R. Keys, IEEE Trans. ASSP 29 (1981) 1153, eq. 15."""
    near = (1.5 * away - 2.5) * away**2 + 1
    far = ((-0.5 * away + 2.5) * away - 4) * away + 2
    return np.where(away < 1, near, np.where(away < 2, far, 0.0))
