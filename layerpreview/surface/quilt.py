"""A texture carried on over what its photo does not hold, by pieces of the photo itself.

Image quilting after A. A. Efros and W. T. Freeman, Proc. SIGGRAPH 2001, 341 (doi 10.1145/383259.383296): each new piece
is chosen to agree with what lies there already and joined to it where the two differ least. Pieces grow outwards from
what is known, so that the same steps fill a spot and widen a photo; the seam is a watershed of how alike the two are in
place of a shortest path, since what is known may surround a piece on any side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

_COARSE, _MOST_CELLS = (
    24,
    512,
)  # pieces are first compared in coarse cells: so many a side of a piece, of a photo at most
_USED_BEFORE = 1.5  # how much worse a piece counts for each time that it was used: else one bright spot is everywhere
_USED_NEAR, _NEAR = (
    6.0,
    3.5,
)  # and within so many pieces of where it lies already, the photo itself counting: as much more
_NEARLY_BEST = 1.1  # one of the pieces within this of the best is taken, as in Efros and Leung
_LEAST_PX, _USUAL_LEAST_PX, _MOST_PIECES = 6, 64, 600
_RAGGED = 0.4
_OVERLAP = 0.2  # of a piece's width, on either side
_STEP = 1.0 - 2.0 * _OVERLAP
_ELSEWHERE = (-(10**9), -(10**9))  # where a photo lies that is no part of the picture: near nothing in it
_LENGTHS = 4.0  # a piece is this many times as wide as the texture hangs together


def quilted(
    pixels: NDArray[Any],
    known: NDArray[np.bool_],
    *,
    source: tuple[NDArray[Any], NDArray[np.bool_]] | None = None,
    seed: int = 7,
) -> NDArray[Any]:
    """Return a copy of `pixels` (h, w) or (h, w, c), whole numbers, with what is not `known` (h, w) made from the rest,
    or from the pixels of `source` that are known in it.

    Known pixels stay, but for a rim of less than half a piece along the border. The same seed gives the same bytes.
    Where too little is known for a single piece of 6 x 6 pixels the mean of what is known is taken; nothing known, or
    nothing to do, leaves the picture as it is.
    """
    out, known = pixels.copy(), known.copy()
    if known.all() or not known.any():
        return out
    photo = _Pieces.of(*(source or (pixels, known)), missing=int((~known).sum()), most_px=min(known.shape))
    if photo is not None and source is not None:
        photo.corner = _ELSEWHERE
    if photo is None:
        out[~known] = np.rint(pixels[known].mean(axis=0))
        return out
    rng, piece = np.random.default_rng(seed), photo.piece_px
    for y, x in _windows(known, piece):
        window = slice(y, y + piece), slice(x, x + piece)
        if not known[window].all():
            _join(out[window], known[window], photo.best(out[window], known[window], (y, x), rng), rng)
            known[window] = True
    return out


@dataclass(eq=False)
class _Pieces:
    """The pieces of a photo: `places` are the top left corners, in cells of `cell_px`, of those that are whole."""

    pixels: NDArray[Any]
    piece_px: int
    cell_px: int
    places: NDArray[np.bool_]
    spectra: tuple[NDArray[np.complex64], NDArray[np.complex64]]
    shape: tuple[int, int]
    middle: float
    used: NDArray[np.float32]
    corner: tuple[int, int]
    laid: list[tuple[int, int, int, int]]

    @staticmethod
    def of(pixels: NDArray[Any], known: NDArray[np.bool_], *, missing: int, most_px: int) -> _Pieces | None:
        rows, cols = np.flatnonzero(known.any(axis=1)), np.flatnonzero(known.any(axis=0))
        box = slice(int(rows[0]), int(rows[-1]) + 1), slice(int(cols[0]), int(cols[-1]) + 1)
        pixels, known = pixels[box], known[box]
        fine, long = _hangs_together_px(_guide(pixels), known)
        least_cell = math.ceil(max(known.shape) / _MOST_CELLS)
        # Fine textures could do with smaller pieces, but a face of many of them would take its time.
        least = max(_USUAL_LEAST_PX, math.sqrt(missing / _MOST_PIECES) / _STEP)
        most = min(*known.shape, 3 * most_px) // 3
        piece = int(np.clip(_LENGTHS * long, min(least, most), max(most, _LEAST_PX)))
        while piece >= _LEAST_PX:
            cell = max(1, least_cell, min(round(piece / _COARSE), int(fine / 3)))
            piece -= piece % cell
            if piece < _LEAST_PX:  # a cell of a long thin photo is larger than the pieces that it has room for
                return None
            places = _whole(known, piece)[::cell, ::cell]
            if places.any():
                break
            piece //= 2
        else:
            return None
        middle = float(_guide(pixels)[known].mean())
        cells = _in_cells(_guide(pixels) - np.float32(middle), cell)
        shape = fft.next_fast_len(cells.shape[0], real=True), fft.next_fast_len(cells.shape[1], real=True)
        spectra = fft.rfft2(cells, shape), fft.rfft2(cells**2, shape)
        used, corner = np.ones(places.shape, np.float32), (box[0].start, box[1].start)
        return _Pieces(pixels, piece, cell, places, spectra, shape, middle, used, corner, [])

    def best(
        self, there: NDArray[Any], known: NDArray[np.bool_], at: tuple[int, int], rng: np.random.Generator
    ) -> NDArray[Any]:
        """The piece that agrees best with what is known in the window whose corner is `at`, or one that nearly does."""
        weight = _in_cells(known.astype(np.float32), self.cell_px)
        wanted = _in_cells(np.where(known, _guide(there) - np.float32(self.middle), np.float32(0.0)), self.cell_px)
        with np.errstate(invalid="ignore"):
            apart = (wanted**2 / np.maximum(weight, 1e-6)).sum() + self._sums(self.spectra[1], weight)
        apart -= 2.0 * self._sums(self.spectra[0], wanted)
        cost = np.maximum(apart, 0.0) / max(float(weight.sum()), 1.0) + 1.0
        cost = np.where(self.places, cost * self._worn(*at), np.inf)
        nearly = np.flatnonzero(cost <= _NEARLY_BEST * cost.min())
        row, col = (int(k) for k in divmod(int(rng.choice(nearly)), cost.shape[1]))
        self.laid.append((row, col, *at))
        self.used[self._around(row, col, 0.5)] += _USED_BEFORE
        return self._settled(row * self.cell_px, col * self.cell_px, there, known)

    def _worn(self, y: int, x: int) -> NDArray[np.float32]:
        """How much worse each place counts for a window at (y, x): the eye finds a repeat sooner the nearer it lies."""
        worn, reach = self.used.copy(), _NEAR * self.piece_px
        top, left = self.corner
        worn[self._around(round((y - top) / self.cell_px), round((x - left) / self.cell_px), _NEAR)] += _USED_NEAR
        for row, col, there_y, there_x in self.laid:
            if abs(there_y - y) < reach and abs(there_x - x) < reach:
                worn[self._around(row, col, 0.5)] += _USED_NEAR
        return worn

    def _around(self, row: int, col: int, pieces: float) -> tuple[slice, slice]:
        """The places within so many pieces of one."""
        near = max(1, int(pieces * self.piece_px / self.cell_px))
        return slice(max(row - near, 0), max(row + near + 1, 0)), slice(max(col - near, 0), max(col + near + 1, 0))

    def _sums(self, spectrum: NDArray[np.complex64], window: NDArray[np.float32]) -> NDArray[np.float32]:
        """The sum of photo times `window`, for every place where the window may lie in the photo."""
        sums = fft.irfft2(spectrum * np.conj(fft.rfft2(window, self.shape)), self.shape)
        return np.asarray(sums[: self.places.shape[0], : self.places.shape[1]])

    def _settled(self, top: int, left: int, there: NDArray[Any], known: NDArray[np.bool_]) -> NDArray[Any]:
        """The piece near a place that agrees best pixel by pixel."""
        piece, reach = self.piece_px, self.cell_px - 1
        guide, wanted = _guide(self.pixels), _guide(there).astype(np.float32)
        thin = slice(None, None, max(1, self.cell_px // 2))
        found, least = (top, left), np.inf
        for y in range(max(0, top - reach), min(guide.shape[0] - piece, top + reach) + 1):
            for x in range(max(0, left - reach), min(guide.shape[1] - piece, left + reach) + 1):
                here = guide[y : y + piece, x : x + piece][thin, thin]
                cost = float(np.square((here - wanted[thin, thin])[known[thin, thin]]).sum())
                if cost < least:
                    found, least = (y, x), cost
        return self.pixels[found[0] : found[0] + piece, found[1] : found[1] + piece]


def _whole(known: NDArray[np.bool_], piece: int) -> NDArray[np.bool_]:
    """Where (top left corners) a piece lies wholly in what is known; nowhere in a photo smaller than it."""
    if min(known.shape) < piece:
        return np.zeros((0, 0), np.bool_)
    sums = np.pad(np.cumsum(np.cumsum(known, axis=0, dtype=np.int32), axis=1, dtype=np.int32), ((1, 0), (1, 0)))
    held = sums[piece:, piece:] - sums[:-piece, piece:] - sums[piece:, :-piece] + sums[:-piece, :-piece]
    return np.asarray(held == piece * piece)


def _in_cells(values: NDArray[np.float32], cell: int) -> NDArray[np.float32]:
    """Means over squares of `cell` pixels; what is left over at the end is left out."""
    rows, cols = values.shape[0] // cell, values.shape[1] // cell
    part = values[: rows * cell, : cols * cell].reshape(rows, cell, cols, cell)
    return np.asarray(part.mean(axis=(1, 3), dtype=np.float32))


def _hangs_together_px(guide: NDArray[Any], known: NDArray[np.bool_]) -> tuple[float, float]:
    """The distances [px] at which the texture's autocorrelation has fallen to a fifth, the shorter first.

    Down and across, from the middle 512 pixels.
    """
    top, left = max(0, guide.shape[0] // 2 - 256), max(0, guide.shape[1] // 2 - 256)
    part, weight = (a[top : top + 512, left : left + 512].astype(np.float64) for a in (guide, known))
    part = (part - (part * weight).sum() / max(weight.sum(), 1.0)) * weight
    shape = [2 * n for n in part.shape]
    pairs = fft.irfft2(np.abs(fft.rfft2(weight, shape)) ** 2, shape)
    alike = fft.irfft2(np.abs(fft.rfft2(part, shape)) ** 2, shape) / np.maximum(pairs, 1.0)
    alike /= max(float(alike[0, 0]), 1e-12)
    reach = max(2, min(part.shape) // 3)
    down, across = (float(np.argmax(np.append(line[:reach], 0.0) < 0.2)) for line in (alike[:, 0], alike[0]))
    return min(down, across), max(down, across)


def _windows(known: NDArray[np.bool_], piece: int) -> list[tuple[int, int]]:
    """Top left corners of the windows to fill, from what is known outwards; neighbours overlap by two fifths."""
    high, wide = known.shape
    rim = max(1, int(_OVERLAP * piece))
    step = piece - 2 * rim
    ys, xs = (np.arange(-rim, n - rim, step).clip(0, n - piece) for n in (high, wide))
    away = ndimage.distance_transform_edt(~known[::rim, ::rim])
    middle_y, middle_x = (np.minimum((v + piece // 2) // rim, n - 1) for v, n in zip((ys, xs), away.shape, strict=True))
    order = np.argsort(away[np.ix_(middle_y, middle_x)], axis=None, kind="stable")
    return [(int(ys[k // len(xs)]), int(xs[k % len(xs)])) for k in order]


def _join(there: NDArray[Any], known: NDArray[np.bool_], new: NDArray[Any], rng: np.random.Generator) -> None:
    """Lay `new` over `there`: up to where the two differ least where something is known, else wholly."""
    from skimage.segmentation import watershed

    if not known.any():
        there[...] = new
        return
    apart = np.abs(_guide(there).astype(np.float32) - _guide(new))
    apart = ndimage.uniform_filter(np.where(known, apart, 0.0), 3)
    # Where all ways across are alike, as along a grain, an even seam would be a straight line.
    apart *= rng.uniform(_RAGGED, 1.0, apart.shape).astype(np.float32)
    marks = np.where(known, 0, 2).astype(np.int16)
    ring = np.ones_like(known)
    ring[1:-1, 1:-1] = False
    marks[ring & known] = 1
    # A watershed runs along the heights, and both sides begin to flood at once.
    alike = np.where(marks > 0, -np.float32(np.inf), -apart)
    taken = (watershed(alike, marks) == 2) if (marks == 1).any() else ~known
    share = np.where(known, ndimage.uniform_filter(taken.astype(np.float32), 3), 1.0)
    share = share.reshape(*share.shape, *[1] * (there.ndim - 2))
    there[...] = np.rint(there + share * (new.astype(np.float32) - there))


def _guide(pixels: NDArray[Any]) -> NDArray[Any]:
    """What pieces are compared by: green, which carries most of the light that an eye sees."""
    return pixels if pixels.ndim == 2 else pixels[:, :, 1]
