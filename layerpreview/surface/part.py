"""A part traced in a photo: its outline in mm, found against the ground it lies on, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
import shapely
from PIL import Image, ImageDraw
from scipy import ndimage

from layerpreview.colour import decode_srgb
from layerpreview.errors import PictureError, Problem
from layerpreview.surface.drawn import painted_over
from layerpreview.surface.ground import Grid, Ground, fit_ground, light_of, ln_light
from layerpreview.surface.outline import Points, make_outline, with_openings
from layerpreview.surface.part_doubts import opening_texture
from layerpreview.surface.part_edge import find_edge
from layerpreview.surface.part_mask import Holes, Mask, Region, find_region
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.trace import Traced
from layerpreview.surface.verdict import Sureness, judged

_SEEK_PX = 640  # longer side of the picture in which the part is sought: what is a part shows at this size
_SEEK_LEAST_PX = (
    128  # in a picture smaller than _SEEK_PX: half of it, since two by two pixels even out a JPEG's ripples
)
_EDGE_PX = 2560  # longer side of the picture in which its edge is found: a fifth of a mm on a body of half a metre
_REACH_PX = 5.0  # of the smaller picture: how far its edge may be off
_BLURRED_PX = 1.5  # of the smaller picture: margin about what is left out
_LEAST_PX = 64  # shorter side of a picture
_SLIM_PX = 0.05  # of the larger picture: points nearer to a straight line are left out


@dataclass(frozen=True, eq=False)
class TracedPart:
    """A part's outline and where it lies on its picture, as a mask's (`surface.trace.Traced`), and how sure it is."""

    traced: Traced
    sureness: Sureness


def trace_part(
    picture: PictureData,
    *,
    part_width_mm: float | None = None,
    mm_per_px: float | None = None,
    at: tuple[float, float] | None = None,
    background: tuple[float, float] | None = None,
    holes: Holes = "auto",
    smooth_mm: float = 1.0,
    leave_out: Sequence[Points] = (),
    rough: Points | None = None,
    paint: Mask | None = None,
) -> TracedPart:
    """Return the outline of the largest part reaching into a photo's middle, openings "opening 1" ... from the top.

    part_width_mm : true width [mm] of the part as it lies in the picture, or mm_per_px : about how large a pixel is on
        it [mm]; one of the two; at : a point of the part, background : a
        point of what it lies on, both (x, y) as shares 0..1 of width and height; holes : "keep" all that show ground,
        "close" all, "auto" keep those with the ground's colour and a sharp edge; smooth_mm : standard
        deviation [mm] of the smoothing along the edge, corners kept; leave_out : polygons, each (n, 2) [px of the
        picture], of what is neither part nor ground: a sheet of paper (`surface.square.find_sheet`), a printed frame;
        rough : an outline by hand, (n, 2) [px of the picture], within 2 % of the longer side; paint : (h, w), where the
        picture is hidden by the line it was drawn with (both from `surface.drawn.drawn_outline`).
    A shadow is ground, glare is part. The picture's size bears on the result by its own blur alone: the part is sought
    at 640 pixels, its edge found at 2560 at most.
    Raises PictureError for a picture without a part, too small or of one tone, and for sizes or points out of range.
    """
    _check(picture, part_width_mm, mm_per_px, smooth_mm, {"at": at, "background": background})
    small = ln_light(_unpainted(picture, _seek_px(picture), paint))
    other = _covered(picture, leave_out, small)
    ground = fit_ground(small, at=background, other=other)
    small[other] = ground.ln_rgb[other]
    by_hand = None if rough is None else _covered(picture, [rough], small, margin_px=0.0)
    region = find_region(small, ground, at=at, holes=holes, rough=by_hand)
    if region is None:
        _refuse(
            picture,
            "no part stands out from what lies round it",
            "lay it on a plain sheet of another tone, or name a point of it and one of the background",
        )
    large = _unpainted(picture, _EDGE_PX, paint)
    if other.any():
        _lay_ground(large, ground, _covered(picture, leave_out, large))
    if region.seams is not None and region.seams.any():
        large = painted_over(large, region.seams)
    zoom = np.array([large.shape[1] / small.shape[1], large.shape[0] / small.shape[0]])
    to_full = np.array([picture.width_px / large.shape[1], picture.height_px / large.shape[0]])
    if mm_per_px is not None:
        rough_mm = mm_per_px * float(to_full.mean())
    else:
        assert part_width_mm is not None
        rough_mm = part_width_mm / float(np.ptp(region.outer[:, 0] * zoom[0]))
    edges = [
        find_edge(large, ring * zoom, reach_px=_REACH_PX * float(zoom.mean()), smooth_px=smooth_mm / rough_mm)
        for ring in (region.outer, *region.openings)
    ]
    traced = _traced(picture, [_slim(edge.ring) * to_full for edge in edges], part_width_mm, mm_per_px)
    sureness = judged(
        region,
        ground,
        edges,
        mm=rough_mm,
        size_px=(large.shape[1], large.shape[0]),
        full_px=(picture.width_px, picture.height_px),
        at=at is not None,
        opening_texture=opening_texture(small, ground, region.openings),
        touched=_beside(region, other),
        by_hand=rough is not None,
    )
    return TracedPart(traced, sureness)


def _seek_px(picture: PictureData) -> int:
    longest = max(picture.width_px, picture.height_px)
    return min(_SEEK_PX, max(_SEEK_LEAST_PX, longest // 2, 2 * longest - _SEEK_PX))


def reduced_light(picture: PictureData, longest_px: int) -> Grid:
    """Return the picture as linear light 0..1, (h, w, 3) float32, its longer side at most `longest_px` (box means)."""
    pixels = picture.pixels if picture.pixels.dtype == np.uint8 else (picture.pixels >> 8).astype(np.uint8)
    share = min(1.0, longest_px / max(picture.width_px, picture.height_px))
    size = (max(1, round(picture.width_px * share)), max(1, round(picture.height_px * share)))
    codes = np.asarray(Image.fromarray(pixels).resize(size, Image.Resampling.BOX))
    light = decode_srgb(np.arange(256, dtype=np.float32) / 255)[codes]
    return light if light.ndim == 3 else np.repeat(light[:, :, None], 3, axis=2)


def _unpainted(picture: PictureData, longest_px: int, paint: Mask | None) -> Grid:
    light = reduced_light(picture, longest_px)
    return light if paint is None else painted_over(light, paint)


def _covered(picture: PictureData, polygons: Sequence[Points], grid: Grid, *, margin_px: float = _BLURRED_PX) -> Mask:
    """Which pixels of `grid`, a smaller copy of the picture, polygons [px of the picture] cover, with a margin."""
    high, wide = grid.shape[:2]
    zoom = np.array([wide / picture.width_px, high / picture.height_px])
    mask = Image.new("1", (wide, high))
    for polygon in polygons:
        grown = shapely.Polygon(np.asarray(polygon) * zoom - 0.5).buffer(margin_px, join_style="mitre")
        ImageDraw.Draw(mask).polygon([(float(x), float(y)) for x, y in grown.exterior.coords], fill=1)
    return np.asarray(mask, dtype=np.bool_)


def _lay_ground(light: Grid, ground: Ground, where: Mask) -> None:
    """Make it look as if the ground went on there."""
    rows, cols = np.nonzero(where)
    zoom = np.array(ground.seen.shape) / light.shape[:2]
    near = np.minimum((np.stack([rows, cols], axis=1) + 0.5) * zoom, np.array(ground.seen.shape) - 1).astype(int)
    light[rows, cols] = light_of(ground.ln_rgb[near[:, 0], near[:, 1]])


def _beside(region: Region, other: Mask) -> bool:
    near = ndimage.binary_dilation(other, iterations=3)
    return bool((region.share[near] > 0.5).any())


def _traced(picture: PictureData, rings: list[Points], part_width_mm: float | None, mm_per_px: float | None) -> Traced:
    outer, *openings = _apart(rings)
    corner = outer.min(axis=0)
    mm = mm_per_px or (part_width_mm or 0.0) / float(np.ptp(outer[:, 0]))
    outline = make_outline(outer * mm, file=picture.file)
    named = {f"opening {k}": (ring - corner) * mm for k, ring in enumerate(openings, start=1)}
    return Traced(with_openings(outline, named, file=picture.file), mm, (float(corner[0]), float(corner[1])))


def _apart(rings: list[Points]) -> list[Points]:
    """The outer ring and those openings that lie within it clear of larger ones: a sliver beside one is its edge."""
    outer, *openings = ((ring, shapely.Polygon(ring)) for ring in rings)
    kept: list[shapely.Polygon] = []
    for _, shape in sorted(openings, key=lambda pair: -float(pair[1].area)):
        if outer[1].contains(shape) and not any(shape.intersects(larger) for larger in kept):
            kept.append(shape)
    return [outer[0], *(ring for ring, shape in openings if shape in kept)]


def _slim(ring: Points) -> Points:
    """The ring without needless points; a ring that crosses itself at a sharp tip loses the loop."""
    shape = shapely.Polygon(ring)
    if not shape.is_valid:
        parts = shapely.get_parts(shapely.make_valid(shape))
        shape = max(parts, key=lambda part: float(part.area))
    return np.asarray(shapely.get_coordinates(shape.exterior.simplify(_SLIM_PX))[:-1])


def _check(
    picture: PictureData,
    part_width_mm: float | None,
    mm_per_px: float | None,
    smooth_mm: float,
    points: dict[str, tuple[float, float] | None],
) -> None:
    if (part_width_mm is None) == (mm_per_px is None):
        raise ValueError("one of part_width_mm and mm_per_px is wanted")
    scale = part_width_mm if mm_per_px is None else mm_per_px
    if min(picture.width_px, picture.height_px) < _LEAST_PX:
        _refuse(picture, f"smaller than {_LEAST_PX} pixels a side", "take a larger picture; 2 megapixels are plenty")
    if scale is None or not (np.isfinite(scale) and scale > 0):
        _refuse(picture, "the part's width must be above zero", "give its true width in mm")
    if not (np.isfinite(smooth_mm) and 0 < smooth_mm <= (part_width_mm or 20 * smooth_mm) / 20):
        _refuse(
            picture, "smoothing must be above zero and at most a twentieth of the width", "1 mm does for most parts"
        )
    for name, point in points.items():
        if point is not None and not all(0 <= share <= 1 for share in point):
            _refuse(picture, f"the point for {name} lies outside the picture", "give both shares as 0 to 100 %")


def _refuse(picture: PictureData, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=picture.file, rule=rule, remedy=remedy)) from None
