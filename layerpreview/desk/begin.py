"""Beginning a job at the desk: the part found in a photo and mended, and the job made, as `layerpreview start` does."""

from __future__ import annotations

import threading
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace

from layerpreview.desk.uploads import MOST_KEPT, Upload, Uploads, shown_jpeg
from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.surface.bent import Pull
from layerpreview.surface.focal_length import focal35_of
from layerpreview.surface.part_photo import with_fewer_pixels
from layerpreview.surface.picture_file import PictureData, read_picture
from layerpreview.surface.square import Square
from layerpreview.threads import Made
from layerpreview.workflows.mended import Opening, mended, openings_in
from layerpreview.workflows.photo_options import PhotoOptions, Wanted, read_options
from layerpreview.workflows.photographed import Found, Photographed, PhotoRead, found_in, laid_out, read_photo, scale_in

ASSUMED_MM = 400.0
"""How wide a part is taken to be until its size is known: how smooth its line is drawn depends on it."""


@dataclass(frozen=True, eq=False)
class Traced:
    """A part as it was found under one set of options; `known`: whether anything tells its size."""

    square: Square | None
    found: Found
    openings: tuple[Opening, ...]
    wanted: Wanted
    known: bool


@dataclass(eq=False)
class _Photo:
    """The photo that is worked on, with what was found in it."""

    upload: Upload
    read: PhotoRead
    shown: bytes
    squares: dict[Hashable, Square | None] = field(default_factory=dict)
    traced: dict[Hashable, Traced] = field(default_factory=dict)


class Beginning:
    """What is handed over and found in it until a job is made. Every method may be called from any thread."""

    def __init__(self, uploads: Uploads) -> None:
        self.uploads = uploads
        self._photo: _Photo | None = None
        self._lock = threading.RLock()
        self._shown: Made[bytes] = Made(MOST_KEPT)

    def take(self, data: bytes, name: str, *, source: str = "desk") -> Upload:
        """Take a photo. Raises InputError and PictureError."""
        with self._lock:
            upload, picture = self.uploads.take_photo(data, name, source=source)
            if source == "desk":
                self._look_at(upload, picture)
            return upload

    def shown(self, upload: Upload) -> bytes:
        """A photo as JPEG, nothing but its pixels; whichever it is, the one that is worked on stays."""
        photo = self._photo
        if photo is not None and photo.upload.id == upload.id:
            return photo.shown
        return self._shown.get(upload.id, lambda: shown_jpeg(read_picture(upload.path)))

    def traced(self, upload: Upload, options: PhotoOptions) -> Traced:
        """Where the part lies in a photo; found once for each set of options. Raises InputError and PictureError."""
        wanted = read_options(options)
        with self._lock:
            photo = self._at(upload)
            square, known = self._square(photo, wanted)
            if not known:
                wanted = replace(wanted, part_width_mm=ASSUMED_MM)
            width = wanted.part_width_mm if square is None else None
            key = (_scale_key(wanted), width, wanted.at, wanted.background, wanted.holes)
            if key not in photo.traced:
                found = found_in(photo.read, square, wanted)
                openings = openings_in(photo.read, square, found, wanted)
                photo.traced[key] = Traced(square, found, openings, wanted, known)
            return replace(photo.traced[key], wanted=wanted)

    def laid_out(self, upload: Upload, traced: Traced, pulls: Sequence[Pull], keep: Sequence[bool]) -> Photographed:
        """The part as it was mended, square and to scale. Raises PictureError."""
        if len(keep) != len(traced.openings):
            raise InputError(Problem("the openings are others by now", "look at them again", field="keep"))
        with self._lock:
            found = mended(traced.found, pulls, traced.openings, keep)
            return laid_out(self._at(upload).read, traced.square, found, traced.wanted)

    def let_go(self) -> None:
        """Forget the photo that was worked on: a decoded one is large."""
        with self._lock:
            self._photo = None

    def _at(self, upload: Upload) -> _Photo:
        if self._photo is None or self._photo.upload.id != upload.id:
            self._look_at(upload, None)
        assert self._photo is not None
        return self._photo

    def _look_at(self, upload: Upload, picture: PictureData | None) -> None:
        self._photo = None
        path = upload.path
        read = read_photo(path) if picture is None else PhotoRead(path, with_fewer_pixels(picture), focal35_of(path))
        self._photo = _Photo(upload, read, shown_jpeg(read.picture))

    @staticmethod
    def _square(photo: _Photo, wanted: Wanted) -> tuple[Square | None, bool]:
        """What gives the scale, and whether anything does."""
        key = _scale_key(wanted)
        if key not in photo.squares:
            try:
                # Looked for once, whether or not a width is known as well.
                photo.squares[key] = scale_in(photo.read, replace(wanted, part_width_mm=None))
            except PictureError:
                raise
            except InputError:
                photo.squares[key] = None
        square = photo.squares[key]
        return square, square is not None or wanted.part_width_mm is not None


def _scale_key(wanted: Wanted) -> Hashable:
    return wanted.paper, wanted.marks
