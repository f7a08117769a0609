"""What a job's log tells for the shop book: how far it has come, and which assumption became a measurement."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np

from layerpreview.answers.book import Agreement, BookCoat, BookColour, BookDye, Learnt, State, Story, Worked
from layerpreview.answers.films import films_measured
from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, lab_to_xyz, rgb_lin_to_hex
from layerpreview.job.done import BASE_COAT, CLEAR_COAT, Done, FilmRead, Left
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

_LEARNT_DYE = {"fitted": "learnt from a card", "table": "read from a table", "stated": "its spectrum is stated"}


@dataclass(frozen=True)
class Logged:
    """What stands in a log: deeds, the last agreement, days of boards, and how many coats a reading found by mix."""

    done: Done = field(default_factory=Done)
    agreed: Agreement | None = None
    days: tuple[str, ...] = ()
    read_coats: dict[str, int] = field(default_factory=dict)


def story_of(worked: Worked, logged: Logged) -> Story:
    """How far a job has come and what was learnt on it."""
    done = logged.done
    coats = {entry: done.coats_of(entry) for entry in sorted({coat.entry for coat in done.coats})}
    for mix, number in logged.read_coats.items():
        # A reading says how many coats are on; where the diary was not kept, that is all there is.
        first = next((coat.order for coat in worked.coats if coat.what == mix), None)
        if first is not None:
            coats[first] = max(coats.get(first, 0), number)
    days = sorted({*logged.days, *(day_of(deed.time) for deed in done)})
    return Story(
        state=_state(worked, logged, coats),
        begun=days[0] if days else "",
        last=days[-1] if days else "",
        agreed=logged.agreed,
        coats_done={entry: number for entry, number in coats.items() if number},
        learnt=tuple(learnt_of(worked, done)),
        notes=tuple(dict.fromkeys(deed.note for deed in done if deed.note)),
        read=_read(worked, done),
    )


def _read(worked: Worked, done: Done) -> BookColour | None:
    """The colour of the part under its clear, as the last photo that could be judged has it."""
    photos = [one for one in done.photos if one.of == "part" and one.entry == CLEAR_COAT and one.lab is not None]
    if not photos or photos[-1].lab is None:
        return None
    last, lab = photos[-1], photos[-1].lab
    shown = rgb_lin_to_hex(lab_to_xyz(np.array(lab), white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T)
    over = worked.main[0].over if worked.main else " ".join(worked.base)
    return BookColour(f"read off a photo, {day_of(last.time)}", "read", lab, shown, last.spread_de00 or 0.0, over)


def day_of(time: datetime) -> str:
    """The day of a moment, in UTC as logs have it."""
    return time.astimezone(UTC).date().isoformat()


def _state(worked: Worked, logged: Logged, coats: dict[int, int]) -> State:
    done = logged.done
    if _is_finished(worked.clear, coats.get(CLEAR_COAT, 0), done):
        return State.DONE
    if any(coats.values()) or done.batches or done.films or done.left:
        return State.SPRAYED
    return State.AGREED if logged.agreed else State.PLANNED


def _is_finished(clear: BookCoat, on: int, done: Done) -> bool:
    """Whether the clear is on: all its coats, or some and then what was left of a batch.

    Whoever sprays the clear has done with the colour, however many coats of it there were.
    """
    if on >= clear.coats:
        return True
    last = max((coat.time for coat in done.coats if coat.entry == CLEAR_COAT), default=None)
    return last is not None and any(left.time >= last for left in done.left)


def learnt_of(worked: Worked, done: Done) -> Iterator[Learnt]:
    """Films that were read, drops that were counted, batches of which the rest was measured, dyes of cards, and what
    the shop knows from earlier jobs."""
    told = [*_films(worked, done.films), *_drops(worked, done)]
    yield from told
    yield from _used(worked, done)
    for bottle in worked.dyes:
        if bottle.kind in _LEARNT_DYE:
            yield Learnt(f"dye {bottle.name}", "", _LEARNT_DYE[bottle.kind])
    known = {learnt.about for learnt in told}
    yield from (learnt for learnt in _shop(worked) if learnt.about not in known)


def _drops(worked: Worked, done: Done) -> Iterator[Learnt]:
    for dye in dict.fromkeys(count.dye for count in done.drops):
        counts = [count for count in done.drops if count.dye == dye]
        each = [count.drops / count.volume_mL for count in counts]
        likely = sum(count.drops for count in counts) / sum(count.volume_mL for count in counts)
        known = next((one.drops_per_mL for one in worked.dyes if one.name == dye), None)
        found = Told.of(Range(min(each), likely, max(each)), "drops/mL", _measured(len(counts)))
        yield Learnt(f"drops of {dye}", "" if known is None else in_words(known), in_words(found))


def _films(worked: Worked, films: Sequence[FilmRead]) -> Iterator[Learnt]:
    known = {coat.order: coat for coat in (*worked.coats, worked.clear)}
    measured = films_measured(films)
    for entry in sorted(measured, key=lambda entry: (entry == CLEAR_COAT, entry)):
        coat = known.get(entry)
        what = coat.what if coat else "base coat" if entry == BASE_COAT else f"coat {entry}"
        yield Learnt(
            f"wet film of {what}", "" if coat is None else in_words(coat.film_um), in_words(measured[entry].film_um)
        )


def _used(worked: Worked, done: Done) -> Iterator[Learnt]:
    """What a batch really took: made less what was left, where both were written down."""
    for batch in dict.fromkeys(left.batch for left in done.left):
        made = [one.total_mL for one in done.batches if one.batch == batch]
        rest = _last(done.left, batch)
        if not made or any(mL is None for mL in made):
            continue
        used = sum(mL for mL in made if mL is not None) - rest
        if used < 0.0:
            continue
        needs = [need.needed.range for need in worked.needs if need.of == batch and need.unit == "mL"]
        was = f"{sum(need.likely for need in needs):.0f} mL worked out" if needs else ""
        yield Learnt(f"{batch} used", was, f"{used:.0f} mL, from what was left")


def _last(left: Sequence[Left], batch: str) -> float:
    return [one.left_mL for one in left if one.batch == batch][-1]


def _shop(worked: Worked) -> Iterator[Learnt]:
    """What stands in the job as measured because the shop measured it on others."""
    drops: list[tuple[str, Told]] = [(f"drops of {dye.name}", dye.drops_per_mL) for dye in worked.dyes]
    films = [(f"wet film of {coat.what}", coat.film_um) for coat in worked.coats]
    for about, told in (*films, ("share that lands", worked.transfer), *drops):
        if told.weakest is Basis.MEASURED:
            yield Learnt(about, "", in_words(told))


def _measured(n: int) -> Rest:
    return Rest(Basis.MEASURED, f"n = {n}")


def in_words(told: Told) -> str:
    """A figure with its range and what it rests on: "40 (30 to 55) um, assumed (medium)".

    >>> in_words(Told.of(Range(30.0, 40.0, 55.0), "um", Rest(Basis.ASSUMED, "medium")))
    '40 (30 to 55) um, assumed (medium)'
    """
    ends = f" ({told.low:.3g} to {told.high:.3g})" if told.high > told.low else ""
    unit = f" {told.unit}" if told.unit else ""
    return f"{told.likely:.3g}{ends}{unit}, {told.basis or 'assumed'}"


def dyes_in_words(dyes: Sequence[BookDye]) -> str:
    """Each dye and where its colour comes from."""
    kinds = {"generic": "generic, from the library", **_LEARNT_DYE}
    return "; ".join(f"{dye.name} ({kinds.get(dye.kind, dye.kind)})" for dye in dyes)
