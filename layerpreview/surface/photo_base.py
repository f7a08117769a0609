"""A photo made ready to be a base: cut, balanced, evened out, its holes filled, carried on to the edges of a face."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import encode_srgb, srgb_hex_to_rgb_lin
from layerpreview.surface.photo import Photo, balanced, balanced_by, evened_out, settled, srgb_table
from layerpreview.surface.photo_cut import Corners, cropped, squared
from layerpreview.surface.picture_file import PictureData

_MOST_PIXELS = 4_000_000  # of a face that is larger than its photo; a wider one has coarser pixels


def base_photo(
    picture: PictureData,
    *,
    patch_px: tuple[int, int, int, int] | None = None,
    neutral: str | None = None,
    reflectance: float = 0.9,
    crop_px: tuple[int, int, int, int] | None = None,
    corners_px: Corners | None = None,
    even_out: float = 0.0,
    width_mm: float | None = None,
) -> Photo:
    """Return the part of `picture` that is the base, with linear light as `Photo` says.

    patch_px : white or grey card of `reflectance` (0.02..1) in the whole picture; the light is balanced by it, and
        what of the card is in the part is made from the texture around it. neutral : "#rrggbb" that such a card shows
        elsewhere, in place of a patch.
    crop_px, corners_px : the part, as `cropped` and `squared` take it; the whole picture without either.
    even_out : share of the slow unevenness of light that is taken out [0..1]; above 0 glare spots are filled, too.
    width_mm : true width of the part [mm], so that no feature of the texture is taken for uneven light.
    Raises PictureError as these do.
    """
    # What needs scipy is imported only where it is asked for: a plain photo starts sooner.
    photo = Photo(picture)
    if patch_px is not None:
        from layerpreview.surface.photo_holes import without_card

        photo = without_card(balanced(photo, patch_px=patch_px, reflectance=reflectance), patch_px)
    elif neutral is not None:
        photo = balanced_by(photo, srgb_hex_to_rgb_lin(neutral), reflectance=reflectance)
    if crop_px is not None:
        photo = cropped(photo, crop_px)
    if corners_px is not None:
        photo = squared(photo, corners_px)
    if even_out > 0.0:
        from layerpreview.surface.photo_holes import without_glare

        photo = evened_out(photo, strength=even_out, width_mm=width_mm)
        spotless = without_glare(photo)
        if spotless is not photo:  # the light is judged again by what is left
            photo = evened_out(replace(spotless, even=None), strength=even_out, width_mm=width_mm)
    if photo.holes is None or not photo.holes.any():
        return replace(photo, holes=None)
    photo = photo if photo.even is None else settled(photo)
    assert photo.holes is not None
    from layerpreview.surface.quilt import quilted

    filled = quilted(photo.picture.pixels, ~photo.holes)
    return replace(photo, picture=replace(photo.picture, pixels=filled), holes=None)


@dataclass(frozen=True, eq=False)
class WholeBase:
    """A base photo with nothing in it that is no base, its light as it was: `filled` the share made from texture,
    `glare` (h, w) where a lamp's image was, `light_range` how many times brighter its slow light is where most."""

    picture: PictureData
    filled: float
    glare: NDArray[np.bool_]
    light_range: float


def whole_base(picture: PictureData, known: NDArray[np.bool_], *, width_mm: float) -> WholeBase:
    """Return `picture`, `width_mm` wide [mm], with glare and all that is not `known` (h, w) filled from its texture.

    The texture that is laid in is taken in even light and gets the light of its place, so that what is made of the
    picture later (`even_out`) works as on the photo itself. At least one pixel must be known.
    """
    from layerpreview.surface.photo_holes import without_glare
    from layerpreview.surface.quilt import quilted

    photo = evened_out(Photo(picture, holes=~known), width_mm=width_mm)
    spotless = without_glare(photo)
    if spotless is not photo:
        spotless = evened_out(replace(spotless, even=None), width_mm=width_mm)
    holes, even = spotless.holes, spotless.even
    assert holes is not None
    assert even is not None
    level = settled(spotless)
    filled = quilted(level.picture.pixels, ~holes)
    lit = settled(replace(level, picture=replace(level.picture, pixels=filled), even=np.float32(1.0) / even))
    most = int(np.iinfo(picture.pixels.dtype).max)
    light = srgb_table(65536)[lit.picture.pixels[holes]] * np.array(lit.gain_rgb, np.float32)
    codes = np.rint(most * encode_srgb(np.clip(light, 0.0, 1.0))).astype(picture.pixels.dtype)
    pixels = picture.pixels if picture.pixels.ndim == 3 else np.repeat(picture.pixels[:, :, None], 3, axis=2)
    pixels = pixels.copy()
    pixels[holes] = codes
    middles = (((np.arange(n) + 0.5) * m / n).astype(int) for n, m in zip(even.shape, known.shape, strict=False))
    slow = 1 / even.mean(axis=2)[known[np.ix_(*middles)]]
    light_range = float(slow.max() / slow.min()) if slow.size else 1.0
    return WholeBase(
        replace(picture, pixels=pixels, alpha=None), float(holes.mean()), np.asarray(holes & known), light_range
    )


def carried_on(photo: Photo, *, width_mm: float, face_width_mm: float, face_height_mm: float) -> tuple[Photo, float]:
    """Return `photo`, `width_mm` wide [mm], carried on until it covers a face, and how wide it is then [mm].

    The photo stays in the middle at its true scale. One that covers the face is given back as it is.
    """
    picture = photo.picture
    pitch_mm = width_mm / picture.width_px
    height_mm = pitch_mm * picture.height_px
    if width_mm >= face_width_mm and height_mm >= face_height_mm:
        return photo, width_mm
    area_mm2 = max(width_mm, face_width_mm) * max(height_mm, face_height_mm)
    coarser = max(1.0, math.sqrt(area_mm2 / _MOST_PIXELS) / pitch_mm)
    if coarser > 1.0 or photo.even is not None:
        photo = settled(photo, coarser=coarser)
    pixels = photo.picture.pixels
    pitch_mm = width_mm / pixels.shape[1]
    more = [
        max(0, math.ceil((face_mm / pitch_mm - size_px) / 2))
        for face_mm, size_px in ((face_height_mm, pixels.shape[0]), (face_width_mm, pixels.shape[1]))
    ]
    sides = [(n, n) for n in more]
    known = np.pad(np.ones(pixels.shape[:2], np.bool_), sides)
    from layerpreview.surface.quilt import quilted

    whole = quilted(np.pad(pixels, sides + [(0, 0)] * (pixels.ndim - 2)), known)
    return replace(photo, picture=replace(photo.picture, pixels=whole, alpha=None)), pitch_mm * whole.shape[1]
