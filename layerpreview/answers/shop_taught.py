"""The shop's own values after jobs taught more: what was there is kept, the same job counts once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from layerpreview.answers.own_values import own_value
from layerpreview.scheme.fields import FILM_WORDS_UM
from layerpreview.scheme.shop_values import KINDS, UNKNOWN_GUN, JobMean, JobTaught, OwnValue, ShopValues
from layerpreview.scheme.work import TRANSFER_OF_GUN, TRANSFER_UNKNOWN
from layerpreview.spray import DROPS_PER_ML_SOLVENT
from layerpreview.units import NINETY, Range

BY_HAND = "written by hand"
"""Stands for values that were in the file and that none of its jobs taught."""


@dataclass(frozen=True)
class Lesson:
    """One value: `now`, and `before` (this shop's own where `owned`, else what is usual)."""

    kind: str
    name: str
    before: Range
    owned: bool
    now: OwnValue
    groups: int

    @property
    def changed(self) -> bool:
        """Whether it says anything new."""
        return not self.owned or self.before != self.now.range


@dataclass(frozen=True)
class Taught:
    """The shop's own values as they are now, what became of each, which jobs taught them, what could not be used."""

    values: ShopValues
    lessons: tuple[Lesson, ...]
    notes: tuple[str, ...]
    kept: bool = False

    @property
    def changed(self) -> bool:
        """Whether there is anything to write."""
        return any(lesson.changed for lesson in self.lessons)


def taught(old: ShopValues, jobs: Sequence[JobTaught], *, file: Path, notes: Sequence[str] = ()) -> Taught:
    """The values of `old` with what `jobs` teach, for `file`: a job that taught before is taken anew.

    A value that stands in the file and that none of its jobs taught was written by hand: it counts as one more job.
    """
    new = {job.key: job for job in jobs if job.means}
    kept = {job.key: job for job in (*old.jobs, *_by_hand(old))}
    merged = tuple(job for _, job in sorted({**kept, **new}.items(), key=lambda item: (item[1].name, item[0])))
    means: dict[tuple[str, str], list[JobMean]] = {}
    for job in merged:
        for what, mean in job.means.items():
            means.setdefault(what, []).append(mean)
    lessons = []
    for (kind, name), found in sorted(means.items(), key=lambda item: (list(KINDS).index(item[0][0]), item[0][1])):
        now, known = _rounded(own_value(kind, found)), _of(old, kind).get(name)
        before = usual(kind, name) if known is None else known.range
        lessons.append(Lesson(kind, name, before, known is not None, now, sum(mean.groups for mean in found)))
    films, transfer, drops = ({one.name: one.now for one in lessons if one.kind == kind} for kind in KINDS)
    return Taught(ShopValues(file, films, transfer, drops, merged, old.card), tuple(lessons), tuple(notes))


def usual(kind: str, name: str) -> Range:
    """What is used of a value where the shop has none of its own."""
    if kind == "film":
        return FILM_WORDS_UM[name]
    if kind == "transfer":
        return TRANSFER_UNKNOWN if name == UNKNOWN_GUN else TRANSFER_OF_GUN[name]
    return DROPS_PER_ML_SOLVENT


def _of(values: ShopValues, kind: str) -> dict[str, OwnValue]:
    tables = {"film": values.film_um, "transfer": values.transfer, "drops_per_mL": values.drops_per_mL}
    return dict(tables[kind])


def _by_hand(old: ShopValues) -> Iterator[JobTaught]:
    known = {what for job in old.jobs for what in job.means}
    means = {}
    for kind in KINDS:
        for name, own in _of(old, kind).items():
            if (kind, name) not in known:
                spread = math.log(own.range.high / own.range.low) / (2.0 * NINETY)
                means[kind, name] = JobMean(own.range.likely, own.n, own.n, between=round(spread, 4))
    if means:
        yield JobTaught(BY_HAND, BY_HAND, means)


def _rounded(value: OwnValue) -> OwnValue:
    """To three digits, which is more than any of it is known to."""
    ends = value.range
    return OwnValue(Range(*(float(f"{end:.3g}") for end in (ends.low, ends.likely, ends.high))), value.n, value.jobs)
