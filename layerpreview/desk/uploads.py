"""What a browser or the phone hands over: photos and drawings, kept apart from every job until one is made of them."""

from __future__ import annotations

import io
import secrets
import threading
from collections import OrderedDict
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from layerpreview.desk.guard import UPLOADS
from layerpreview.errors import InputError, Problem
from layerpreview.output.landing import aside
from layerpreview.surface.picture_file import PictureData, read_picture
from layerpreview.workflows.fit_read import READINGS_ENDINGS

MOST_KEPT = 12
LONGEST_NAME = 80
SHOWN_PX = 2000
"""Longer side of a photo as the page shows it."""
_PHOTOS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".webp", ".bmp", ".heic", ".heif", ".hif", ".dng")
_QUALITY = 88


@dataclass(frozen=True)
class Upload:
    """A file that was handed over: `name` is what a person calls it, never a path; `source` is "desk" or "phone"."""

    id: str
    path: Path
    name: str
    source: str
    width_px: int = 0
    height_px: int = 0
    notes: tuple[str, ...] = ()


class Uploads:
    """The last files that were handed over, in a folder that nobody else can read and that goes with the desk."""

    def __init__(self) -> None:
        self._folder: Path | None = None
        self._held = ExitStack()
        self._kept: OrderedDict[str, Upload] = OrderedDict()
        self._lock = threading.Lock()

    def take_photo(self, data: bytes, name: str, *, source: str = "desk") -> tuple[Upload, PictureData]:
        """Keep a photo once it could be read, and the picture. Raises InputError and PictureError."""
        if len(data) > UPLOADS["photo"]:
            raise _too_large(UPLOADS["photo"], "take it smaller; 24 megapixels are plenty")
        name = plain_name(name, otherwise="photo")
        suffix = Path(name).suffix.lower()
        if suffix not in _PHOTOS:
            suffix = ".jpg"  # what it really is its own bytes tell
        path = self._write(data, suffix)
        try:
            picture = read_picture(path)
        except InputError:
            path.unlink(missing_ok=True)
            raise
        size = {"width_px": picture.width_px, "height_px": picture.height_px}
        return self._keep(Upload(path.stem, path, name, source, **size, notes=picture.notes)), picture

    def take_drawing(self, data: bytes, name: str) -> Upload:
        """Keep a drawing; whoever uses it reads it. Raises InputError."""
        if len(data) > UPLOADS["drawing"]:
            raise _too_large(UPLOADS["drawing"], "simplify it: an outline takes a few thousand points")
        path = self._write(data, ".svg")
        return self._keep(Upload(path.stem, path, plain_name(name, otherwise="drawing"), "desk"))

    def take_card(self, data: bytes, name: str) -> Upload:
        """Keep a table of readings; whoever uses it reads it. Raises InputError."""
        if len(data) > UPLOADS["card"]:
            raise _too_large(UPLOADS["card"], "a card has some dozen readings")
        name = plain_name(name, otherwise="card.csv")
        path = self._write(
            data, ".csv" if Path(name).suffix.lower() not in READINGS_ENDINGS else Path(name).suffix.lower()
        )
        return self._keep(Upload(path.stem, path, name, "desk"))

    def take_record(self, data: bytes, name: str) -> Upload:
        """Keep a record; whoever uses it reads it. Raises InputError."""
        if len(data) > UPLOADS["record"]:
            raise _too_large(UPLOADS["record"], "open it by the command instead")
        path = self._write(data, ".record.zip")
        return self._keep(Upload(path.name, path, plain_name(name, otherwise="record"), "desk"))

    def take_dye(self, data: bytes, name: str) -> Upload:
        """Keep a dye file; whoever uses it reads it. Raises InputError."""
        if len(data) > UPLOADS["dye"]:
            raise _too_large(UPLOADS["dye"], "a dye file has some hundred lines")
        path = self._write(data, ".dye.toml")
        return self._keep(Upload(path.name, path, plain_name(name, otherwise="dye"), "desk"))

    def get(self, key: object) -> Upload:
        """The upload of this id. Raises InputError where it is no longer kept."""
        with self._lock:
            found = self._kept.get(key) if isinstance(key, str) else None
        if found is None:
            raise InputError(Problem("this file is no longer kept", "hand it over again"))
        return found

    def photos_from(self, source: str) -> list[Upload]:
        """The photos that came from there, the newest first."""
        with self._lock:
            return [one for one in reversed(self._kept.values()) if one.source == source and one.width_px]

    def close(self) -> None:
        """Remove everything."""
        with self._lock:
            self._kept.clear()
            if self._folder is not None:
                self._held.close()
                self._folder = None

    def _write(self, data: bytes, suffix: str) -> Path:
        with self._lock:
            if self._folder is None:
                self._folder = self._held.enter_context(aside())
            path = self._folder / f"{secrets.token_hex(8)}{suffix}"
        path.write_bytes(data)
        return path

    def _keep(self, upload: Upload) -> Upload:
        with self._lock:
            self._kept[upload.id] = upload
            # What comes from the phone never pushes out what is worked on at the desk.
            alike = [one for one in self._kept.values() if one.source == upload.source]
            for old in alike[:-MOST_KEPT]:
                del self._kept[old.id]
                old.path.unlink(missing_ok=True)
        return upload


def plain_name(name: str, *, otherwise: str) -> str:
    """What a file was called, its last part alone, without signs that cannot be printed.

    >>> plain_name("C:\\\\photos\\\\..\\\\lute.JPG", otherwise="photo"), plain_name("../", otherwise="photo")
    ('lute.JPG', 'photo')
    """
    last = name.replace("\\", "/").rstrip("/").rpartition("/")[2]
    told = " ".join("".join(sign if sign.isprintable() else " " for sign in last).split())[-LONGEST_NAME:]
    return told if told.strip(". ") else otherwise


def shown_jpeg(picture: PictureData, longest_px: int = SHOWN_PX) -> bytes:
    """A picture as JPEG to be shown, made anew from its pixels, its longer side at most `longest_px`."""
    pixels = picture.pixels if picture.pixels.dtype == np.uint8 else (picture.pixels >> 8).astype(np.uint8)
    image = Image.fromarray(np.ascontiguousarray(pixels))
    image.thumbnail(
        (longest_px, longest_px), Image.Resampling.BOX if max(image.size) > 3 * longest_px else Image.Resampling.LANCZOS
    )
    out = io.BytesIO()
    image.convert("RGB").save(out, "JPEG", quality=_QUALITY)
    return out.getvalue()


def _too_large(most: int, remedy: str) -> InputError:
    return InputError(Problem(f"a file of more than {most // 1_000_000} MB", remedy))
