"""What record.json of a record holds, checked before use: version 1 of the format, which is read for ever.

Keys that a later version adds are let be; what is here is never taken away or given another meaning.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from layerpreview.errors import InputError, Problem
from layerpreview.held import json_in
from layerpreview.output.held_words import wanted
from layerpreview.scheme.report import as_path, as_toml

RECORD_VERSION = 1
RECORD_JSON = "record.json"
VERSION_KEY = "layerpreview_record"
_MOST = 500
"""Entries of any list: a job has some tens."""


def _printable(value: str) -> str:
    if not value.isprintable():
        raise ValueError("one line without control signs is wanted")
    return value


Text = Annotated[str, Field(max_length=2000), AfterValidator(_printable)]
Name = Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_printable)]
Number = Annotated[float, Field(ge=-1e9, le=1e9)]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Three = tuple[Number, Number, Number]


def _rises(value: tuple[float, float, float]) -> tuple[float, float, float]:
    if not 0.0 <= value[0] <= value[1] <= value[2]:
        raise ValueError("low, likely and high are wanted, from 0 up")
    return value


Film = Annotated[Three, AfterValidator(_rises)]
Share = Annotated[float, Field(ge=0.0, le=100.0)]


class _Held(BaseModel):
    model_config = ConfigDict(frozen=True, allow_inf_nan=False)


class RecordedMix(_Held):
    """A mix: its strengths by dye ("14 mL/L"), as made where the diary says what was poured, else as planned."""

    name: Name
    strengths_as_made: dict[Name, Text]
    as_made: bool
    strengths_planned: dict[Name, Text] = {}
    batches: Annotated[int, Field(ge=0)] = 0
    lots: dict[Name, Text] = {}
    words: Annotated[tuple[Text, ...], Field(max_length=_MOST)] = ()


class RecordedCoat(_Held):
    """An entry of the coats: how many were planned and done, and the wet film of one [um]: low, likely, high.

    `mix`: its mix, or the name or colour of an opaque coat. `counted`: whether the diary counted the coats. Entries
    count from 1; 0 is the base coat, -1 the clear.
    """

    entry: Annotated[int, Field(ge=-1)]
    mix: Text
    planned: Annotated[int, Field(ge=0, le=60)]
    done: Annotated[int, Field(ge=0, le=60)]
    film_um: Film
    film_basis: Text
    counted: bool = False
    opaque: bool = False


class RecordedPlace(_Held):
    """A place of the part: how much of each entry's full build it has, its column in spectra.csv, L*a*b* by light.

    `at_mm`: across and down from the top left corner of its face's box. `bare`, `agreed`: the columns of its base and
    of the finish as it was agreed; `lab_agreed`, `de00` (CIEDE2000 from agreed to made) by light.
    """

    name: Name
    face: Text
    share: Annotated[tuple[Share, ...], Field(max_length=_MOST)]
    reflectance: Name
    lab: dict[Name, Three]
    kind: Text = ""
    bare: Text = ""
    at_mm: tuple[Number, Number] | None = None
    agreed: Text = ""
    lab_agreed: dict[Name, Three] = {}
    de00: dict[Name, Annotated[float, Field(ge=0.0)]] = {}


class RecordFile(_Held):
    """All of record.json; `made` in ISO 8601, `tables` by their names, `base` as the scheme resolves it."""

    layerpreview_record: Literal[1]
    name: Name
    made: Text
    observer_deg: Literal[2, 10]
    lights: Annotated[tuple[Name, ...], Field(min_length=1, max_length=20)]
    software: dict[Name, Text]
    tables: dict[Name, Sha256]
    scheme: Name
    mixes: Annotated[tuple[RecordedMix, ...], Field(max_length=_MOST)]
    coats: Annotated[tuple[RecordedCoat, ...], Field(max_length=_MOST)]
    base: dict[str, Any]
    places: Annotated[tuple[RecordedPlace, ...], Field(min_length=1, max_length=_MOST)]
    plain_coats: Annotated[tuple[RecordedCoat, ...], Field(max_length=2)] = ()
    agreed: Text = ""
    notes: Annotated[tuple[Text, ...], Field(max_length=_MOST)] = ()

    @property
    def from_diary(self) -> bool:
        """Whether anything in it is as made and not as planned."""
        read = any("measured" in coat.film_basis for coat in self.coats)
        return read or any(mix.as_made for mix in self.mixes) or any(coat.counted for coat in self.coats)


def in_order(content: RecordFile) -> tuple[RecordedCoat, ...]:
    """Every coat in the order sprayed: base coat, entries, clear."""
    below = [coat for coat in content.plain_coats if coat.entry == 0]
    return (*below, *content.coats, *(coat for coat in content.plain_coats if coat.entry < 0))


def read_record(data: bytes, file: str) -> RecordFile:
    """The checked content of record.json; `file`: what messages call the record. Raises InputError with all of it."""
    place = f"{file}, {RECORD_JSON}"
    raw = json_in(data, place, remedy="ask for the record again")
    version = raw.get(VERSION_KEY) if isinstance(raw, dict) else None
    if not isinstance(version, int) or isinstance(version, bool):
        raise InputError(
            Problem("this is no record of a job", "name a file that `record` wrote", place, field=VERSION_KEY)
        )
    if version > RECORD_VERSION:
        rule = "this record was written by a newer layerpreview"
        raise InputError(
            Problem(rule, "read it with a newer layerpreview", place, field=VERSION_KEY, value=str(version))
        )
    try:
        return RecordFile.model_validate(raw)
    except ValidationError as error:
        raise InputError([_problem(detail, place) for detail in error.errors(include_url=False)[:20]]) from None


def _problem(detail: Any, place: str) -> Problem:
    shown = detail["input"]
    value = "" if detail["type"] == "missing" or isinstance(shown, dict | list | bytes) else as_toml(shown)
    return Problem(wanted(detail), "ask for the record again", place, field=as_path(detail["loc"]), value=value[:80])
