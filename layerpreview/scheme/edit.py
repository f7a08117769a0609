"""Changes to a scheme's text as the desk asks for them: text in, text out, all that is not changed kept to the byte.

A change says where by keys and numbers, as ``["coat", 2, "coats"]``. Coats are numbered as the loaded scheme has them:
one that is told in a `rings` line is written out as an entry of its own, with the others of its line, once touched.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Literal, TypeGuard, get_args

from layerpreview.errors import InputError, Problem
from layerpreview.scheme.fields import FieldError
from layerpreview.scheme.locate import Path
from layerpreview.scheme.report import as_path
from layerpreview.scheme.rings import tables_of_rings
from layerpreview.scheme.written import Text, as_written

Deed = Literal["set", "unset", "move", "add", "remove"]
LONGEST_PATH, LARGEST_NUMBER = 12, 10_000
UNSAID = object()
_HOW_IT_STANDS = "this cannot be changed from here, as it stands in the file"
_ODD = (FieldError, AttributeError, IndexError, KeyError, TypeError)
"""What a text that is TOML but no scheme may lead to."""
_LIKE_ONE = "burst"  # one table, or a list of them


@dataclass(frozen=True)
class Change:
    """One change: a value set or taken out at a place, or a list entry moved (`to` a number), added or removed.

    `index`: where an added entry goes, None for the end. `was`: what whoever asks saw at the place.
    """

    do: Deed
    at: Path
    to: Any = None
    index: int | None = None
    was: Any = UNSAID


def read_change(asked: object) -> Change:
    """Return the change that a JSON object asks for. Raises InputError for one that is none."""
    table = asked if isinstance(asked, Mapping) else {}
    do, at, to, index = table.get("do"), table.get("at"), table.get("to"), table.get("index")
    good_path = isinstance(at, list) and 0 < len(at) <= LONGEST_PATH and all(map(_is_step, at))
    good_value = {"move": _is_number(to), "add": isinstance(to, Mapping), "set": to is not None}.get(str(do), True)
    if not _is_deed(do) or not good_path or not good_value or not (index is None or _is_number(index)):
        remedy = 'a change is for example {"do": "set", "at": ["coat", 0, "coats"], "to": 4}'
        raise InputError(Problem("this is no change to a scheme", remedy))
    assert isinstance(at, list)
    assert _is_deed(do)
    try:
        as_written(to if to is not None else "")  # that it can be written at all
    except RecursionError:
        raise InputError(Problem("this is nested too deep", "a scheme needs no more than a few levels")) from None
    return Change(do, tuple(at), to, index, table.get("was", UNSAID))


def changed(text: str, changes: Sequence[Change]) -> str:
    """Return the TOML text with `changes` made one after the other; whether a scheme may say that, its reader tells.

    Raises InputError where there is no such place, or a change cannot be made without touching what it does not mean.
    """
    try:
        return _all_changed(text, changes)
    except _ODD as error:
        raise InputError(Problem(_HOW_IT_STANDS, "change it in the file itself")) from error


def _all_changed(text: str, changes: Sequence[Change]) -> str:
    for change in changes:
        before, text = text, _one_change(*_with_entries(text, change))
        if change.do == "remove" and change.at[0] == "coat" and len(change.at) == 2:
            for name in sorted(_painted(before) - _painted(text)):
                text = Text(text).without(("paint", name))
    return text


def _painted(text: str) -> set[str]:
    """The names of coats of which a [paint] says more; one without its coat would not be understood."""
    raw = _read(text)
    paints = raw.get("paint", {})
    return {name for coat in raw.get("coat", []) if (name := str(coat.get("name", "")).strip()) in paints}


def value_at(text: str, at: Path) -> Any:
    """Return what a scheme's text has at a place, coats numbered as loaded; None where there is nothing.

    Raises InputError for a text that is no TOML.
    """
    raw = _read(text)
    if at[0] == "coat" and "coat" in raw:
        with suppress(*_ODD):
            raw["coat"] = _coats_told(raw)
    return _at(raw, _real(raw, at))


def _is_deed(do: object) -> TypeGuard[Deed]:
    return do in get_args(Deed)


def _is_number(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value < LARGEST_NUMBER


def _is_step(step: object) -> bool:
    return _is_number(step) or (isinstance(step, str) and 0 < len(step) <= 200 and step.isprintable())


def _one_change(text: str, change: Change) -> str:
    """Make one change, and see that the text then says what was meant and nothing else."""
    raw = _read(text)
    at = _real(raw, change.at)
    there, here = _at(raw, at), Text(text)
    try:
        meant = _meant(raw, at, change)
    except (KeyError, IndexError, TypeError, AttributeError):
        raise InputError(Problem("there is no such place in the scheme", field=as_path(change.at))) from None
    if change.do == "set":
        new = here.with_value(at, change.to)
    elif change.do in ("unset", "remove"):
        new = here.without(at)
    elif change.do == "move":
        new = here.moved(at, change.to)
    elif there is None and at[-1] == _LIKE_ONE:
        new = here.with_value(at, change.to)
    else:
        index = here.count(at) if change.index is None else change.index
        new = here.with_entry(at, change.to, index)
    if _without_empty(_read(new)) != _without_empty(meant):
        raise InputError(Problem(_HOW_IT_STANDS, "change it in the file itself", field=as_path(change.at)))
    return new


def _read(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        raise InputError(Problem(_HOW_IT_STANDS, "change it in the file itself")) from None


def _meant(raw: dict[str, Any], at: Path, change: Change) -> dict[str, Any]:
    """The tables as they are meant to be after a change that could be made."""
    meant = copy.deepcopy(raw)
    owner: Any = meant
    for step in at[:-1]:
        owner = owner.setdefault(step, {}) if isinstance(owner, dict) else owner[step]
    last: Any = at[-1]
    if change.do == "set":
        owner[last] = change.to
    elif change.do in ("unset", "remove"):
        del owner[last]
    elif change.do == "move":
        owner.insert(change.to, owner.pop(last))
    elif last not in owner:
        owner[last] = change.to if last == _LIKE_ONE else [change.to]
    else:
        owner[last] = [owner[last]] if isinstance(owner[last], dict) else owner[last]
        owner[last].insert(len(owner[last]) if change.index is None else change.index, change.to)
    return meant


def _without_empty(value: Any) -> Any:
    """Tables and lists that hold nothing left out: a text need not say that they are there."""
    if isinstance(value, dict):
        kept = {key: _without_empty(item) for key, item in value.items()}
        return {key: item for key, item in kept.items() if item not in ({}, [])}
    return [_without_empty(item) for item in value] if isinstance(value, list | tuple) else value


def _at(raw: Any, at: Path) -> Any:
    for step in at:
        try:
            raw = raw[step]
        except (KeyError, IndexError, TypeError):
            return None
    return raw


def _real(raw: Any, at: Path) -> Path:
    """The path with the number left out that stands for a single table, as the only burst of a coat may be written."""
    found: list[str | int] = []
    for step in at:
        if step == 0 and isinstance(raw, dict) and isinstance(step, int):
            continue
        found.append(step)
        raw = _at(raw, (step,))
    return tuple(found)


def _coats_told(raw: Mapping[str, Any]) -> list[Any]:
    """Every coat as a table of its own, rings one by one."""
    mixes = raw.get("mix", {})
    return [one for coat in raw["coat"] for one in (tables_of_rings(coat, mixes) if "rings" in coat else [coat])]


def _places(raw: Mapping[str, Any]) -> list[tuple[int, int | None]]:
    """The number of each coat's entry, and of its ring where the entry tells them in one line."""
    return [
        (entry, ring)
        for entry, coat in enumerate(raw.get("coat", []))
        for ring in (range(len(coat["rings"].split("|"))) if "rings" in coat else [None])
    ]


def _with_entries(text: str, change: Change) -> tuple[str, Change]:
    """The text with the `rings` lines written out that a change touches, and the change by the numbers of entries."""
    if change.at[0] != "coat":
        return text, change
    while (entry := _rings_touched(_read(text), change)) is not None:
        text = _written_out(text, entry)
    places = _places(_read(text))

    def entry_of(number: Any) -> Any:
        return places[number][0] if number < len(places) else number - len(places) + len(_read(text).get("coat", []))

    if len(change.at) == 1:
        return text, change if change.index is None else replace(change, index=entry_of(change.index))
    to = entry_of(change.to) if _moves_coat(change) else change.to
    return text, replace(change, at=("coat", entry_of(change.at[1]), *change.at[2:]), to=to)


def _moves_coat(change: Change) -> bool:
    return change.do == "move" and len(change.at) == 2


def _rings_touched(raw: Mapping[str, Any], change: Change) -> int | None:
    """The entry told as rings that a change reaches into; a coat may go before the first of them, or after the last."""
    places = _places(raw)
    if len(change.at) == 1:
        inside = change.index is not None and change.index < len(places) and places[change.index][1]
        return places[change.index][0] if inside and change.index is not None else None
    numbers = (change.at[1], *([change.to] if _moves_coat(change) else []))
    for number in numbers:
        if isinstance(number, int) and number < len(places) and places[number][1] is not None:
            return places[number][0]
    return None


def _written_out(text: str, entry: int) -> str:
    """The text with one entry of rings as several entries, which load as the same coats."""
    raw = _read(text)
    written = raw["coat"][entry]
    first, *others = tables_of_rings(written, raw.get("mix", {}))
    here, at = Text(text), ("coat", entry)
    if at in here.spans:  # in one line with its neighbours
        text = here.with_value(at, first)
    else:
        text = here.with_lines((*at, "rings"), {key: value for key, value in first.items() if key not in written})
        if "hiding" in written and "hiding" not in first:
            text = Text(text).without((*at, "hiding"))
    for number, table in enumerate(others, start=entry + 1):
        text = Text(text).with_entry(("coat",), table, number)
    return text
