"""The picture of a whole part: faces laid out to one scale on a neutral ground, rendered in strips."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem
from layerpreview.finish.engine import Engine
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Appearance, make_look
from layerpreview.finish.stack import Stack
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.bare import bare_of
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.maps import BuildMaps, FacePicture, pixel_grid
from layerpreview.scheme import Base, Scheme

GAP = 0.06
WIDE = 1.5
"""How much wider than high the picture is wanted; rows are broken to come near it."""


@dataclass(frozen=True)
class Layout:
    """Top left corners of the faces [mm], in their order, on a picture `width_mm` wide with `border_mm` around."""

    corners_mm: tuple[tuple[float, float], ...]
    width_mm: float
    border_mm: float


def laid_out(sizes_mm: Sequence[tuple[float, float]], *, margin: float) -> Layout:
    """Place faces of (width, height) [mm] in centred rows; `margin` and the gap are shares of the widest.

    The row breaks are the ones that make the picture's proportions come nearest to 3:2; order is kept.
    """
    widest = max(width for width, _ in sizes_mm)
    gap, border = GAP * widest, margin * widest
    best: tuple[float, list[list[int]]] | None = None
    for count in range(1, len(sizes_mm) + 1):
        rows = _broken(sizes_mm, count, gap)
        width, height = _extent(sizes_mm, rows, gap)
        misfit = abs(math.log(width / height / WIDE))
        if best is None or misfit < best[0] - 1e-9:
            best = (misfit, rows)
    assert best is not None
    rows = best[1]
    total = _extent(sizes_mm, rows, gap)[0]
    corners: dict[int, tuple[float, float]] = {}
    top = border
    for row in rows:
        tall = max(sizes_mm[i][1] for i in row)
        left = border + 0.5 * (total - _row_width(sizes_mm, row, gap))
        for i in row:
            corners[i] = (left, top + 0.5 * (tall - sizes_mm[i][1]))
            left += sizes_mm[i][0] + gap
        top += tall + gap
    return Layout(tuple(corners[i] for i in range(len(sizes_mm))), total + 2.0 * border, border)


def _broken(sizes_mm: Sequence[tuple[float, float]], count: int, gap: float) -> list[list[int]]:
    """Fill `count` rows in order, each up to an even share of the whole length."""
    share = sum(width + gap for width, _ in sizes_mm) / count
    rows: list[list[int]] = [[]]
    used = 0.0
    for i, (width, _) in enumerate(sizes_mm):
        if rows[-1] and len(rows) < count and used + 0.5 * (width + gap) > share * len(rows):
            rows.append([])
        rows[-1].append(i)
        used += width + gap
    return rows


def _row_width(sizes_mm: Sequence[tuple[float, float]], row: Sequence[int], gap: float) -> float:
    return sum(sizes_mm[i][0] for i in row) + gap * (len(row) - 1)


def _extent(sizes_mm: Sequence[tuple[float, float]], rows: Sequence[Sequence[int]], gap: float) -> tuple[float, float]:
    width = max(_row_width(sizes_mm, row, gap) for row in rows)
    height = sum(max(sizes_mm[i][1] for i in row) for row in rows) + gap * (len(rows) - 1)
    return width, height


F32 = NDArray[np.float32]

SURROUND_LIN = 0.1842
"""Neutral ground of L* 50: neither dark bursts nor bright metal drown in it."""
BAND_PX = 16_384
STRIP_PX = 200_000
MOST_HEIGHT_PX = 30_000


@dataclass(frozen=True, eq=False)
class PlacedFace:
    """A face and where its top left pixel lies on the picture."""

    name: str
    picture: FacePicture
    left_px: int
    top_px: int


@dataclass(frozen=True, eq=False)
class Scene:
    """Faces on a picture of `width_px` by `height_px` pixels of `pixel_mm` each."""

    faces: tuple[PlacedFace, ...]
    width_px: int
    height_px: int
    pixel_mm: float

    @property
    def band_rows(self) -> int:
        """Rows of one block of work: the grid on which every picture is cut, however many strips or threads."""
        return max(1, BAND_PX // max(face.picture.grid.n_cols for face in self.faces))

    def strips(self, strip_px: int = STRIP_PX, *, multiple: int = 1) -> list[tuple[int, int]]:
        """Row ranges of about `strip_px` pixels that cover the picture, each of whole bands and of `multiple` rows."""
        unit = self.band_rows * multiple
        rows = unit * max(1, strip_px // (unit * self.width_px))
        return [(y, min(y + rows, self.height_px)) for y in range(0, self.height_px, rows)]

    def render_strip(self, appearances: Sequence[Appearance], y0: int, y1: int) -> tuple[list[F32], F32]:
        """Linear RGB (rows, width, 3) of one strip under each light, on neutral ground, and its cover (rows, width).

        `y0` must be a multiple of `band_rows`.
        """
        engines = [[Engine(look) for look in appearance.looks] for appearance in appearances]
        ground = np.full((y1 - y0, self.width_px), SURROUND_LIN, dtype=np.float32)
        # One plane a channel: every later step then runs along the memory.
        out = [np.repeat(ground[None], 3, axis=0) for _ in appearances]
        covered = np.zeros((y1 - y0, self.width_px), dtype=np.float32)
        for i, face in enumerate(self.faces):
            self._render_face(face, [engine[i] for engine in engines], out, covered, y0, y1)
        return [np.moveaxis(picture, 0, 2) for picture in out], covered

    def _render_face(
        self, face: PlacedFace, engines: list[Engine], out: list[F32], covered: F32, y0: int, y1: int
    ) -> None:
        """Put one face into the strip: its maps at once, its pixels band by band, each where the face covers it."""
        first, last = max(y0 - face.top_px, 0), min(y1 - face.top_px, face.picture.grid.n_rows)
        if first >= last:
            return
        strip, size = face.picture.rows(first, last), (last - first, face.picture.grid.n_cols)
        cover, seats = strip.cover.reshape(size), face.picture.maps.seats
        for top in range(y0 - y0 % self.band_rows, y1, self.band_rows):
            begin, end = max(top - face.top_px, first), min(top + self.band_rows - face.top_px, last)
            rows = slice(begin - first, max(begin, end) - first)
            across = np.flatnonzero(cover[rows].any(axis=0))
            if not across.size:
                continue
            cols = slice(int(across[0]), int(across[-1]) + 1)
            down, right = first + face.top_px - y0, face.left_px
            there = slice(rows.start + down, rows.stop + down), slice(cols.start + right, cols.stop + right)
            covered[there] = np.maximum(covered[there], cover[rows, cols])
            bare, builds = _cut(strip.bare, size, rows, cols), _cut(strip.builds, size, rows, cols)
            path = None if strip.path is None else _cut(strip.path, size, rows, cols)
            kept = _cut(strip.kept, size, rows, cols)
            for engine, picture in zip(engines, out, strict=True):
                below = picture[(slice(None), *there)]
                shown = seats.over(engine.pixels(bare, builds, path), kept, engine.look.light).reshape(below.shape)
                shown -= below
                shown *= cover[rows, cols]
                below += shown


def _cut(values: F32, size: tuple[int, int], rows: slice, cols: slice) -> F32:
    """The columns of some rows (k, n) of values (k, P) that belong to a strip of `size` (rows, cols)."""
    part = values.reshape(len(values), *size)[:, rows, cols]
    return part.reshape(len(values), part.shape[1] * part.shape[2])


def make_scene(
    scheme: Scheme,
    *,
    width_px: int,
    margin: float = 0.0,
    view: View = STRAIGHT_ON,
    shapes: Sequence[FaceShape] | None = None,
) -> Scene:
    """Lay the scheme's faces out to scale and prepare their maps.

    `width_px` [px]: width of the whole picture; `margin`: neutral ground around it, as a share of the widest face;
    `shapes`: the faces' shapes where they were made already. Raises InputError and PictureError.
    """
    shapes = shapes_of(scheme) if shapes is None else list(shapes)
    layout = laid_out([(shape.outline.width_mm, shape.outline.height_mm) for shape in shapes], margin=margin)
    pixel_mm = layout.width_mm / width_px
    highest_px = max(shape.outline.height_mm for shape in shapes) / pixel_mm
    if highest_px > MOST_HEIGHT_PX:
        rule = f"the picture would be {width_px} pixels wide and over {highest_px:.0f} high"
        raise InputError(Problem(rule, "check the sizes of the faces and their units", scheme.shown_file))
    placed = []
    for shape, (left_mm, top_mm) in zip(shapes, layout.corners_mm, strict=True):
        grid = pixel_grid(shape.outline, pixel_mm)
        bare = bare_of(scheme.base_for(shape.face.name), shape, grid, view)
        maps = BuildMaps(scheme, shape, grid, openness=bare.openness)
        left_px, top_px = (math.floor(mm / pixel_mm + 1e-6) for mm in (left_mm, top_mm))
        placed.append(PlacedFace(shape.face.name, FacePicture(bare, maps), left_px, top_px))
    border_px = round(layout.border_mm / pixel_mm)
    height_px = max(face.top_px + face.picture.grid.n_rows for face in placed) + border_px
    width = max(width_px, max(face.left_px + face.picture.grid.n_cols for face in placed))
    return Scene(tuple(placed), width, height_px, pixel_mm)


def turned(scheme: Scheme, scene: Scene, view: View) -> Scene:
    """The same scene from another view: only the base's brightness changes, maps and layout are shared."""
    faces = []
    for face in scene.faces:
        bare = bare_of(scheme.base_for(face.name), face.picture.shape, face.picture.grid, view)
        faces.append(replace(face, picture=face.picture.lit_anew(bare)))
    return replace(scene, faces=tuple(faces))


def appearances_of(
    scheme: Scheme, scene: Scene, lights: Sequence[str], *, view: View = STRAIGHT_ON, bare: bool = False
) -> list[Appearance]:
    """The finish (or with `bare` the bases alone) under each light, ready for `Scene.render_strip`."""
    return [
        appearance_with(scheme, scene, light, lambda base: stack_of(scheme, view, base=base, bare=bare))
        for light in lights
    ]


def appearance_with(scheme: Scheme, scene: Scene, light: str, stack: Callable[[Base], Stack]) -> Appearance:
    """The part under `light`, each face with the layers that `stack` gives for its base."""
    looks = {}
    for face in scene.faces:
        base, tint = scheme.base_for(face.name), face.picture.bare.tint_rgb
        if (base, tint) not in looks:
            looks[base, tint] = make_look(stack(base), light=light, observer_deg=scheme.observer_deg, tint_rgb=tint)
    chosen = (looks[scheme.base_for(face.name), face.picture.bare.tint_rgb] for face in scene.faces)
    return Appearance(light, tuple(chosen))
