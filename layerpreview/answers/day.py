"""The day at the booth: from what was done to where the job stands, what comes next and when, and what remains."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from layerpreview.answers.day_order import Numbers, coming_coat, furthest, how_many, in_order, numbers_on, pot_lives
from layerpreview.answers.day_tell import cautions_now, may_say, odd_things, stage_now
from layerpreview.answers.day_told import CoatOn, Day, DiaryEntry, FilmTold, MaySay, NextCoat, StageNow, Timer
from layerpreview.answers.films import FilmMeasured, films_measured
from layerpreview.answers.remaining import Remaining, remaining_dye, remaining_film
from layerpreview.job.booth import Booth, Step, booth_of
from layerpreview.job.done import CoatDone, Done
from layerpreview.job.products import details_of
from layerpreview.job.sheet import burial_of
from layerpreview.picture.spots import Spot, places_of
from layerpreview.scheme import Scheme
from layerpreview.spray.budget import Burial

__all__ = ["CoatOn", "Day", "DiaryEntry", "FilmTold", "MaySay", "NextCoat", "StageNow", "Timer", "day_of"]

Spots = Callable[[], Sequence[Spot]]


def day_of(scheme: Scheme, done: Done, *, now: datetime, booth: Booth | None = None, spots: Spots | None = None) -> Day:
    """Where a job stands, from its scheme as agreed and what was done; `now` has a zone.

    `booth` and `spots` (its places, asked for only where dye films were read) save time where they were made already.
    Raises PictureError where a picture of the scheme cannot be used.
    """
    booth = booth or booth_of(scheme)
    order, notes = in_order(done.coats, [step.entry for step in booth.steps])
    numbers = {step.entry: numbers_on(order, step.entry) for step in booth.steps}
    films = films_measured(done.films)
    remaining = _remaining(scheme, booth, films, numbers, spots or (lambda: places_of(scheme)))
    last = order[-1] if order else None
    coming, wait = coming_coat(booth, last, numbers, remaining)
    timers = (*([wait] if wait else ()), *pot_lives(booth, done))
    stage = stage_now(booth, coming, timers, last, done, now)
    return Day(
        name=scheme.name,
        units=scheme.shop.units,
        now=now,
        stage=stage,
        next_coat=coming,
        timers=timers,
        coats=tuple(_coat_on(booth, coat, numbers, remaining) for coat in order),
        batches=done.batches,
        films=tuple(_film(step, films[step.entry]) for step in booth.steps if step.entry in films),
        remaining=remaining,
        cautions=cautions_now(
            booth, stage, coming, stale=any(each.kind == "pot life" and each.latest <= now for each in timers)
        ),
        may_say=may_say(scheme.dyes, booth, stage, coming, last, done),
        notes=(*notes, *odd_things(booth, done, order, numbers, now)),
    )


def _remaining(
    scheme: Scheme,
    booth: Booth,
    films: Mapping[int, FilmMeasured],
    numbers: Numbers,
    spots: Spots,
) -> tuple[Remaining, ...]:
    found: list[Remaining] = []
    shares: dict[int, float] = {}
    begun = furthest(booth, numbers)
    for i, step in enumerate(booth.steps):
        film, on, closed = films.get(step.entry), numbers[step.entry], i < begun
        if film is None or not on:
            if closed and on:  # what was not read lies there as planned, as many coats as there are
                shares[step.entry] = len(on) / step.coats
            continue
        if step.kind == "dye":
            found.append(remaining_dye(scheme, spots(), step, film, on, laid_shares=dict(shares), closed=closed))
        else:
            bury = _bury(scheme, step, film)
            found.append(remaining_film(step, film, on, closed=closed, bury=bury, units=scheme.shop.units))
        shares[step.entry] = found[-1].laid_um.likely / found[-1].planned_um.likely
    return tuple(found)


def _bury(scheme: Scheme, step: Step, film: FilmMeasured) -> Burial | None:
    if step.kind != "clear":
        return None
    return burial_of(scheme, details_of(scheme), film_um=film.film_um, coats=step.coats)


def _coat_on(booth: Booth, coat: CoatDone, numbers: Numbers, remaining: Sequence[Remaining]) -> CoatOn:
    step = booth.step(coat.entry)
    name, of = (step.name, how_many(step, numbers, remaining)) if step else (f"coat entry {coat.entry}", 0)
    return CoatOn(coat.entry, coat.number, of, name, coat.time, coat.line)


def _film(step: Step, film: FilmMeasured) -> FilmTold:
    return FilmTold(step.entry, step.name, step.film_um, film.film_um, film.n, film.coats)
