"""What the page asks for beside the picture, as in `asked`: tasks, wanted colours, what to judge by, giving away, dyes.

GET task {id}, POST stop {id}: one task with its result so far (`tasks`). What begins a task answers 202 with it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from layerpreview.desk import closer, dyes, give, judge
from layerpreview.desk.asked import OPENING, STALE, looked_at, read_of, text_in
from layerpreview.desk.desk import Desk
from layerpreview.desk.found import from_here
from layerpreview.desk.tasks import Task
from layerpreview.desk.tell import state
from layerpreview.errors import InputError, Problem

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]


def get_task(desk: Desk, words: Words) -> Answer:
    """A task with its result."""
    return 200, desk.tasks.get(words.get("id", "")).told(desk.job(words.get(OPENING)).version, whole=True)


def get_evenness(desk: Desk, words: Words) -> Answer:
    """How evenly a hand lays the part."""
    return 200, judge.evenness(read_of(looked_at(desk, words)), words.get("hand") or "good", words.get("known", ""))


def get_gamut(desk: Desk, words: Words) -> Answer:
    """What of the part the screen cannot show."""
    read = read_of(looked_at(desk, words))
    return 200, judge.gamut(read, words.get("light") or read.scheme.lights[0])


def post_twins(desk: Desk, words: Words, body: Body) -> Answer:
    """How pale or deep it may come out."""
    job = looked_at(desk, body)
    read = read_of(job)

    def work(task: Task) -> dict[str, Any]:
        return judge.twins(task, read)

    return _begun(desk, desk.tasks.begin("twins", read.version, work, command=judge.twins_command(from_here(job.path))))


def get_dyes(desk: Desk, words: Words) -> Answer:
    """The dyes there are."""
    job = looked_at(desk, words)
    return 200, dyes.dyes_told(read_of(job), job.folder)


def post_colour_of(desk: Desk, words: Words, body: Body) -> Answer:
    """The colour of a spot of a photo."""
    return 200, dyes.spot_colour(desk.uploads.get(body.get("photo")), body)


def post_fit(desk: Desk, words: Words, body: Body) -> Answer:
    """Learn a dye from its card."""
    job, upload, said = looked_at(desk, body), desk.uploads.get(body.get("card")), dyes.fit_asked(body)
    force = body.get("force") is True

    def work(task: Task) -> dict[str, Any]:
        return dyes.fit(task, job.path, upload, said, force=force)

    kept = {name: body.get(name) for name in ("name", "strength")}
    command = dyes.fit_command(upload, job.path, said, force=force)
    return _begun(desk, desk.tasks.begin("fit", job.version, work, command=command, asked=kept))


def post_stop(desk: Desk, words: Words, body: Body) -> Answer:
    """Stop a task; what was best so far stays."""
    job, task = desk.job(body.get(OPENING)), desk.tasks.get(text_in(body, "id"))
    task.stop()
    return 200, task.told(job.version, whole=True)


def post_reach(desk: Desk, words: Words, body: Body) -> Answer:
    """Look for recipes for a colour."""
    job = looked_at(desk, body)
    read = read_of(job)
    target, sought, options = closer.asked(read.scheme, body)
    command = closer.command(job, target, options)

    def work(task: Task) -> dict[str, Any]:
        return closer.reach(task, read, target, sought)

    said = {name: body.get(name) for name in ("target", "reading", "coat", "dyes")}
    return _begun(desk, desk.tasks.begin("reach", read.version, work, command=command, asked=said))


def post_take(desk: Desk, words: Words, body: Body) -> Answer:
    """Write an alternative into the scheme."""
    job, task = looked_at(desk, body), desk.tasks.get(text_in(body, "task"))
    if task.kind != "reach" or task.result is None:
        raise InputError(Problem("there is nothing to take yet", "look for a colour first"))
    changes, told = closer.changes_of(job.text, read_of(job).scheme, task.result, body.get("index"))
    meeting = job.edit(text_in(body, "base"), changes, told, force=body.get("force") is True)
    if meeting:
        return 409, {"problems": [STALE], "asked": [asdict(one) for one in meeting], "state": state(job)}
    return 200, state(job)


def post_give(desk: Desk, words: Words, body: Body) -> Answer:
    """Make something to give away."""
    job = looked_at(desk, body)
    what, options = give.asked(body.get("what"), body)
    force, version = body.get("force") is True, read_of(job).version

    def work(task: Task) -> dict[str, Any]:
        return give.give(task, job.path, what, options, force=force)

    command = give.command(job.path, what, options, force=force)
    return _begun(desk, desk.tasks.begin(what, version, work, command=command))


def _begun(desk: Desk, task: Task) -> Answer:
    return 202, task.told(desk.job().version, whole=True)


GET: dict[str, Callable[[Desk, Words], Answer]] = {
    "task": get_task,
    "evenness": get_evenness,
    "gamut": get_gamut,
    "dyes": get_dyes,
}
POST: dict[str, Callable[[Desk, Words, Body], Answer]] = {
    "stop": post_stop,
    "reach": post_reach,
    "take": post_take,
    "twins": post_twins,
    "colour-of": post_colour_of,
    "fit": post_fit,
    "give": post_give,
}
