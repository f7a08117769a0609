"""The diary in plain words: what a deed says, and the day as a person reads it."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo

from layerpreview.answers.day import Day, Timer
from layerpreview.answers.films import film_told
from layerpreview.job import done
from layerpreview.job.done import Deed, Poured
from layerpreview.output.local_time import Clock, minutes_told
from layerpreview.output.sheet_words import FL_OZ_ML

RANG = {
    "flash": "flash time of {about} is over",
    "dry": "{about} is dry for the next stage, as far as its sheet says",
    "pot life soon": "three quarters of the pot life of {about} are gone",
    "pot life": "the pot life of {about} is over: do not spray it any more unless its sheet says so",
}
"""What is said when a timer comes."""


def deed_words(deed: Deed, name_of: Callable[[int], str], *, units: str = "metric") -> str:
    """What a deed says, in words and the shop's `units`; `name_of` gives the name of an entry of coats."""
    told = _told(deed, name_of, us=units == "US")
    return told + (f"; note: {deed.note}" if deed.note else "")


def _told(deed: Deed, name_of: Callable[[int], str], *, us: bool) -> str:
    match deed:
        case done.BatchMade():
            poured = ", ".join(map(_poured, deed.poured))
            total = f", {deed.total_mL:g} mL in all" if deed.total_mL is not None else ""
            card = f"; by card {deed.card}" if deed.card else ""
            return f"made {deed.batch}{': ' if poured else ''}{poured}{total}{card}"
        case done.CoatDone():
            asked = f", asked for as a {deed.asked} one" if deed.asked else ""
            return f"coat {deed.number} of {name_of(deed.entry)} is on{asked}"
        case done.FilmRead():
            readings = ", ".join(f"{value / 25.4 if us else value:.3g}" for value in deed.readings_um)
            return f"wet film of coat {deed.number} of {name_of(deed.entry)}: {readings} {'mil' if us else 'um'}"
        case done.Conditions():
            return ", ".join(_conditions(deed, us=us)) or "remark"
        case done.Left():
            ounces = f"{deed.left_mL / FL_OZ_ML:.3g} fl oz = " if us else ""
            return f"{ounces}{deed.left_mL:.3g} mL of {deed.batch} left"
        case done.DropsCounted():
            return f"{deed.drops} drops of {deed.dye} made {deed.volume_mL:.3g} mL"
        case done.PhotoRead():
            of = "the part" if deed.of == "part" else "a witness card"
            read = "not read yet"
            if deed.refused:
                read = f"cannot be judged: {deed.refused}"
            elif deed.lab:
                read = "read as L* {:.1f} a* {:.1f} b* {:.1f}".format(*deed.lab)
            return f"photo of {of} after coat {deed.number} of {name_of(deed.entry)}, {deed.file}: {read}"
    return "not known to this version"


def _poured(part: Poured) -> str:
    return f"{part.name} {part.amount:.4g} {part.unit}" + (f" (bottle {part.lot})" if part.lot else "")


def _conditions(deed: done.Conditions, *, us: bool) -> Iterator[str]:
    if deed.temperature_C is not None:
        yield f"{1.8 * deed.temperature_C + 32.0:.3g} °F" if us else f"{deed.temperature_C:.3g} °C"
    if deed.humidity is not None:
        yield f"{100 * deed.humidity:.3g} % humidity"
    if deed.gun:
        yield f"gun {deed.gun}"


def instants_in(day: Day) -> list[datetime]:
    """All instants that are told of a day."""
    timers = [instant for timer in day.timers for instant in (timer.earliest, timer.latest)]
    return [*(entry.time for entry in day.entries), *(coat.time for coat in day.coats), *timers]


def next_words(day: Day, clock: Clock) -> str:
    """The next coat and its time, in one line."""
    coming = day.next_coat
    if coming is None:
        dries = next((timer for timer in day.timers if timer.kind == "dry"), None)
        return "no coat is left to spray" + (_dry(day, dries, clock) if dries else "")
    what = f"coat {coming.number} of {coming.of} of {coming.name}, {coming.film_word}"
    if coming.film_um is not None:
        what += f", about {film_told(coming.film_um, day.units)}"
    if coming.wait is None:
        return f"next coat: {what}" + (f"; {coming.words}" if coming.words else "")
    if day.now >= coming.wait.latest:
        return f"next coat now: {what}"
    from_ = clock.told(coming.wait.earliest)
    surest = (
        f", to be sure from {clock.told(coming.wait.latest)}" if coming.wait.until.high > coming.wait.until.low else ""
    )
    if day.now >= coming.wait.earliest:
        return f"next coat since {from_}{surest}: {what}"
    left = minutes_told((coming.wait.earliest - day.now).total_seconds() / 60.0)
    return f"next coat from {from_} (in {left}){surest}: {what}"


def _dry(day: Day, dries: Timer, clock: Clock) -> str:
    """When the last coat of all is dry, as its sheet has it."""
    if day.now >= dries.latest:
        return f"; {dries.about} is dry since {clock.told(dries.latest)} by its sheet"
    surest = f", to be sure from {clock.told(dries.latest)}" if dries.latest > dries.earliest else ""
    return f"; {dries.about} is dry by its sheet from {clock.told(dries.earliest)}{surest}"


def big(words: str) -> str:
    """The words with what comes next in capitals, to be read from across the booth."""
    return words.replace("next coat", "NEXT COAT", 1)


def pot_words(day: Day, clock: Clock) -> list[str]:
    """A line for each batch with a pot life: loud from three quarters on."""
    soon = {timer.about: timer for timer in day.timers if timer.kind == "pot life soon"}
    return [_pot(day, soon[timer.about], timer, clock) for timer in day.timers if timer.kind == "pot life"]


def _pot(day: Day, soon: Timer, ends: Timer, clock: Clock) -> str:
    at, over, last = clock.told(soon.earliest), clock.told(ends.earliest), clock.told(ends.latest)
    by = f" (by {last} at the latest)" if ends.latest > ends.earliest else ""
    if day.now >= ends.latest:
        return f"POT LIFE OVER: {ends.about} since {last} at the latest; do not spray it any more"
    if day.now >= ends.earliest:
        return f"POT LIFE MAY BE OVER: {ends.about} since {over}{by}; do not spray it unless its sheet says so"
    if day.now >= soon.earliest:
        return f"POT LIFE NEARLY OVER: {ends.about} ends at {over}{by}"
    return f"pot life of {ends.about}: three quarters gone at {at}, ends at {over}{by}"


@dataclass(frozen=True)
class Moment:
    """An instant at which a bell rings, and what is said then."""

    time: datetime
    words: str


def moments_of(day: Day) -> list[Moment]:
    """Every instant of a day's timers, in the order in which they come: the earliest of each, and the latest."""
    found = []
    for timer in day.timers:
        words = RANG[timer.kind].format(about=timer.about)
        found.append(Moment(timer.earliest, words))
        if timer.kind != "pot life soon" and timer.latest > timer.earliest:
            found.append(Moment(timer.latest, f"for sure now: {words}"))
    return sorted(found, key=lambda moment: moment.time)


def day_text(day: Day, zone: tzinfo | None = None) -> str:
    """What to show a person: now, next and when, what is on, films, what remains, cautions, notes."""
    clock = Clock.over(day.now, instants_in(day), zone)
    lines = [f"{day.name}, {clock.told(day.now)}: {day.stage.words}", "", f"  {big(next_words(day, clock))}"]
    lines += [f"  {line}" for line in pot_words(day, clock)]
    lines += ["", *_diary(day, clock)]
    lines += [*_films(day), *(f"  {found.name}: {found.words}" for found in day.remaining)]
    if day.remaining:
        lines.append(
            "  approximate: it rests on the readings, on the dye as the scheme has it, and on planned coats below"
        )
    lines += ["", *(line for caution in day.cautions for line in _wrapped(f"{caution.title}: {caution.text}"))]
    lines += [f"  note: {note}" for note in day.notes]
    return "\n".join([*lines, ""])


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, 110, initial_indent="  ", subsequent_indent="    ")


def _diary(day: Day, clock: Clock) -> Iterator[str]:
    if not day.entries:
        yield "  nothing is in the diary yet"
    for entry in day.entries:
        gone = "withdrawn: " if entry.withdrawn else ""
        yield f"  {entry.line:4}  {clock.told(entry.time)}  {gone}{entry.words}"


def _films(day: Day) -> Iterator[str]:
    def told(um: float) -> str:
        return film_told(um, day.units)

    for film in day.films:
        planned, measured = film.planned_um, film.measured_um
        coats = "1 coat" if film.coats == 1 else f"{film.coats} coats"
        yield (
            f"  wet film of {film.name}: {told(measured.likely)} a coat ({told(measured.low).split()[0]} to "
            f"{told(measured.high).split()[0]}; {measured.basis}, {coats}), planned {told(planned.likely)} "
            f"({planned.basis})"
        )
