"""What the pages of earlier work ask for, a job open or not: the shop book, and the colour of a record made again.

POST book {}: a task whose result says where the book is shown. POST record {record}: what a record holds. POST remake
{record, dyes: {name: file}, more: [files], also: [files], today, anyway}: a task that works out the scheme for today's
dyes in a new job's folder. GET task {id}; POST stop {id}.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from layerpreview.desk.apart import run_apart
from layerpreview.desk.begin_make import earlier_job, earlier_jobs, free_folder
from layerpreview.desk.desk import Desk
from layerpreview.desk.found import from_here
from layerpreview.desk.page_words import page_words
from layerpreview.desk.tasks import Task
from layerpreview.desk.uploads import Upload, shown_jpeg
from layerpreview.errors import InputError, Problem, typed
from layerpreview.output.record_file import open_record
from layerpreview.output.remake_result import SHEET
from layerpreview.surface.picture_file import read_picture
from layerpreview.workflows.places import book_place

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]
BOOK = "book.html"
MOST_DYES = 40
_OPTIONS = (
    (re.compile(r"add (--also \S+( |$))+"), "tick it above"),
    (re.compile(r"; is it .* then add --as .*$"), ""),
    (re.compile(r"with --anyway"), "with the figures as they are"),
    (re.compile(r"name its file, too"), "hand its file over, too"),
)


def get_task(desk: Desk, words: Words) -> Answer:
    """A task with its result."""
    return 200, desk.tasks.get(words.get("id", "")).told("", whole=True)


def post_stop(desk: Desk, words: Words, body: Body) -> Answer:
    """Stop a task; nothing is written then."""
    task = desk.tasks.get(str(body.get("id", "")))
    task.stop()
    return 200, task.told("", whole=True)


def post_book(desk: Desk, words: Words, body: Body) -> Answer:
    """Make the book of all jobs of this folder."""
    place = book_place(desk.home)

    def work(task: Task) -> dict[str, Any]:
        task.say("reading the jobs of this folder")
        made = run_apart(task, "book", place.folder, {"folder": str(desk.home), "force": True})
        return {**made, "address": f"/{BOOK}"}

    command = f"layerpreview book {typed(from_here(desk.home))}"
    return 202, desk.tasks.begin("book", "", work, command=command).told("", whole=True)


def post_record(desk: Desk, words: Words, body: Body) -> Answer:
    """What a record holds, once it is found to be whole: its name, when it was made, the dyes of its mixes."""
    record = open_record(desk.uploads.get(body.get("record")).path)
    dyes = list(dict.fromkeys(dye for mix in record.mixes for dye in mix.strengths_as_made))
    jobs = [job["folder"] for job in earlier_jobs(desk.home)]
    return 200, {"name": record.name, "made": record.made[:10], "dyes": dyes, "jobs": jobs}


def post_remake(desk: Desk, words: Words, body: Body) -> Answer:
    """Work out how to make the colour of a record again."""
    record, stands = desk.uploads.get(body.get("record")), body.get("dyes")
    if not isinstance(stands, dict) or len(stands) > MOST_DYES:
        raise InputError(Problem(f"today's dyes are wanted, {MOST_DYES} of them at most", field="dyes"))
    stand_for = {str(name): desk.uploads.get(key) for name, key in stands.items()}
    more = [desk.uploads.get(key) for key in _list(body, "more")]
    today = earlier_job(desk.home, body["today"]) if body.get("today") else None
    folder = free_folder(desk.home, f"{record.name.partition('.')[0]} again")
    asked = {
        "record": str(record.path),
        "stand_for": {name: [one.name, str(one.path)] for name, one in stand_for.items()},
        "more": [[one.name, str(one.path)] for one in more],
        "also": [str(name) for name in _list(body, "also")],
        "today": None if today is None else str(today),
        "anyway": body.get("anyway") is True,
    }

    def work(task: Task) -> dict[str, Any]:
        task.say("trying strengths and coats under the record's lights")
        made = run_apart(task, "remake", folder, asked)
        lines = [_plain(line, folder) for line in made["lines"]]
        picture = f"/begin/remake.jpg?folder={quote(folder.name)}"
        return {**made, "lines": lines, "folder": folder.name, "picture": picture}

    return 202, desk.tasks.begin("remake", "", work, command=_command(record, stand_for, more)).told("", whole=True)


def remade_picture(desk: Desk, folder: object) -> bytes | None:
    """Old beside new, of a job that was made here from a record."""
    place = earlier_job(desk.home, folder).parent / SHEET
    return shown_jpeg(read_picture(place)) if place.is_file() and not place.is_symlink() else None


def shown_book(desk: Desk) -> Path | None:
    """The book of this folder, where there is one."""
    place = book_place(desk.home).folder / BOOK
    return place if place.is_file() and not place.is_symlink() else None


GET: dict[str, Callable[[Desk, Words], Answer]] = {"task": get_task}
POST: dict[str, Callable[[Desk, Words, Body], Answer]] = {
    "book": post_book,
    "record": post_record,
    "remake": post_remake,
    "stop": post_stop,
}


def _list(body: Body, name: str) -> list[Any]:
    value = body.get(name, [])
    if not isinstance(value, list) or len(value) > MOST_DYES:
        raise InputError(Problem(f"a list of {MOST_DYES} at most is wanted", field=name))
    return value


def _plain(line: str, folder: Path) -> str:
    """A line as the page says it; what is a table keeps its blanks."""
    for option, said in _OPTIONS:
        line = option.sub(said, line)
    return line if "  " in line.strip() else page_words(line, folder)


def _command(record: Upload, stand_for: Mapping[str, Upload], more: list[Upload]) -> str:
    said = [word for name, one in stand_for.items() for word in ("--as", f"{name}={one.name}")]
    dyes = ["--dyes", *(one.name for one in more)] if more else []
    return " ".join(map(typed, ["layerpreview", "remake", record.name, *said, *dyes]))
