"""Giving away: board, mix sheet, pictures, the part turning, true-size templates, record, into the job's folder.

POST give {what: one of `OPTIONS`, force, and of its options those that are said}: a task whose result is {folder,
files: [{name, address, size_bytes, type, shown}], words}; `address` is where the page finds a file.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import quote

from layerpreview.desk.apart import run_apart
from layerpreview.desk.found import from_here
from layerpreview.desk.tasks import Task
from layerpreview.errors import InputError, Problem, typed
from layerpreview.workflows.places import Place, results_place

Body = Mapping[str, Any]

FOLDERS = {
    "board": "board",
    "sheet": "sheet",
    "templates": "sheet",
    "pictures": "pictures",
    "turn": "pictures",
    "record": "record",
}
COMMANDS = {"templates": "sheet", "pictures": "render"}
SAYS = {
    "board": "drawing the board",
    "sheet": "setting the mix sheet",
    "templates": "drawing the templates",
    "pictures": "making the pictures",
    "turn": "turning the part",
    "record": "sealing the record",
}
SHOWN = {
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".webp": "image/webp",
    ".pdf": "application/pdf",
    ".html": "text/html",
}
"""Files of the job that a browser shows; all others it saves."""
LONGEST_TEXT, MOST_TEXTS = 120, 12


def _text(value: object) -> str:
    if not isinstance(value, str) or not 0 < len(value) <= LONGEST_TEXT or not value.isprintable():
        raise ValueError("a text is wanted")
    return value


def _texts(value: object) -> list[str]:
    if not isinstance(value, list) or not 0 < len(value) <= MOST_TEXTS:
        raise ValueError("a list of texts is wanted")
    return [_text(one) for one in value]


def _width(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 64 <= value <= 8000:
        raise ValueError("a whole number from 64 to 8000 is wanted")
    return value


def _yes(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError("true or false is wanted")
    return value


_Read = Callable[[object], Any]
OPTIONS: dict[str, dict[str, tuple[str, _Read]]] = {
    "board": {
        "title": ("--title", _text),
        "allow": ("--allow", _texts),
        "pdf": ("--pdf", _yes),
        "width_px": ("--width", _width),
    },
    "sheet": {"forms": ("--form", _texts), "paper": ("--paper", _text)},
    "templates": {"forms": ("--form", _texts), "paper": ("--paper", _text)},
    "pictures": {"lights": ("--light", _texts), "around": ("--around", _text), "width_px": ("--width", _width)},
    "turn": {"light": ("--light", _text), "around": ("--around", _text), "width_px": ("--width", _width)},
    "record": {"width_px": ("--width", _width)},
}
"""What can be said of each, by the names of its workflow, with the option of the command that does the same."""


def asked(what: object, body: Body) -> tuple[str, dict[str, Any]]:
    """What is to be made, and how it is. Raises InputError."""
    if not isinstance(what, str) or what not in OPTIONS:
        raise InputError(Problem("this cannot be made", f"use one of {', '.join(OPTIONS)}", field="what"))
    found = {}
    for name, (_, read) in OPTIONS[what].items():
        if body.get(name) is not None:
            try:
                found[name] = read(body[name])
            except ValueError as error:
                raise InputError(Problem(str(error), field=name)) from None
    return what, found


def command(scheme: Path, what: str, options: Mapping[str, Any], *, force: bool) -> str:
    """What is typed to the same end."""
    words = ["layerpreview", COMMANDS.get(what, what), from_here(scheme)]
    for name, value in options.items():
        option = OPTIONS[what][name][0]
        if isinstance(value, bool):
            words += [option] if value else []
        else:
            words += [word for one in (value if isinstance(value, list) else [value]) for word in (option, str(one))]
    words += ["--templates"] if what == "templates" else []
    return " ".join(map(typed, [*words, *(["--force"] if force else [])]))


def give(task: Task, scheme: Path, what: str, options: Mapping[str, Any], *, force: bool) -> dict[str, Any]:
    """Make it and tell where it lies."""
    place = results_place(scheme, FOLDERS[what])
    task.say(SAYS[what])
    said = {**options, "templates": True} if what == "templates" else dict(options)
    made = run_apart(task, what, place.folder, {"scheme": str(scheme), "options": said, "force": force})
    return {**files_told(scheme.parent, place, made["files"]), "words": made["words"]}


def files_told(job: Path, place: Place, names: Sequence[str]) -> dict[str, Any]:
    """Files that were written to a place, and where the page finds them: nowhere outside the job's own folder."""
    folder = place.folder
    inside = folder.resolve().is_relative_to(job.resolve())
    shown = folder.resolve().relative_to(job.resolve()).as_posix() if inside else str(folder)
    return {
        "folder": shown,
        "aside": place.aside.strip(" ()"),
        "files": [
            {
                "name": name,
                "address": f"/files/{quote(f'{shown}/{name}' if shown != '.' else name)}" if inside else None,
                "size_bytes": (folder / name).stat().st_size,
                "type": SHOWN.get(Path(name).suffix, "application/octet-stream"),
                "shown": Path(name).suffix in SHOWN,
            }
            for name in names
        ],
    }
