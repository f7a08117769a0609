"""Coats and bursts as written."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator, Field, PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.scheme.fields import Frozen
from layerpreview.scheme.part import WHOLE_FACE
from layerpreview.spray import FALL_OFFS, FallOff

USUAL_HIDING = 1.2  # of the opaque rings of a burst told in one line


class Burst(Frozen):
    """Build that falls from full at an edge to `centre` at `width_mm` from it.

    `source` is "outline", "openings", the name of an opening, the name of a zone (from its border inwards), "line" (the
    straight line through `at_mm` that heads `angle_deg` clockwise from the top, both sides of it) or "centre" (the
    point `at_mm`). `face` limits it to one face.
    """

    source: f.Text = Field(alias="from")
    width_mm: f.BurstWidthMm = Field(alias="width")
    fall_off: Annotated[FallOff, PlainValidator(f.choice(*FALL_OFFS))] = "soft"
    centre: Annotated[float, PlainValidator(f.number(0.0, 1.0))] = 0.0
    at_mm: f.PointMm | None = Field(None, alias="at")
    angle_deg: Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))] | None = Field(None, alias="angle")
    face: f.Text | None = None


class Spread(Frozen):
    """Where a coat goes, and the wet film of one coat [um].

    `zones` are names of zones, of faces (the whole of it), or "face" (all).
    """

    film_um: f.FilmUm = Field(f.film_of_word("medium"), alias="film")
    zones: f.ZoneNames = Field((WHOLE_FACE,), alias="zone")

    @property
    def zone(self) -> str:
        """The names in `zones` as words; "face" for every face whole."""
        return WHOLE_FACE if self.everywhere else " and ".join(self.zones)

    @property
    def everywhere(self) -> bool:
        """Whether it goes over every face whole."""
        return WHOLE_FACE in self.zones


class AnyCoat(Spread):
    """What every coat has; `cut_back` is the share of its build that is rubbed off again, on average [0..0.9]."""

    coats: Annotated[int, PlainValidator(f.whole(1, 60))] = 1
    bursts: Annotated[tuple[Burst, ...], BeforeValidator(f.one_or_several)] = Field((), alias="burst")
    cut_back: Annotated[float, PlainValidator(f.quantity("fraction", 0.0, 0.9))] = 0.0
    cut_back_seed: Annotated[int, PlainValidator(f.whole(0, 2**32 - 1))] = 7


class DyeCoat(AnyCoat):
    """`coats` coats of a dye mix over a zone."""

    mix: f.Text

    @property
    def label(self) -> str:
        """What it is called in lists and figures."""
        return self.mix


class OpaqueCoat(AnyCoat):
    """`coats` coats of an opaque colour; coverage = 1 - 10^(-hiding * coats * build)."""

    name: f.Text | None = None
    colour: f.Colour = Field(alias="opaque")
    hiding: Annotated[float, PlainValidator(f.number(0.01, 20.0))]

    @property
    def label(self) -> str:
        """What it is called in lists and figures."""
        return self.name or f"opaque {self.colour}"


Coat = DyeCoat | OpaqueCoat


@dataclass(frozen=True)
class WrittenAt:
    """Where the file has a coat: the number of its entry, and of its ring where the entry tells several (from 0)."""

    entry: int
    ring: int | None = None

    def __str__(self) -> str:
        """Return it as problems name it: "coat[2]", or "coat[2] ring 3"."""
        return f"coat[{self.entry + 1}]" + ("" if self.ring is None else f" ring {self.ring + 1}")


class RingsEntry(Spread):
    """Several rings told in one line; `rings.py` makes coats of it when the scheme is read."""

    rings: f.Text
    hiding: Annotated[float, PlainValidator(f.number(0.01, 20.0))] = USUAL_HIDING
