"""The shop book: what is known of every job, in plain values; what is worked out is kept apart from what was done."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from layerpreview.told import Told

Lab = tuple[float, float, float]


class State(StrEnum):
    """How far a job has come, as its log tells it."""

    SPRAYED = "being sprayed"
    AGREED = "agreed"
    PLANNED = "planned"
    DONE = "done"
    UNKNOWN = "not known"
    """Its log cannot be read."""


@dataclass(frozen=True)
class BookColour:
    """The colour of one place under the job's first light: L*a*b* adapted to D65, and as a screen shows it.

    `kind`: what the place stands for (`picture.spots.SpotKind`), or "read" off a photo. `off_de00`: how far it is off
    where film, drops and learnt dyes are all thin or all full (CIEDE2000, the larger one); of one that was read, how
    uneven it is. `over`: words for the base that lies there.
    """

    place: str
    kind: str
    lab: Lab
    srgb: str
    off_de00: float
    over: str


@dataclass(frozen=True)
class BookMix:
    """A dye mix; `strengths`: each dye with its strength, as and in the order written."""

    name: str
    strengths: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class BookDye:
    """A dye of the job; `kind`: "generic", "fitted", "table" or "stated".

    `concentrate_g_per_L`: pure dye in a litre of it as sold, None for a powder. `drops_per_mL` [1/mL] and what that
    rests on. `swatch`: what it looks like over white, "#rrggbb".
    """

    name: str
    kind: str
    swatch: str
    concentrate_g_per_L: float | None
    drops_per_mL: Told


@dataclass(frozen=True)
class BookCoat:
    """One entry of the coats: how many, and the wet film of one [um]; `order` as the figures count them, from 1."""

    order: int
    what: str
    coats: int
    film_um: Told


@dataclass(frozen=True)
class Need:
    """One part of a batch: what the job takes of it, and `make` of it in the batch of the mix sheet [`unit`: mL, g].

    `kind`: dye, powder, carrier, thinner or catalyst; `of`: the title of its mix, `of_kind`: dye, opaque, base, clear.
    `bottle`: what else tells two of the same name apart. `drops` of a liquid dye.
    """

    kind: str
    name: str
    bottle: str
    of: str
    of_kind: str
    unit: Literal["mL", "g"]
    make: float
    needed: Told
    drops: Told | None = None
    isocyanate: bool = False


@dataclass(frozen=True)
class Worked:
    """All that follows from a job's scheme alone.

    `hands_on_h` and `waiting_h` [h], None where the scheme does not say all. `cost` in `currency`, None where nothing
    has a price, `unpriced` lines have none. `transfer` [0..1].
    """

    name: str
    light: str
    finish: str
    base: tuple[str, ...]
    colours: tuple[BookColour, ...]
    mixes: tuple[BookMix, ...]
    dyes: tuple[BookDye, ...]
    coats: tuple[BookCoat, ...]
    clear: BookCoat
    transfer: Told
    hands_on_h: Told
    waiting_h: Told | None
    cost: float | None
    unpriced: int
    currency: str
    needs: tuple[Need, ...]

    @property
    def main(self) -> tuple[BookColour, ...]:
        """The colours to show first: open fields, zones, hidden bursts, then edges; never the bare base."""
        order = ("field", "zone", "burst", "edge")
        return tuple(colour for kind in order for colour in self.colours if colour.kind == kind)


@dataclass(frozen=True)
class Agreement:
    """What the client chose: the day, the option, what was moved, and the client's own words."""

    day: str
    option: str
    changes: tuple[str, ...] = ()
    note: str = ""


@dataclass(frozen=True)
class Learnt:
    """An assumption and what took its place: `about` what, how it `was`, and what was `found`."""

    about: str
    was: str
    found: str

    @property
    def words(self) -> str:
        """In one line."""
        return f"{self.about}: {self.found}" + (f" (was {self.was})" if self.was else "")


@dataclass(frozen=True)
class Story:
    """What the log tells: days as YYYY-MM-DD (UTC), empty where there is none.

    `coats_done` by the number of their entry, as in the diary; `notes` are the painter's own. `read`: the colour that
    was read off the last photo of the part under its clear.
    """

    state: State = State.PLANNED
    begun: str = ""
    last: str = ""
    agreed: Agreement | None = None
    coats_done: dict[int, int] = field(default_factory=dict)
    learnt: tuple[Learnt, ...] = ()
    notes: tuple[str, ...] = ()
    read: BookColour | None = None

    @property
    def client_words(self) -> str:
        """The client's own words, if there are any."""
        return self.agreed.note if self.agreed else ""


@dataclass(frozen=True)
class BookJob:
    """A job of the book: `place`, its folder as seen from the book's, `scheme` its file there; what follows from it."""

    place: str
    scheme: str
    worked: Worked
    story: Story

    @property
    def colours(self) -> tuple[BookColour, ...]:
        """The colours of the finish: the one that was read first, then those that were worked out."""
        return ((self.story.read,) if self.story.read else ()) + self.worked.main


@dataclass(frozen=True)
class Faulty:
    """A job, or a log, that cannot be read: where, and the first line of what is wrong."""

    place: str
    words: str


@dataclass(frozen=True)
class Book:
    """All jobs below a folder that can be read, those being sprayed first, and what cannot be read."""

    folder: str
    jobs: tuple[BookJob, ...]
    faulty: tuple[Faulty, ...] = ()
    notes: tuple[str, ...] = ()


def in_order(jobs: list[BookJob]) -> tuple[BookJob, ...]:
    """Those being sprayed first, then agreed, planned and done ones; the latest first among each, then by place."""
    by_place = sorted(jobs, key=lambda job: job.place.casefold())
    by_day = sorted(by_place, key=lambda job: job.story.last, reverse=True)
    return tuple(sorted(by_day, key=lambda job: list(State).index(job.story.state)))
