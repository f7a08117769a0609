"""A photo that a part is found in, with no more pixels than that takes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import encode_srgb
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import PictureData, read_camera_photo

MOST_PX = 30_000_000
"""More tell nothing of a part's edge, and take minutes: of one bench, 25 and 99 give a part of the same millimetres."""
_STRIP_ROWS = 128
Numbers = Callable[[NDArray[Any]], NDArray[np.float32]]


def read_part_photo(path: str | Path) -> PictureData:
    """Return a photo as `picture_file.read_camera_photo` does, one of more than 30 megapixels with fewer of them.

    Raises PictureError.
    """
    return with_fewer_pixels(read_camera_photo(path))


def with_fewer_pixels(picture: PictureData) -> PictureData:
    """The picture itself up to MOST_PX, else the mean light of squares of pixels; what is left over at the right and
    at the bottom of the last whole ones is left out."""
    step = math.ceil(math.sqrt(picture.width_px * picture.height_px / MOST_PX))
    if step <= 1:
        return picture
    most = int(np.iinfo(picture.pixels.dtype).max)
    table = srgb_table(most + 1)
    pixels = _means(
        picture.pixels, step, lambda codes: table[codes], lambda light: encode_srgb(light) * np.float32(most)
    )
    alpha = picture.alpha
    if alpha is not None:
        alpha = _means(alpha, step, lambda shares: shares.astype(np.float32), lambda means: means.astype(np.float32))
    size = f"{picture.width_px} x {picture.height_px}"
    said = f"{size} pixels are more than a part takes: the mean of {step} x {step} of them is used"
    return replace(picture, pixels=pixels, alpha=alpha, notes=(*picture.notes, said))


def _means(codes: NDArray[Any], step: int, to: Numbers, back: Numbers) -> NDArray[Any]:
    """Strip by strip: as numbers with a point all of it would lie in memory four times as large."""
    high, wide, *channels = codes.shape[0] // step, codes.shape[1] // step, *codes.shape[2:]
    found = np.empty((high, wide, *channels), codes.dtype)
    for top in range(0, high, _STRIP_ROWS):
        rows = min(_STRIP_ROWS, high - top)
        strip = to(codes[top * step : (top + rows) * step, : wide * step])
        squares = strip.reshape(rows, step, wide, step, *channels).mean(axis=(1, 3), dtype=np.float32)
        found[top : top + rows] = np.rint(back(squares))
    return found
