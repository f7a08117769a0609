"""The soft shadow that a part casts on the neutral ground, for presentation only."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.distance import DistanceField, distance_field
from layerpreview.surface.form import contact_shadow, shifted_grid
from layerpreview.surface.outline import Outline
from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]

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
