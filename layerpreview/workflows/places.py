"""Where results go when nobody says: into the job's own folder, with its scheme."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import NamedTuple

from layerpreview.errors import InputError, Problem
from layerpreview.scheme.source import LARGEST_FILE
from layerpreview.workflows.samples import is_sample

SCHEME_NAME = "scheme.toml"
PHOTOS = "photos"
"""The folder of a job's photos, in its own."""


class Place(NamedTuple):
    """A folder to write to; `aside`: what is said after its name, why it is not the job's own, where it is not."""

    folder: Path
    aside: str = ""


def results_place(scheme: Path, what: str) -> Place:
    """The folder for what is made of the scheme at `scheme`; `what`: its kind, as "pictures" or "board".

    A `scheme.toml` is the scheme of the job that its folder is: MY-JOB/pictures. Any other may share its folder with
    more schemes, and has one of its own name there: NAME/pictures for NAME.toml. Results of a sample, and of a scheme
    in a place that cannot be written to, go to out/NAME/pictures of the folder one is in.

    >>> results_place(Path("my-job/scheme.toml"), "board").folder.as_posix()
    'my-job/board'
    >>> results_place(Path("jobs/pale.toml"), "board").folder.as_posix()
    'jobs/pale/board'
    """
    is_job = scheme.name.casefold() == SCHEME_NAME
    own = scheme.parent / what if is_job else scheme.parent / scheme.stem / what
    why = _kept_out(own, scheme)
    name = Path(os.path.realpath(scheme.parent)).name if is_job else scheme.stem
    return Place(Path("out", name, what), f" ({why})") if why else Place(own)


def dye_place(card: Path, scheme: Path | None) -> Place:
    """The folder for a dye learnt from `card`: beside the scheme it is for, else out/CARD of the folder one is in."""
    other = Path("out", card.stem)
    if scheme is None:
        return Place(other)
    why = _kept_out(scheme.parent, scheme)
    return Place(other, f" ({why})") if why else Place(scheme.parent)


def book_place(folder: Path) -> Place:
    """The folder for the book of the jobs below `folder`: in it, else out/NAME/book of the folder one is in."""
    own = folder / "book"
    if os.path.isdir(folder) and not os.access(folder, os.W_OK | os.X_OK):
        return Place(Path("out", Path(os.path.realpath(folder)).name, "book"), f" ({folder} cannot be written to)")
    return Place(own)


def _kept_out(folder: Path, scheme: Path) -> str:
    """Why nothing of this scheme is written to `folder`, in words; nothing where it can be."""
    if is_sample(scheme):
        return "where results of a sample go"
    there = next((path for path in (folder, *folder.parents) if os.path.exists(path)), Path())
    # A file in the way is told of when the results are written: that is no place one may not write to.
    if os.path.isdir(there) and not os.access(there, os.W_OK | os.X_OK):
        return f"{there} cannot be written to"
    return ""


def scheme_of_job(job: Path) -> Path:
    """The scheme of a job: `job` itself, or in that folder scheme.toml, else the only scheme. Raises InputError."""
    if job.suffix == ".jsonl":
        raise InputError(Problem("this is a log", "name the job's folder, or its scheme", str(job)))
    if not job.is_dir():
        return job
    if (job / SCHEME_NAME).is_file():
        return job / SCHEME_NAME
    found = sorted(path.name for path in job.glob("*.toml") if says_scheme(path))
    if len(found) == 1:
        return job / found[0]
    rule = "several schemes are in this folder" if found else "no scheme is in this folder"
    remedy = (
        f"name one: {', '.join(found[:6])}"
        if found
        else "name a job's folder or a scheme, or begin one: layerpreview start DIR"
    )
    raise InputError(Problem(rule, remedy, str(job)))


def says_scheme(path: Path) -> bool:
    """Whether a file says of itself that it is a scheme, right or wrong."""
    try:
        return bool(re.search(rb"^\s*layerpreview\s*=", path.read_bytes()[:LARGEST_FILE], re.MULTILINE))
    except OSError:
        return False
