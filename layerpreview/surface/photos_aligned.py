"""Hand-held photos of one part laid on one another, though the light comes from another side in each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import affine_transform, gaussian_filter

from layerpreview.errors import PictureError, Problem

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

MOST_SHIFT = 0.06
"""Of the picture's longer side: what moved further was not held over the same place."""
_ROUNDS = 3
_TILES = 6
_LEAST_TILES = 8
_STRAY_PX = 0.5
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
    agreeing, matrix, offset = max(
        (_followed(first, photo, feature) for feature in (_edges, _flakes)), key=itemgetter(0)
    )
    if agreeing < _LEAST_TILES or np.abs(offset + (matrix - np.eye(2)) @ first.shape).max() > MOST_SHIFT * max(
        photo.shape
    ):
        rule = "shows the part from another place than the first, or too little of it"
        raise PictureError(Problem(rule, "hold the camera still and move the lamp alone", field=f"photo {number}"))
    return np.asarray(affine_transform(photo, matrix, offset, order=3, mode="nearest"), dtype=np.float32).clip(0.0, 1.0)


def _followed(first: F32, photo: F32, feature: Callable[[F32], F32]) -> tuple[int, F64, F64]:
    """How many tiles agree, and the map (matrix, offset) from places in the first photo to those in the other."""
    one = feature(first)
    agreeing, matrix, offset = 0, np.eye(2), np.zeros(2)
    for _ in range(_ROUNDS):
        moved = affine_transform(photo, matrix, offset, order=1, mode="nearest")
        agreeing, more, more_offset = _map_of_tiles(one, feature(moved))
        matrix, offset = matrix @ more, matrix @ more_offset + offset
    return agreeing, matrix, offset


def _shift(first: F32, other: F32, *, upsample: int = 16) -> F64:
    """Where a point of `first` lies in `other`, less where it lies in `first` [px down, across]."""
    from skimage.registration import phase_cross_correlation

    window = np.outer(*(np.hanning(n) for n in first.shape))
    one, two = ((v - v.mean()) * window for v in (first, other))
    found, _, _ = phase_cross_correlation(one, two, upsample_factor=upsample, normalization=None)
    return -np.asarray(found, dtype=np.float64)


def _map_of_tiles(first: F32, other: F32) -> tuple[int, F64, F64]:
    """As `_followed`, of photos that are near already."""
    size = max(48, min(first.shape) // 3)
    corners = product(*(np.linspace(0, n - size, _TILES).astype(int) for n in first.shape))
    places, shifts = [], []
    for top, left in corners:
        tile = slice(top, top + size), slice(left, left + size)
        places.append((top + size / 2, left + size / 2, 1.0))
        shifts.append(_shift(first[tile], other[tile]))
    place, shift = np.array(places), np.array(shifts)
    off = shift - np.median(shift, axis=0)
    least = 0.01 * max(first.shape)
    for _ in range(10):
        distance = np.hypot(*off.T)
        weight = 1.0 / (1.0 + (distance / max(float(np.median(distance)), least)) ** 2)
        solution = np.linalg.lstsq(place * weight[:, None], shift * weight[:, None], rcond=None)[0]
        off, least = shift - place @ solution, 0.1
    return int(np.count_nonzero(np.hypot(*off.T) < _STRAY_PX)), np.eye(2) + solution[:2].T, solution[2]
