"""What was really done on a job, as its diary tells it: plain values, times with their zone, in the order of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

BASE_COAT = 0
CLEAR_COAT = -1
"""Numbers for coats that are no entry of the scheme's coats, which count from 1 as in the figures."""

Box = tuple[float, float, float, float]
"""A place of a picture: left, top, width and height as shares [0..1] of the picture's width and height."""


@dataclass(frozen=True, kw_only=True)
class Deed:
    """One thing done: `id` is its own in the job, `time` has a zone, `line` is its line in the log (0: none yet)."""

    id: str
    time: datetime
    note: str = ""
    line: int = 0


@dataclass(frozen=True)
class Poured:
    """One part of a batch as it was poured: a dye, or "carrier", "thinner", "catalyst"; `lot` is its bottle's."""

    name: str
    amount: float
    unit: Literal["mL", "g", "drops"]
    lot: str = ""


@dataclass(frozen=True, kw_only=True)
class BatchMade(Deed):
    """A batch, by its title on the mix sheet; `card`: the card or dye file that its dye was fitted to."""

    batch: str
    poured: tuple[Poured, ...] = ()
    total_mL: float | None = None
    card: str = ""


@dataclass(frozen=True, kw_only=True)
class CoatDone(Deed):
    """Coat `number` (from 1) of entry `entry` of the coats (from 1; BASE_COAT, CLEAR_COAT) is on since `time`.

    `asked`: how it was to be laid (light, medium, wet) where the readings before it asked for another film than the
    scheme's.
    """

    entry: int
    number: int
    asked: str = ""


@dataclass(frozen=True, kw_only=True)
class FilmRead(Deed):
    """Wet-film gauge readings [um] at several spots, right after coat `number` of `entry`."""

    entry: int
    number: int
    readings_um: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Conditions(Deed):
    """The booth and the gun: temperature [deg C], relative humidity [0..1], what the gun is set to, in words."""

    temperature_C: float | None = None
    humidity: float | None = None
    gun: str = ""


@dataclass(frozen=True, kw_only=True)
class Left(Deed):
    """What was left of a batch when it was done with [mL], in cup, gun and bottle together."""

    batch: str
    left_mL: float


@dataclass(frozen=True, kw_only=True)
class DropsCounted(Deed):
    """How many drops of a dye made so much [mL]."""

    dye: str
    drops: int
    volume_mL: float


@dataclass(frozen=True, kw_only=True)
class PhotoRead(Deed):
    """A photo after coat `number` of `entry`: of the "part" or a witness "card"; `file` as seen from the log's folder.

    `white`: where the white or grey card lies in it, which reflects `white_reflectance`; `spots`: what was touched.
    `lab`: what was read there (adapted to D65), None for a photo that cannot be judged, which `refused` says why.
    `spread_de00`: how uneven the spots are (CIEDE2000, half of it all is nearer to the mean).
    """

    file: str
    of: Literal["part", "card"]
    entry: int
    number: int
    light: str = ""
    white: Box | None = None
    white_reflectance: float = 0.9
    spots: tuple[Box, ...] = ()
    lab: tuple[float, float, float] | None = None
    spread_de00: float | None = None
    refused: str = ""


@dataclass(frozen=True)
class Done:
    """All deeds that stand, each kind in the order of time."""

    batches: tuple[BatchMade, ...] = ()
    coats: tuple[CoatDone, ...] = ()
    films: tuple[FilmRead, ...] = ()
    conditions: tuple[Conditions, ...] = ()
    left: tuple[Left, ...] = ()
    drops: tuple[DropsCounted, ...] = ()
    photos: tuple[PhotoRead, ...] = ()

    def __iter__(self) -> Iterator[Deed]:
        """All of them in the order of time."""
        groups = (self.batches, self.coats, self.films, self.conditions, self.left, self.drops, self.photos)
        return iter(sorted((deed for group in groups for deed in group), key=lambda deed: deed.time))

    def coats_of(self, entry: int) -> int:
        """How many coats of an entry are on: none is counted twice, though two phones may have said it."""
        return len({coat.number for coat in self.coats if coat.entry == entry})
