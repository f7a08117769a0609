"""The focal length a camera wrote into its photo."""

from __future__ import annotations

import struct
import warnings
from pathlib import Path

from PIL import Image

_EXIF_IFD, _FOCAL_LENGTH_35 = 0x8769, 0xA405  # Exif 2.3, 4.6.3 and 4.6.5, FocalLengthIn35mmFilm

_UNREAD = (
    OSError,
    ValueError,
    TypeError,
    SyntaxError,
    LookupError,
    ArithmeticError,
    struct.error,
    Image.DecompressionBombError,
)


def focal35_of(path: str | Path) -> float | None:
    """The 35 mm equivalent [mm] in a photo's EXIF, or None where there is none or it makes no sense (under 5)."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # odd EXIF, large pictures
            with Image.open(path) as photo:
                focal35 = float(photo.getexif().get_ifd(_EXIF_IFD).get(_FOCAL_LENGTH_35, 0))
    except _UNREAD:
        return None  # whether the photo can be read is told by whoever reads it
    return focal35 if 5 <= focal35 <= 2000 else None
