"""Finding jobs in the shop book: by a colour over a base, by a dye, by words; and two beside each other."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layerpreview.answers.book import Book, BookColour, BookJob, Lab
from layerpreview.answers.book_story import dyes_in_words, in_words
from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, delta_e_2000, srgb_hex_to_rgb_lin, xyz_to_lab
from layerpreview.errors import InputError, NoAnswerError, Problem
from layerpreview.told import Told
from layerpreview.units import UnitError, parse_numbers

_WANTED = re.compile(r"\s*(?:like\s+)?(?P<colour>.*?)(?:\s+(?:over|on)\s+(?P<over>.+?))?\s*", re.IGNORECASE | re.DOTALL)
MOST_LAB = 1000.0
"""Far beyond any colour, in L*, a* and b*."""


@dataclass(frozen=True)
class Wanted:
    """A colour that is looked for (L*a*b* adapted to D65), and words for the base it lies over, empty for any."""

    lab: Lab
    over: str = ""


@dataclass(frozen=True)
class Near:
    """A job and its place that comes nearest to a wanted colour, `de00` away (CIEDE2000)."""

    job: BookJob
    colour: BookColour
    de00: float


@dataclass(frozen=True)
class Beside:
    """One line of two jobs beside each other: what it is about, what each has, and whether that differs."""

    what: str
    one: str
    other: str

    @property
    def differs(self) -> bool:
        """Whether they are not the same."""
        return self.one != self.other


def wanted_of(text: str, *, field: str = "--like") -> Wanted:
    """Read "#8a3a1c over silver", a colour's name, or L*, a*, b* in its place. Raises InputError.

    >>> wanted_of("42, 30, 35 over white")
    Wanted(lab=(42.0, 30.0, 35.0), over='white')
    """
    found = _WANTED.fullmatch(text)
    colour, over = ("", "") if found is None else (found["colour"], found["over"] or "")
    try:
        return Wanted(_lab(colour), over)
    except (InputError, UnitError):
        remedy = 'write "#8a3a1c", "silver", "#8a3a1c over silver" or "42,30,35 over white"'
        raise InputError(Problem("this is no colour", remedy, field=field, value=text)) from None


def _lab(colour: str) -> Lab:
    """L*, a*, b* of three numbers, or of a colour of a screen."""
    numbers = colour if "," in colour or ";" in colour else ";".join(colour.split())
    if ";" in numbers or "," in numbers:
        light, a, b = parse_numbers(numbers, least=3, most=3, low=-MOST_LAB, high=MOST_LAB)
        return light, a, b
    lab = xyz_to_lab(srgb_hex_to_rgb_lin(colour) @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)
    return float(lab[0]), float(lab[1]), float(lab[2])


def nearest(jobs: Sequence[BookJob], wanted: Wanted) -> list[Near]:
    """For every job its place that comes nearest, nearest first; a bare base is no finish and does not count.

    Only places over what `wanted.over` names. Raises NoAnswerError where there is none.
    """
    found = []
    for job in jobs:
        colours = [colour for colour in job.colours if has_words(colour.over, wanted.over)]
        if colours:
            apart = delta_e_2000(np.array(wanted.lab), np.array([colour.lab for colour in colours]))
            best = int(np.argmin(apart))
            found.append(Near(job, colours[best], round(float(apart[best]), 2)))
    if not found:
        over = f" over {wanted.over}" if wanted.over else ""
        raise NoAnswerError(f"no job has a colour{over}; say silver, white, wood, or a word of the base as in the book")
    return sorted(found, key=lambda near: (near.de00, near.job.place))


def with_dye(jobs: Sequence[BookJob], dye: str) -> list[BookJob]:
    """The jobs a mix of which holds a dye of this name, or one whose name has it as a part."""
    wanted = dye.casefold().strip()
    exact = [job for job in jobs if any(wanted == one.name.casefold() for one in job.worked.dyes)]
    return exact or [job for job in jobs if any(wanted in one.name.casefold() for one in job.worked.dyes)]


def with_words(jobs: Sequence[BookJob], words: str) -> list[BookJob]:
    """The jobs in which every one of the words stands: client's words, names, notes, mixes, dyes, bases, state."""
    return [job for job in jobs if has_words(all_words(job), words)]


def has_words(text: str, words: str) -> bool:
    """Whether every word of `words` is found in `text`, small and capital letters alike.

    >>> has_words("silver metal, lifted relief", "Lifted SILVER"), has_words("wood", "silver"), has_words("wood", "")
    (True, False, True)
    """
    return all(word in text.casefold() for word in words.casefold().split())


def all_words(job: BookJob) -> str:
    """Everything about a job that can be looked for in words."""
    worked, story = job.worked, job.story
    agreed = [story.agreed.note, *story.agreed.changes] if story.agreed else []
    mixes = [word for mix in worked.mixes for word in (mix.name, *(dye for dye, _ in mix.strengths))]
    coats = [coat.what for coat in worked.coats]
    return " ".join(
        [worked.name, job.place, story.state, *agreed, *story.notes, *mixes, *coats, *worked.base, worked.finish]
    )


def job_called(book: Book, name: str, *, field: str = "--beside") -> BookJob:
    """The job of this folder or name; a part of either will do where it fits one alone. Raises InputError."""
    wanted = name.casefold().replace("\\", "/").strip().removeprefix("./").strip("/")
    places = [(job, job.place.casefold()) for job in book.jobs]
    found = (
        [job for job, place in places if wanted == place]
        or [job for job, place in places if wanted == place.rpartition("/")[2]]
        or [job for job in book.jobs if wanted == job.worked.name.casefold()]
        or [job for job, place in places if wanted in place]
        or [job for job in book.jobs if wanted in job.worked.name.casefold()]
    )
    if len(found) == 1:
        return found[0]
    known = ", ".join(job.place for job in (found or book.jobs)[:8])
    rule = "several jobs are called so" if found else "there is no such job"
    raise InputError(Problem(rule, f"use one of {known}" if known else "", "", None, field, name))


def beside(one: BookJob, other: BookJob) -> list[Beside]:
    """Two jobs line by line; those lines in which they differ come first."""
    pairs = zip(facts_of(one), facts_of(other), strict=True)
    lines = [Beside(what, first, second) for (what, first), (_, second) in pairs if first or second]
    apart = _apart(one, other)
    return [*apart, *sorted(lines, key=lambda line: not line.differs)]


def _apart(one: BookJob, other: BookJob) -> list[Beside]:
    first, second = one.colours[:1], other.colours[:1]
    if not (first and second):
        return []
    de00 = float(delta_e_2000(np.array(first[0].lab), np.array(second[0].lab)))
    told = [f"{colour.place}: {colour.srgb}, L* a* b* {lab_words(colour.lab)}" for colour in (first[0], second[0])]
    return [Beside(f"first colour, {de00:.1f} dE00 apart", *told)]


def dyes_of(job: BookJob) -> str:
    """The names of a job's dyes."""
    return ", ".join(dye.name for dye in job.worked.dyes)


def lab_words(lab: Lab) -> str:
    """Three numbers.

    >>> lab_words((40.93, -4.84, 0.0))
    '40.9 -4.8 0.0'
    """
    return " ".join(f"{value:.1f}" for value in lab)


def facts_of(job: BookJob) -> list[tuple[str, str]]:
    """What is told of a job besides its picture and colours, the same lines for every job; empty where unknown."""
    worked, story = job.worked, job.story
    on = story.coats_done
    coats = [f"{coat.what}: {_coats(coat.coats, on.get(coat.order, 0))}" for coat in (*worked.coats, worked.clear)]
    films = [f"{coat.what}: {in_words(coat.film_um)}" for coat in (*worked.coats, worked.clear)]
    mixes = [f"{mix.name}: " + ", ".join(f"{dye} {amount}" for dye, amount in mix.strengths) for mix in worked.mixes]
    agreed = story.agreed
    return [
        ("state", " ".join(filter(None, (str(story.state), _days(job))))),
        ("the client said", story.client_words),
        ("agreed", "" if agreed is None else "; ".join((f"{agreed.option}, {agreed.day}", *agreed.changes))),
        ("base", "; ".join(worked.base)),
        ("mixes", "; ".join(mixes)),
        ("coats", "; ".join(dict.fromkeys(coats))),
        ("wet film of a coat", "; ".join(dict.fromkeys(films))),
        ("clear", worked.finish),
        ("dyes", dyes_in_words(worked.dyes)),
        ("hands on", hours_words(worked.hands_on_h)),
        ("waiting", "not stated" if worked.waiting_h is None else hours_words(worked.waiting_h)),
        ("cost", cost_words(job)),
        ("learnt", "; ".join(dict.fromkeys(one.words for one in story.learnt))),
        ("notes", "; ".join(story.notes)),
    ]


def _days(job: BookJob) -> str:
    story = job.story
    if not story.begun:
        return ""
    return f"({story.begun})" if story.begun == story.last else f"({story.begun} to {story.last})"


def _coats(planned: int, on: int) -> str:
    word = "coat" if planned == 1 else "coats"
    return f"{planned} {word}" + (f", {on} on" if on else "")


def hours_words(hours: Told) -> str:
    """Hours with their range and what they rest on."""
    ends = f" ({hours.low:.1f} to {hours.high:.1f})" if hours.high > hours.low else ""
    return f"{hours.likely:.1f}{ends} h, {hours.basis}"


def cost_words(job: BookJob) -> str:
    """What the job costs, as far as prices are stated."""
    worked = job.worked
    if worked.cost is None:
        return "no prices stated"
    lacks = f", {worked.unpriced} without a price" if worked.unpriced else ""
    return " ".join(filter(None, (f"{worked.cost:.2f}", worked.currency))) + lacks
