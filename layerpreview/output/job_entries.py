"""What the entries of a job's log hold, checked before use: a log is a text that anyone can edit."""

from __future__ import annotations

import hashlib
import ntpath
import os
import posixpath
from dataclasses import replace
from pathlib import Path, PureWindowsPath
from types import ModuleType
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from layerpreview.errors import InputError, Problem, SchemeError
from layerpreview.held import shown
from layerpreview.output.board_code import LETTERS
from layerpreview.output.held_words import wanted
from layerpreview.output.joblog import JobLog, LogEntry
from layerpreview.scheme.report import as_path, as_toml
from layerpreview.scheme.source import LARGEST_FILE, plain_line_ends, toml_in
from layerpreview.units import parse_strength

_MOST = 1000
"""Entries of any list of a line: a board offers some twenty coats."""
_REMEDY = "mend this line of the log, or take it out"


class _Held(BaseModel):
    """Types are taken strictly; keys that a later version adds are let be."""

    model_config = ConfigDict(frozen=True, strict=True, allow_inf_nan=False)


def _one_line(value: str) -> str:
    return shown(value, longest=2000)


def _names_file(value: str) -> str:
    """A path of this system or another that ends in a file's name."""
    if not value.isprintable() or value.replace("\\", "/").rpartition("/")[2] in ("", ".", ".."):
        raise ValueError("the path of a file is wanted, on one line without control signs")
    return value


Words = Annotated[str, Field(max_length=2000), AfterValidator(_one_line)]
"""Shown as it is, but for signs that could steer a terminal."""
Note = Annotated[str, Field(max_length=200_000), AfterValidator(_one_line)]
Way = Annotated[str, Field(min_length=1, max_length=4000), AfterValidator(_names_file)]
Count = Annotated[int, Field(ge=0, le=999)]
Number = Annotated[float, Field(ge=-1e6, le=1e6)]
Lab = Annotated[list[Number], Field(min_length=3, max_length=3)]


class CoatOffer(_Held):
    """One entry of coats: how many were proposed and what the board allowed.

    `entry`: which [[coat]] of the scheme it is, from 0; early boards had one for each.
    """

    what: Words
    entry: int | None = Field(None, ge=0, le=10_000)
    fewest: Count = Field(alias="from")
    most: Count = Field(alias="to")
    proposed: Count


class MixOffer(_Held):
    """One mix and the strengths that the board allowed [% of proposed]."""

    mix: Annotated[str, Field(max_length=1000)]
    weakest: Count = Field(alias="from")
    strongest: Count = Field(alias="to")


class Offer(_Held):
    """One option of a board: the text of its scheme, and what could be moved in it.

    `scheme`: the full path it had; `scheme_from_log`: the way to it from the log's folder (logs had none at first).
    """

    option: Annotated[str, Field(min_length=1, max_length=1)]
    name: Words
    scheme: Way
    scheme_from_log: Way | None = None
    sha256: str | None = None
    text: Annotated[str, Field(max_length=LARGEST_FILE), AfterValidator(plain_line_ends)]
    coats: Annotated[list[CoatOffer], Field(max_length=_MOST)]
    mixes: Annotated[list[MixOffer], Field(max_length=_MOST)]

    @model_validator(mode="after")
    def _is_about_its_text(self) -> Offer:
        """What is offered stands in the text, so that it can be changed there."""
        try:
            raw = toml_in(self.text, "its text").raw
        except SchemeError as error:
            raise ValueError(f"its text is no scheme ({error.problems[0]})") from None
        written = raw.get("coat", [])
        for number, coat in enumerate(self.coats):
            entry = number if coat.entry is None else coat.entry
            if not isinstance(written, list) or entry >= len(written) or not isinstance(written[entry], dict):
                raise ValueError(f"its text has no coat number {entry + 1}")
            if "rings" not in written[entry] and written[entry].get("coats", 1) != coat.proposed:
                raise ValueError(f"its text has not the {coat.proposed} coats that were proposed of number {entry + 1}")
        for mix in self.mixes:
            try:
                for strength in raw["mix"][mix.mix]["dyes"].values():
                    parse_strength(strength)
            except (KeyError, TypeError, AttributeError, ValueError):
                raise ValueError(f"its text has no mix {mix.mix} with strengths") from None
        if self.sha256 not in (None, hashlib.sha256(self.text.encode("utf-8")).hexdigest()):
            raise ValueError("its text is not the one that the board shows: it was changed here")
        return self


class BoardEntry(_Held):
    """A board and its options."""

    board: Words
    options: Annotated[list[Offer], Field(min_length=1, max_length=len(LETTERS))]

    @model_validator(mode="after")
    def _each_once(self) -> BoardEntry:
        if len({offer.option for offer in self.options}) < len(self.options):
            raise ValueError("two of its options have the same letter")
        return self


class AgreedEntry(_Held):
    """What a client chose."""

    board: Words
    option: Words
    name: Words
    code: Words
    changes: Annotated[list[Words], Field(max_length=_MOST)]
    note: Note = ""


class ReadingEntry(_Held):
    """A reading on the day; `rung_to_agreed` is not in logs whose `to_agreed` meant that.

    `photo`: the photo of the diary that it was taken from, by its id, and the `agreed_lab` that it was compared with.
    """

    mix: Words
    coats_done: Count
    lab: Lab
    light: Words
    to_agreed: Number
    rung_to_agreed: Number | None = None
    off_ladder: Number
    coats_left: Lab
    witness: bool = False
    kept: bool = False
    photo: Words = ""
    agreed_lab: Lab | None = None


Entry = TypeVar("Entry", bound=BaseModel)


def checked(model: type[Entry], entry: LogEntry, log: Path) -> Entry:
    """The entry as `model` has it. Raises InputError with one line about the first thing that is wrong."""
    if entry.fault:
        raise InputError(Problem(entry.fault, _REMEDY, str(log), entry.line))
    try:
        return model.model_validate(dict(entry.values))
    except ValidationError as error:
        first, *more = error.errors(include_url=False, include_context=True)
        rule = wanted(first) + (f" (and {len(more)} more)" if more else "")
        found = first["input"]
        value = "" if first["type"] == "missing" or isinstance(found, dict | list | BaseModel) else as_toml(found)
        raise InputError(Problem(rule, _REMEDY, str(log), entry.line, as_path(first["loc"]), value)) from None


def scheme_keys(scheme: Path, log: Path) -> dict[str, Any]:
    """The keys that say which scheme an entry is about: its full path, and the way to it from the log's folder."""
    scheme, folder = scheme.resolve(), log.parent.resolve()
    try:
        way = Path(os.path.relpath(scheme, folder)).as_posix()
    except ValueError:  # another drive
        return {"scheme": str(scheme)}
    return {"scheme": str(scheme), "scheme_from_log": way}


def is_about(entry: LogEntry, scheme: Path, log: Path) -> bool:
    """Whether an entry is about a scheme; one that says nothing of any is."""
    way = entry.text("scheme_from_log")
    if not way:
        return "scheme" not in entry.values or file_name(entry) == scheme.name
    if way == scheme.name and log.parent == scheme.parent:  # as a rule: links take as long to look up as all the rest
        return True
    return os.path.realpath(log.parent / way) == os.path.realpath(scheme)


def file_name(entry: LogEntry) -> str:
    """The file's name of the scheme that an entry is about; "" where it says nothing of any."""
    way = entry.text("scheme_from_log") or entry.text("scheme")
    return way.replace("\\", "/").rpartition("/")[2]


def entries_of(read: JobLog, scheme: Path, log: Path) -> JobLog:
    """What of a log is about this scheme."""
    return replace(read, entries=tuple(entry for entry in read.entries if is_about(entry, scheme, log)))


def scheme_place(board: BoardEntry, offer: Offer, log: Path) -> Path:
    """Where the scheme of an offer stands, or would stand, now: beside the log as it was then, wherever that is now."""
    here, first = log.parent, Path(offer.scheme)
    beside = here / str(_system_of(offer.scheme).basename(offer.scheme))
    way = offer.scheme_from_log or _from_first(board, offer)
    if way and (here / way).is_file():
        return here / way
    if way and not is_beside(board, offer):
        # A scheme of that name beside the log is another option's.
        return first if first.is_absolute() and first.is_file() else here / way
    if not offer.scheme_from_log and not beside.is_file() and first.is_absolute() and first.parent.is_dir():
        return first
    return beside


def is_beside(board: BoardEntry, offer: Offer) -> bool:
    """Whether the scheme of an offer stood beside the log when the board was made."""
    way = offer.scheme_from_log or _from_first(board, offer) or ""
    return "/" not in way


def _from_first(board: BoardEntry, offer: Offer) -> str | None:
    """The way from the first option's folder, where the log stood of boards that did not say the way from the log."""
    system = _system_of(offer.scheme)
    try:
        way = system.relpath(offer.scheme, system.dirname(board.options[0].scheme))
    except ValueError:  # another drive
        return None
    return str(way).replace(system.sep, "/")


def _system_of(path: str) -> ModuleType:
    """The system's rules that a recorded path was written by, which need not be this one's."""
    return ntpath if PureWindowsPath(path).drive else posixpath
