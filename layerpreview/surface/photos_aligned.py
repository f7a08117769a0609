"""Hand-held photos of one part laid on one another, though the light comes from another side in each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import affine_transform, gaussian_filter, map_coordinates

from layerpreview.errors import PictureError, Problem
from layerpreview.threads import thread_pool

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

MOST_SHIFT = 0.06
"""Of the picture's longer side: what moved further was not held over the same place."""
_ROUNDS = 3
_TILES = 6
_LEAST_TILES = 8
_STRAY_PX = 0.5
_COPY_PIXELS = 600_000
_TILE_PX = 192
_STRETCHES, _POINTS, _BAND_PX = 48, 12, 6.0
_STILL_SHARE, _STILL_PX = 0.6, 0.75
_DARK = np.float32(0.01)


OPPOSITE = {"left": "right", "top": "bottom", "right": "left", "bottom": "top"}
"""The sides that a lamp may stand at, each with the one across."""


def aligned(photos: Sequence[F32], sides: Sequence[str]) -> list[F32]:
    """Return three photos laid on one another: shifts, turns and changes of scale taken out.

    photos: linear light (rows, cols) each, of one size. sides: "left", "top", "right" or "bottom", where the lamp was
    in each, no two alike; the first photo that has its opposite among the others stays as it is. Edges of facets are in
    all of them, bright or dark, and so are flakes: either is compared in tiles (phase correlation, Kuglin and Hines
    1975; sub-pixel after Guizar-Sicairos et al. 2008, doi 10.1364/OL.33.000156), and an affine map laid through what
    the tiles say. What comes in from outside a photo repeats its border.
    Raises PictureError where a photo does not fit.
    """
    one = next(k for k, side in enumerate(sides) if OPPOSITE[side] in sides)
    two = sides.index(OPPOSITE[sides[one]])
    (third,) = {0, 1, 2} - {one, two}
    found = {one: photos[one], two: _onto(photos[one], photos[two], two + 1)}
    # Slopes to the side and slopes downwards of one bump lie beside each other and would be taken for a shift: two
    # lamps from opposite sides together show no side.
    both = np.sqrt((found[one] + _DARK) * (found[two] + _DARK)) - _DARK
    found[third] = _onto(np.asarray(both, dtype=np.float32), photos[third], third + 1)
    return [found[k] for k in range(3)]


def _edges(photo: F32) -> F32:
    """The size of the gradient of log light: alike on both sides of an edge, whichever is bright."""
    down, across = np.gradient(gaussian_filter(np.log(photo + _DARK), 1.0))
    return np.asarray(np.minimum(np.hypot(down, across), 0.3), dtype=np.float32)


def _flakes(photo: F32) -> F32:
    """What is brighter than its near surroundings."""
    log_light = gaussian_filter(np.log(photo + _DARK), 0.7)
    return np.asarray(np.clip(log_light - gaussian_filter(log_light, 2.0), -0.3, 0.3), dtype=np.float32)


def _onto(first: F32, photo: F32, number: int) -> F32:
    """The photo where the affine map on which most tiles agree lays it on the first."""
    agreeing, matrix, offset = _followed(first, photo)
    if agreeing < _LEAST_TILES or np.abs(offset + (matrix - np.eye(2)) @ first.shape).max() > MOST_SHIFT * max(
        photo.shape
    ):
        rule = "shows the part from another place than the first, or too little of it"
        raise PictureError(Problem(rule, "hold the camera still and move the lamp alone", field=f"photo {number}"))
    return np.asarray(affine_transform(photo, matrix, offset, order=3, mode="nearest"), dtype=np.float32).clip(0.0, 1.0)


def _followed(first: F32, photo: F32) -> tuple[int, F64, F64]:
    """How many tiles agree, and the map (matrix, offset) from places in the first photo to those in the other.

    By edges or by flakes, whichever more tiles agree on. Large photos are followed on a copy averaged over blocks, and
    once more on small tiles of themselves.
    """
    block = max(1, round(float(np.sqrt(first.size / _COPY_PIXELS))))
    small, other = _blocks(first, block), _blocks(photo, block)
    size = max(48, _fast(min(small.shape) // 3))

    def by(feature: Callable[[F32], F32]) -> tuple[int, F64, F64]:
        found = 0, np.eye(2), np.zeros(2)
        for _ in range(_ROUNDS):
            found = _map_of_tiles(small, other, *found[1:], feature, size)
        return found

    features = (_edges, _flakes)
    with thread_pool() as pool:
        both = zip(pool.map(by, features), features, strict=True)
        (agreeing, matrix, offset), feature = max(both, key=lambda one: one[0][0])
    if block > 1 and agreeing >= _LEAST_TILES:
        middle = (block - 1) / 2
        offset = block * offset + middle - matrix @ np.full(2, middle)
        agreeing, matrix, offset = _map_of_tiles(first, photo, matrix, offset, feature, _TILE_PX)
    return agreeing, matrix, offset


def _fast(size: int) -> int:
    """The size of a tile, at most this, that a Fourier transform is quick at: a multiple of 16."""
    return size - size % 16


def _blocks(photo: F32, block: int) -> F32:
    rows, cols = (n // block for n in photo.shape)
    blocks = photo[: rows * block, : cols * block].reshape(rows, block, cols, block)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _shift(first: F32, other: F32, *, upsample: int = 16) -> F64:
    """Where a point of `first` lies in `other`, less where it lies in `first` [px down, across]."""
    from skimage.registration import phase_cross_correlation

    window = np.outer(*(np.hanning(n) for n in first.shape)).astype(np.float32)
    one, two = ((v - v.mean()) * window for v in (first, other))
    found, _, _ = phase_cross_correlation(one, two, upsample_factor=upsample, normalization=None)
    return -np.asarray(found, dtype=np.float64)


def _map_of_tiles(
    first: F32, photo: F32, matrix: F64, offset: F64, feature: Callable[[F32], F32], size: int
) -> tuple[int, F64, F64]:
    """As `_followed`, from a map that is near already."""
    corners = product(*(np.linspace(0, n - size, _TILES).astype(int) for n in first.shape))
    places, shifts = [], []
    for corner in map(np.array, corners):
        moved = affine_transform(
            photo, matrix, matrix @ corner + offset, output_shape=(size, size), order=1, mode="nearest"
        )
        places.append((*(corner + size / 2), 1.0))
        tile = first[corner[0] : corner[0] + size, corner[1] : corner[1] + size]
        shifts.append(_shift(feature(tile), feature(moved)))
    place, shift = np.array(places), np.array(shifts)
    off = shift - np.median(shift, axis=0)
    least = 0.01 * max(first.shape)
    for _ in range(10):
        distance = np.hypot(*off.T)
        weight = 1.0 / (1.0 + (distance / max(float(np.median(distance)), least)) ** 2)
        solution = np.linalg.lstsq(place * weight[:, None], shift * weight[:, None], rcond=None)[0]
        off, least = shift - place @ solution, 0.1
    more = np.eye(2) + solution[:2].T
    agreeing = int(np.count_nonzero(np.hypot(*off.T) < _STRAY_PX))
    return agreeing, matrix @ more, matrix @ solution[2] + offset


def held_still(photos: Sequence[F32], edge_px: F64) -> bool:
    """Whether the part's edge lies within a pixel in all photos (rows, cols), as it does when the camera is on a stand.

    edge_px (n, 2): corners of the part's edge in one of them, x and y [px], pixel middles whole. Asked of stretches
    of the edge: nearly everywhere, and on the whole on each side of the part.
    """
    stretches = [_edge_places(photo, edge_px) for photo in photos]
    sides = stretches[0][1]
    for places, _ in stretches[1:]:
        off = places - stretches[0][0]
        if np.mean(np.abs(off) < 1.0) < _STILL_SHARE:
            return False
        if any(abs(float(np.median(off[sides == side]))) >= _STILL_PX for side in np.unique(sides)):
            return False
    return True


def _edge_places(photo: F32, edge_px: F64) -> tuple[F64, NDArray[np.intp]]:
    """How far outside the drawn edge the photo leaves its ground [px], by stretches, and the side that each is on.

    Come from the ground, since stripes of brushed silver are edges too: where it is half way to what lies within.
    """
    ends = np.vstack([edge_px, edge_px[:1]])
    steps = np.diff(ends, axis=0)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*steps.T))])
    at = (np.arange(_STRETCHES * _POINTS) + 0.5) * along[-1] / (_STRETCHES * _POINTS)
    point, ahead = (np.stack([np.interp(np.mod(at + d, along[-1]), along, v) for v in ends.T]) for d in (0.0, 1.0))
    clockwise = np.sign(np.sum(ends[:-1, 0] * steps[:, 1] - ends[:-1, 1] * steps[:, 0]))
    tangent = (ahead - point) * clockwise
    outward = np.stack([tangent[1], -tangent[0]]) / np.maximum(np.hypot(*tangent), 1e-9)
    t = np.arange(_BAND_PX, -_BAND_PX - 0.25, -0.5)
    x, y = point[:, :, None] + outward[:, :, None] * t
    light = np.log(np.asarray(map_coordinates(photo, [y, x], order=1, mode="nearest")) + _DARK)
    profile = light.reshape(_STRETCHES, _POINTS, t.size).mean(axis=1)
    change = np.abs(profile - np.median(profile[:, t > 3.0], axis=1, keepdims=True))
    half = 0.5 * np.median(change[:, t < -1.0], axis=1)
    first = np.maximum((change > half[:, None]).argmax(axis=1), 1)
    before, after = (np.take_along_axis(change, k[:, None], axis=1)[:, 0] for k in (first - 1, first))
    places = t[first] + 0.5 * (after - half) / np.maximum(after - before, 1e-6)
    facing = outward.reshape(2, _STRETCHES, _POINTS).mean(axis=2)
    return places, np.abs(facing).argmax(axis=0) * 2 + (facing.sum(axis=0) > 0)
