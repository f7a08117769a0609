"""The outline of a mask picture, or of a part photographed on a plain background, traced between its pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal, NoReturn

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.outline import Outline, Points, make_outline, with_openings, within_others
from layerpreview.surface.picture_file import PictureData

Inside = Literal["auto", "light", "dark", "alpha", "object"]

_SIMPLIFY_PX = 0.1
_SMALLEST_SHARE = 2e-4  # spots under this share of the outline's area are dust, not openings
_SMALLEST_PX = 16
_LEAST_CONTRAST = 0.1
_BLUR_PX = 1.5
_BUSY_BORDER = 0.15  # of a photo: more of the border than this is no plain background
_HARD_SHARE = 0.25  # a mask with fewer in-between pixels than this share of its side has a hard edge
_EDGE, _BESIDE, _GLARE = (214, 32, 32), (32, 80, 214), (232, 140, 16)
MOST_SPOTS = 20_000  # of light and of dark each: with grain and dust a photo has some thousand
_TRACED_PIXELS = 4_000_000  # a larger picture is reduced first: its edge is no sharper than that


@dataclass(frozen=True, eq=False)
class Traced:
    """A traced outline and where it lies on its picture: the outline's (0, 0) is at `corner_px` (x, y), in pixels from
    the picture's corner, and one pixel is `pixel_mm` [mm]."""

    outline: Outline
    pixel_mm: float
    corner_px: tuple[float, float]

    def rings_px(self) -> tuple[Points, dict[str, Points]]:
        """Return the outer edge (n, 2) and the openings by name, in pixels from the picture's corner."""
        corner = np.array(self.corner_px)
        outer, *openings = (
            ring / self.pixel_mm + corner for ring in (self.outline.outer, *self.outline.openings.values())
        )
        return outer, dict(zip(self.outline.openings, openings, strict=True))


def trace_mask(
    picture: PictureData,
    *,
    width_mm: float | None = None,
    height_mm: float | None = None,
    part_width_mm: float | None = None,
    part_height_mm: float | None = None,
    inside: Inside = "auto",
) -> Traced:
    """Return the outline of the largest inside region, its holes as openings "opening 1", "opening 2" ...

    width_mm, height_mm : true size [mm] of the whole PICTURE; part_width_mm, part_height_mm : of the traced outline.
        Pixels are square, so one of the four is enough; the first given counts.
    inside : "light" or "dark" (against the middle of the picture's range), "alpha" (the opaque part), "object" (what
        differs from the background seen along the border, for a photo), or "auto": the alpha where the picture has one
        that varies, else the light part.
    The edge is where the value passes the level between inside and outside, found between pixel centres (marching
    squares), then thinned to within a tenth of a pixel. The stairs of a mask with hard edges are smoothed, which rounds
    corners by about a pixel. Openings are numbered from the top; specks are left out.
    Raises PictureError for a mask of one colour, without any inside, or without a size.
    """
    if not any((width_mm, height_mm, part_width_mm, part_height_mm)):
        _refuse(picture, "a mask picture has no size of its own", "give the true width of the whole picture in mm")
    value, level, block = _inside_value(picture, inside)
    _check_spots(picture, value > level)
    rings = [ring * block for ring in rings_at(value, level)]
    if not rings:
        _refuse(picture, "a mask without any inside", "paint the part white on black, or make the outside transparent")
    outer = max(rings, key=lambda ring: float(shapely.Polygon(ring).area))
    size_px = np.ptp(outer, axis=0)
    mm = (
        (width_mm and width_mm / picture.width_px)
        or (height_mm and height_mm / picture.height_px)
        or (part_width_mm and part_width_mm / float(size_px[0]))
        or (part_height_mm or 0.0) / float(size_px[1])
    )
    if not (math.isfinite(mm) and mm > 0):
        _refuse(picture, "its size must be above zero", "give the true width of the whole picture in mm")
    corner = outer.min(axis=0)
    outline = make_outline(outer * mm, file=picture.file)
    named = {f"opening {k}": (ring - corner) * mm for k, ring in enumerate(_holes(outer, rings), start=1)}
    outline = with_openings(outline, named, file=picture.file)
    return Traced(outline, mm, (float(corner[0]), float(corner[1])))


def traced_picture(
    picture: PictureData, traced: Traced, *, beside: Sequence[Points] = (), glare: Sequence[Points] = ()
) -> NDArray[np.uint8]:
    """Return the picture, faded, with the traced edge drawn on it in red, uint8 (h, w, 3): to look at before use.

    beside : rings (n, 2) [px] of what else was found there, a sheet of paper for one, drawn in blue; glare : rings of
        what is filled from the texture round it, in orange.
    """
    from PIL import Image, ImageDraw

    numbers = picture.pixels if picture.pixels.dtype == np.uint8 else (picture.pixels >> 8).astype(np.uint8)
    faded = (96 + 0.625 * np.arange(256)).astype(np.uint8)[numbers]
    image = Image.fromarray(faded).convert("RGB")
    pen = ImageDraw.Draw(image)
    thick = max(2, round(max(image.size) / 500))
    outer, openings = traced.rings_px()
    edges = (outer, *openings.values())
    lines = ((glare, _GLARE), (beside, _BESIDE), (edges, _EDGE))
    for ring, colour in ((ring, colour) for rings, colour in lines for ring in rings):
        points = np.concatenate((ring, ring[:1])) - 0.5
        pen.line([(float(x), float(y)) for x, y in points], fill=colour, width=thick, joint="curve")
    return np.asarray(image)


def _check_spots(picture: PictureData, inside: NDArray[np.bool_]) -> None:
    """Refuse noise: an edge about each of its spots would take minutes, and none of them is meant."""
    from scipy import ndimage

    for spots in (inside, ~inside):
        if (count := int(ndimage.label(spots)[1])) > MOST_SPOTS:
            rule = f"not a mask but noise: {count:,} spots, the limit is {MOST_SPOTS:,}"
            _refuse(picture, rule, "paint the part in one colour and all round it in another, without a pattern")


def _inside_value(picture: PictureData, inside: Inside) -> tuple[NDArray[np.float32], float, int]:
    """How much each pixel is inside, (h, w) float32; the level of the edge; pixels of the picture per value."""
    block = max(1, math.ceil(math.sqrt(picture.width_px * picture.height_px / _TRACED_PIXELS)))
    alpha = picture.alpha
    if alpha is not None and (inside == "alpha" or (inside == "auto" and np.ptp(alpha) > 0)):
        value = _reduced(alpha, block)
        if value.max() < 0.5:
            _refuse(picture, "a mask without any inside: all of it is transparent", "fill the part with colour")
        return _without_steps(value), 0.5, block
    if inside == "alpha":
        _refuse(picture, "this picture has no transparency", "use light or dark for the inside")
    numbers = _reduced(picture.pixels, block)
    if inside == "object":
        numbers = numbers if numbers.ndim == 3 else numbers[:, :, None]
        value = np.abs(numbers - np.median(_along_border(numbers), axis=0)).max(axis=2)
    else:
        value = numbers if numbers.ndim == 2 else numbers @ np.array([0.299, 0.587, 0.114], np.float32)
    low, high = float(value.min()), float(value.max())
    if high - low < _LEAST_CONTRAST:
        _refuse(
            picture, "a mask of one colour", "paint the part white on black, or take the photo on a plain background"
        )
    if inside == "object":
        from skimage.filters import threshold_otsu

        value = _blurred(value)  # noise would fray the edge
        level = float(threshold_otsu(value))
        if float(np.mean(_along_border(value) > level)) > _BUSY_BORDER:
            _refuse(
                picture,
                "nothing stands out from a plain background: along its border the picture is as busy as inside",
                "photograph the whole part on a plain sheet, with some of the sheet all round it",
            )
        return value, level, block
    value = _without_steps((value - np.float32(low)) / np.float32(high - low))
    return (1 - value if inside == "dark" else value), 0.5, block


def _along_border(numbers: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.concatenate((numbers[0], numbers[-1], numbers[:, 0], numbers[:, -1]))


def _without_steps(value: NDArray[np.float32]) -> NDArray[np.float32]:
    """A mask of nothing but two values has stairs for an edge: blur those, which leaves the edge where it is."""
    between = np.count_nonzero((value > 0.05) & (value < 0.95))
    return _blurred(value) if between <= _HARD_SHARE * math.sqrt(value.size) else value


def _blurred(value: NDArray[np.float32]) -> NDArray[np.float32]:
    from skimage.filters import gaussian

    return np.asarray(gaussian(value, _BLUR_PX), dtype=np.float32)


def _reduced(numbers: NDArray[Any], block: int) -> NDArray[np.float32]:
    """The picture as 0..1, averaged over squares of `block` pixels; the last ones may repeat the last pixels."""
    pad = [(0, -numbers.shape[0] % block), (0, -numbers.shape[1] % block), (0, 0)][: numbers.ndim]
    full = np.pad(numbers, pad, mode="edge")
    high, wide = full.shape[0] // block, full.shape[1] // block
    means = full.reshape(high, block, wide, block, *full.shape[2:]).mean(axis=(1, 3), dtype=np.float32)
    reduced: NDArray[np.float32] = means / np.float32(np.iinfo(numbers.dtype).max)
    return reduced


def rings_at(value: NDArray[np.float32], level: float) -> list[Points]:
    """Closed edges as (n, 2) from the picture's corner; an inside that touches the border is closed there."""
    from skimage.measure import find_contours

    if value.max() <= level:
        return []
    framed = np.pad(value, 1, constant_values=2 * level - float(value.max()))
    found = []
    for line in find_contours(framed, level):
        slim = shapely.LineString(line[:, ::-1] - 0.5).simplify(_SIMPLIFY_PX)  # -1 for the frame, +0.5 for the centre
        ring = np.clip(shapely.get_coordinates(slim)[:-1], 0, value.shape[::-1])
        if len(ring) >= 3 and shapely.Polygon(ring).is_valid and shapely.Polygon(ring).area >= _SMALLEST_PX:
            found.append(ring)
    return found


def _holes(outer: Points, rings: list[Points]) -> list[Points]:
    """Rings inside the outer one but not inside another one, specks left out, from the top."""
    face = shapely.Polygon(outer)
    shapely.prepare(face)
    least = max(_SMALLEST_PX, _SMALLEST_SHARE * face.area)
    inside = [(shapely.Polygon(ring), ring) for ring in rings if ring is not outer]
    inside = [(shape, ring) for shape, ring in inside if shape.area >= least and face.contains(shape)]
    nested = within_others([shape for shape, _ in inside])
    outermost = [ring for (_, ring), lies in zip(inside, nested, strict=True) if not lies]
    return sorted(outermost, key=lambda ring: (float(ring[:, 1].min()), float(ring[:, 0].min())))


def _refuse(picture: PictureData, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=picture.file, rule=rule, remedy=remedy)) from None
