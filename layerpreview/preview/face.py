"""One face at one picture size: its outline, its coverage and the build of every layer, row by row."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.preview.base import Bare
from layerpreview.scheme import Burst, DyeCoat, Face, OpaqueCoat, Opening
from layerpreview.spray import burst_build
from layerpreview.surface.distance import DistanceField, coverage, distance_field
from layerpreview.surface.outline import Outline, built_in_outline, built_in_ring, placed, with_openings
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]

MEAN_BUILD_PX = 600


@dataclass(frozen=True)
class FaceRows:
    """A strip of a face: `bare` (1 or 3, P), `builds` (layers, P) and `cover` (P,) the share of each pixel inside."""

    bare: F32
    builds: F32
    cover: F32


class BuildMaps:
    """Coverage and builds of a face on a pixel grid; `rows` gives any strip, the same whatever the strips."""

    def __init__(self, outline: Outline, grid: PixelGrid, coats: Sequence[DyeCoat | OpaqueCoat]) -> None:
        self.grid = grid
        self._edge = distance_field(outline, grid, edges="all", seam=True)
        self._bursts = [coat.bursts for coat in coats]
        sources = {burst.source for bursts in self._bursts for burst in bursts}
        self._fields: dict[str, DistanceField] = {
            source: distance_field(outline, grid, edges=source) for source in sorted(sources)
        }

    def rows(self, y0: int, y1: int) -> tuple[F32, F32]:
        """Builds (layers, P) and cover (P,) of rows y0 to y1."""
        away = {source: field.rows(y0, y1).ravel() for source, field in self._fields.items()}
        builds = np.empty((len(self._bursts), (y1 - y0) * self.grid.n_cols), dtype=np.float32)
        for row, bursts in zip(builds, self._bursts, strict=True):
            row[:] = _build(bursts, away)
        return builds, coverage(self._edge.rows(y0, y1), self.grid.pixel_mm).ravel()


class FacePicture:
    """A face on a pixel grid: its base and its build maps, any strip of them."""

    def __init__(self, outline: Outline, bare: Bare, maps: BuildMaps) -> None:
        self.outline, self.bare, self.maps = outline, bare, maps

    @property
    def grid(self) -> PixelGrid:
        return self.maps.grid

    def rows(self, y0: int, y1: int) -> FaceRows:
        """Rows y0 to y1 of the face."""
        light = np.maximum(self.bare.source.rows(y0, y1), 0.0)  # a cubic undershoots beside a bright spot
        bare = light.reshape(-1, 3).T if light.ndim == 3 else light.reshape(1, -1)
        return FaceRows(bare, *self.maps.rows(y0, y1))


def pixel_grid(outline: Outline, pixel_mm: float) -> PixelGrid:
    """The grid of pixels of `pixel_mm` that covers an outline's bounding box."""
    rows, cols = (max(1, math.ceil(size / pixel_mm - 1e-6)) for size in (outline.height_mm, outline.width_mm))
    return PixelGrid(pixel_mm=pixel_mm, n_rows=rows, n_cols=cols)


def mean_builds(outline: Outline, coats: Sequence[DyeCoat | OpaqueCoat]) -> list[float]:
    """Mean build of each coat over the painted area, on a grid of its own (the result is the same at every size)."""
    if not any(coat.bursts for coat in coats):
        return [1.0] * len(coats)
    grid = pixel_grid(outline, max(outline.width_mm, outline.height_mm) / MEAN_BUILD_PX)
    builds, cover = BuildMaps(outline, grid, coats).rows(0, grid.n_rows)
    return [float(value) for value in (builds @ cover) / max(float(cover.sum()), 1e-9)]


def _build(bursts: tuple[Burst, ...], away_mm: dict[str, F32]) -> F32:
    """Bursts of one coat add as paint adds, over the largest of their centres; no burst is one even coat."""
    if not bursts:
        return np.ones(1, dtype=np.float32)
    centre = max(burst.centre for burst in bursts)
    falls = [burst_build(away_mm[burst.source], width_mm=burst.width_mm, fall_off=burst.fall_off) for burst in bursts]
    return np.asarray(centre + (1.0 - centre) * np.sum(falls, axis=0, dtype=np.float32), dtype=np.float32)


def outline_of(face: Face) -> Outline:
    """The outline of a face with its openings, in millimetres.

    Raises PictureError for a mask or drawing that cannot be used and InputError for openings that do not fit.
    """
    outline = _outer(face)
    rings = {
        opening.name: placed(_ring(opening), centre_mm=opening.centre_mm, turn_deg=opening.turn_deg)
        for opening in face.openings
    }
    return with_openings(outline, rings) if rings else outline


def _sizes(item: Face | Opening) -> dict[str, float]:
    names = ("width_mm", "height_mm", "diameter_mm", "depth_mm", "length_mm")
    return {name: value for name in names if (value := getattr(item, name, None)) is not None}


def _outer(item: Face | Opening) -> Outline:
    # Tracing and drawings bring libraries of their own: loaded only where a scheme uses them.
    if item.picture is not None:
        from layerpreview.surface.trace import trace_mask

        return trace_mask(read_picture(item.picture), width_mm=item.width_mm, height_mm=item.height_mm).outline
    if item.drawing is not None:
        from layerpreview.surface.drawing import read_drawing

        return read_drawing(item.drawing, width_mm=item.width_mm, height_mm=item.height_mm).outline
    return built_in_outline(item.shape, **_sizes(item))


def _ring(opening: Opening) -> NDArray[np.float64]:
    if opening.picture is not None or opening.drawing is not None:
        return _outer(opening).outer
    return built_in_ring(opening.shape, **_sizes(opening))
