"""A part traced in a photo, put square and to scale: its outline in true mm, and the photo of its box to lie on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.surface import square_words as words
from layerpreview.surface.camera_pose import usual_focal_px
from layerpreview.surface.outline import Outline, Points, make_outline, with_openings
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement
from layerpreview.surface.rectified import squared
from layerpreview.surface.square import Square
from layerpreview.surface.trace import Traced

_MOST_PIXELS = 4_000_000  # of the picture of the box: 0.2 mm on a body of 0.4 m
_MARGIN_PX = 2
RIM_MM = 2.0
_LEAST_RING = 12  # points: smaller is a single bright facet
_SLIM_MM, _GRID_MM = 0.02, 0.001


@dataclass(frozen=True, eq=False)
class PlacedPart:
    """A part in the plane of `square`: its outline, whose (0, 0) lies at (`left_mm`, `top_mm`) there [mm]."""

    outline: Outline
    square: Square
    left_mm: float
    top_mm: float


@dataclass(frozen=True, eq=False)
class BoxPicture:
    """The photo of a part's box seen straight on, `width_mm` wide, its corner at (`left_mm`, `top_mm`) in the plane of
    the part's square [mm]; `known` (h, w): which pixels are surely the part."""

    picture: PictureData
    width_mm: float
    known: NDArray[np.bool_]
    left_mm: float
    top_mm: float


def placed(traced: Traced, square: Square, *, file: str = "") -> PlacedPart:
    """Return a traced part in the millimetres of `square`."""
    outer, openings = traced.rings_px()
    ring_mm = square.to_mm(outer)
    left, top = (float(v) for v in ring_mm.min(axis=0))
    outline = make_outline(_slim(ring_mm), file=file)
    corner = np.array([left, top])
    named = {name: _slim(square.to_mm(ring) - corner) for name, ring in openings.items()}
    return PlacedPart(with_openings(outline, named, file=file), square, left, top)


def of_width(
    picture: PictureData, outer_px: Points, *, part_width_mm: float, turn_deg: float = 0.0, focal35_mm: float | None
) -> Square:
    """The scale from the true width of the part itself, once it is turned by `turn_deg` clockwise; no tilt is taken
    out. `outer_px` (n, 2): its outline in the photo."""
    turn = np.radians(turn_deg)
    across = outer_px @ np.array([np.cos(turn), -np.sin(turn)])
    ends = outer_px[[across.argmin(), across.argmax()]]
    scale = part_width_mm / float(np.ptp(across))
    middle = np.array([picture.width_px, picture.height_px]) / 2
    placement = Placement(np.array([[1 / scale, 0, middle[0]], [0, 1 / scale, middle[1]], [0, 0, 1.0]]))
    focal = usual_focal_px((picture.width_px, picture.height_px), focal35_mm)
    said = (
        words.scale(f"the part's width of {part_width_mm:g} mm", scale),
        words.not_squared(),
        words.lens(focal35_mm),
    )
    return Square(placement, "width", placement.to_mm(ends), ends, scale, None, focal * scale, scale / 2, said)


def scaled(square: Square, share: float) -> Square:
    """Return `square` with every millimetre `share` times as long."""
    matrix = square.placement.matrix @ np.diag([1 / share, 1 / share, 1.0])
    return replace(
        square,
        placement=Placement(matrix),
        known_mm=square.known_mm * share,
        mm_per_px=square.mm_per_px * share,
        distance_mm=square.distance_mm * share,
        residual_mm=square.residual_mm * share,
    )


def turned(square: Square, turn_deg: float) -> Square:
    """Return `square` with what it shows turned by `turn_deg` clockwise."""
    turn = np.radians(turn_deg)
    back = np.array([[np.cos(turn), np.sin(turn), 0], [-np.sin(turn), np.cos(turn), 0], [0, 0, 1.0]])
    known = square.known_mm @ back[:2, :2]
    return replace(square, placement=Placement(square.placement.matrix @ back), known_mm=known)


def box_picture(
    picture: PictureData,
    part: PlacedPart,
    *,
    margin_mm: float = 0.0,
    rim_mm: float = RIM_MM,
    covered: Sequence[Points] = (),
) -> BoxPicture:
    """Return the photo of the part's box with `margin_mm` and at least 2 pixels round it.

    `covered`: rings (n, 2) [px of the photo] within the outline that are no part of it. Its middle is the middle of the
    outline's box, to half a pixel where nothing had to be turned or squared: pixels of the photo are then kept as they
    are. Of the part is what lies `rim_mm` and 2 pixels from its edge: a rim turns away and is darker.
    """
    outline = part.outline
    area = outline.width_mm * outline.height_mm
    mm = max(part.square.mm_per_px, float(np.sqrt(area / _MOST_PIXELS)))
    margin = max(_MARGIN_PX, int(np.ceil(margin_mm / mm)))
    wide, high = (int(np.ceil(size / mm)) + 2 * margin for size in (outline.width_mm, outline.height_mm))
    left = part.left_mm + (outline.width_mm - wide * mm) / 2
    top = part.top_mm + (outline.height_mm - high * mm) / 2
    if mm == part.square.mm_per_px and _plain(part.square):
        corner = part.square.px_from_mm(np.array([[left, top]]))
        left, top = (float(v) for v in part.square.to_mm(np.rint(corner))[0])
    shown = squared(
        picture, part.square, left_mm=left, top_mm=top, width_mm=wide * mm, height_mm=high * mm, mm_per_px=mm
    )
    corner_mm = np.array([part.left_mm, part.top_mm])
    holes = [shapely.Polygon(part.square.to_mm(ring) - corner_mm).buffer(0) for ring in covered]
    own = outline.polygon.difference(shapely.union_all(holes))
    inside = _filled_in(own, (high, wide), mm=mm, left_mm=part.left_mm - left, top_mm=part.top_mm - top, rim_mm=rim_mm)
    if shown.alpha is not None:
        inside &= shown.alpha > 0
    return BoxPicture(shown, wide * mm, inside, left, top)


def rings_in_photo(mask: NDArray[np.bool_], box: BoxPicture, square: Square) -> list[Points]:
    """Return what `mask` (h, w) marks in a box picture as rings, each (n, 2) [px of the photo]."""
    from skimage.measure import find_contours

    if not mask.any():
        return []
    pixel_mm = box.width_mm / mask.shape[1]
    rings = (line[:, ::-1] - 0.5 for line in find_contours(np.pad(mask.astype(np.float32), 1), 0.5))
    return [square.px_from_mm(ring * pixel_mm + (box.left_mm, box.top_mm)) for ring in rings if len(ring) > _LEAST_RING]


def _filled_in(
    polygon: Any, shape: tuple[int, int], *, mm: float, left_mm: float, top_mm: float, rim_mm: float
) -> NDArray[np.bool_]:
    from PIL import Image, ImageDraw

    within = polygon.buffer(-max(rim_mm, 2 * mm))
    mask = Image.new("1", (shape[1], shape[0]))
    pen = ImageDraw.Draw(mask)
    for piece in getattr(within, "geoms", [within]):
        for ring, value in ((piece.exterior, 1), *((hole, 0) for hole in piece.interiors)):
            at = (np.asarray(ring.coords)[:, :2] + (left_mm, top_mm)) / mm - 0.5
            if len(at) > 3:
                pen.polygon([(float(x), float(y)) for x, y in at], fill=value)
    return np.array(mask)


def _plain(square: Square) -> bool:
    """Whether its millimetres run along the pixels, all of one size."""
    matrix = square.placement.matrix / square.placement.matrix[2, 2]
    return bool(
        np.allclose([matrix[0, 1], matrix[1, 0], *matrix[2, :2]], 0.0) and np.isclose(matrix[0, 0], matrix[1, 1])
    )


def _slim(ring: Points) -> Points:
    """The ring with no more points than are needed, still without a crossing when written to a thousandth of a mm."""
    slim = shapely.set_precision(shapely.Polygon(ring).simplify(_SLIM_MM), _GRID_MM)
    largest = max(shapely.get_parts(slim), key=lambda piece: float(piece.area))
    return np.asarray(shapely.get_coordinates(largest.exterior)[:-1])
