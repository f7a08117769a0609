"""What the page of beginnings asks for, one function each, as in `asked`; and the pictures it shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from layerpreview.desk.asked_shelf import remade_picture
from layerpreview.desk.begin_command import command_of
from layerpreview.desk.begin_make import (
    earlier_job,
    earlier_jobs,
    free_folder,
    gallery_told,
    make_job,
    picture_of,
    shapes_told,
)
from layerpreview.desk.begin_told import keep_asked, one_of, options_asked, pulls_asked, told
from layerpreview.desk.chips import WORDS, chip
from layerpreview.desk.desk import Desk
from layerpreview.desk.uploads import Upload, shown_jpeg
from layerpreview.errors import InputError, Problem
from layerpreview.surface.drawing import read_drawing
from layerpreview.surface.outline import Outline, built_in_ring, make_outline
from layerpreview.surface.picture_file import read_picture
from layerpreview.workflows.gallery import finish_picture
from layerpreview.workflows.photo_options import length_mm
from layerpreview.workflows.start import SHAPES, size_names

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]
THUMB_PX = 320


def get_doors(desk: Desk, words: Words) -> Answer:
    """Where a job can begin: shapes, bases, the gallery, earlier jobs, and photos that came from the phone."""
    return 200, {
        "home": desk.home.resolve().name,
        "open": None if desk.path is None else desk.path.parent.resolve().name,
        "shapes": shapes_told(),
        "bases": [{"name": name, "words": told} for name, told in WORDS.items()],
        "gallery": gallery_told(),
        "jobs": earlier_jobs(desk.home),
        "phone": [_upload(one) for one in desk.uploads.photos_from("phone")],
    }


def post_trace(desk: Desk, words: Words, body: Body) -> Answer:
    """The part in a photo, with what is known of it and as it was mended."""
    upload, options = desk.uploads.get(body.get("photo")), options_asked(body)
    traced = desk.beginning.traced(upload, options)
    seen = desk.beginning.laid_out(upload, traced, pulls_asked(body), keep_asked(body, traced))
    return 200, told(traced, seen, command=_command(desk, body))


def post_command(desk: Desk, words: Words, body: Body) -> Answer:
    """What is typed to begin the same job."""
    return 200, {"command": _command(desk, body)}


def _command(desk: Desk, body: Body) -> str:
    return command_of(free_folder(desk.home, str(body.get("name") or "my-job")).name, desk.uploads, body)


def post_shape(desk: Desk, words: Words, body: Body) -> Answer:
    """The outline of a shape in the sizes that were typed."""
    name, sizes = one_of(body, "shape", SHAPES), body.get("sizes")
    if name is None or not isinstance(sizes, dict):
        raise InputError(Problem("there is no such shape", f"use one of {', '.join(SHAPES)}"))
    sizes_mm = {f"{size}_mm": length_mm(size, str(sizes.get(size, ""))) for size in size_names(name)}
    outline = make_outline(built_in_ring(name, **sizes_mm))
    return 200, _outline(outline)


def post_drawing(desk: Desk, words: Words, body: Body) -> Answer:
    """The outline in a drawing."""
    drawing = desk.uploads.get(body.get("drawing"))
    width = str(body["width"]) if body.get("width") else None
    face = read_drawing(drawing.path, width_mm=None if width is None else length_mm("width", width))
    return 200, _outline(face.outline)


def post_make(desk: Desk, words: Words, body: Body) -> Answer:
    """Make the job and open it at this desk."""
    with desk.making:
        started = make_job(desk.home, desk.beginning, body)
    desk.beginning.let_go()
    desk.open(started.scheme)
    return 200, {"job": started.folder.name, "said": list(started.said), "doubtful": started.doubtful}


def post_open(desk: Desk, words: Words, body: Body) -> Answer:
    """Open an earlier job at this desk."""
    desk.open(earlier_job(desk.home, body.get("folder")))
    return 200, {"job": str(body.get("folder"))}


GET: dict[str, Callable[[Desk, Words], Answer]] = {"doors": get_doors}
POST: dict[str, Callable[[Desk, Words, Body], Answer]] = {
    "trace": post_trace,
    "command": post_command,
    "shape": post_shape,
    "drawing": post_drawing,
    "make": post_make,
    "open": post_open,
}


def take_upload(desk: Desk, what: str, words: Words, data: bytes) -> Answer:
    """Take a photo, a drawing, a table of readings, a record or a dye file."""
    if what == "photo":
        return 200, _upload(desk.beginning.take(data, words.get("name", "")))
    uploads = desk.uploads
    take = {
        "card": uploads.take_card,
        "drawing": uploads.take_drawing,
        "record": uploads.take_record,
        "dye": uploads.take_dye,
    }[what]
    upload = take(data, words.get("name", ""))
    return 200, {"id": upload.id, "name": upload.name}


def picture_asked(desk: Desk, what: str, words: Words) -> bytes | None:
    """A picture of the page as JPEG: a photo that was handed over, a chip, a finish, or that of an earlier job;
    None for none.
    """
    if what == "photo.jpg":
        return desk.beginning.shown(desk.uploads.get(words.get("id")))
    if what == "chip.jpg":
        return chip(words.get("base", ""))
    if what == "finish.jpg":
        return finish_picture(words.get("name", ""))
    if what == "remake.jpg":
        return remade_picture(desk, words.get("folder"))
    if what == "job.jpg":
        found = picture_of(earlier_job(desk.home, words.get("folder")))
        return None if found is None else shown_jpeg(read_picture(found), THUMB_PX)
    return None


def _upload(one: Upload) -> dict[str, Any]:
    return {
        "id": one.id,
        "name": one.name,
        "width_px": one.width_px,
        "height_px": one.height_px,
        "notes": list(one.notes),
    }


def _outline(outline: Outline) -> dict[str, Any]:
    rings = [outline.outer, *outline.openings.values()]
    return {
        "rings": [np.round(ring[:: max(1, -(-len(ring) // 400))], 1).tolist() for ring in rings],
        "width_mm": round(outline.width_mm, 1),
        "height_mm": round(outline.height_mm, 1),
    }
