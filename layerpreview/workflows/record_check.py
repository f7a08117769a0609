"""The check of a record: whether it is whole and unchanged, and whether its colours come out the same today."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from layerpreview.answers.as_made import as_made
from layerpreview.colour import JUST_SEEN_DE00, LIGHT_NAMES, delta_e_2000
from layerpreview.errors import InputError, Problem
from layerpreview.job.finished import finished
from layerpreview.output.diary_entries import done_of
from layerpreview.output.joblog import read_lines
from layerpreview.output.landing import aside
from layerpreview.output.record_content import tables
from layerpreview.output.record_file import COVER, LOG, Record, open_record
from layerpreview.picture.spots import places_of
from layerpreview.scheme import load_scheme

SAME_DE00 = 0.05
"""What rounding and other processors change."""


@dataclass(frozen=True)
class Recomputed:
    """A stored colour beside the one of this version: CIEDE2000 between them."""

    place: str
    light: str
    stored: tuple[float, float, float]
    now: tuple[float, float, float]
    de00: float


@dataclass(frozen=True)
class RecordChecked:
    """A record that is whole and unchanged: how many files, whether it has a cover, and what differs today.

    `colours`: every stored colour beside the one of this version; `not_compared`: places and lights that this
    version does not have; `tables_moved`: shipped tables that are others today; `notes`: what it says it does without.
    """

    file: Path
    name: str
    made: str
    version: str
    files: int
    cover: bool
    colours: tuple[Recomputed, ...]
    not_compared: tuple[str, ...]
    tables_moved: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def worst(self) -> Recomputed | None:
        """The colour that is furthest off; None where none could be compared."""
        return max(self.colours, key=lambda colour: colour.de00, default=None)


def check_record(path: Path) -> RecordChecked:
    """Check a record: its manifest, what is in it, that its scheme loads, and its colours worked out anew.

    Raises InputError with all that is wrong. Colours that differ are told: tables and formulas may have moved since.
    """
    record = open_record(path)
    colours, not_compared = _recomputed(record)
    today = tables()
    return RecordChecked(
        file=path,
        name=record.name,
        made=record.made,
        version=record.software.get("layerpreview", "not said"),
        files=len(record.files),
        cover=COVER in record.files,
        colours=colours,
        not_compared=not_compared,
        tables_moved=tuple(name for name, sha256 in record.tables.items() if today.get(name) != sha256),
        notes=record.notes,
    )


def checked_lines(found: RecordChecked) -> tuple[str, ...]:
    """What to tell a person."""
    worst = found.worst
    lines = [
        f"{found.name}, made {found.made} with version {found.version}",
        f"Whole and unchanged: {found.files} files have the SHA-256 that the manifest says",
        "The scheme and the diary in it can be read",
    ]
    if worst is not None and worst.de00 <= SAME_DE00:
        lines.append("Its colours, worked out anew, are those that are stored")
    elif worst is not None:
        seen = "hardly to be seen" if worst.de00 <= JUST_SEEN_DE00 else "to be seen"
        lines.append(
            f"Its colours, worked out anew, are up to {worst.de00:.1f} dE00 off what is stored, {seen} ({worst.place}, "
            f"{worst.light}): tables or formulas have moved since; what is stored stands"
        )
    if found.not_compared:
        lines.append(f"Not compared, since this version does not know them: {', '.join(found.not_compared)}")
    if found.tables_moved:
        lines.append(f"Tables that are others today: {', '.join(found.tables_moved)}")
    if not found.cover:
        lines.append("It has no cover page")
    return (*lines, *(f"It does without: {note}" for note in found.notes))


def _in_record(problem: Problem, folder: str, record: Path) -> Problem:
    """The problem with its file named as it stands in the record, not in the folder it was unpacked to."""
    name = Path(problem.file).name if problem.file.startswith(folder) else problem.file
    return replace(problem, file=f"{record}, {name}")


def _recomputed(record: Record) -> tuple[tuple[Recomputed, ...], tuple[str, ...]]:
    with aside() as folder:
        log = folder / LOG
        log.write_bytes(record.read(LOG) if LOG in record.files else b"")
        try:
            scheme = load_scheme(record.scheme_in(folder / "job" / "scheme"))
            done = done_of(read_lines(log), log)
        except InputError as error:
            raise InputError([_in_record(problem, str(folder), record.path) for problem in error.problems]) from None
        made, spots = as_made(scheme, done), places_of(scheme)
        lights = [light for light in record.lights if light in LIGHT_NAMES]
        places = {place.name: place for place in finished(made.scheme, spots, scheme, spots, lights=lights)}
    found = []
    for stored in record.places:
        if stored.name in places:
            for light in lights:
                then, now = stored.lab[light], places[stored.name].lab[light]
                de00 = float(delta_e_2000(np.array(then), np.array(now)))
                found.append(Recomputed(stored.name, light, then, now, de00))
    unknown = [f"light {light}" for light in record.lights if light not in LIGHT_NAMES]
    return tuple(found), (*(one.name for one in record.places if one.name not in places), *unknown)
