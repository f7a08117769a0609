"""A copy of a person's photo that says nothing but what is to be seen: no place, no camera, no serial number."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path

import numpy as np
from PIL import Image

from layerpreview.errors import OutputError
from layerpreview.surface.picture_file import PictureData

_JPEG_QUALITY = 95


def photo_copied(picture: PictureData, place: Path) -> None:
    """Have a copy of `picture` at `place` in a job's photos, whole or not at all. Raises OutputError."""
    work = place.with_name(f".{place.stem}.part{place.suffix}")
    try:
        if place.parent.is_symlink():
            raise OutputError(f"{place.parent}: leads to another folder; nothing was written")
        place.parent.mkdir(exist_ok=True)
        write_photo_copy(picture, work)
        os.replace(work, place)
    except OutputError:
        raise
    except OSError as error:
        with suppress(OSError):
            work.unlink()
        why = error.strerror or "the picture is too large for its format"
        raise OutputError(f"{place.parent}: cannot be written to ({why}); nothing was written") from error


def write_photo_copy(picture: PictureData, path: Path) -> None:
    """Write the pixels of `picture`, upright and in sRGB, as 8-bit JPEG or PNG by the suffix of `path`.

    Made anew from the pixels, so that nothing else that stood in the photo's file is in it (GPS, camera, serial
    numbers, thumbnail, comments). A PNG keeps the transparency.
    """
    png = path.suffix.lower() == ".png"
    image = eight_bit(picture, alpha=png)
    if png:
        image.save(path, "PNG", compress_level=4)
    else:
        image.save(path, "JPEG", quality=_JPEG_QUALITY, subsampling=0)


def eight_bit(picture: PictureData, *, alpha: bool = False) -> Image.Image:
    """The pixels as a picture of 8 bits, grey or in colour, with its transparency where `alpha` is wanted and there."""
    planes = [picture.pixels]
    if alpha and picture.alpha is not None:
        planes.append(picture.alpha)
    eight = np.dstack([plane if plane.dtype == np.uint8 else np.rint(plane / 257.0) for plane in planes])
    return Image.fromarray(np.ascontiguousarray(eight.squeeze(axis=2) if eight.shape[2] == 1 else eight, np.uint8))
