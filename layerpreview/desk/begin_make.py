"""A new job's folder below the one where the desk was started, and what is written into it; earlier jobs beside it."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from layerpreview.desk.begin import Beginning
from layerpreview.desk.begin_told import keep_asked, one_of, options_asked, pulls_asked
from layerpreview.desk.chips import WORDS, base_text
from layerpreview.desk.loading import LOADING
from layerpreview.errors import InputError, Problem
from layerpreview.output.files import file_stem
from layerpreview.surface.three_lamps import check_sides
from layerpreview.workflows.gallery import GALLERY, finish_title, start_like
from layerpreview.workflows.photo_options import length_mm
from layerpreview.workflows.photographed import Photographed
from layerpreview.workflows.places import SCHEME_NAME
from layerpreview.workflows.start import SHAPES, start_from_drawing, start_from_sizes
from layerpreview.workflows.starter import FIRST_JOB, FIRST_NAME, Started

LONGEST_NAME = 60
MOST_JOBS = 60
OWN_PHOTO, THREE_LAMPS = "photo", "lamps"


def make_job(home: Path, beginning: Beginning, body: Mapping[str, Any]) -> Started:
    """Make a job as the page asks for it, in a folder of its own below `home`; never over anything that is there.

    Raises InputError, PictureError or OutputError; nothing is written then.
    """
    name = " ".join(str(body.get("name") or "").split())[:LONGEST_NAME] or FIRST_JOB
    folder = free_folder(home, name)
    base = one_of(body, "base", WORDS)
    source = body.get("from")
    if source == "gallery":
        return start_like(folder, str(body.get("like")))
    if source == "photo":
        return _from_photo(folder, beginning, body, name)
    if base is None:
        raise InputError(Problem("choose what it is painted over", "touch one of the chips"))
    if source == "shape":
        sizes = body.get("sizes")
        sizes = {key: str(value) for key, value in sizes.items()} if isinstance(sizes, dict) else {}
        return start_from_sizes(folder, str(body.get("shape")), sizes, base=base_text(base), name=name)
    if source == "drawing":
        drawing = beginning.uploads.get(body.get("drawing")).path
        width = str(body["width"]) if body.get("width") else None
        return start_from_drawing(folder, drawing, width=width, base=base_text(base), name=name)
    raise InputError(Problem("there is nothing to begin with", "take a photo, a shape or a drawing"))


def _from_photo(folder: Path, beginning: Beginning, body: Mapping[str, Any], name: str) -> Started:
    with LOADING:
        from layerpreview.workflows.start_lamps import start_from_lit
        from layerpreview.workflows.start_photo import start_from_seen

    upload, options = beginning.uploads.get(body.get("photo")), options_asked(body)
    traced = beginning.traced(upload, options)
    if not traced.known:
        rule = "the size of the part is not known yet"
        raise InputError(Problem(rule, "give one length: touch two places and type how far they are apart"))
    seen = beginning.laid_out(upload, traced, pulls_asked(body), keep_asked(body, traced))
    if seen.sureness.verdict == "not usable":
        raise InputError([Problem("the outline cannot be used", "mend it, or take another photo"), *_against(seen)])
    base, wanted = body.get("base"), traced.wanted
    if base == OWN_PHOTO:
        return start_from_seen(folder, {"front": seen}, wanted, name=name, force=False)
    if base != THREE_LAMPS:
        text = base_text(str(base))
        return start_from_seen(
            folder, {"front": seen}, replace(wanted, kind="metal"), base=text, name=name, force=False
        )
    lamps = body.get("lamps")
    lamps = lamps if isinstance(lamps, dict) else {}
    photos = [beginning.uploads.get(key).path for key in lamps.values()]
    sides = [str(side) for side in lamps]
    check_sides(sides, photos=len(photos))
    if upload.path not in photos:
        raise InputError(Problem("the photo that the outline is from is one of the three", "say where its lamp stood"))
    started = start_from_lit(folder, seen, photos, sides, wanted, name=name, force=False)
    if not started.usable:
        shutil.rmtree(folder, ignore_errors=True)  # made just now, and nothing but what was traced is in it
        raise InputError(Problem(line) for line in started.said)
    return started


def _against(seen: Photographed) -> list[Problem]:
    return [Problem(reason) for reason in seen.sureness.against]


def free_folder(home: Path, name: str) -> Path:
    """A folder below `home` that is not there yet, called after the job."""
    stem = file_stem(name, otherwise="job")
    names = (stem, *(f"{stem}_{k}" for k in range(2, 1000)))
    for one in names:
        if not (home / one).exists() and not (home / one).is_symlink():
            return home / one
    raise InputError(Problem("there are too many jobs of this name", "give it another", field="name", value=name))


def earlier_jobs(home: Path) -> list[dict[str, str]]:
    """The jobs in `home` and in its folders, the last changed first: folder, file and when; links are left out."""
    found: list[tuple[float, Path]] = []
    for pattern in ("*/scheme.toml", "*/*/scheme.toml"):
        for path in home.glob(pattern):
            steps = (path, path.parent, path.parent.parent)
            hidden = any(part.startswith(".") for part in path.relative_to(home).parts)
            if not hidden and not any(step.is_symlink() for step in steps if step != home):
                try:
                    found.append((path.stat().st_mtime, path))
                except OSError:
                    continue
    found.sort(key=lambda one: -one[0])
    return [
        {"folder": path.parent.relative_to(home).as_posix(), "when": datetime.fromtimestamp(time).date().isoformat()}
        for time, path in found[:MOST_JOBS]
    ]


def earlier_job(home: Path, folder: object) -> Path:
    """The scheme of a job that `earlier_jobs` lists. Raises InputError for any other."""
    if isinstance(folder, str) and any(one["folder"] == folder for one in earlier_jobs(home)):
        return home / folder / SCHEME_NAME
    raise InputError(Problem("there is no such job in this folder", "look at the list again"))


def picture_of(scheme: Path) -> Path | None:
    """The picture that was made of a job last, to know it by."""
    places = (scheme.parent / "pictures" / FIRST_NAME, scheme.parent / FIRST_NAME)
    return next((place for place in places if place.is_file() and not place.is_symlink()), None)


def gallery_told() -> list[dict[str, str]]:
    """The finishes of the gallery: name, title and what each is."""
    told = []
    for name in GALLERY:
        title, _, words = finish_title(name).partition(": ")
        told.append({"name": name, "title": title, "words": words})
    return told


def shapes_told() -> list[dict[str, Any]]:
    """The shapes with the sizes they begin with."""
    told = []
    for name, (sizes, _) in SHAPES.items():
        lines = [line.partition(" = ") for line in sizes.splitlines()]
        usual = {size: value.strip('"') for size, _, value in lines}
        told.append({"name": name, "sizes": usual, "mm": {size: length_mm(size, text) for size, text in usual.items()}})
    return told
