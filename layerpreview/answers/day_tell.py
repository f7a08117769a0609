"""What a day at the booth says: what is being done now, what to mind, what may be said next, what does not fit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from layerpreview.answers.day_order import CLOCKS_APART, Numbers, furthest, in_use
from layerpreview.answers.day_told import MaySay, NextCoat, StageNow, Timer
from layerpreview.job.booth import Booth, Step
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
from layerpreview.job.done import CoatDone, Done


def stage_now(
    booth: Booth, coming: NextCoat | None, timers: Sequence[Timer], last: CoatDone | None, done: Done, now: datetime
) -> StageNow:
    """What is being done now: getting ready, mixing, waiting, spraying, or what comes after the last coat."""
    step = booth.step(coming.entry) if coming else None
    wait = next((timer for timer in timers if timer.kind in ("flash", "dry")), None)
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
    if stale := gone_off(step, timers, now):
        return StageNow("mix", f"make {' and '.join(stale)} anew for {coat}: its pot life is over", step.entry)
    if waiting and wait is not None:
        return StageNow("wait", f"{wait.about} {'flashes off' if wait.kind == 'flash' else 'dries'}", step.entry)
    return StageNow("spray", f"spray {coat}", step.entry)


def gone_off(step: Step, timers: Sequence[Timer], now: datetime) -> list[str]:
    """Batches of a step whose pot life is over for sure."""
    over = [timer.about for timer in timers if timer.kind == "pot life" and timer.latest <= now]
    return [title for title in step.batches if title in over]


def cautions_now(booth: Booth, stage: StageNow, coming: NextCoat | None, *, stale: bool = False) -> tuple[Caution, ...]:
    """What to mind in the stage that is now: in full where it starts, deferring to data sheets and local rules.

    `stale`: a catalysed rest stands about whose pot life is over.
    """
    step = booth.step(stage.entry) if stage.entry is not None else None
    found: list[Caution] = []
    if step is not None:
        place = "mix" if stage.kind in ("prepare", "mix") else "spray"
        if step.isocyanate:
            found.append(Caution(place, *CAUTION_ISOCYANATE))
        starts = place == "mix" or (coming is not None and coming.number == 1)
        found.append(Caution(place, *(CAUTION_VAPOUR if starts else CAUTION_VAPOUR_SHORT)))
        if place == "mix":
            found.append(Caution(place, *CAUTION_SKIN))
        elif step.dust:
            found.append(Caution("sand", *CAUTION_DUST))
    if stage.kind == "finish":
        found += [Caution("sand", *CAUTION_DUST)] if booth.sanded else []
    if stale or stage.kind == "finish":
        found.append(Caution("waste", *CAUTION_WASTE))
    return (*found, *general_cautions())


def may_say(
    dyes: Iterable[str],
    booth: Booth,
    stage: StageNow,
    coming: NextCoat | None,
    last: CoatDone | None,
    done: Done,
) -> tuple[MaySay, ...]:
    """What is likely to be said next, the likeliest first: of the coat that is on, the next one, what is in use."""
    found = []
    under = booth.step(last.entry) if last else None
    on = {"entry": last.entry, "number": last.number} if last else {}
    if last and under and not any((film.entry, film.number) == (last.entry, last.number) for film in done.films):
        found.append(MaySay("film-read", f"wet film of coat {last.number} of {under.name}", dict(on)))
    step = booth.step(stage.entry) if stage.kind in ("prepare", "mix") and stage.entry is not None else None
    if step:
        made = {batch.batch for batch in done.batches}
        due = [title for title in step.batches if title not in made] or step.batches
        found += [MaySay("batch", f"{title} is made", {"batch": title}) for title in due]
    if coming:
        values = {"entry": coming.entry, "number": coming.number}
        found.append(MaySay("coat-done", f"coat {coming.number} of {coming.name} is on", dict(values)))
    if last and under:
        found.append(MaySay("photo", f"a photo after coat {last.number} of {under.name}", dict(on)))
    found += [MaySay("left", f"what is left of {made.batch}", {"batch": made.batch}) for made in in_use(done)]
    found.append(MaySay("conditions", "temperature, humidity and gun"))
    found += [MaySay("drops", f"drops of {name} counted", {"dye": name}) for name in dyes]
    return tuple(found)


def odd_things(booth: Booth, done: Done, order: Sequence[CoatDone], numbers: Numbers, now: datetime) -> list[str]:
    """What does not fit together: a clock that is behind, coats that lack, films of coats that are not there."""
    found = []
    if any(deed.time > now + CLOCKS_APART for deed in done):
        found.append("the clock is behind what the diary holds: check the clock before trusting any time here")
    found += [
        f"no coat of {step.name} is in the diary, though later ones are"
        for step in booth.steps[: furthest(booth, numbers)]
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
