"""What the diary makes of a deed that is said in part, and what it refuses: a coat said twice, unknown names."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from layerpreview.answers.day import Day
from layerpreview.answers.day_order import in_use
from layerpreview.answers.remaining import word_of
from layerpreview.errors import InputError, Problem
from layerpreview.job.booth import Booth, Step
from layerpreview.job.done import BatchMade, CoatDone, Deed, Done, DropsCounted, FilmRead, Left
from layerpreview.output.diary_entries import check_said
from layerpreview.output.local_time import Clock
from layerpreview.scheme import Scheme
from layerpreview.scheme.fields import did_you_mean

TOO_SOON = timedelta(minutes=3)
"""A next coat that is said sooner after the last one is taken for the same one, said twice, where no flash time is
stated: common practice, no source."""
MOST_WET_UM = 400.0
"""Thicker wet films of one coat are slips of the unit: common practice, no source."""
PARTS = ("carrier", "thinner", "catalyst", "paint", "powder")


@dataclass(frozen=True)
class Before:
    """What a deed is judged by: the day and all that was done before it."""

    day: Day
    done: Done
    booth: Booth
    clock: Clock


def completed(what: str, values: Mapping[str, Any], said: Collection[str], before: Before) -> dict[str, Any]:
    """The values of a deed with those found that were not said: which coat, which batch; `said` names those that were.

    Raises InputError where there is none to find, and where the next coat is said too soon to be another one.
    """
    found = {name: value for name, value in values.items() if value is not None}
    if what == "coat-done":
        return _as_asked(_which_coat(found, said, before), before)
    if what in ("film-read", "photo") and "number" not in found:
        return {**found, **_last_coat(found, before.day)}
    if what == "left" and "batch" not in found:
        return {**found, "batch": _batch_in_use(before.done)}
    if what in ("batch", "left") and isinstance(found.get("batch"), str):
        found["batch"] = _alike(found["batch"], before.booth.batches)
    return found


def _which_coat(found: dict[str, Any], said: Collection[str], before: Before) -> dict[str, Any]:
    """The coat that is meant: the next one due, of its entry where that is said."""
    if "number" in found:
        return found
    coming, entry = before.day.next_coat, found.get("entry")
    if entry is None and coming is None:
        raise InputError(Problem("no coat is left to spray", "say which one it was", field="coat"))
    entry = entry if entry is not None else coming.entry if coming else 0
    on = [coat.number for coat in before.done.coats if coat.entry == entry]
    number = max(on, default=0) + 1
    _not_too_soon({**found, "entry": entry, "number": number}, said, before)
    return {**found, "entry": entry, "number": number}


def _as_asked(found: dict[str, Any], before: Before) -> dict[str, Any]:
    """The coat with how it was to be laid, where the readings so far asked for another film than the scheme does."""
    coming = before.day.next_coat
    if coming is None or (coming.entry, coming.number) != (found.get("entry"), found.get("number")):
        return found
    step = before.booth.step(coming.entry)
    changed = step is not None and coming.film_word != word_of(step.film_um)
    return {**found, "asked": coming.film_word} if changed else found


def _not_too_soon(found: Mapping[str, Any], said: Collection[str], before: Before) -> None:
    day, booth, clock = before.day, before.booth, before.clock
    if not day.coats:
        return
    deed, last = heard("coat-done", found), day.coats[-1]
    assert isinstance(deed, CoatDone)
    step = booth.step(last.entry)
    flash = step.flash_min if step and step.entry == deed.entry else None
    least = timedelta(minutes=flash.low) if flash else TOO_SOON
    name, coat = _name(booth, deed.entry), f"coat {last.number} of {last.name}"
    if abs(deed.time - last.time) < least:
        rule = f"{coat} is in the diary at {clock.told(last.time)}, too near in time for another coat"
        remedy = f'if this is another one, say which: "{name} {deed.number}"; if it is the same, nothing is left to say'
    elif deed.time < last.time and "time" in said:
        rule = f"{coat} is in the diary after that, at {clock.told(last.time)}"
        remedy = f'say which coat this was, for example "{name} {deed.number}"'
    else:
        return
    raise InputError(Problem(rule, remedy, field="coat", value=name if "entry" in said else "next"))


def _last_coat(found: Mapping[str, Any], day: Day) -> dict[str, int]:
    """The last coat that is on, of the entry that is said."""
    entry = found.get("entry")
    coats = [coat for coat in day.coats if entry in (None, coat.entry)]
    if not coats:
        raise InputError(Problem("no coat is in the diary yet that this could be about", "say the coat first"))
    return {"entry": coats[-1].entry, "number": coats[-1].number}


def _batch_in_use(done: Done) -> str:
    used = [made.batch for made in in_use(done)]
    if len(used) == 1:
        return used[0]
    rule = "several batches are in use" if used else "no batch is in use"
    remedy = f"say which: {', '.join(used)}" if used else "say which batch it is"
    raise InputError(Problem(rule, remedy, field="batch"))


def heard(what: str, values: Mapping[str, Any]) -> Deed:
    """The deed that is said, checked as a line of the log is. Raises InputError."""
    try:
        return check_said(what, values, Path())
    except InputError as error:
        told = [replace(one, file="", line=None, remedy="say it again with that mended") for one in error.problems]
        raise InputError(told) from None


def problems_of(deed: Deed, scheme: Scheme, before: Before) -> list[Problem]:
    """All that keeps a deed out of the diary of a scheme."""
    booth, done = before.booth, before.done
    match deed:
        case CoatDone():
            return [*_no_such_step(deed.entry, booth), *_twice(deed, booth, done, before.clock)]
        case FilmRead():
            return [*_no_such_step(deed.entry, booth), *_no_such_coat(deed, booth, done), *_too_thick(deed)]
        case BatchMade():
            return [*_unknown("batch", deed.batch, booth.batches), *_wrongly_poured(deed, scheme, booth)]
        case Left():
            return _unknown("batch", deed.batch, booth.batches)
        case DropsCounted():
            return _unknown("dye", deed.dye, scheme.dyes)
    return []


def _no_such_step(entry: int, booth: Booth) -> list[Problem]:
    if booth.step(entry) is not None:
        return []
    known = ", ".join(f"{step.entry} ({step.name})" for step in booth.steps)
    rule = "the scheme has no coats of this number"
    return [Problem(rule, f"there are {known}", field="entry", value=str(entry))]


def _twice(deed: CoatDone, booth: Booth, done: Done, clock: Clock) -> list[Problem]:
    for coat in done.coats:
        if (coat.entry, coat.number) == (deed.entry, deed.number):
            name = _name(booth, deed.entry)
            more = max(other.number for other in done.coats if other.entry == deed.entry) + 1
            rule = f"coat {coat.number} of {name} is in the diary already, at {clock.told(coat.time)}"
            remedy = f'if this is another one, say "{name} {more}"; if that line is wrong, withdraw it first'
            return [Problem(rule, remedy, field="coat", value=f"{name} {deed.number}")]
    return []


def _no_such_coat(deed: FilmRead, booth: Booth, done: Done) -> list[Problem]:
    if any((coat.entry, coat.number) == (deed.entry, deed.number) for coat in done.coats):
        return []
    rule = f"coat {deed.number} of {_name(booth, deed.entry)} is not in the diary"
    return [Problem(rule, "say that it is on first", field="wet film")]


def _too_thick(deed: FilmRead) -> list[Problem]:
    most = max(deed.readings_um)
    if most <= MOST_WET_UM:
        return []
    rule = f"more than {MOST_WET_UM:.0f} um is no wet film of one sprayed coat"
    return [Problem(rule, "look at the unit: 1 mil is 25.4 um", field="wet film", value=f"{most:g} um")]


def _wrongly_poured(deed: BatchMade, scheme: Scheme, booth: Booth) -> list[Problem]:
    """Names that are no part of a dye mix; of paints and clears anything may be poured."""
    needed = booth.batches.get(deed.batch)
    if needed is None or needed.kind != "dye":
        return []
    mix = next((scheme.mixes[name] for name in scheme.mixes if needed.key == f"mix {name}"), None)
    # Parts go by the names that the mix sheet has for them, too.
    named = [mix.carrier, *(mix.ratio.words if mix.ratio else ())] if mix else []
    known = list(dict.fromkeys([*(mix.strengths if mix else scheme.dyes), *named, *PARTS]))
    small = {name.casefold() for name in known}
    strange = [part.name for part in deed.poured if part.name.strip().casefold() not in small]
    return [problem for name in strange for problem in _unknown("dye or part of this mix", name, known, "poured")]


def _unknown(what: str, name: str, known: Iterable[str], field: str = "") -> list[Problem]:
    names = list(known)
    if name in names:
        return []
    remedy = did_you_mean(name, names) or f"there are {', '.join(names)}"
    return [Problem(f"there is no such {what}", remedy, field=field or what, value=name)]


def _alike(name: str, known: Iterable[str]) -> str:
    """The known name that is the same in other letters, else the name as it is."""
    by_small = {other.casefold(): other for other in known}
    return by_small.get(name.strip().casefold(), name)


def _name(booth: Booth, entry: int) -> str:
    step: Step | None = booth.step(entry)
    return step.name if step else f"coat entry {entry}"
