"""The photos of a job: a folder of its own in the job's, with names that are taken at once."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from layerpreview.errors import OutputError
from layerpreview.output.photo_copy import photo_copied
from layerpreview.surface.picture_file import PictureData
from layerpreview.workflows.places import PHOTOS


def keep_picture(job_folder: Path, picture: PictureData) -> Path:
    """Keep a picture among the photos of the job, nothing but its pixels, whole or not at all; where it lies.

    Raises OutputError.
    """
    folder = job_folder / PHOTOS
    if folder.is_symlink():
        raise OutputError(f"{PHOTOS}: leads to another folder; the desk has the photo")
    try:
        place = _free_place(folder)
    except OSError as error:
        raise OutputError(f"{PHOTOS}: cannot be written to ({error.strerror}); the desk has the photo") from error
    try:
        photo_copied(picture, place)
    except BaseException:
        with suppress(OSError):
            place.unlink()  # it held the name, and is empty
        raise
    return place


def _free_place(folder: Path) -> Path:
    """A place for one more photo; an empty file of that name holds it."""
    folder.mkdir(exist_ok=True)
    number = 1
    while True:
        place = folder / f"photo_{number}.jpg"
        try:
            place.touch(exist_ok=False)
        except FileExistsError:
            number += 1
            continue
        return place


def shown_photo(job_folder: Path, name: str) -> Path | None:
    """A photo of the job by its name; None for what is none, or lies elsewhere."""
    place = job_folder / PHOTOS / name
    plain = Path(name).name == name and place.suffix.lower() in (".jpg", ".jpeg", ".png")
    try:
        there = plain and not place.parent.is_symlink() and not place.is_symlink() and place.is_file()
    except (OSError, ValueError):  # longer than names are
        there = False
    return place if there else None
