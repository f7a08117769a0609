"""The log that a client's code belongs to, and where it is if it is not where it was looked for."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice
from pathlib import Path

from layerpreview.errors import InputError, typed
from layerpreview.output.joblog import LOG_NAME, known_log, read_lines

MOST_LOOKED_AT = 50
"""Folders whose logs are read to find a board's."""


def log_with(job: Path, board: str) -> Path:
    """The log of a job. Raises InputError where there is none, with a job nearby that knows the board."""
    try:
        return known_log(job)
    except InputError as error:
        (problem,) = error.problems
        found = near(job, board)
        raise InputError(replace(problem, remedy=found or f"{problem.remedy}, with --job")) from None


def near(job: Path, board: str) -> str:
    """What to type where a folder in this one, around it or beside it has the log with the board; else ""."""
    folder = job if job.is_dir() else job.parent
    around = folder.resolve().parent
    inside, beside = (islice(place.glob(f"*/{LOG_NAME}"), MOST_LOOKED_AT) for place in (folder, around))
    for place in (around / LOG_NAME, *inside, *beside):
        try:
            boards = [entry.text("board") for entry in read_lines(place).entries if entry.what == "board"]
        except InputError:
            continue
        if board in boards:
            return f"board {board} is known in {place.parent}: add --job {typed(str(place.parent))}"
    return ""
