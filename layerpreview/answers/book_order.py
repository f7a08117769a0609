"""What to order for the jobs that are still to be sprayed: every part of every batch, summed over the jobs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from layerpreview.answers.book import BookJob, Need, State
from layerpreview.told import Told

TO_COME = (State.SPRAYED, State.AGREED, State.PLANNED)
KINDS = ("dye", "powder", "carrier", "thinner", "catalyst")
ORDER_NOTE = (
    "Sums over jobs that are not done. Nothing is taken off for what stands in the shop or is poured already, and "
    "nothing is rounded up to a bottle. To mix: the batches of the mix sheets, spare and all; the jobs take: likely, "
    "with its range."
)


def order_note(jobs: Sequence[BookJob]) -> str:
    """What the sums are of, and which jobs are left out of them."""
    unknown = [job.place for job in jobs if job.story.state is State.UNKNOWN]
    left = f" Left out, since their logs cannot be read: {', '.join(unknown)}." if unknown else ""
    return ORDER_NOTE + left


@dataclass(frozen=True)
class OrderLine:
    """One thing to have: how much goes into the batches (`make`, in `unit`), what the jobs take, for which jobs.

    `of`: the product it is a part of, empty for what goes into any mix. `drops` of a liquid dye.
    """

    kind: str
    name: str
    bottle: str
    of: str
    unit: str
    make: float
    needed: Told
    drops: Told | None
    jobs: tuple[str, ...]
    isocyanate: bool
    also_in_json: ClassVar = ("basis",)

    @property
    def basis(self) -> str:
        """What the amount rests on."""
        return self.needed.basis

    @property
    def words(self) -> str:
        """What it is called: amber (40 g/L), hardener of two-pack clear."""
        bottle = f" ({self.bottle})" if self.bottle and self.bottle != "powder" else ""
        return f"{self.name}{bottle}" + (f" of {self.of}" if self.of else "")


def order_of(jobs: Sequence[BookJob], states: Sequence[State] = TO_COME) -> list[OrderLine]:
    """The sums over the jobs in one of `states`: dyes first, then carriers, thinners and catalysts.

    Dyes of one name count together only where they are as strong as sold. Low is summed with low and high with high.
    """
    groups: dict[tuple[str, ...], list[tuple[str, Need]]] = {}
    for job in jobs:
        if job.story.state in states:
            for need in job.worked.needs:
                groups.setdefault(_key(need), []).append((job.place, need))
    lines = [_line(list(group)) for group in groups.values()]
    return sorted(
        lines, key=lambda line: (KINDS.index(line.kind), line.name.casefold(), line.of.casefold(), line.bottle)
    )


def _key(need: Need) -> tuple[str, ...]:
    """What counts as the same thing: of a dye mix the part's own name, of all else the product's with it."""
    return need.kind, need.name.casefold(), need.bottle, _of(need).casefold(), need.unit


def _of(need: Need) -> str:
    ready = f"{need.of}, ready to spray"
    return "" if need.of_kind == "dye" or need.name == ready else need.of


def _line(group: list[tuple[str, Need]]) -> OrderLine:
    first, needs = group[0][1], [need for _, need in group]
    drops = [need.drops for need in needs if need.drops is not None]
    return OrderLine(
        kind=first.kind,
        name=first.name,
        bottle=first.bottle,
        of=_of(first),
        unit=first.unit,
        make=round(sum(need.make for need in needs), 4),
        needed=Told.total([need.needed for need in needs]),
        drops=Told.total(drops) if len(drops) == len(needs) else None,
        jobs=tuple(dict.fromkeys(place for place, _ in group)),
        isocyanate=any(need.isocyanate for need in needs),
    )
