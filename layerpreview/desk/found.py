"""Which job is meant by what was typed."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from layerpreview.errors import InputError, Problem
from layerpreview.workflows.places import scheme_of_job


def found_job(place: Path) -> Path:
    """The scheme file of a job that is named by its folder or by the file itself; it is not read yet.

    Raises InputError where there is none.
    """
    if place.is_dir():
        return scheme_of_job(place)
    if not place.is_file():
        raise InputError(Problem("there is no such job", "name its folder or its .toml file", str(place)))
    return place


def from_here(path: Path) -> str:
    """A file as it is named in the folder where the desk was started: short where it lies below that."""
    with suppress(OSError, ValueError):
        return path.absolute().relative_to(Path.cwd()).as_posix()
    return str(path)
