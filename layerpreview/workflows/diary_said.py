"""Deeds as they are typed in a shop, read into the values of the diary's entries: every problem with what was typed."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any, TypeVar

from layerpreview.answers.day import Day, DiaryEntry
from layerpreview.errors import InputError, Problem
from layerpreview.job.booth import Booth
from layerpreview.output.local_time import instant_said
from layerpreview.output.result import Result
from layerpreview.units import Dimension, UnitError, parse_quantity
from layerpreview.workflows.diary import Said, all_said, booth_for

Read = TypeVar("Read")
_ITEM = re.compile(r"(?P<name>.*?\S)\s*[ :=]\s*(?P<amount>\d[\d.,]*\s*[^\d\s.,].*)")
_DROPS = re.compile(r"(?P<name>.*?\S)\s*[ :=]\s*(?P<drops>\d+)\s*drops?\s*(?:=|:|are|is|make)?\s*(?P<volume>\d.*)")
_DEGREES = re.compile(r"(?P<value>[+-]?\d+(?:[.,]\d+)?)\s*(?:°|deg|degrees)?\s*(?P<unit>[CF])", re.IGNORECASE)
_READING = re.compile(r"(?P<value>\d+(?:[.,]\d+)?)\s*(?P<unit>[^\d\s.,;][^\d,;]*)?")
_COAT = re.compile(r"(?:no\.\s*)?(?P<name>.*?\S)(?:\s+(?:coat\s+)?(?P<number>\d{1,2}))?")
_POURED = 'write for example "amber 1.4 mL, red 0.12 mL, carrier 60 mL"'


@dataclass(frozen=True)
class Typed:
    """What was typed on the command line, all of it as text; None and () for what was not."""

    coat: str | None = None
    wet: str | None = None
    batch: str | None = None
    poured: str | None = None
    lot: Sequence[str] = ()
    card: str | None = None
    temperature: str | None = None
    humidity: str | None = None
    gun: str | None = None
    left: str | None = None
    drops: str | None = None
    at: str | None = None
    note: str | None = None


def typed_said(
    job: Path, typed: Typed, *, now: datetime | None = None, zone: tzinfo | None = None
) -> tuple[tuple[DiaryEntry, ...], Result[Day]]:
    """Write what was typed into a job's diary, all of it or nothing; the lines written, and the day after them.

    Raises InputError with every problem of what was typed, and as `all_said` does.
    """
    now = (now or datetime.now(UTC)).astimezone(UTC)
    deeds = deeds_typed(typed, booth_for(job), now=now, zone=zone)
    day = all_said(job, deeds, now=now, zone=zone)
    return day.found.entries[len(day.found.entries) - len(deeds) :], day


def deeds_typed(typed: Typed, booth: Booth, *, now: datetime, zone: tzinfo | None = None) -> list[Said]:
    """The deeds in the order they are done: batch, drops, conditions, coat, wet film, what is left.

    Raises InputError with every problem of what was typed.
    """
    problems: list[Problem] = []

    def read(field: str, text: str | None, parse: Callable[[str], Read]) -> Read | None:
        if text is None:
            return None
        try:
            return parse(text)
        except InputError as error:
            problems.extend(error.problems)
        except UnitError as error:
            problems.append(Problem(error.rule, error.remedy, field=field, value=text))
        return None

    when = read("--at", typed.at, lambda text: instant_said(text, now=now, zone=zone))
    common: dict[str, Any] = {"time": when.isoformat(timespec="seconds")} if when else {}
    common |= {"note": typed.note.strip()} if typed.note else {}
    found: list[Said] = []
    lots = dict(filter(None, (read("--lot", lot, _lot) for lot in typed.lot)))
    poured = read("--poured", typed.poured, lambda text: poured_typed(text, lots))
    if (typed.batch and typed.left is None) or typed.poured:
        found.append(("batch", {"batch": typed.batch, "poured": poured or [], "card": typed.card or ""}))
    if drops := read("--drops", typed.drops, drops_typed):
        found.append(("drops", drops))
    conditions = {
        "temperature_C": read("--temperature", typed.temperature, temperature_typed),
        "humidity": read("--humidity", typed.humidity, lambda text: parse_quantity(text, "fraction")),
        "gun": typed.gun,
    }
    alone = bool(typed.note) and typed.coat is None and typed.wet is None and typed.left is None and not found
    if alone or any(value is not None for value in conditions.values()):
        found.append(("conditions", conditions))
    coat = read("--coat", typed.coat, lambda text: coat_typed(text, booth))
    if coat is not None:
        found.append(("coat-done", coat))
    if readings := read("--wet", typed.wet, wet_typed):
        found.append(("film-read", {"readings_um": readings, **(coat if coat and "number" in coat else {})}))
    if (left := read("--left", typed.left, lambda text: parse_quantity(text, "volume"))) is not None:
        found.append(("left", {"left_mL": left, "batch": typed.batch}))
    problems += _nothing_to_say_it_of(typed, found)
    if problems:
        raise InputError(problems)
    return [(what, {**common, **values}) for what, values in found]


def _nothing_to_say_it_of(typed: Typed, found: Sequence[Said]) -> list[Problem]:
    """Options that say more of a deed that was not said."""
    batch = any(what == "batch" for what, _ in found)
    alone = [("--lot", typed.lot), ("--card", typed.card)] if not batch else []
    needs = [(name, "--batch") for name, value in alone if value]
    needs += [("--poured", "--batch")] if typed.poured and not typed.batch else []
    needs += [("--at", "what was done")] if typed.at and not found and typed.coat is None else []
    return [Problem(f"this says more of a deed that is not said: add {what}", field=name) for name, what in needs]


def coat_typed(text: str, booth: Booth) -> dict[str, Any]:
    """Which coat is meant: "next"; "honey" or 2, the next of these; "honey 3", coat number 3 of these.

    A number alone is that of the figures; "base" and "clear" are known, too. Raises InputError.
    """
    said = text.strip()
    if said.casefold() in ("", "next"):
        return {}
    names = {step.name.casefold(): step.entry for step in booth.steps}
    names |= {f"{step.entry}": step.entry for step in booth.steps if step.entry > 0}
    names |= {step.kind: step.entry for step in booth.steps if step.kind in ("base", "clear")}
    if said.casefold() in names:
        return {"entry": names[said.casefold()]}
    match = _COAT.fullmatch(said)
    if match and match["number"] and match["name"].casefold() in names:
        return {"entry": names[match["name"].casefold()], "number": int(match["number"])}
    known = ", ".join(f'"{step.name}"' for step in booth.steps)
    remedy = f'write next, or one of {known}, with its number behind it for a certain one ("{booth.steps[0].name} 2")'
    raise InputError(Problem("there is no such coat", remedy, field="--coat", value=text))


def wet_typed(text: str) -> list[float]:
    """Gauge readings [um]: "38, 45, 41 um", "1.5, 1.75 mil". Raises InputError or UnitError."""
    parts = [part for part in re.split(r";|,\s+|\s+(?=\d)", text.strip()) if part.strip()]
    read = [_READING.fullmatch(part.strip()) for part in parts]
    units = [match["unit"].strip() for match in read if match and match["unit"]]
    if not parts or not all(read) or not units:
        remedy = 'write for example "38, 45, 41 um", or the same in mil'
        raise InputError(Problem("readings with their unit are wanted", remedy, field="--wet", value=text))
    return [
        round(parse_quantity(f"{match['value']} {match['unit'] or units[-1]}", "film"), 3) for match in read if match
    ]


def poured_typed(text: str, lots: dict[str, str] | None = None) -> list[dict[str, Any]]:
    """What was poured: "amber 1.4 mL, red 20 drops, carrier 60 mL"; `lots` by name. Raises InputError or UnitError."""
    found = []
    for part in re.split(r";|,\s+(?=\D)", text.strip()):
        match = _ITEM.fullmatch(part.strip())
        if match is None:
            raise InputError(Problem("a name and an amount are wanted", _POURED, field="--poured", value=part.strip()))
        amount, unit = _amount(match["amount"])
        lot = (lots or {}).get(match["name"].casefold(), "")
        found.append({"name": match["name"], "amount": amount, "unit": unit, "lot": lot})
    unused = [name for name in lots or {} if name not in {str(part["name"]).casefold() for part in found}]
    if unused:
        raise InputError(Problem("this was not poured", "name a part of --poured", field="--lot", value=unused[0]))
    return found


def _amount(text: str) -> tuple[float, str]:
    if drops := re.fullmatch(r"(\d+)\s*drops?", text.strip(), re.IGNORECASE):
        return float(drops[1]), "drops"
    tries: tuple[tuple[Dimension, str], ...] = (("volume", "mL"), ("mass", "g"))
    for dimension, unit in tries:
        try:
            return round(parse_quantity(text, dimension), 6), unit
        except UnitError as error:
            told = error
    raise InputError(
        Problem(f"a volume, a weight or drops are wanted ({told.rule})", _POURED, field="--poured", value=text)
    )


def drops_typed(text: str) -> dict[str, Any]:
    """Drops that were counted: "amber 43 drops = 1 mL". Raises InputError or UnitError."""
    match = _DROPS.fullmatch(text.strip())
    if match is None:
        remedy = 'write for example "amber 43 drops = 1 mL"'
        raise InputError(Problem("a dye, its drops and their volume are wanted", remedy, field="--drops", value=text))
    return {
        "dye": match["name"],
        "drops": int(match["drops"]),
        "volume_mL": parse_quantity(match["volume"], "volume"),
    }


def temperature_typed(text: str) -> float:
    """A temperature [deg C]: "21 C", "70 F". Raises InputError."""
    match = _DEGREES.fullmatch(text.strip())
    if match is None:
        remedy = 'write for example "21 C" or "70 F"'
        raise InputError(Problem("a temperature with its unit is wanted", remedy, field="--temperature", value=text))
    value = float(match["value"].replace(",", "."))
    return round((value - 32.0) / 1.8, 2) if match["unit"].upper() == "F" else value


def _lot(text: str) -> tuple[str, str]:
    name, _, lot = text.strip().rpartition(" ")
    if not name.strip():
        remedy = 'write for example "amber B12"'
        raise InputError(Problem("a name and the bottle's number are wanted", remedy, field="--lot", value=text))
    return name.strip().casefold(), lot


def line_typed(text: str) -> int | None:
    """The number of a line; None for "last". Raises InputError."""
    said = text.strip().casefold()
    if said in ("", "last"):
        return None
    if said.isascii() and said.isdecimal() and len(said) < 9:
        return int(said)
    raise InputError(
        Problem("a line's number or last is wanted", "the diary shows them", field="--withdraw", value=text)
    )
