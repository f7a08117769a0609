"""What is told of a day at the booth: plain values, in the order in which a person asks for them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import ClassVar, Literal

from layerpreview.answers.remaining import Remaining
from layerpreview.job.cautions import Caution
from layerpreview.job.done import BatchMade
from layerpreview.told import Told
from layerpreview.units import Range

TimerKind = Literal["flash", "dry", "pot life soon", "pot life"]
StageKind = Literal["prepare", "mix", "wait", "spray", "cure", "finish"]


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
    `film_um`: wet film to aim at [um], where the scheme has a figure for it or the readings ask for another word.
    """

    entry: int
    number: int
    of: int
    name: str
    film_word: str
    wait: Timer | None
    words: str = ""
    film_um: float | None = None


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

    `units`: of the shop, "metric" or "US", for whoever puts figures into words; those here are um.
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
    units: str = "metric"
