"""What the page of the day asks for, at the desk and on the shop's phone: the diary, and what is said to it.

GET day: the diary's document with the job's units and photos. POST said {what, values, ago_s}: one thing that was done
so many seconds ago, by the clock of whoever says it; POST withdraw {line}. GET batches: what each mix is poured from.
A photo is handed over first (`keep_photo`), then touched: POST day-photo {file, card, spots, of, white_reflectance,
entry, number}, where card and spots are places as shares [0..1] of its width and height.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from PIL import Image

from layerpreview.desk.asked import OPENING, looked_at, read_of
from layerpreview.desk.asked_shelf import shown_book
from layerpreview.desk.desk import Desk
from layerpreview.desk.jobs import OpenJob
from layerpreview.desk.page_words import page_words
from layerpreview.desk.photos import keep_picture, shown_photo
from layerpreview.errors import InputError, Problem
from layerpreview.job.done import PhotoRead
from layerpreview.job.sheet import make_sheet
from layerpreview.output.diary_entries import DIARY_KINDS, done_of
from layerpreview.output.job_entries import entries_of
from layerpreview.output.joblog import LOG_NAME, read_lines
from layerpreview.output.result import Result
from layerpreview.spray.batch import Part
from layerpreview.workflows.diary import diary, said, withdraw
from layerpreview.workflows.diary_photo import photo_said
from layerpreview.workflows.photo_strip import strip_of
from layerpreview.workflows.places import PHOTOS

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]
MOST_TOUCHES = 12
LONGEST_AGO_S = 14 * 24 * 3600.0
"""What a phone kept for longer than this was not said on the day."""


def get_day(desk: Desk, words: Words) -> Answer:
    """The diary as it stands."""
    job = looked_at(desk, words)
    return 200, _told(desk, job, diary(job.path))


def post_said(desk: Desk, words: Words, body: Body) -> Answer:
    """Write one thing that was done into the diary; said again with the same id it changes nothing."""
    job, what, values = looked_at(desk, body), body.get("what"), body.get("values")
    if what not in DIARY_KINDS or not isinstance(values, dict):
        raise InputError(Problem("the diary has no such entry", f"use one of {', '.join(DIARY_KINDS)}", field="what"))
    now = datetime.now(UTC)
    time = (now - timedelta(seconds=_seconds(body.get("ago_s", 0)))).isoformat(timespec="seconds")
    return 200, _told(desk, job, said(job.path, what, {"time": time, **values}, now))


def post_withdraw(desk: Desk, words: Words, body: Body) -> Answer:
    """Withdraw a line by a further one."""
    job, line = looked_at(desk, body), body.get("line")
    if isinstance(line, bool) or not isinstance(line, int):
        raise InputError(Problem("the number of a line is wanted", field="line"))
    return 200, _told(desk, job, withdraw(job.path, line)[1])


def get_batches(desk: Desk, words: Words) -> Answer:
    """What each mix of the job is poured from, as the mix sheet has it."""
    read = read_of(looked_at(desk, words))
    sheet = make_sheet(read.scheme, parts=read.shapes)
    found = [
        {
            "title": mix.title,
            "make_mL": round(float(mix.make_mL), 1),
            "parts": [_part(part) for part in mix.batch.parts],
        }
        for mix in sheet.mixes
    ]
    return 200, {"batches": found}


def keep_photo(desk: Desk, data: bytes, words: Words, *, source: str) -> Answer:
    """Keep a photo in the job's folder, nothing but its pixels, and tell where it is shown."""
    job = desk.job(words.get(OPENING))
    _, picture = desk.uploads.take_photo(data, words.get("name", ""), source=source)
    place = keep_picture(job.folder, picture)
    return 200, {"file": f"{PHOTOS}/{place.name}", "address": _address(place.name)}


def post_photo(desk: Desk, words: Words, body: Body) -> Answer:
    """Judge a photo by what was touched in it, and write it into the diary."""
    job, file, spots = looked_at(desk, body), body.get("file"), body.get("spots")
    place = shown_photo(job.folder, Path(file).name) if isinstance(file, str) else None
    if place is None:
        raise InputError(Problem("there is no such photo", "hand it over again", field="file"))
    if not isinstance(spots, list) or not 0 < len(spots) <= MOST_TOUCHES:
        raise InputError(Problem(f"1 to {MOST_TOUCHES} touches on the paint are wanted", field="spots"))
    of, reflectance = body.get("of", "part"), body.get("white_reflectance", 0.9)
    if of not in ("part", "card"):
        raise InputError(Problem("a photo is of the part or of a card", field="of"))
    found = photo_said(
        job.path,
        place,
        card=_touch(body.get("card"), "card"),
        spots=[_touch(each, "spots") for each in spots],
        of=of,
        entry=_whole(body, "entry"),
        number=_whole(body, "number"),
        white_reflectance=_share(reflectance, "white_reflectance"),
    )
    lines = [page_words(line, job.folder) for line in (*found.words, *found.notes)]
    return 200, {"lines": lines, "judged": found.judged, "logged": found.logged}


def in_one_light(desk: Desk) -> bytes:
    """All photos of the job side by side in one light, as JPEG. Raises NoAnswerError where there is none."""
    out = io.BytesIO()
    Image.fromarray(strip_of(desk.job().path).pixels).save(out, "JPEG", quality=90)
    return out.getvalue()


GET: dict[str, Callable[[Desk, Words], Answer]] = {"day": get_day, "batches": get_batches}
POST: dict[str, Callable[[Desk, Words, Body], Answer]] = {
    "said": post_said,
    "withdraw": post_withdraw,
    "day-photo": post_photo,
}


def _told(desk: Desk, job: OpenJob, found: Result[Any]) -> dict[str, Any]:
    log = job.path.with_name(LOG_NAME)
    photos = [_photo(one) for one in done_of(entries_of(read_lines(log), job.path, log), log).photos]
    units = read_of(job).scheme.shop.units
    book = shown_book(desk) is not None
    return {**found.to_dict(), "opening": job.opening, "units": units, "photos": photos, "book": book}


def _photo(one: PhotoRead) -> dict[str, Any]:
    name = Path(one.file).name
    shown = one.file == f"{PHOTOS}/{name}"
    return {
        "line": one.line,
        "address": _address(name) if shown else None,
        "words": one.refused or f"coat {one.number}",
    }


def _address(name: str) -> str:
    return f"/day-photo/{name}"


def _part(part: Part) -> dict[str, Any]:
    counted = part.drops is not None
    amount = part.drops if counted else float(part.mL)
    unit = "drops" if counted else "mL"
    return {"name": part.name, "planned": f"{amount:g} {unit}", "unit": unit}


def _touch(value: object, field: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise InputError(Problem("a touch is how far across and how far down, from 0 to 1", field=field))
    return _share(value[0], field), _share(value[1], field)


def _share(value: object, field: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= 1.0:
        raise InputError(Problem("a number from 0 to 1 is wanted", field=field))
    return float(value)


def _whole(body: Body, name: str) -> int | None:
    value = body.get(name)
    if value is not None and (isinstance(value, bool) or not isinstance(value, int)):
        raise InputError(Problem("a whole number is wanted", field=name))
    return value


def _seconds(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= LONGEST_AGO_S:
        raise InputError(Problem("seconds are wanted, two weeks of them at most", field="ago_s"))
    return float(value)
