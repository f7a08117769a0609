"""A small picture of a job for the shop book: a photo of the finished part, a picture that was made already, or one
made for it."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from layerpreview.answers.book import BookJob, State
from layerpreview.colour import LIFELIKE
from layerpreview.errors import LayerPreviewError
from layerpreview.job.done import PhotoRead
from layerpreview.output.book_index import BookPicture, stamp_of
from layerpreview.output.caption import PAPER
from layerpreview.output.files import is_inside
from layerpreview.output.photo_copy import eight_bit
from layerpreview.scheme import Scheme
from layerpreview.surface.picture_file import read_picture

SIDE_PX = 520
"""The longer side of a picture in the book."""
_QUALITY = 84
_LONGEST_CAPTION = 0.35


@dataclass(frozen=True)
class Source:
    """A file to take the picture from, and what it is of; no file where one has to be made."""

    file: Path | None
    words: str

    @property
    def stamp(self) -> str:
        """Which state of the file it is."""
        return "made" if self.file is None else f"{self.file} {stamp_of(self.file)}"


MADE = Source(None, "as worked out, by a window")


def sources_of(job: BookJob, scheme: Path, inputs: Sequence[Path], photos: Sequence[PhotoRead]) -> Iterator[Source]:
    """Where the picture of a job may come from, the best first.

    A job that is done is shown as it is: by the last photo of the part. A picture that was made of the scheme counts
    while it is newer than everything the scheme is read from.
    """
    folder = scheme.parent
    if job.story.state is State.DONE:
        for photo in reversed(photos):
            file = folder / photo.file
            if photo.of == "part" and not photo.refused and is_inside(file, folder):
                yield Source(file, f"photo of the part, {photo.time.date().isoformat()}")
    newest = max((path.stat().st_mtime_ns for path in {scheme, *inputs} if path.exists()), default=0)
    for file in _made_before(scheme):
        if is_inside(file, folder) and file.stat().st_mtime_ns > newest:
            yield Source(file, "as worked out" + (", by a window" if "window" in file.name else ""))
    yield MADE


def _made_before(scheme: Path) -> Iterator[Path]:
    is_job = scheme.name.casefold() == "scheme.toml"
    pictures = scheme.parent / "pictures" if is_job else scheme.parent / scheme.stem / "pictures"
    yield pictures / "lifelike_window.png"
    if is_job:
        yield scheme.parent / "lifelike_window.png"
    for pattern in ("lifelike_*.png", "finish_*.png"):
        yield from sorted(pictures.glob(pattern))


def picture_from(source: Source, scheme: Scheme | None) -> BookPicture | None:
    """The picture, small; None where it cannot be read or made. `scheme` only where it has to be made."""
    try:
        if source.file is not None:
            return _small(_without_caption(eight_bit(read_picture(source.file)).convert("RGB")), source.words)
        if scheme is None:
            return None
        return _small(_drawn(scheme), source.words)
    except LayerPreviewError:
        return None


def _drawn(scheme: Scheme) -> Image.Image:
    # The rooms that draw take a fifth of a second to load, and a book of which nothing changed needs none of them.
    from layerpreview.finish.view import SURROUNDINGS
    from layerpreview.output.pictures import rendered_small
    from layerpreview.picture.lifelike import lifelike_of, looks_of

    scene = lifelike_of(scheme, SURROUNDINGS["window"], width_px=SIDE_PX)
    looks = looks_of(scheme, scene, scheme.lights[0])
    return Image.fromarray(rendered_small(scene, looks, rolled_from=LIFELIKE))


def _without_caption(image: Image.Image) -> Image.Image:
    """A picture without the strip of text below it: its left edge has the strip's own paper."""
    left = np.asarray(image)[:, :2].reshape(image.height, -1)
    paper = (left == np.array(PAPER * 2, dtype=np.uint8)).all(axis=1)
    rows = int(np.argmin(paper[::-1])) if not paper.all() else 0
    return image.crop((0, 0, image.width, image.height - rows)) if 0 < rows < _LONGEST_CAPTION * image.height else image


def _small(image: Image.Image, words: str) -> BookPicture:
    scale = min(1.0, SIDE_PX / max(image.size))
    size = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    made = io.BytesIO()
    image.resize(size, Image.Resampling.LANCZOS).save(made, "JPEG", quality=_QUALITY)
    return BookPicture(made.getvalue(), *size, words)
