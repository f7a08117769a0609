"""The day at the booth: from what was done to where the job stands, what comes next and when, and what remains."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from typing import ClassVar, Literal

from layerpreview.answers.films import FilmMeasured, films_measured
from layerpreview.answers.remaining import Remaining, remaining_dye, remaining_film, word_of
from layerpreview.job.booth import Booth, Step, booth_of
from layerpreview.job.cautions import (
    CAUTION_DUST,
    CAUTION_ISOCYANATE,
    CAUTION_SKIN,
    CAUTION_VAPOUR,
    CAUTION_VAPOUR_SHORT,
    CAUTION_WASTE,
    Caution,
    general_cautions,
)
from layerpreview.job.done import BatchMade, CoatDone, Done
from layerpreview.picture.spots import Spot, places_of
from layerpreview.scheme import Scheme
from layerpreview.told import Told
from layerpreview.units import Range

POT_LIFE_WARNS_AT = 0.75
"""Share of the pot life from which it is warned."""
TimerKind = Literal["flash", "dry", "pot life soon", "pot life"]
StageKind = Literal["prepare", "mix", "wait", "spray", "cure", "finish"]
Spots = Callable[[], Sequence[Spot]]


@dataclass(frozen=True)
class Timer:
    """A wait that began at `from_` and is over `until` minutes later: at the earliest, and at the latest for sure.

    `about`: the coat or batch. "pot life soon" comes at three quarters of it.
    """

    kind: TimerKind
    about: str
    from_: datetime
    until: Range
    also_in_json: ClassVar = ("earliest", "latest")

    @property
    def earliest(self) -> datetime:
        """When it may be over."""
        return self.from_ + timedelta(minutes=self.until.low)

    @property
    def latest(self) -> datetime:
        """When it is over for sure."""
        return self.from_ + timedelta(minutes=self.until.high)


@dataclass(frozen=True)
class NextCoat:
    """The coat that comes next: coat `number` of `of` of an entry, laid `film_word` (light, medium, wet).

    `wait`: the timer it waits for, None where nothing is on yet or the scheme does not say; `words` then tell why.
    """

    entry: int
    number: int
    of: int
    name: str
    film_word: str
    wait: Timer | None
    words: str = ""


@dataclass(frozen=True)
class StageNow:
    """What is being done now, in a word, in words, and the entry of coats that it is about, if any."""

    kind: StageKind
    words: str
    entry: int | None = None


@dataclass(frozen=True)
class CoatOn:
    """A coat that is on: coat `number` of `of`."""

    entry: int
    number: int
    of: int
    name: str
    time: datetime
    line: int


@dataclass(frozen=True)
class FilmTold:
    """The wet film of one coat of an entry [um]: as planned, and as measured with `n` readings of `coats` coats."""

    entry: int
    name: str
    planned_um: Told
    measured_um: Told
    n: int
    coats: int


@dataclass(frozen=True)
class MaySay:
    """A deed that is likely next: which kind of entry, in words, and the values known already."""

    what: str
    words: str
    values: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class DiaryEntry:
    """A line of the diary in words."""

    line: int
    id: str
    what: str
    words: str
    time: datetime
    withdrawn: bool


@dataclass(frozen=True)
class Day:
    """Where the job stands at `now`. `coats` in the order they went on; `entries` are the lines of its diary.

    `notes`: what does not fit together, and what to mind with the figures.
    """

    name: str
    now: datetime
    stage: StageNow
    next_coat: NextCoat | None
    timers: tuple[Timer, ...]
    coats: tuple[CoatOn, ...]
    batches: tuple[BatchMade, ...]
    films: tuple[FilmTold, ...]
    remaining: tuple[Remaining, ...]
    cautions: tuple[Caution, ...]
    may_say: tuple[MaySay, ...]
    notes: tuple[str, ...]
    entries: tuple[DiaryEntry, ...] = ()


def day_of(scheme: Scheme, done: Done, *, now: datetime, booth: Booth | None = None, spots: Spots | None = None) -> Day:
    """Where a job stands, from its scheme as agreed and what was done; `now` has a zone.

    `booth` and `spots` (its places, asked for only where dye films were read) save time where they were made already.
    Raises PictureError where a picture of the scheme cannot be used.
    """
    booth = booth or booth_of(scheme)
    order, notes = in_order(done.coats, [step.entry for step in booth.steps])
    numbers = {step.entry: _numbers(order, step.entry) for step in booth.steps}
    films = films_measured(done.films)
    remaining = _remaining(scheme, booth, films, numbers, spots or (lambda: places_of(scheme)))
    last = order[-1] if order else None
    step, number = _next(booth, order, numbers, remaining)
    wait = _wait(booth, last, step)
    coming = None
    if step is not None:
        of = _of(step, numbers, remaining)
        plan = next((found for found in remaining if found.entry == step.entry), None)
        word = plan.proposed_film_word if plan else word_of(step.film_um)
        coming = NextCoat(step.entry, number, of, step.name, word, wait, _untimed(booth, last, step, wait))
    pots = _pots(booth, done)
    stage = _stage(booth, step, coming, last, wait, done, now)
    return Day(
        name=scheme.name,
        now=now,
        stage=stage,
        next_coat=coming,
        timers=(*([wait] if wait else ()), *pots),
        coats=tuple(_coat_on(booth, coat, numbers, remaining) for coat in order),
        batches=done.batches,
        films=tuple(_film(step, films[step.entry]) for step in booth.steps if step.entry in films),
        remaining=remaining,
        cautions=_cautions(booth, stage, number),
        may_say=_may_say(scheme, booth, coming, last, done, films),
        notes=(*notes, *_notes(booth, done, order, numbers, now)),
    )


def in_order(coats: Sequence[CoatDone], entries: Sequence[int]) -> tuple[tuple[CoatDone, ...], tuple[str, ...]]:
    """The coats as they went on, and a note where times and lines of the diary contradict each other.

    By time, unless that puts a later coat of the plan before an earlier one while the lines do not: then a clock was
    set back, and the lines count. `entries`: those of the plan in its order.
    """
    rank = {entry: i for i, entry in enumerate(entries)}

    def rises(found: Sequence[CoatDone]) -> bool:
        ranks = [(rank.get(coat.entry, len(rank)), coat.number) for coat in found]
        return ranks == sorted(ranks)

    by_time = tuple(sorted(coats, key=lambda coat: (coat.time, coat.line)))
    by_line = tuple(sorted(coats, key=lambda coat: coat.line))
    if by_time == by_line or rises(by_time):
        return by_time, ()
    odd = next(after for before, after in pairwise(by_line) if after.time < before.time)
    note = (
        f"line {odd.line} has an earlier time than the coat before it: was a clock set back? The coats are taken in "
        "the order of the lines; times shown may be off"
    )
    return by_line, (note,)


def _numbers(order: Sequence[CoatDone], entry: int) -> tuple[int, ...]:
    """Which coats of an entry are on, each once."""
    return tuple(sorted({coat.number for coat in order if coat.entry == entry}))


def _remaining(
    scheme: Scheme,
    booth: Booth,
    films: dict[int, FilmMeasured],
    numbers: dict[int, tuple[int, ...]],
    spots: Spots,
) -> tuple[Remaining, ...]:
    found: list[Remaining] = []
    shares: dict[int, float] = {}
    furthest = _furthest(booth, numbers)
    for i, step in enumerate(booth.steps):
        film, on, closed = films.get(step.entry), numbers[step.entry], i < furthest
        if film is None or not on:
            continue
        if step.kind == "dye":
            found.append(remaining_dye(scheme, spots(), step, film, on, laid_shares=dict(shares), closed=closed))
        else:
            found.append(remaining_film(step, film, on, closed=closed))
        shares[step.entry] = found[-1].laid_um.likely / found[-1].planned_um.likely
    return tuple(found)


def _furthest(booth: Booth, numbers: dict[int, tuple[int, ...]]) -> int:
    """The place in the plan of the last step that was begun."""
    return max((i for i, step in enumerate(booth.steps) if numbers[step.entry]), default=0)


def _of(step: Step, numbers: dict[int, tuple[int, ...]], remaining: Sequence[Remaining]) -> int:
    """How many coats of a step there will be: as planned, or as its readings propose."""
    plan = next((found for found in remaining if found.entry == step.entry), None)
    on = max(numbers[step.entry], default=0)
    return max(on, step.coats) if plan is None else on + plan.proposed_coats


def _next(
    booth: Booth, order: Sequence[CoatDone], numbers: dict[int, tuple[int, ...]], remaining: Sequence[Remaining]
) -> tuple[Step | None, int]:
    """The step and number of the coat that comes next: from the furthest step that was begun on, the first to go on."""
    for step in booth.steps[_furthest(booth, numbers) :]:
        on = max(numbers[step.entry], default=0)
        if on < _of(step, numbers, remaining):
            return step, on + 1
    return None, 0


def _wait(booth: Booth, last: CoatDone | None, step: Step | None) -> Timer | None:
    """The timer that the last coat began: flash within its step, else dry; None where the scheme does not say."""
    under = booth.step(last.entry) if last else None
    if last is None or under is None:
        return None
    within = step is not None and step.entry == under.entry
    minutes = under.flash_min if within else under.dry_min
    kind: TimerKind = "flash" if within else "dry"
    return None if minutes is None else Timer(kind, f"coat {last.number} of {under.name}", last.time, minutes)


def _untimed(booth: Booth, last: CoatDone | None, step: Step, wait: Timer | None) -> str:
    under = booth.step(last.entry) if last else None
    if last is None or under is None or wait is not None:
        return ""
    return f"{'flash' if step.entry == under.entry else 'dry'} time: as the product's sheet says"


def _pots(booth: Booth, done: Done) -> tuple[Timer, ...]:
    """Pot lives of the batches in use: of each title the last one made, unless it was said what is left of it."""
    found = []
    for made in {batch.batch: batch for batch in done.batches}.values():
        product = booth.product(made.batch)
        over = any(
            left.batch == made.batch and (left.time >= made.time or left.line > made.line > 0) for left in done.left
        )
        if product is None or product.pot_life_min is None or over:
            continue
        soon = product.pot_life_min.scaled(POT_LIFE_WARNS_AT)
        found += [
            Timer("pot life soon", made.batch, made.time, soon),
            Timer("pot life", made.batch, made.time, product.pot_life_min),
        ]
    return tuple(found)


def _stage(
    booth: Booth,
    step: Step | None,
    coming: NextCoat | None,
    last: CoatDone | None,
    wait: Timer | None,
    done: Done,
    now: datetime,
) -> StageNow:
    waiting = wait is not None and now < wait.earliest
    if step is None or coming is None:
        if waiting:
            return StageNow("cure", "all coats are on: let it dry as the product's sheet says")
        return StageNow("finish", "level, sand and polish" if booth.sanded else "unmask, clean up, record")
    coat = f"coat {coming.number} of {coming.of} of {step.name}"
    if not booth.made(step, done):
        if last is None:
            return StageNow("prepare", f"prepare and mask; make ready {' and '.join(step.batches)}", step.entry)
        return StageNow("mix", f"make ready {' and '.join(step.batches)} for {coat}", step.entry)
    if waiting and wait is not None:
        return StageNow("wait", f"{wait.about} {'flashes off' if wait.kind == 'flash' else 'dries'}", step.entry)
    return StageNow("spray", f"spray {coat}", step.entry)


def _coat_on(
    booth: Booth, coat: CoatDone, numbers: dict[int, tuple[int, ...]], remaining: Sequence[Remaining]
) -> CoatOn:
    step = booth.step(coat.entry)
    name, of = (step.name, _of(step, numbers, remaining)) if step else (f"coat entry {coat.entry}", 0)
    return CoatOn(coat.entry, coat.number, of, name, coat.time, coat.line)


def _film(step: Step, film: FilmMeasured) -> FilmTold:
    return FilmTold(step.entry, step.name, step.film_um, film.film_um, film.n, film.coats)


def _cautions(booth: Booth, stage: StageNow, number: int) -> tuple[Caution, ...]:
    """What to mind in the stage that is now: in full where it starts, deferring to data sheets and local rules."""
    step = booth.step(stage.entry) if stage.entry is not None else None
    found: list[Caution] = []
    if step is not None:
        place = "mix" if stage.kind in ("prepare", "mix") else "spray"
        if step.isocyanate:
            found.append(Caution(place, *CAUTION_ISOCYANATE))
        starts = place == "mix" or number == 1
        found.append(Caution(place, *(CAUTION_VAPOUR if starts else CAUTION_VAPOUR_SHORT)))
        if place == "mix":
            found.append(Caution(place, *CAUTION_SKIN))
        elif step.dust:
            found.append(Caution("sand", *CAUTION_DUST))
    if stage.kind == "finish":
        found += [Caution("sand", *CAUTION_DUST)] if booth.sanded else []
        found.append(Caution("waste", *CAUTION_WASTE))
    return (*found, *general_cautions())


def _may_say(
    scheme: Scheme,
    booth: Booth,
    coming: NextCoat | None,
    last: CoatDone | None,
    done: Done,
    films: dict[int, FilmMeasured],
) -> tuple[MaySay, ...]:
    """What is likely to be said next, the likeliest first."""
    found = []
    under = booth.step(last.entry) if last else None
    if last and under and last.number not in (films[last.entry].by_coat if last.entry in films else ()):
        about = {"entry": last.entry, "number": last.number}
        found.append(MaySay("film-read", f"wet film of coat {last.number} of {under.name}", dict(about)))
    step = booth.step(coming.entry) if coming else None
    made = {batch.batch for batch in done.batches}
    if step and not booth.made(step, done):
        found += [MaySay("batch", f"{title} is made", {"batch": title}) for title in step.batches]
    if coming:
        values = {"entry": coming.entry, "number": coming.number}
        found.append(MaySay("coat-done", f"coat {coming.number} of {coming.name} is on", dict(values)))
    over = {left.batch for left in done.left}
    found += [MaySay("left", f"what is left of {title}", {"batch": title}) for title in sorted(made - over)]
    found.append(MaySay("conditions", "temperature, humidity and gun"))
    found += [MaySay("drops", f"drops of {name} counted", {"dye": name}) for name in scheme.dyes]
    return tuple(found)


def _notes(
    booth: Booth, done: Done, order: Sequence[CoatDone], numbers: dict[int, tuple[int, ...]], now: datetime
) -> list[str]:
    found = []
    if any(deed.time > now for deed in done):
        found.append("the clock is behind what the diary holds: check the clock before trusting any time here")
    found += [
        f"no coat of {step.name} is in the diary, though later ones are"
        for step in booth.steps[: _furthest(booth, numbers)]
        if not numbers[step.entry]
    ]
    for step in booth.steps:
        on_now = numbers[step.entry]
        gaps = [str(n) for n in range(1, max(on_now, default=0)) if n not in on_now]
        if gaps:
            found.append(f"not in the diary: coat {', '.join(gaps)} of {step.name}; it is not counted as on")
    known = {(coat.entry, coat.number) for coat in order}
    for film in done.films:
        if (film.entry, film.number) not in known:
            found.append(f"line {film.line} reads the film of a coat that is not in the diary")
    if any(booth.step(coat.entry) is None for coat in order):
        found.append("the diary holds coats of entries that the scheme does not have")
    return found
