"""Which job is meant by what was typed."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from layerpreview.errors import InputError, Problem


def found_job(place: Path) -> Path:
    """The scheme file of a job that is named by its folder or by the file itself; it is not read yet.

    Raises InputError where there is none.
    """
    if place.is_dir():
        usual = place / "scheme.toml"
        others = sorted(path.name for path in place.glob("*.toml"))
        if usual.is_file() or len(others) == 1:
            return usual if usual.is_file() else place / others[0]
        remedy = f"name one of {', '.join(others[:4])}" if others else "begin one with layerpreview start"
        raise InputError(Problem("no scheme.toml is in this folder", remedy, str(place)))
    if not place.is_file():
        raise InputError(Problem("there is no such job", "name its folder or its .toml file", str(place)))
    return place


def from_here(path: Path) -> str:
    """A file as it is named in the folder where the desk was started: short where it lies below that."""
    with suppress(OSError, ValueError):
        return path.absolute().relative_to(Path.cwd()).as_posix()
    return str(path)
