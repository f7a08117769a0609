"""A damaged place of a face: a closed line in millimetres or what is brushed on a picture, and how far places are away.

Coordinates are those of the face's outline: x to the right, y down, from the top left corner of its box.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NoReturn

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import translate

from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.surface.distance import distance_field_of_rings
from layerpreview.surface.drawn import green_paint
from layerpreview.surface.outline import Outline, Points, check_ring
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.trace import rings_at

F32 = NDArray[np.float32]

LEAST_MM2 = 1.0
_FARTHEST_MM = 1e6
"""A corner farther off is a slip, and numbers of any size overflow where lines are crossed."""
_ALIKE = 0.03
"""How far a mask's proportions may be from those of its face's box."""
_GREEN_LEAST = 1e-4
_LOOK_PX = 2000
"""Longer side of the picture in which the border is followed."""
_BETWEEN = 0.1
"""A mask with more pixels than this share between black and white is a photo, and no mask."""
_ON_IT = "the face is {wide:.1f} x {high:.1f} mm, counted from the top left corner of its box"


@dataclass(frozen=True, eq=False)
class Damage:
    """The damaged place on its face: `shape` [mm], of one piece or several, none of it off the face."""

    shape: shapely.MultiPolygon
    wraps_mm: float | None = None

    @property
    def area_mm2(self) -> float:
        """How large it is."""
        return float(self.shape.area)

    @property
    def middle_mm(self) -> tuple[float, float]:
        """The middle of its box (x, y) [mm]."""
        left, top, right, bottom = self.shape.bounds
        return 0.5 * (left + right), 0.5 * (top + bottom)

    @property
    def depth_mm(self) -> float:
        """How far its innermost place lies from its border [mm]."""
        parts = [shapely.maximum_inscribed_circle(part) for part in self.shape.geoms]
        return max(float(part.length) for part in parts)

    def rings(self) -> list[Points]:
        """Its border as closed polylines (n, 2) [mm]."""
        return [shapely.get_coordinates(line)[:-1] for part in self.shape.geoms for line in _lines(part)]

    def away_rows(self, grid: PixelGrid, y0: int, y1: int) -> F32:
        """Distance [mm] (rows, cols) from the border of the damage, negative inside it; round a tube the short way."""
        shape: Any = self.shape
        if self.wraps_mm is not None:
            turns = (-self.wraps_mm, 0.0, self.wraps_mm)
            shape = _polygons(shapely.union_all([translate(shape, turn) for turn in turns]))
        rings = [shapely.get_coordinates(line)[:-1] for part in shape.geoms for line in _lines(part)]
        return np.asarray(-distance_field_of_rings(rings, shape, grid).rows(y0, y1))


def damage_of_ring(outline: Outline, ring: Points, *, field: str = "damage") -> Damage:
    """The damage inside the closed polyline `ring` (n, 2) [mm]; what lies off the face is left out.

    Raises PictureError for a line that crosses itself, InputError for one that lies off the face or is a mere speck.
    """
    if ring.size and np.abs(ring).max() > _FARTHEST_MM:
        size = _ON_IT.format(wide=outline.width_mm, high=outline.height_mm)
        raise InputError(Problem("it does not lie on the face", size, field=field))
    check_ring(ring, field=field)
    return _on_face(outline, shapely.Polygon(ring), field=field)


def damage_of_mask(outline: Outline, mask: PictureData, *, field: str = "mask") -> Damage:
    """The damage on a picture that fills its face's box: brushed over or circled in bright green, or white on black.

    Raises PictureError where the picture has other proportions, or nothing is brushed on it.
    """
    aspect = outline.width_mm / outline.height_mm
    if abs(mask.width_px / mask.height_px / aspect - 1.0) > _ALIKE:
        rule = f"{mask.width_px} x {mask.height_px} pixels have other proportions than the face"
        remedy = f"the picture must fill the face's box, {outline.width_mm:.0f} x {outline.height_mm:.0f} mm: cut it so"
        _refuse(mask, rule, remedy)
    step = max(1, max(mask.width_px, mask.height_px) // _LOOK_PX)
    brushed, circled = _brushed(mask, step)
    scale = step * np.array([outline.width_mm / mask.width_px, outline.height_mm / mask.height_px])
    rings = [ring * scale for ring in rings_at(brushed, 0.5)]
    if not rings:
        _refuse(mask, "nothing is brushed on it", "brush over the damage in bright green, or in white on black")
    # Rings inside one another take turns: damage, and what is left whole in it; a line round it means its inside.
    shape: Any = shapely.Polygon()
    for ring in sorted(rings, key=lambda ring: -float(shapely.Polygon(ring).area)):
        one: Any = shapely.Polygon(ring)
        shape = shape.union(one) if circled else shape.symmetric_difference(one)
    return _on_face(outline, shape, field=field, file=mask.file)


def _brushed(mask: PictureData, step: int) -> tuple[F32, bool]:
    """How much every pixel at `step` is brushed, 0..1, and whether a closed line stands for all within it."""
    pixels = mask.pixels[::step, ::step]
    if pixels.ndim == 3 and (green := green_paint(pixels)).mean() > _GREEN_LEAST:
        return green.astype(np.float32), True
    full = float(np.iinfo(pixels.dtype).max)
    light = pixels.astype(np.float32) / full
    light = light if light.ndim == 2 else light @ np.array([0.299, 0.587, 0.114], np.float32)
    if float(np.mean((light > 0.2) & (light < 0.8))) > _BETWEEN:
        _refuse(mask, "no bright green is brushed on it, and it is not white on black", "brush in green (0, 255, 0)")
    return np.asarray(light, dtype=np.float32), False


def _on_face(outline: Outline, shape: Any, *, field: str, file: str = "") -> Damage:
    on_it = _polygons(shape.intersection(outline.polygon))
    if on_it.area < LEAST_MM2:
        size = _ON_IT.format(wide=outline.width_mm, high=outline.height_mm)
        off = shape.area >= LEAST_MM2
        rule = "it does not lie on the face" if off else f"it is smaller than {LEAST_MM2:g} mm2"
        raise InputError(Problem(rule, size, file, field=field))
    return Damage(on_it, outline.width_mm if outline.wraps else None)


def _polygons(shape: Any) -> shapely.MultiPolygon:
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > 0]
    return shapely.MultiPolygon(parts)


def _lines(part: Any) -> Sequence[Any]:
    return [part.exterior, *part.interiors]


def _refuse(picture: PictureData, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(rule, remedy, picture.file)) from None
