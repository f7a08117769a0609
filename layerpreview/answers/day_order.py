"""The coats in the order they went on, which of them comes next, and the waits that they began."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta
from itertools import pairwise

from layerpreview.answers.day_told import NextCoat, Timer, TimerKind
from layerpreview.answers.remaining import Remaining, word_of
from layerpreview.job.booth import Booth, Step
from layerpreview.job.done import BatchMade, CoatDone, Done
from layerpreview.scheme.fields import film_word

POT_LIFE_WARNS_AT = 0.75
"""Share of the pot life from which it is warned."""
CLOCKS_APART = timedelta(minutes=2)
"""How far the clocks of two phones may be apart: a time so little ahead is no time still to come."""
Numbers = Mapping[int, tuple[int, ...]]
"""Which coats of each entry are on."""


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


def numbers_on(order: Sequence[CoatDone], entry: int) -> tuple[int, ...]:
    """Which coats of an entry are on, each once."""
    return tuple(sorted({coat.number for coat in order if coat.entry == entry}))


def furthest(booth: Booth, numbers: Numbers) -> int:
    """The place in the plan of the last step that was begun."""
    return max((i for i, step in enumerate(booth.steps) if numbers[step.entry]), default=0)


def how_many(step: Step, numbers: Numbers, remaining: Sequence[Remaining]) -> int:
    """How many coats of a step there will be: as planned, or as its readings propose."""
    plan = next((found for found in remaining if found.entry == step.entry), None)
    on = max(numbers[step.entry], default=0)
    return max(on, step.coats) if plan is None else on + plan.proposed_coats


def coming_coat(
    booth: Booth, last: CoatDone | None, numbers: Numbers, remaining: Sequence[Remaining]
) -> tuple[NextCoat | None, Timer | None]:
    """The coat that comes next, from the furthest step that was begun on, and the wait that the `last` one began.

    Without a next coat that is how long the last one dries.
    """
    for step in booth.steps[furthest(booth, numbers) :]:
        on, of = max(numbers[step.entry], default=0), how_many(step, numbers, remaining)
        if on < of:
            plan = next((found for found in remaining if found.entry == step.entry), None)
            word = plan.proposed_film_word if plan else word_of(step.film_um)
            wait = _wait(booth, last, step)
            film_um = step.film_um.likely if film_word(step.film_um) is None else None
            if plan and word != word_of(step.film_um):
                film_um = plan.proposed_um.likely
            words = _untimed(booth, last, step, wait)
            return NextCoat(step.entry, on + 1, of, step.name, word, wait, words, film_um), wait
    return None, _wait(booth, last, None)


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


def in_use(done: Done) -> tuple[BatchMade, ...]:
    """The batches in use: of each title the last one made, unless it was said after that what is left of it."""
    last = {made.batch: made for made in done.batches}
    return tuple(
        made
        for made in last.values()
        if not any(
            left.batch == made.batch and (left.time >= made.time or left.line > made.line > 0) for left in done.left
        )
    )


def pot_lives(booth: Booth, done: Done) -> tuple[Timer, ...]:
    """Pot lives of the batches in use whose product has one."""
    found = []
    for made in in_use(done):
        product = booth.product(made.batch)
        if product is None or product.pot_life_min is None:
            continue
        soon = product.pot_life_min.scaled(POT_LIFE_WARNS_AT)
        found += [
            Timer("pot life soon", made.batch, made.time, soon),
            Timer("pot life", made.batch, made.time, product.pot_life_min),
        ]
    return tuple(found)
