"""The quiet backdrop of a lifelike picture: a neutral wall, lit a little from above, with the soft shadow of the part.

For the eye only: it is no part of any figure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.sample import Sampler, mm_taps

F32 = NDArray[np.float32]

WALL_LIN, FALL_OFF = 0.20, 0.55
"""The wall's light where it is brightest, and the share of it that is left in the corners."""
RIGHT, DOWN = 0.027, 0.043
NEAR, FAR = 0.019, 0.07
"""Where the shadow falls and how soft it is, as shares of the largest solid's size."""
NEAR_DARK, FAR_DARK = 0.35, 0.5
"""A narrow shadow where the part is close to the wall, and a wide one beside it."""


@dataclass(frozen=True, eq=False)
class Backdrop:
    """Light of the wall (rows, width) in any strip."""

    wall: Sampler

    def rows(self, y0: int, y1: int) -> F32:
        """Rows y0 to y1."""
        return self.wall.rows(y0, y1)


def backdrop_of(
    cover: F32, *, size_mm: float, pixel_mm: float, out_mm: float, width_px: int, height_px: int
) -> Backdrop:
    """The wall behind solids, the largest of `size_mm`, that cover `cover` (rows, cols) in pixels of `pixel_mm`; for a
    picture of `width_px` by `height_px` pixels of `out_mm`."""
    from scipy.ndimage import gaussian_filter, shift

    size_px = size_mm / pixel_mm
    moved = shift(cover, (DOWN * size_px, RIGHT * size_px), order=1, mode="nearest")
    near = gaussian_filter(cover, NEAR * size_px, mode="nearest")
    far = gaussian_filter(moved, FAR * size_px, mode="nearest")
    rows, cols = cover.shape
    x = (np.arange(cols) + 0.5) / cols - 0.42
    y = ((np.arange(rows) + 0.5) / rows - 0.38)[:, None]
    away = np.clip((x * x + y * y) / 0.6, 0.0, 1.0)
    wall = WALL_LIN * (1.0 - (1.0 - FALL_OFF) * away) * (1.0 - NEAR_DARK * near) * (1.0 - FAR_DARK * far)
    taps = (
        mm_taps(n_in, n_out, in_pitch_mm=pixel_mm, out_pitch_mm=out_mm)
        for n_in, n_out in ((rows, height_px), (cols, width_px))
    )
    return Backdrop(Sampler(wall.astype(np.float32), *taps))
