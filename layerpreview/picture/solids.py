"""The scheme's faces put together: which of them are one solid, its body, and what each of its faces looks like.

A front, a back and a side of one outline are one plate; an unrolled shell is a tube; every other face is a plate of its
own laid out beside them. Sizes that the scheme does not give are assumed, for pictures only.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.finish.texture import clear_lean, is_textured
from layerpreview.finish.view import STRAIGHT_ON
from layerpreview.picture.bare import bare_of, cast_of, texture_lookup
from layerpreview.picture.faces import FaceShape, plain_side
from layerpreview.picture.maps import BuildMaps, pixel_grid
from layerpreview.picture.seats import Seats
from layerpreview.scheme import Base, Form, Scheme
from layerpreview.surface.body import BACK, FRONT, SIDE, Body
from layerpreview.surface.lookup import Lookup
from layerpreview.surface.outline import mirrored
from layerpreview.surface.plate import Plate
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.shell import Shell
from layerpreview.threads import thread_pool

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

USUAL_EDGE_MM, USUAL_BELLY_MM = 5.0, 6.0
THICK_SHARE, THICK_MM = 0.14, (10.0, 45.0)
"""Thickness of a plate that the scheme does not give: a share of its smaller side, within limits (assumed); of a small
part no more than half of that side."""
WALL_SHARE, WALL_MM = 0.02, (1.5, 7.0)
"""Wall of a shell, as a share of its diameter, within limits (assumed)."""
BLIND_SHARE = 0.8
"""How deep an opening goes that front or back alone has, as a share of the thickness (assumed: it is dark in there)."""
MOST_BUILD_POINTS = 3_000_000
_ROWS_AT_ONCE = 64


@dataclass(frozen=True, eq=False)
class Skin:
    """What a face looks like at any place on it.

    `builds` of the layers; `kept`: the share of each masked zone in `seats`; `base`, and of a photo, wood or colour its
    light `bare` (1 or 3 numbers) as it shows straight on in even light; of a textured metal its `texture` instead.
    `beside`: the light of a photo round a side that no face describes.
    `clear_lean`: what of each slope of it shows in the clear.
    """

    name: str
    size_mm: tuple[float, float]
    base: Base
    builds: Lookup
    kept: Lookup
    seats: Seats
    bare: Lookup | None
    texture: Lookup | None
    clear_lean: float
    tint_rgb: tuple[float, float, float] | None
    beside: Lookup | None = None


@dataclass(frozen=True, eq=False)
class Solid:
    """A body and its skins by what a ray meets; with `all_round` it has a back to be turned to."""

    body: Body
    skins: Mapping[int, Skin]
    all_round: bool


@dataclass(frozen=True, eq=False)
class Faces:
    """The faces of one solid."""

    front: FaceShape
    back: FaceShape | None
    side: FaceShape | None

    def size_mm(self, form: Form) -> tuple[float, float]:
        """Width, however it is turned about the upright, and height as it stands before the eye [mm]."""
        outline = self.front.outline
        if outline.wraps:
            return outline.width_mm / np.pi, outline.height_mm
        through_mm = self.thickness_mm(form) + 2.0 * self.belly_mm(form)
        return max(outline.width_mm, through_mm), outline.height_mm

    def thickness_mm(self, form: Form) -> float:
        """Of a plate at its rim: of its side, as stated, or assumed [mm]."""
        if self.side is not None:
            return self.side.outline.height_mm
        least, most = THICK_MM
        return form.thickness_mm or _within(THICK_SHARE * self._smaller_mm, (min(least, 0.5 * self._smaller_mm), most))

    def belly_mm(self, form: Form) -> float:
        """How much higher the middle of a plate stands than its rim: as stated, or assumed [mm]."""
        return min(USUAL_BELLY_MM, 0.03 * self._smaller_mm) if form.belly_mm is None else form.belly_mm

    def edge_mm(self, form: Form) -> float:
        """Radius of a plate's edges: as stated, or assumed, as far as the plate has room [mm]."""
        edge_mm = USUAL_EDGE_MM if form.edge_radius_mm is None else form.edge_radius_mm
        return min(edge_mm, 0.12 * self._smaller_mm)

    @property
    def _smaller_mm(self) -> float:
        return min(self.front.outline.width_mm, self.front.outline.height_mm)


def faces_together(shapes: Sequence[FaceShape]) -> list[Faces]:
    """Which faces are one solid, in the order of their fronts."""
    backs: dict[str, FaceShape] = {}
    for shape in shapes:
        if (front := front_of(shape, shapes)) is not None:
            backs.setdefault(front, shape)  # a second mirror image is a part of its own
    sides = {shape.face.side_of: shape for shape in shapes if shape.face.side_of is not None}
    rest = [shape for shape in shapes if shape not in backs.values() and shape.face.side_of is None]
    return [Faces(shape, backs.get(shape.face.name), sides.get(shape.face.name)) for shape in rest]


def solid_of(scheme: Scheme, faces: Faces, *, even: float, pixel_mm: float) -> Solid:
    """The solid of some faces; `pixel_mm` is how finely it will be looked at, `even` the even part of the light."""
    chosen = {FRONT: faces.front, BACK: faces.back, SIDE: faces.side}
    skins = {
        kind: _skin(scheme, shape, even=even, pixel_mm=pixel_mm) for kind, shape in chosen.items() if shape is not None
    }
    if (beside := photo_beside(scheme, faces, pixel_mm=pixel_mm)) is not None:
        skins[FRONT] = replace(skins[FRONT], beside=beside)
    return Solid(body_of(scheme.form, faces), skins, faces.back is not None or faces.front.outline.wraps)


def sparkling(solid: Solid, *, even: float, phase: float) -> Solid:
    """The same solid with other flakes lit."""
    skins = {}
    for kind, skin in solid.skins.items():
        texture = None if skin.texture is None else texture_lookup(skin.base, *skin.size_mm, even=even, phase=phase)
        skins[kind] = replace(skin, texture=texture)
    return replace(solid, skins=skins)


def front_of(shape: FaceShape, shapes: Sequence[FaceShape]) -> str | None:
    """The face whose back this one is: the one it mirrors, or, of a face called back, the first of its outline."""
    if shape.face.mirror_of is not None:
        return shape.face.mirror_of
    if shape.face.name.casefold() != "back":
        return None
    for other in shapes:
        if other is shape or other.face.side_of is not None or other.outline.wraps:
            continue
        if _mirrored(other, shape):
            return other.face.name
    return None


def _mirrored(front: FaceShape, back: FaceShape) -> bool:
    """Whether one outline is the other's mirror image, to a hundredth of its area."""
    ring = mirrored(back.outline.outer, width_mm=back.outline.width_mm)
    one, other = shapely.Polygon(front.outline.outer), shapely.Polygon(ring)
    return bool(one.symmetric_difference(other).area < 0.01 * one.area)


def body_of(form: Form, faces: Faces) -> Body:
    """The body that faces make together."""
    outline = faces.front.outline
    if outline.wraps:
        diameter_mm = outline.width_mm / np.pi
        return Shell(
            diameter_mm=diameter_mm, height_mm=outline.height_mm, wall_mm=_within(WALL_SHARE * diameter_mm, WALL_MM)
        )
    depth_mm, belly_mm = faces.thickness_mm(form), faces.belly_mm(form)
    behind = _only_behind(faces.front, faces.back)
    return Plate(
        replace(outline, openings={**outline.openings, **{name: ring for name, (ring, _) in behind.items()}}),
        depth_mm=depth_mm,
        edge_mm=faces.edge_mm(form),
        front_belly_mm=belly_mm,
        back_belly_mm=belly_mm,
        pockets_mm={
            **_pockets(faces.front, faces.back, depth_mm),
            **{name: -min(deep or np.inf, BLIND_SHARE * depth_mm) for name, (_, deep) in behind.items()},
        },
    )


def _pockets(front: FaceShape, back: FaceShape | None, depth_mm: float) -> dict[str, float]:
    """How deep openings go that do not go through: as stated, else those that the back does not have."""
    stated = {opening.name: opening.pocket_mm for opening in front.face.openings if opening.pocket_mm is not None}
    found = {name: deep for name, deep in stated.items() if deep < depth_mm}
    if back is None:
        return found
    through = shapely.union_all([shapely.Polygon(ring) for ring in _seen_from_front(back).values()])
    for name, ring in front.outline.openings.items():
        if name not in stated and not shapely.Polygon(ring).intersects(through):
            found[name] = BLIND_SHARE * depth_mm
    return found


def _only_behind(front: FaceShape, back: FaceShape | None) -> dict[str, tuple[F64, float | None]]:
    """Openings that the back alone has, by a name that no opening of the front has: their rings as seen from the front
    (n, 2) [mm], and how deep they are stated to be."""
    if back is None:
        return {}
    stated = {opening.name: opening.pocket_mm for opening in back.face.openings}
    before = shapely.union_all([shapely.Polygon(ring) for ring in front.outline.openings.values()])
    found = {}
    for name, ring in _seen_from_front(back).items():
        if not shapely.Polygon(ring).intersects(before):
            own = name
            while own in front.outline.openings or own in found:
                own += " behind"
            found[own] = (ring, stated.get(name))
    return found


def _seen_from_front(back: FaceShape) -> dict[str, F64]:
    """The openings of a back, mirrored."""
    return {name: mirrored(ring, width_mm=back.outline.width_mm) for name, ring in back.outline.openings.items()}


def _within(value: float, limits: tuple[float, float]) -> float:
    return min(max(value, limits[0]), limits[1])


def _skin(scheme: Scheme, shape: FaceShape, *, even: float, pixel_mm: float) -> Skin:
    base, outline = scheme.base_for(shape.face.name), shape.outline
    least = float(np.sqrt(outline.width_mm * outline.height_mm / MOST_BUILD_POINTS))
    grid = pixel_grid(outline, max(pixel_mm, least))
    bare = None if is_textured(base) else bare_of(base, shape, grid, STRAIGHT_ON)
    maps = BuildMaps(scheme, shape, grid, openness=None if bare is None else bare.openness)
    rows = [(y, min(y + _ROWS_AT_ONCE, grid.n_rows)) for y in range(0, grid.n_rows, _ROWS_AT_ONCE)]
    size_mm = outline.width_mm, outline.height_mm
    with thread_pool() as pool:
        parts = list(pool.map(lambda strip: maps.rows(*strip)[0], rows))
        kept = list(pool.map(lambda strip: maps.seats.shares(*strip), rows))
        lit = [] if bare is None else list(pool.map(lambda strip: bare.lit(*strip)[0], rows))
    return Skin(
        shape.face.name,
        size_mm,
        base,
        _by_place(parts, rows, grid),
        _by_place(kept, rows, grid),
        maps.seats,
        _lookup(np.concatenate(lit).reshape(grid.n_rows, grid.n_cols, -1), grid) if lit else None,
        texture_lookup(base, *size_mm, even=even, phase=0.0) if bare is None else None,
        clear_lean(scheme, base),
        cast_of(base) if bare is None else bare.tint_rgb,
    )


def photo_beside(scheme: Scheme, faces: Faces, *, pixel_mm: float) -> Lookup | None:
    """The light of the front's photo carried on round a side that no face describes; None where there is none."""
    if scheme.base_for(faces.front.face.name).picture is None or faces.side or faces.front.outline.wraps:
        return None
    shape = plain_side(faces.front, faces.thickness_mm(scheme.form))
    grid = pixel_grid(shape.outline, pixel_mm)
    light, _ = bare_of(scheme.base_for(faces.front.face.name), shape, grid, STRAIGHT_ON).lit(0, grid.n_rows)
    return _lookup(light, grid)


def _by_place(parts: Sequence[F32], rows: Sequence[tuple[int, int]], grid: PixelGrid) -> Lookup:
    """Strips of numbers (n, P) as a lookup of n numbers at every place."""
    whole = [
        np.moveaxis(part.reshape(len(part), y1 - y0, grid.n_cols), 0, -1)
        for part, (y0, y1) in zip(parts, rows, strict=True)
    ]
    return _lookup(np.concatenate(whole), grid)


def _lookup(values: F32, grid: PixelGrid) -> Lookup:
    return Lookup(
        np.ascontiguousarray(values, dtype=np.float32), grid.pixel_mm, 0.5 * grid.pixel_mm, 0.5 * grid.pixel_mm
    )
