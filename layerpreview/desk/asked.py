"""What the page asks for, one function each: `GET` and `POST` below /api/, by name.

Each takes the desk, the words after the ? and (POST) the JSON object that was sent, and gives a status and what is sent
back: JSON values, or bytes that are JSON already. What the house refuses it raises as its own errors.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from layerpreview.desk.desk import Desk
from layerpreview.desk.first import keep_first
from layerpreview.desk.jobs import OpenJob, Read
from layerpreview.desk.nearby import place_of_coat
from layerpreview.desk.picture import USUAL_AROUND, frame, live
from layerpreview.desk.spot import spot
from layerpreview.desk.surveyed import surveyed
from layerpreview.desk.tell import lines_of, state
from layerpreview.errors import InputError, Problem
from layerpreview.scheme.edit import LARGEST_NUMBER, read_change

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]

MOST_CHANGES = 200
OPENING = "opening"
"""By this name whoever asks says which opening of a job it is about, as `state` told it."""
STALE = "the scheme has changed meanwhile; this is how it is now"


def get_state(desk: Desk, words: Words) -> Answer:
    """All the page shows of the job; without one, that there is one to begin."""
    return 200, {"begin": True} if desk.path is None else state(looked_at(desk, words))


def get_pulse(desk: Desk, words: Words) -> Answer:
    """What may have changed since the page last asked."""
    if desk.path is None:
        return 200, {"version": None, "files": None, "outside": None, "problems": [], "tasks": []}
    job = looked_at(desk, words)
    problems = lines_of(job.problems, job.folder)
    files = job.read.files if job.read else None
    tasks = desk.tasks.told(job.version)
    return 200, {"version": job.version, "files": files, "outside": job.outside, "problems": problems, "tasks": tasks}


def get_spot(desk: Desk, words: Words) -> Answer:
    """The film at a place of a face, or where the coat of a number lands."""
    read = read_of(looked_at(desk, words))
    if words.get("coat"):
        face, x_mm, y_mm = place_of_coat(read, int(_number(words, "coat", 0, LARGEST_NUMBER)))
    else:
        face = words.get("face", "")
        x_mm, y_mm = (_number(words, name, -LARGEST_NUMBER, LARGEST_NUMBER) for name in ("x", "y"))
    return 200, spot(read, face=face, x_mm=x_mm, y_mm=y_mm, light=words.get("light") or None)


def get_figures(desk: Desk, words: Words) -> Answer:
    """Loads, amounts, time, cost and film budget."""
    return 200, surveyed(read_of(looked_at(desk, words))).figures


def get_picture(desk: Desk, words: Words) -> Answer:
    """The live picture, of the job as it is or `of` a kept version."""
    read = _wanted(looked_at(desk, words), words)
    return 200, live(read, around=words.get("around", USUAL_AROUND), light=words.get("light") or None)


def get_phone(desk: Desk, words: Words) -> Answer:
    """The phone's door: `offered` where the desk was started with one."""
    told = {"open": False, "address": None, "code": None, "phones": 0} if desk.phone is None else desk.phone.told()
    return 200, {"offered": desk.phone is not None, **told}


def post_phone(desk: Desk, words: Words, body: Body) -> Answer:
    """Shut the phone's door, or open it again where the desk was started with one."""
    if desk.phone is None:
        raise InputError(Problem("no phone was let in", "start the desk with --phone"))
    if body.get("open") is True:
        desk.phone.open()
    else:
        desk.phone.shut()
    return get_phone(desk, words)


def post_first(desk: Desk, words: Words, body: Body) -> Answer:
    """Keep what the page has drawn, to show it first when the job is opened again."""
    return 200, {"kept": keep_first(looked_at(desk, body), body)}


def get_history(desk: Desk, words: Words) -> Answer:
    """The kept versions, the newest first."""
    return 200, {"versions": [asdict(version) for version in desk.job(words.get(OPENING)).history.versions()]}


def frame_asked(desk: Desk, words: Words) -> bytes:
    """One frame as JPEG, where the page cannot draw."""
    read = _wanted(looked_at(desk, words), words)
    turned = [_number(words, name, -3600.0, 3600.0) if words.get(name) else None for name in ("yaw", "pitch")]
    width = int(_number(words, "width", 1, 10_000)) if words.get("width") else 960
    around, light = words.get("around", USUAL_AROUND), words.get("light") or None
    return frame(read, around=around, light=light, width_px=width, yaw_deg=turned[0], pitch_deg=turned[1])


def post_edit(desk: Desk, words: Words, body: Body) -> Answer:
    """Make changes; asked about first where the file was changed elsewhere at the same place."""
    asked = body.get("changes")
    if not isinstance(asked, list) or not 0 < len(asked) <= MOST_CHANGES:
        raise InputError(Problem("there are no changes here", f'"changes" lists 1 to {MOST_CHANGES} of them'))
    job = desk.job(body.get(OPENING))
    changes = [read_change(one) for one in asked]
    meeting = job.edit(text_in(body, "base"), changes, text_in(body, "words"), force=body.get("force") is True)
    if meeting:
        return 409, {"problems": [STALE], "asked": [asdict(one) for one in meeting], "state": state(job)}
    return 200, state(job)


def post_undo(desk: Desk, words: Words, body: Body) -> Answer:
    """Go back a step."""
    job = desk.job(body.get(OPENING))
    return _as_it_is(job, done=job.undo(text_in(body, "base")))


def post_redo(desk: Desk, words: Words, body: Body) -> Answer:
    """Take back the last undo."""
    job = desk.job(body.get(OPENING))
    return _as_it_is(job, done=job.redo(text_in(body, "base")))


def post_keep(desk: Desk, words: Words, body: Body) -> Answer:
    """Keep the version of now under a name."""
    return 200, asdict(desk.job(body.get(OPENING)).keep(text_in(body, "name")))


def post_restore(desk: Desk, words: Words, body: Body) -> Answer:
    """Make a kept version the one of now."""
    job = desk.job(body.get(OPENING))
    job.restore(text_in(body, "id"))
    return 200, state(job)


GET: dict[str, Callable[[Desk, Words], Answer]] = {
    "state": get_state,
    "pulse": get_pulse,
    "spot": get_spot,
    "figures": get_figures,
    "picture": get_picture,
    "history": get_history,
    "phone": get_phone,
}
POST: dict[str, Callable[[Desk, Words, Body], Answer]] = {
    "edit": post_edit,
    "undo": post_undo,
    "redo": post_redo,
    "first": post_first,
    "keep": post_keep,
    "restore": post_restore,
    "phone": post_phone,
}


def _as_it_is(job: OpenJob, *, done: bool) -> Answer:
    return (200, state(job)) if done else (409, {"problems": [STALE], "asked": [], "state": state(job)})


def looked_at(desk: Desk, asked: Mapping[str, Any]) -> OpenJob:
    job = desk.job(asked.get(OPENING))
    job.look()
    return job


def read_of(job: OpenJob) -> Read:
    """What can be shown of a job. Raises InputError where it never could be read."""
    if job.read is None:
        raise InputError(job.problems or [Problem("the scheme cannot be read", file=job.path.name)])
    return job.read


def _wanted(job: OpenJob, words: Words) -> Read:
    return job.read_of(words["of"]) if words.get("of") else read_of(job)


def _number(words: Words, name: str, low: float, high: float) -> float:
    try:
        value = float(words.get(name, ""))
    except ValueError:
        value = float("nan")
    if not low <= value <= high:
        raise InputError(Problem(f"a number from {low:g} to {high:g} is wanted", field=name))
    return value


def text_in(body: Body, name: str) -> str:
    value = body.get(name, "")
    if not isinstance(value, str):
        raise InputError(Problem("a text is wanted", field=name))
    return value
