"""Learning the eye: sets of twenty rounds, and what was guessed in them, kept on this machine alone.

One line of JSON a finished set in the user's data folder, only ever added to; what cannot be read is passed over.
"""

from __future__ import annotations

import json
import os
import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from statistics import median
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from layerpreview.answers.practise import CHOICES, ROUNDS, Round, off_de00, round_of, rounds
from layerpreview.errors import InputError, OutputError, Problem
from layerpreview.held import bytes_of, usable_json
from layerpreview.output.files import written_together
from layerpreview.output.pictures import write_picture
from layerpreview.output.plain_json import json_line
from layerpreview.output.practise_pictures import answer_sheet, question_sheet

PROGRESS = "practise.jsonl"
_MOST_BYTES = 20_000_000
_SET = re.compile(r"\d{4}-\d\d-\d\d(?: [1-9]\d{0,2})?")


class Done(BaseModel):
    """One finished set as it is kept: its seed, when it was done, the guesses, how far off each was [CIEDE2000]."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    layerpreview_practise: Annotated[int, Field(ge=1, le=1)] = 1
    set: Annotated[str, Field(max_length=20, pattern=_SET.pattern)]
    when: datetime
    guesses: Annotated[tuple[Annotated[int, Field(ge=0, lt=CHOICES)], ...], Field(min_length=ROUNDS, max_length=ROUNDS)]
    off_de00: Annotated[
        tuple[Annotated[float, Field(ge=0.0, le=200.0)], ...], Field(min_length=ROUNDS, max_length=ROUNDS)
    ]

    @property
    def median_de00(self) -> float:
        """Half of the guesses were nearer than this."""
        return float(median(self.off_de00))


@dataclass(frozen=True)
class Finished:
    """A set at its end: its rounds, what was guessed, `all_done` so far; `trouble`: why it is not kept."""

    rounds: tuple[Round, ...]
    done: Done
    all_done: tuple[Done, ...]
    trouble: str = ""


def progress_path() -> Path:
    """Where progress is kept: in the user's data folder."""
    from platformdirs import user_data_path

    return user_data_path("layerpreview") / PROGRESS


def kept_sets() -> tuple[Done, ...]:
    """The sets that were finished, in the order they were; whatever cannot be read is passed over."""
    found = []
    with suppress(InputError):
        data = bytes_of(progress_path(), what="what is kept of practising", most_bytes=_MOST_BYTES)
        for line in data.splitlines():
            with suppress(ValueError):  # ValidationError is one, too
                found.append(Done.model_validate_json(json_line(usable_json(line))))
    return tuple(found)


def next_set(*, now: datetime | None = None) -> str:
    """The seed of the next set: the day's date, and after that one is finished the date and a number from 2."""
    day = f"{now or datetime.now():%Y-%m-%d}"
    done = {one.set for one in kept_sets()}
    names = (day, *(f"{day} {n}" for n in range(2, len(done) + 3)))
    return next(name for name in names if name not in done)


def round_in(seed: object, number: object) -> Round:
    """Round `number` of a set. Raises InputError where there is no such set or round."""
    if not isinstance(seed, str) or not _SET.fullmatch(seed):
        raise InputError(Problem("a set is called by a day, as 2026-03-01", field="set", value=str(seed)[:40]))
    if not isinstance(number, int) or isinstance(number, bool):
        raise InputError(Problem("a round is a whole number", field="round", value=str(number)[:40]))
    return round_of(seed, number)


def finish(seed: object, guesses: object, *, now: datetime | None = None) -> Finished:
    """Keep a finished set: one guess [0..8] for each of its rounds. Raises InputError for anything else.

    A set that was finished before stays as it was kept then.
    """
    round_in(seed, 1)
    asked = rounds(str(seed))
    said = guesses if isinstance(guesses, list) else []
    if len(said) != ROUNDS or not all(type(one) is int for one in said):
        raise InputError(Problem(f"a set has {ROUNDS} guesses, each a number from 0 to {CHOICES - 1}", field="guesses"))
    off = tuple(round(off_de00(one, guess), 2) for one, guess in zip(asked, said, strict=True))
    when = (now or datetime.now()).astimezone().replace(microsecond=0)
    done = Done(set=str(seed), when=when, guesses=tuple(said), off_de00=off)
    earlier = kept_sets()
    before = next((one for one in earlier if one.set == done.set), None)
    if before is not None:
        return Finished(asked, before, earlier)
    return Finished(asked, done, (*earlier, done), _added(done))


def _added(done: Done) -> str:
    """Add a line; why it could not be, in words, else nothing."""
    path = progress_path()
    line = json_line(json.loads(done.model_dump_json())).encode("utf-8") + b"\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a+b") as file:
            if file.seek(0, os.SEEK_END):
                file.seek(-1, os.SEEK_END)
                line = line if file.read(1) == b"\n" else b"\n" + line  # a line that was cut off stays one alone
            file.write(line)
    except OSError as error:
        return f"{path}: cannot be written to ({error.strerror}); this time is not kept"
    return ""


def forget() -> None:
    """Remove what was kept. Raises OutputError where it cannot be."""
    path = progress_path()
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"{path}: cannot be removed ({error.strerror})") from error


def show_files(seed: str, number: int, *, out: Path, force: bool = False) -> tuple[str, str]:
    """Write the question of a round and its answer as pictures into `out`; their names. Raises as `round_in` does."""
    asked = round_in(seed, number)
    names = f"practise_{number:02d}.png", f"practise_{number:02d}_answer.png"
    with written_together(out, names, force=force, inputs=()) as paths:
        write_picture(question_sheet(asked), paths[names[0]])
        write_picture(answer_sheet(asked), paths[names[1]])
    return names
