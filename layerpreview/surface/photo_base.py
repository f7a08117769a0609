"""A photo made ready to be a base: cut, balanced, evened out, its holes filled, carried on to the edges of a face."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from layerpreview.surface.photo import Photo, balanced, evened_out, settled
from layerpreview.surface.photo_cut import Corners, cropped, squared
from layerpreview.surface.picture_file import PictureData

_MOST_PIXELS = 4_000_000  # of a face that is larger than its photo; a wider one has coarser pixels


def base_photo(
    picture: PictureData,
    *,
    patch_px: tuple[int, int, int, int] | None = None,
    reflectance: float = 0.9,
    crop_px: tuple[int, int, int, int] | None = None,
    corners_px: Corners | None = None,
    even_out: float = 0.0,
    width_mm: float | None = None,
) -> Photo:
    """Return the part of `picture` that is the base, with linear light as `Photo` says.

    patch_px : white or grey card of `reflectance` (0.02..1) in the whole picture; the light is balanced by it, and
        what of the card is in the part is made from the texture around it.
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
