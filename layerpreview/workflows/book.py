"""The shop book: all jobs below a folder in one page and two tables, searched by colour, dye and words."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path

from layerpreview.answers.book import Book, BookJob, Faulty, in_order
from layerpreview.answers.book_find import beside, job_called, nearest, wanted_of, with_dye, with_words
from layerpreview.answers.book_order import order_of
from layerpreview.doing import each_of
from layerpreview.errors import InputError, LayerPreviewError, NoAnswerError, Problem
from layerpreview.output.book_index import BookPicture, Index
from layerpreview.output.book_result import Asked, asked_result, book_result
from layerpreview.output.result import Result
from layerpreview.workflows.book_find import first_line, jobs_below, printable
from layerpreview.workflows.book_read import read_job

Tell = Callable[[str], None]


def book(folder: str | PathLike[str], *, tell: Tell | None = None) -> Result[Book]:
    """All jobs below `folder`: what each looks like, is sprayed with, takes and taught; and what to order.

    Nothing is written there; what takes time is kept in the user's cache folder. A job that cannot be read is listed
    among `faulty` and stops none. `tell` is given a word before each job that has to be worked out.
    Raises InputError where there is no such folder.
    """
    found, pictures, inputs = _book(Path(folder), tell)
    return book_result(found, pictures, inputs=inputs)


def book_files(folder: Path, *, out: Path, force: bool = False, tell: Tell | None = None) -> Result[Book]:
    """Write the book of the jobs below `folder` into `out`: book.html, book.csv and order.csv.

    Raises InputError where there is no such folder or no job in it, or OutputError; nothing is written then.
    """
    made = book(folder, tell=tell)
    if not (made.found.jobs or made.found.faulty):
        raise _no_jobs(folder)
    return made.save(out, force=force)


def ask_book(
    folder: Path,
    *,
    like: str | None = None,
    dye: str | None = None,
    words: str | None = None,
    pair: tuple[str, str] | None = None,
    order: bool = False,
    tell: Tell | None = None,
) -> Result[Asked]:
    """Ask the book: jobs with a `dye`, with all of the `words`, and of those the nearest to `like` a colour.

    `like`: "#8a3a1c", or L*, a*, b*, perhaps with "over silver", "over white", "over wood" or a word of the base.
    `pair`: two jobs beside each other. `order`: what the jobs take that are not done. Raises InputError, and
    NoAnswerError where no job is left.
    """
    wanted = None if like is None else wanted_of(like)
    found, _, _ = _book(folder, tell)
    if not found.jobs:
        raise _no_jobs(folder)
    if pair is not None:
        one, other = (job_called(found, name) for name in pair)
        if one == other:
            raise InputError(Problem("this is one job twice", "name two", "", None, "--beside", pair[1]))
        return asked_result(Asked(found.folder, pair=(one, other), lines=tuple(beside(one, other))))
    jobs = list(found.jobs)
    for ask, how, what in ((dye, with_dye, "a dye called"), (words, with_words, "all of the words")):
        if ask is not None:
            jobs = how(jobs, ask)
            if not jobs:
                raise NoAnswerError(f"no job has {what} {ask}")
    near = None if wanted is None else tuple(nearest(jobs, wanted))
    if near is not None:
        jobs = [each.job for each in near]
    lines = tuple(order_of(jobs)) if order else None
    return asked_result(Asked(found.folder, jobs=tuple(jobs), near=near, order=lines, faulty=found.faulty))


def _no_jobs(folder: Path) -> InputError:
    rule = "there is no job below this folder"
    return InputError(
        Problem(rule, "name the folder that your jobs lie in, or start one: layerpreview start DIR", str(folder))
    )


def _book(folder: Path, tell: Tell | None) -> tuple[Book, Mapping[str, BookPicture], tuple[Path, ...]]:
    """The book, its pictures by the jobs' places, and all files that were read for it."""
    found, faulty, notes = jobs_below(folder)
    index = Index(Path(os.path.realpath(folder)))
    jobs: list[BookJob] = []
    pictures: dict[str, BookPicture] = {}
    inputs: list[Path] = []

    for number, one in each_of("reading the jobs", enumerate(found, start=1), len(found)):
        told = _numbered(tell, f"{number} of {len(found)}")
        try:
            read = read_job(one, index, told)
        except LayerPreviewError as error:
            faulty.append(Faulty(one.place, first_line(error)))
            continue
        scheme = printable(one.scheme.relative_to(folder).as_posix())
        jobs.append(replace(read.job, scheme=scheme))
        faulty += [read.faulty] if read.faulty else []
        inputs += read.inputs
        if read.picture is not None:
            pictures[one.place] = read.picture
    index.tidy()
    faulty = [replace(one, words=_from_here(one.words, folder)) for one in faulty]
    name = printable(Path(os.path.realpath(folder)).name)
    return Book(name, in_order(jobs), tuple(faulty), tuple(notes)), pictures, tuple(inputs)


def _from_here(words: str, folder: Path) -> str:
    """Files named as they are seen from the folder."""
    for top in {str(folder), os.path.realpath(folder)} - {"."}:
        words = words.replace(top.rstrip(os.sep) + os.sep, "")
    return words


def _numbered(tell: Tell | None, number: str) -> Tell:
    def told(place: str) -> None:
        if tell is not None:
            tell(f"{number}: {place}")

    return told
