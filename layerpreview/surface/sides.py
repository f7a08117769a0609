"""The corners of a sheet to a tenth of a pixel: a line through the edge along each side, crossed with the next.

Corners themselves are not looked at, so that round, curled or hidden ones do no harm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import PictureData

F64 = NDArray[np.float64]

_ENDS = 0.08  # share of a side left out at each end: round corners, curl
_STEP_PX = 0.5
_BLOCK = 8  # stations a pixel apart whose profiles are averaged, against noise
_FEWEST_BLOCKS = 6
_CLEAR = 0.3  # of the usual edge strength: weaker is where something lies over the side
_FINE_PX = 5.0


def settled_corners(
    picture: PictureData, corners_px: F64, *, within_px: float, inside: float = 1.0
) -> tuple[F64, float] | None:
    """Corners (4, 2) [px] of a four-sided sheet, found from corners that are right to `within_px`.

    `inside` is 1 for a sheet lighter than what it lies on, -1 for a darker one. Returns the corners and the root mean
    square distance of the edges from their straight sides [px], or None when a side cannot be seen. Points count from
    the outer corner of the first pixel.
    """
    corners, off = corners_px, 0.0
    for reach in (within_px + 3.0, _FINE_PX, _FINE_PX):
        sides = [_side(picture, corners[k - 1], corners[k], reach, inside) for k in range(4)]
        found = [side for side in sides if side is not None]
        if len(found) < 4:
            return None
        corners = np.array([_crossed(found[k], found[(k + 1) % 4]) for k in range(4)])
        off = float(np.sqrt(np.mean([side[2] ** 2 for side in found])))
    return corners, off


def _side(picture: PictureData, start: F64, end: F64, reach: float, inside: float) -> tuple[F64, F64, float] | None:
    """A point of the side, its direction, and the rms distance [px] of the edge from the line; corners clockwise."""
    length = float(np.hypot(*(end - start)))
    if length < 12:
        return None
    tangent = (end - start) / length
    outward = np.array([tangent[1], -tangent[0]])
    block = _BLOCK if length > 16 * _BLOCK else 2
    along = np.arange(_ENDS * length, (1 - _ENDS) * length, 1.0)
    along = along[: len(along) // block * block]
    across = np.arange(-reach, reach + 1e-9, _STEP_PX)
    places = start + along[:, None, None] * tangent + across[None, :, None] * outward
    profile = _light(picture, places).reshape(-1, block, len(across)).mean(axis=1)
    off, strength = _falls(inside * profile, across)
    middle = along.reshape(-1, block).mean(axis=1)
    clear = strength > _CLEAR * np.quantile(strength, 0.75)
    if clear.sum() < _FEWEST_BLOCKS:
        return None
    slope, offset, rms = _robust_line(middle[clear], off[clear])
    direction = tangent + slope * outward
    return start + offset * outward, direction / np.hypot(*direction), rms


def _light(picture: PictureData, places: F64) -> F64:
    """Mean linear light of the channels at places (..., 2) [px], between pixels linearly.

    In sRGB codes an edge would lie a tenth of a pixel towards the dark side.
    """
    pixels = picture.pixels if picture.pixels.ndim == 3 else picture.pixels[:, :, None]
    table = srgb_table(int(np.iinfo(pixels.dtype).max) + 1)
    first = np.floor(places - 0.5).astype(np.intp)
    right, down = np.moveaxis(places - 0.5 - first, 2, 0)
    light = np.zeros(places.shape[:2])
    for dx, dy, share in (
        (0, 0, (1 - right) * (1 - down)), (1, 0, right * (1 - down)), (0, 1, (1 - right) * down), (1, 1, right * down),
    ):  # fmt: skip
        col = np.clip(first[..., 0] + dx, 0, picture.width_px - 1)
        row = np.clip(first[..., 1] + dy, 0, picture.height_px - 1)
        light += share * table[pixels[row, col]].mean(axis=2)
    return light


def _falls(profile: F64, across: F64) -> tuple[F64, F64]:
    """Where each profile (N, K) falls most, between its samples, and how steeply."""
    from scipy.ndimage import gaussian_filter1d

    fall = -gaussian_filter1d(profile, 1.0 / _STEP_PX, axis=1, order=1, mode="nearest")
    best = np.clip(fall.argmax(axis=1), 1, fall.shape[1] - 2)
    rows = np.arange(len(fall))
    before, here, after = fall[rows, best - 1], fall[rows, best], fall[rows, best + 1]
    bend = before - 2 * here + after
    shift = np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1.0), 0.0)
    return across[best] + _STEP_PX * np.clip(shift, -1, 1), np.maximum(here, 0.0)


def _robust_line(x: F64, y: F64) -> tuple[float, float, float]:
    """Slope, offset and rms of the line most points agree on (Theil-Sen to start, then trimmed least squares)."""
    from scipy.stats import theilslopes

    thin = slice(None, None, max(1, len(x) // 150))
    slope, offset = theilslopes(y[thin], x[thin])[:2]
    rms = 0.0
    for _ in range(3):
        left = np.abs(y - slope * x - offset)
        kept = left <= max(3.0 * 1.48 * float(np.median(left)), 0.05)
        slope, offset = np.polyfit(x[kept], y[kept], 1)
        rms = float(np.sqrt(np.mean((y - slope * x - offset)[kept] ** 2)))
    return float(slope), float(offset), rms


def _crossed(one: tuple[F64, F64, float], other: tuple[F64, F64, float]) -> F64:
    """Where two sides cross."""
    steps = np.linalg.solve(np.column_stack([one[1], -other[1]]), other[0] - one[0])
    return np.asarray(one[0] + steps[0] * one[1])
