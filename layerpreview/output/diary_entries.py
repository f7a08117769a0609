"""The diary's entries in a job's log, checked before use, and what was done as they tell it.

Each has a time with its zone and an `id`: the phone that says something sends the same one when it has to say it again,
and one that is known already counts once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from layerpreview.job import done
from layerpreview.job.done import CLEAR_COAT, Deed, Done
from layerpreview.output.job_entries import checked
from layerpreview.output.joblog import JobLog, LogEntry
from layerpreview.output.local_time import YEARS, is_of_our_days
from layerpreview.output.plain_json import plain

LONGEST_NOTE, LONGEST_NAME, MOST_READINGS = 400, 120, 60


def _when(value: object) -> datetime:
    """A time of ISO 8601 with its zone."""
    if not isinstance(value, str):
        raise ValueError('a time is wanted, as "2026-03-29T01:15:00+00:00"')
    try:
        found = datetime.fromisoformat(value)
    except ValueError:
        raise ValueError('a time is wanted, as "2026-03-29T01:15:00+00:00"') from None
    if found.tzinfo is None:
        raise ValueError("this time does not say its zone; add +00:00 for UTC")
    if not is_of_our_days(found):
        raise ValueError(f"a time from {YEARS.start} to {YEARS.stop - 1} is wanted")
    return found.astimezone(UTC)


def _printable(value: str) -> str:
    if not value.isprintable():
        raise ValueError("one line without control signs is wanted")
    return value


Time = Annotated[datetime, BeforeValidator(_when)]
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME), AfterValidator(_printable)]
Words = Annotated[str, Field(max_length=LONGEST_NOTE), AfterValidator(_printable)]
Entry = Annotated[int, Field(ge=CLEAR_COAT, le=10_000)]
Number = Annotated[int, Field(ge=1, le=60)]
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Box = Annotated[list[Share], Field(min_length=4, max_length=4)]


class _Said(BaseModel):
    """What every entry of the diary has; keys that a later version adds are let be."""

    model_config = ConfigDict(frozen=True, strict=True, allow_inf_nan=False)

    id: Name
    time: Time
    note: Words = ""


class _PouredPart(BaseModel):
    model_config = ConfigDict(frozen=True, strict=True, allow_inf_nan=False)

    name: Name
    amount: Annotated[float, Field(ge=0.0, le=1e5)]
    unit: Literal["mL", "g", "drops"]
    lot: Words = ""


class BatchEntry(_Said):
    """A batch was made."""

    batch: Name
    poured: list[_PouredPart] = Field(default_factory=list, max_length=MOST_READINGS)
    total_mL: Annotated[float, Field(gt=0.0, le=1e5)] | None = None
    card: Words = ""


class _OfCoat(_Said):
    entry: Entry
    number: Number


class CoatEntry(_OfCoat):
    """A coat is on."""

    asked: Literal["", "light", "medium", "wet"] = ""


class FilmEntry(_OfCoat):
    """The wet film was read."""

    readings_um: Annotated[
        list[Annotated[float, Field(gt=0.0, le=2000.0)]], Field(min_length=1, max_length=MOST_READINGS)
    ]


class ConditionsEntry(_Said):
    """Booth and gun."""

    temperature_C: Annotated[float, Field(ge=-30.0, le=60.0)] | None = None
    humidity: Share | None = None
    gun: Words = ""


class LeftEntry(_Said):
    """What was left of a batch."""

    batch: Name
    left_mL: Annotated[float, Field(ge=0.0, le=1e5)]


class DropsEntry(_Said):
    """Drops were counted."""

    dye: Name
    drops: Annotated[int, Field(ge=1, le=10_000)]
    volume_mL: Annotated[float, Field(gt=0.0, le=1000.0)]


class PhotoEntry(_OfCoat):
    """A photo was taken."""

    file: Annotated[str, Field(min_length=1, max_length=500), AfterValidator(_printable)]
    of: Literal["part", "card"]
    light: Words = ""
    white: Box | None = None
    white_reflectance: Annotated[float, Field(gt=0.0, le=1.0)] = 0.9
    spots: list[Box] = Field(default_factory=list, max_length=MOST_READINGS)
    lab: Annotated[list[float], Field(min_length=3, max_length=3)] | None = None
    spread_de00: Annotated[float, Field(ge=0.0)] | None = None
    refused: Words = ""


_KINDS: dict[str, tuple[type[_Said], type[Deed], str]] = {
    "batch": (BatchEntry, done.BatchMade, "batches"),
    "coat-done": (CoatEntry, done.CoatDone, "coats"),
    "film-read": (FilmEntry, done.FilmRead, "films"),
    "conditions": (ConditionsEntry, done.Conditions, "conditions"),
    "left": (LeftEntry, done.Left, "left"),
    "drops": (DropsEntry, done.DropsCounted, "drops"),
    "photo": (PhotoEntry, done.PhotoRead, "photos"),
}
DIARY_KINDS = tuple(_KINDS)
"""What an entry of the diary can be; the log holds others beside them."""


def done_of(log: JobLog, path: Path) -> Done:
    """All deeds of a log that stand, each `id` once. Raises InputError for the first entry that is none."""
    found: dict[str, list[Deed]] = {name: [] for _, _, name in _KINDS.values()}
    known = set[str]()
    for entry in log.entries:
        if entry.stands and entry.what in _KINDS:
            deed = deed_of(entry, path)
            if deed.id not in known:
                found[_KINDS[entry.what][2]].append(deed)
            known.add(deed.id)
    return Done(**{name: tuple(sorted(deeds, key=lambda deed: deed.time)) for name, deeds in found.items()})  # type: ignore[arg-type]


def deed_of(entry: LogEntry, path: Path) -> Deed:
    """What one entry of the diary tells. Raises InputError with its line where it is none."""
    model, kind, _ = _KINDS[entry.what]
    said = checked(model, entry, path)
    values = {name: getattr(said, name) for name in type(said).model_fields}
    return kind(**{name: _frozen(name, value) for name, value in values.items()}, line=entry.line)


def entry_of(deed: Deed) -> dict[str, Any]:
    """The log's line about a deed: what was not said is left out."""
    what = next(name for name, (_, kind, _) in _KINDS.items() if type(deed) is kind)
    usual = {field.name: field.default for field in fields(deed)}
    said = {name: getattr(deed, name) for name in usual if name not in ("line", "time", "id")}
    kept = {name: plain(value) for name, value in said.items() if value != usual[name]}
    return {"what": what, "id": deed.id, "time": deed.time.astimezone(UTC).isoformat(timespec="seconds"), **kept}


def check_said(what: str, values: Mapping[str, Any], path: Path) -> Deed:
    """The deed that somebody says, checked as an entry of the log is. Raises InputError."""
    return deed_of(LogEntry(0, {**values, "what": what}), path)


def _frozen(name: str, value: Any) -> Any:
    if name == "poured":
        return tuple(done.Poured(part.name, part.amount, part.unit, part.lot) for part in value)
    if isinstance(value, list):
        return tuple(_frozen("", item) for item in value)
    return value
