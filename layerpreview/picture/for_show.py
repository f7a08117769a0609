"""For presentation only, in no figure: the soft shadow a part casts, and the mirror image of a window in its clear."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import fresnel_reflectance
from layerpreview.surface.distance import DistanceField, distance_field
from layerpreview.surface.form import contact_shadow, shifted_grid
from layerpreview.surface.outline import Outline
from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]

WINDOW_OVER_WHITE = 5.0
"""Luminance of the window against a white card in the room (assumed, a cloudy day)."""
SLANT, EDGE = 0.22, 0.035
PANES = ((0.10, 0.27), (0.30, 0.47))
TOP, BOTTOM = 0.07, 0.60


def window_sheen(grid: PixelGrid, y0: int, y1: int, *, width_mm: float, height_mm: float) -> F32:
    """Linear light (P,) that a two-pane window adds to rows y0..y1 of a face seen straight on.

    The face is taken as flat: the window is a slanted pair of panes in the upper left, its edges softened, times the
    face's reflectance at 0 degrees (0.04 for n = 1.5).
    """
    x = (grid.x_mm() / width_mm).astype(np.float32)[None, :]
    y = (grid.y_mm(y0, y1) / height_mm).astype(np.float32)[:, None]
    u = np.asarray(x + SLANT * (y - 0.5), dtype=np.float32)
    (left_1, right_1), (left_2, right_2) = PANES
    panes = _step(u - left_1) * _step(right_1 - u) + _step(u - left_2) * _step(right_2 - u)
    down = _step(y - TOP) * _step(BOTTOM - y) * (1.0 - 0.6 * (y - TOP) / (BOTTOM - TOP))
    level = WINDOW_OVER_WHITE * float(fresnel_reflectance(1.0, index_from=1.0, index_to=1.5))
    return np.asarray(level * panes * np.clip(down, 0.0, 1.0), dtype=np.float32).ravel()


def _step(distance: F32) -> F32:
    """0 below, 1 above, smooth over the edge."""
    u = np.clip(distance / EDGE + 0.5, 0.0, 1.0)
    return np.asarray(u * u * (3.0 - 2.0 * u), dtype=np.float32)


RIGHT_MM, DOWN_MM, REACH_MM = 7.0, 10.0, 24.0


@dataclass(frozen=True, eq=False)
class Ground:
    """Where the shadow lies on the picture, and the two distances it is made of."""

    left_px: int
    top_px: int
    near: DistanceField
    cast: DistanceField

    def darken(self, ground: F32, y0: int) -> None:
        """Darken a strip (rows, width) of the ground that begins at row `y0` of the picture."""
        grid = self.near.grid
        first, last = max(y0 - self.top_px, 0), min(y0 + len(ground) - self.top_px, grid.n_rows)
        from_col, to_col = max(self.left_px, 0), min(self.left_px + grid.n_cols, ground.shape[1])
        if first >= last or from_col >= to_col:
            return
        cols = slice(from_col - self.left_px, to_col - self.left_px)
        dark = contact_shadow(self.cast.rows(first, last)[:, cols], self.near.rows(first, last)[:, cols])
        ground[first + self.top_px - y0 : last + self.top_px - y0, from_col:to_col] *= 1.0 - dark


def ground_of(outline: Outline, grid: PixelGrid, *, left_px: int, top_px: int) -> Ground:
    """The shadow of a face whose top left pixel lies at (`left_px`, `top_px`) on the picture."""
    reach = math.ceil(REACH_MM / grid.pixel_mm)
    wide = PixelGrid(
        pixel_mm=grid.pixel_mm,
        n_rows=grid.n_rows + 2 * reach,
        n_cols=grid.n_cols + 2 * reach,
        left_mm=grid.left_mm - reach * grid.pixel_mm,
        top_mm=grid.top_mm - reach * grid.pixel_mm,
    )
    near = distance_field(outline, wide, edges="outline", seam=True)
    cast = distance_field(outline, shifted_grid(wide, right_mm=RIGHT_MM, down_mm=DOWN_MM), edges="outline", seam=True)
    return Ground(left_px - reach, top_px - reach, near, cast)
