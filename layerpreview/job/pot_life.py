"""How long a mixed paint serves: which coats come from one mixing, and where and why it is mixed anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layerpreview.job.sprayed import Sprayed, minutes_per_coat
from layerpreview.told import summed
from layerpreview.units import Range

NO_LONGER_GOOD = "its pot life is over"
FLASH_UNKNOWN = "how long a coat flashes off is not stated, so its pot life may be over"
BREAK_TOO_LONG = "what is sprayed and dries before it takes longer than its pot life"
BREAK_UNKNOWN = "how long what comes before it dries is not stated, so its pot life may be over"


@dataclass(frozen=True)
class Serves:
    """Coats of one stage: its place among the stages of its batch [from 0], and how many of them."""

    stage: int
    coats: int


@dataclass(frozen=True)
class Mixing:
    """Coats that are sprayed from one mixing; `why` it is mixed anew: "" for the first."""

    serves: tuple[Serves, ...]
    why: str

    @property
    def coats(self) -> int:
        """All coats it serves."""
        return sum(each.coats for each in self.serves)

    @property
    def after_a_break(self) -> bool:
        """Whether the gun was cleaned before it."""
        return self.why in (BREAK_TOO_LONG, BREAK_UNKNOWN)


def mixings_of(stages: Sequence[Sprayed], key: str) -> tuple[Mixing, ...]:
    """The mixings of the batch `key` in order, each as long as the pot life at its shortest; none where it has none.

    A coat counts with its flash time, at its longest; without a flash time every coat is mixed for. Between two stages
    lies what dries and is sprayed there; where that is not stated the later one is mixed for anew.
    """
    mine = [i for i, stage in enumerate(stages) if stage.key == key]
    pot_life = next((stages[i].product.pot_life_min for i in mine if stages[i].product.pot_life_min), None)
    if pot_life is None or not any(stages[i].product.catalysed for i in mine):
        return ()
    found: list[Mixing] = []
    used_min = 0.0
    for place, i in enumerate(mine):
        stage = stages[i]
        coat, flash = minutes_per_coat(stage), stage.product.flash_min
        each = None if flash is None else coat.high + flash.high
        gap = break_min(stages, mine[place - 1], i) if place else Range.point(0.0)
        for number in range(stage.coats):
            waited = 0.0 if number or gap is None else gap.high
            why = _why_anew(found, used_min, waited, each, pot_life.low, known=number > 0 or gap is not None)
            if why is not None:
                found.append(Mixing((Serves(place, 1),), why))
                used_min = each or 0.0
                continue
            *before, last = found[-1].serves
            more = (Serves(place, last.coats + 1),) if last.stage == place else (last, Serves(place, 1))
            found[-1] = Mixing((*before, *more), found[-1].why)
            used_min += waited + (each or 0.0)
    return tuple(found)


def _why_anew(
    found: Sequence[Mixing],
    used_min: float,
    waited_min: float,
    each_min: float | None,
    least_min: float,
    *,
    known: bool,
) -> str | None:
    """Why the next coat is mixed for anew; None where what is there still serves."""
    if not found:
        return ""
    if not known:
        return BREAK_UNKNOWN
    if waited_min and used_min + waited_min + (each_min or 0.0) > least_min:
        return BREAK_TOO_LONG
    if each_min is None:
        return FLASH_UNKNOWN
    return NO_LONGER_GOOD if used_min + each_min > least_min else None


def break_min(stages: Sequence[Sprayed], before: int, at: int) -> Range | None:
    """From the last coat of the stage `before` to the first of the stage `at` [min]; None where it is not stated."""
    times: list[Range | None] = [stage.dry_min for stage in stages[before:at]]
    for stage in stages[before + 1 : at]:
        times.append(minutes_per_coat(stage).scaled(stage.coats))
        if stage.coats > 1:
            flash = stage.product.flash_min
            times.append(None if flash is None else flash.scaled(stage.coats - 1))
    known = [each for each in times if each is not None]
    return summed(known) if len(known) == len(times) else None
