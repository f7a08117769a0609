"""A photo seen from straight above: the plane of a sheet or frame drawn anew to scale, a strip at a time."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.picture_file import LIMIT_PIXELS, PictureData
from layerpreview.surface.square import Square

_STRIP_PX = 400_000  # places looked up at once
_FINEST = 4  # looked up this often a pixel at most, each way, where the picture is made coarser


def squared(
    picture: PictureData,
    square: Square,
    *,
    left_mm: float,
    top_mm: float,
    width_mm: float,
    height_mm: float,
    mm_per_px: float | None = None,
) -> PictureData:
    """The rectangle of the plane from (`left_mm`, `top_mm`), `width_mm` x `height_mm` > 0, at `mm_per_px` > 0.

    Millimetres count as in `square`; the scale is the photo's own where none is given. Between pixels linearly, in the
    picture's own numbers; where pixels become larger, as the mean of up to 16 places in each. What lies outside the
    photo is transparent (alpha 0) and black. Raises PictureError for more than LIMIT_PIXELS.
    """
    scale = mm_per_px or square.mm_per_px
    wide, high = (max(1, round(length / scale)) for length in (width_mm, height_mm))
    if wide * high > LIMIT_PIXELS:
        rule = f"{wide} x {high} is {wide * high / 1e6:.0f} megapixels; the limit is {LIMIT_PIXELS / 1e6:.0f}"
        raise PictureError(Problem(rule, "take a smaller piece or more millimetres to the pixel", picture.file))
    fine = int(np.clip(round(scale / square.mm_per_px), 1, _FINEST))
    pixels = picture.pixels if picture.pixels.ndim == 3 else picture.pixels[:, :, None]
    drawn = np.empty((high, wide, pixels.shape[2]), pixels.dtype)
    alpha = np.empty((high, wide), pixels.dtype)
    across = left_mm + (np.arange(wide * fine) + 0.5) * (width_mm / (wide * fine))
    rows = max(1, _STRIP_PX // (wide * fine**2))
    for top in range(0, high, rows):
        count = min(rows, high - top)
        down = top_mm + (top * fine + np.arange(count * fine) + 0.5) * (height_mm / (high * fine))
        places_mm = np.stack(np.meshgrid(across, down), axis=2).reshape(-1, 2)
        places = square.px_from_mm(places_mm).reshape(count * fine, wide * fine, 2)
        drawn[top : top + count], alpha[top : top + count] = _strip(pixels, places, fine)
    whole = bool(alpha.all())
    return PictureData(
        drawn if picture.pixels.ndim == 3 else drawn[:, :, 0],
        None if whole else alpha,
        picture.file,
        (*picture.notes, "made square and to scale"),
        picture.straight,
    )


def _strip(pixels: NDArray[Any], places: NDArray[np.float64], fine: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """Colours (rows, cols, channels) and alpha of some rows, each pixel from `fine` x `fine` places (x, y)."""
    from scipy.ndimage import map_coordinates

    high, wide, channels = pixels.shape
    most = np.iinfo(pixels.dtype).max
    rows, cols = places.shape[0] // fine, places.shape[1] // fine
    inside = ((places >= 0) & (places <= (wide, high))).all(axis=2)
    whole = inside.reshape(rows, fine, cols, fine).all(axis=(1, 3))
    at = np.moveaxis(places - 0.5, 2, 0)[::-1]
    colours = np.empty((rows, cols, channels), pixels.dtype)
    for channel in range(channels):
        fine_light = map_coordinates(pixels[:, :, channel], at, order=1, mode="nearest", output=np.float32)
        colours[:, :, channel] = np.rint(fine_light.reshape(rows, fine, cols, fine).mean(axis=(1, 3)))
    colours[~whole] = 0
    return colours, np.where(whole, most, 0).astype(pixels.dtype)
