"""The picture of a whole part: faces laid out to scale on a neutral ground, rendered in strips."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.preview.base import bare_of
from layerpreview.preview.engine import Engine
from layerpreview.preview.face import BuildMaps, FacePicture, outline_of, pixel_grid
from layerpreview.preview.look import Look, make_look
from layerpreview.preview.paint import stack_of
from layerpreview.preview.sheen import window_sheen
from layerpreview.preview.view import STRAIGHT_ON, View
from layerpreview.scheme import Scheme
from layerpreview.surface.outline import Outline

F32 = NDArray[np.float32]

SURROUND_LIN = 0.1842
"""Neutral ground of L* 50: neither dark bursts nor bright metal drown in it."""
BAND_PX = 16_384
STRIP_PX = 200_000
GAP = 0.06


@dataclass(frozen=True, eq=False)
class PlacedFace:
    """A face and where its top left pixel lies on the picture."""

    name: str
    picture: FacePicture
    left_px: int
    top_px: int


@dataclass(frozen=True, eq=False)
class Scene:
    """Faces on a picture of `width_px` by `height_px` pixels of `pixel_mm` each; `sheen` mirrors a window in them."""

    faces: tuple[PlacedFace, ...]
    width_px: int
    height_px: int
    pixel_mm: float
    sheen: bool = False

    @property
    def band_rows(self) -> int:
        """Rows of one block of work: the grid on which every picture is cut, however many strips or threads."""
        return max(1, BAND_PX // self.width_px)

    def strips(self, strip_px: int = STRIP_PX, *, multiple: int = 1) -> list[tuple[int, int]]:
        """Row ranges of about `strip_px` pixels that cover the picture, each of whole bands and of `multiple` rows."""
        unit = self.band_rows * multiple
        rows = unit * max(1, strip_px // (unit * self.width_px))
        return [(y, min(y + rows, self.height_px)) for y in range(0, self.height_px, rows)]

    def render_strip(self, looks: Sequence[Look], y0: int, y1: int) -> tuple[list[F32], F32]:
        """Linear RGB (rows, width, 3) of one strip under each look, on the neutral ground, and its cover (rows, width).

        `y0` must be a multiple of `band_rows`. A look with fewer layers than the faces (the bare base) uses the first.
        """
        engines = [Engine(look) for look in looks]
        out = [np.full((y1 - y0, self.width_px, 3), SURROUND_LIN, dtype=np.float32) for _ in looks]
        covered = np.zeros((y1 - y0, self.width_px), dtype=np.float32)
        for top in range(y0, y1, self.band_rows):
            bottom = min(top + self.band_rows, y1)
            for face in self.faces:
                self._render_band(face, engines, out, covered, top, bottom, y0)
        return out, covered

    def _render_band(
        self, face: PlacedFace, engines: list[Engine], out: list[F32], covered: F32, top: int, bottom: int, y0: int
    ) -> None:
        grid = face.picture.grid
        first, last = max(top - face.top_px, 0), min(bottom - face.top_px, grid.n_rows)
        if first >= last:
            return
        strip = face.picture.rows(first, last)
        here = np.flatnonzero(strip.cover)
        if not here.size:
            return
        rows = slice(first + face.top_px - y0, last + face.top_px - y0)
        cols = slice(face.left_px, face.left_px + grid.n_cols)
        covered[rows, cols] = strip.cover.reshape(last - first, grid.n_cols)
        bare, builds = np.take(strip.bare, here, axis=1), np.take(strip.builds, here, axis=1)
        outline = face.picture.outline
        mirrored = (
            window_sheen(grid, first, last, width_mm=outline.width_mm, height_mm=outline.height_mm)[here]
            if self.sheen
            else np.float32(0.0)
        )
        cover = strip.cover[here]
        for engine, picture in zip(engines, out, strict=True):
            rgb = np.full((3, strip.cover.size), SURROUND_LIN, dtype=np.float32)
            rgb[:, here] += cover * (engine.pixels(bare, builds) + mirrored - np.float32(SURROUND_LIN))
            picture[rows, cols] = rgb.T.reshape(last - first, grid.n_cols, 3)


def make_scene(
    scheme: Scheme,
    *,
    width_px: int,
    margin: float = 0.0,
    view: View = STRAIGHT_ON,
    outlines: Sequence[Outline] | None = None,
) -> Scene:
    """Lay the scheme's faces out side by side to scale and prepare their maps.

    `width_px` [px]: width of the whole picture; `margin`: neutral ground around it, as a share of the widest face;
    `outlines`: the faces' outlines where they were made already. Raises InputError and PictureError.
    """
    shapes = [outline_of(face) for face in scheme.faces] if outlines is None else list(outlines)
    widest = max(shape.width_mm for shape in shapes)
    border, gap = margin * widest, GAP * widest
    total = 2 * border + sum(shape.width_mm for shape in shapes) + gap * (len(shapes) - 1)
    pixel_mm = total / width_px
    tall = max(shape.height_mm for shape in shapes)
    placed = []
    left = border
    for face, shape in zip(scheme.faces, shapes, strict=True):
        grid = pixel_grid(shape, pixel_mm)
        bare = bare_of(scheme.base, shape, grid, view)
        picture = FacePicture(shape, bare, BuildMaps(shape, grid, scheme.coats))
        top = border + 0.5 * (tall - shape.height_mm)
        placed.append(
            PlacedFace(face.name, picture, math.floor(left / pixel_mm + 1e-6), math.floor(top / pixel_mm + 1e-6))
        )
        left += shape.width_mm + gap
    height_px = max(face.top_px + face.picture.grid.n_rows for face in placed) + round(border / pixel_mm)
    width = max(width_px, max(face.left_px + face.picture.grid.n_cols for face in placed))
    return Scene(tuple(placed), width, height_px, pixel_mm)


def turned(scheme: Scheme, scene: Scene, view: View) -> Scene:
    """The same scene from another view: only the base's brightness changes, maps and layout are shared."""
    faces = []
    for face in scene.faces:
        bare = bare_of(scheme.base, face.picture.outline, face.picture.grid, view)
        faces.append(replace(face, picture=FacePicture(face.picture.outline, bare, face.picture.maps)))
    return replace(scene, faces=tuple(faces))


def looks_of(
    scheme: Scheme, scene: Scene, lights: Sequence[str], *, view: View = STRAIGHT_ON, bare: bool = False
) -> list[Look]:
    """The finish (or with `bare` the base alone) under each light, ready for `Scene.render_strip`."""
    stack = stack_of(scheme, view, bare=bare)
    tint = scene.faces[0].picture.bare.tint_rgb
    return [make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=tint) for light in lights]
