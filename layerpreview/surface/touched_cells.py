"""A photo in cells of about 1/400 of its longer side, whose light is the mean of their pixels, so that what is read in
them does not hang on how many pixels a phone has. And whether it is sharp."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.photo import Photo, light_in_cells
from layerpreview.surface.picture_file import PictureData

F64 = NDArray[np.float64]
Flags = NDArray[np.bool_]
Touch = tuple[float, float]
"""A place as shares [0..1] of the picture's width and height."""
Box = tuple[float, float, float, float]
"""Left, top, width and height as shares of the picture's width and height."""

CELLS = 400
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Of linear sRGB light (IEC 61966-2-1)."""
_BLOWN = 0.985  # linear light: 253 of 255
_BLURRED, _BLUR_PX = 0.17, 1200


class Cells:
    """The picture in cells: linear light (rows, cols, 3), its luminance, and the share of each that is blown out."""

    def __init__(self, picture: PictureData) -> None:
        self.picture = picture
        photo = Photo(picture)
        light = light_in_cells(photo, CELLS)
        blown = light_in_cells(photo, CELLS, blown_above=_BLOWN)
        self.light = np.broadcast_to(light, (*light.shape[:2], 3))
        self.luminance = self.light @ LUMINANCE
        self.blown = blown.max(axis=2)
        self.rows, self.cols = self.luminance.shape

    def cell(self, touch: Touch) -> tuple[int, int]:
        """Row and column of the cell that was touched."""
        x, y = touch
        return min(int(y * self.rows), self.rows - 1), min(int(x * self.cols), self.cols - 1)

    def box(self, rows: slice, cols: slice) -> Box:
        """The rectangle of these cells."""
        return (
            cols.start / self.cols,
            rows.start / self.rows,
            (cols.stop - cols.start) / self.cols,
            (rows.stop - rows.start) / self.rows,
        )

    def refused(self, rule: str, remedy: str) -> PictureError:
        """The error that says why this picture cannot be judged, and what to do."""
        return PictureError(Problem(rule, remedy, self.picture.file))


def is_blurred(picture: PictureData) -> bool:
    """Whether the steepest edges of a picture, of which a card always has some, take many pixels of a small copy."""
    step = max(1, round(max(picture.width_px, picture.height_px) / _BLUR_PX))
    codes = picture.pixels[::step, ::step]
    tone = (codes if codes.ndim == 2 else codes[..., 1]).astype(np.float32) / float(np.iinfo(codes.dtype).max)
    shares = []
    for values in (tone, tone.T):
        if values.shape[1] < 20:
            continue
        far = np.abs(values[:, 8:] - values[:, :-8])
        near = ndimage.maximum_filter1d(np.abs(np.diff(values, axis=1)), 8, axis=1)[:, 4 : 4 + far.shape[1]]
        edge = far >= max(0.15, float(np.percentile(far, 99.5)))
        shares.append((near[edge], far[edge]))
    near, far = (np.concatenate(found) if shares else np.zeros(0) for found in zip(*shares, strict=True))
    return far.size > 20 and float(np.median(near / far)) < _BLURRED
