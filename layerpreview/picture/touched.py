"""What lies at one place that somebody touches: the build of every coat, and how far the edges are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.picture.faces import FaceShape
from layerpreview.picture.maps import BuildMaps
from layerpreview.picture.survey import SURVEY_PX
from layerpreview.scheme import Scheme
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.zones import zone_field

F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Touched:
    """`build` (layers,) of each coat as it ends up, over a base taken as level; `edge_mm` to the nearest edge of the
    face [mm], positive on it; `zones`: the names of those it lies in."""

    build: F64
    edge_mm: float
    zones: tuple[str, ...]


def touched(scheme: Scheme, shape: FaceShape, *, x_mm: float, y_mm: float) -> Touched:
    """Look at one place of a face, `x_mm` across and `y_mm` down from the top left corner of its box [mm].

    As `picture.survey` has it in the pixel there, without looking at the rest of the face. Nothing lies beside it.
    """
    outline = shape.outline
    pixel_mm = max(outline.width_mm, outline.height_mm) / SURVEY_PX
    left, top = x_mm - 0.5 * pixel_mm, y_mm - 0.5 * pixel_mm
    grid = PixelGrid(pixel_mm=pixel_mm, n_rows=1, n_cols=1, left_mm=left, top_mm=top)
    maps = BuildMaps(scheme, shape, grid)
    builds, cover = maps.level_rows(0, 1)
    edge_mm = float(maps.edge.rows(0, 1)[0, 0])
    inside = [name for name, region in shape.regions.items() if zone_field(region, grid).rows(0, 1)[0, 0] > 0.0]
    return Touched(builds[:, 0].astype(np.float64) * float(cover[0] > 0.0), edge_mm, tuple(inside))
