"""The gallery: finishes of our own to begin a job from, on invented parts."""

from __future__ import annotations

import tomllib
from importlib import resources
from pathlib import Path

from layerpreview.errors import InputError, Problem
from layerpreview.output.files import write_text, written_together
from layerpreview.workflows.places import SCHEME_NAME
from layerpreview.workflows.starter import ANOTHER_JOB, FIRST_NAME, Started, first_picture, spare_scheme

GALLERY = (
    "oat",
    "rhubarb",
    "hoarfrost",
    "straw",
    "shallows",
    "apricot",
    "quince",
    "chestnut",
    "heather",
    "embers",
    "fir",
    "slate",
)
"""The finishes by name, from pale to black: by the mean L* of their field, which their figures tell."""
_PLACE = resources.files("layerpreview") / "data" / "gallery"


def finish_named(name: str) -> str:
    """The name of a finish as the gallery has it, however its letters and blanks are typed.

    Raises InputError for one that is not there.
    """
    found = name.strip().lower()
    if found not in GALLERY:
        remedy = f"use one of {', '.join(GALLERY)}"
        raise InputError(Problem("there is no such finish in the gallery", remedy, field="--like", value=name))
    return found


def finish_text(name: str) -> str:
    """The scheme of a finish as text. Raises InputError for one that is not there."""
    return (_PLACE / f"{finish_named(name)}.toml").read_text(encoding="utf-8")


def finish_picture(name: str) -> bytes:
    """A small picture of a finish, as JPEG. Raises InputError for one that is not there."""
    return (_PLACE / f"{finish_named(name)}.jpg").read_bytes()


def finish_title(name: str) -> str:
    """What a finish is, in one line. Raises InputError for one that is not there.

    >>> finish_title("quince")
    'Quince: a speaker baffle in yellow silver'
    """
    return str(tomllib.loads(finish_text(name))["name"])


def gallery_lines() -> list[str]:
    """Every finish in a line of its own, from pale to black: what is typed, and what it is."""
    wide = max(map(len, GALLERY))
    return [f"{name:<{wide}}  {finish_title(name).partition(': ')[2]}" for name in GALLERY]


def start_like(folder: Path, name: str, *, force: bool = False) -> Started:
    """Begin a job with a finish of the gallery, word for word, and its first picture.

    A scheme that is there is never written over. Raises InputError or OutputError; nothing is written then.
    """
    text = finish_text(name)
    spare_scheme(folder, ANOTHER_JOB)
    names = [SCHEME_NAME, FIRST_NAME]
    writing = written_together(folder, names, force=force, inputs=(), lasting=[SCHEME_NAME], elsewhere=ANOTHER_JOB)
    with writing as paths:
        write_text(paths[SCHEME_NAME], text)
        first_picture(paths)
    return Started(folder, tuple(names), folder / SCHEME_NAME)
