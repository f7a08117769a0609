"""What the page of the day asks for, at the desk and on the shop's phone: the diary, and what is said to it.

GET day: the diary's document with the job's units and photos. POST said {what, values, ago_s}: one thing that was done
so many seconds ago, by the clock of whoever says it; POST withdraw {line}. GET batches: what each mix is poured from.
A photo is handed over first (`keep_photo`), then touched: POST day-photo {file, card, spots, of, entry, number}.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from layerpreview.desk.asked import OPENING, looked_at, read_of
from layerpreview.desk.desk import Desk
from layerpreview.desk.jobs import OpenJob
from layerpreview.desk.photos import keep_picture
from layerpreview.errors import InputError, Problem
from layerpreview.job.done import PhotoRead
from layerpreview.job.sheet import make_sheet
from layerpreview.output.diary_entries import DIARY_KINDS, done_of
from layerpreview.output.result import Result
from layerpreview.picture.faces import shapes_of
from layerpreview.spray.batch import Part
from layerpreview.workflows.diary import diary, said, scheme_and_log, withdraw
from layerpreview.workflows.places import PHOTOS

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]
LONGEST_AGO_S = 14 * 24 * 3600.0
"""What a phone kept for longer than this was not said on the day."""


def get_day(desk: Desk, words: Words) -> Answer:
    """The diary as it stands."""
    job = looked_at(desk, words)
    return 200, _told(job, diary(job.path))


def post_said(desk: Desk, words: Words, body: Body) -> Answer:
    """Write one thing that was done into the diary; said again with the same id it changes nothing."""
    job, what, values = looked_at(desk, body), body.get("what"), body.get("values")
    if what not in DIARY_KINDS or not isinstance(values, dict):
        raise InputError(Problem("the diary has no such entry", f"use one of {', '.join(DIARY_KINDS)}", field="what"))
    now = datetime.now(UTC)
    time = (now - timedelta(seconds=_seconds(body.get("ago_s", 0)))).isoformat(timespec="seconds")
    return 200, _told(job, said(job.path, what, {"time": time, **values}, now))


def post_withdraw(desk: Desk, words: Words, body: Body) -> Answer:
    """Withdraw a line by a further one."""
    job, line = looked_at(desk, body), body.get("line")
    if isinstance(line, bool) or not isinstance(line, int):
        raise InputError(Problem("the number of a line is wanted", field="line"))
    return 200, _told(job, withdraw(job.path, line)[1])


def get_batches(desk: Desk, words: Words) -> Answer:
    """What each mix of the job is poured from, as the mix sheet has it."""
    scheme = read_of(looked_at(desk, words)).scheme
    sheet = make_sheet(scheme, parts=shapes_of(scheme))
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


GET: dict[str, Callable[[Desk, Words], Answer]] = {"day": get_day, "batches": get_batches}
POST: dict[str, Callable[[Desk, Words, Body], Answer]] = {"said": post_said, "withdraw": post_withdraw}


def _told(job: OpenJob, found: Result[Any]) -> dict[str, Any]:
    _, log, lines = scheme_and_log(job.path)
    photos = [_photo(one) for one in done_of(lines, log).photos]
    units = read_of(job).scheme.shop.units
    return {**found.to_dict(), "opening": job.opening, "units": units, "photos": photos}


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


def _seconds(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= LONGEST_AGO_S:
        raise InputError(Problem("seconds are wanted, two weeks of them at most", field="ago_s"))
    return float(value)
