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

    source: f.Text = Field(
        alias="from",
        description="Where it is fullest: outline, openings, an opening, a zone (from its border in), line, centre.",
        examples=["outline"],
    )
    width_mm: f.BurstWidthMm = Field(
        alias="width", description="How far from there the extra build has fallen to nothing.", examples=["45 mm"]
    )
    fall_off: Annotated[FallOff, PlainValidator(f.choice(*FALL_OFFS))] = Field(
        "soft", description="How it falls: evenly, level at both ends, or as half the fan of a gun.", examples=["soft"]
    )
    centre: Annotated[float, PlainValidator(f.number(0.0, 1.0))] = Field(
        0.0, description="Build that is left beyond the width, as a share of the full one.", examples=[0.1]
    )
    at_mm: f.PointMm | None = Field(
        None,
        alias="at",
        description="The point for centre, or one on the line: across and down.",
        examples=[["150 mm", "90 mm"]],
    )
    angle_deg: Annotated[float, PlainValidator(f.degrees(-360.0, 360.0))] | None = Field(
        None, alias="angle", description="Where the line heads, clockwise from the top.", examples=[90]
    )
    face: f.Text | None = Field(
        None,
        description="The one face that it acts on; without it, every face that has where it starts.",
        examples=["front"],
    )


class Spread(Frozen):
    """Where a coat goes, and the wet film of one coat [um].

    `zones` are names of zones, of faces (the whole of it), or "face" (all).
    """

    film_um: f.FilmUm = Field(
        f.film_of_word("medium"),
        alias="film",
        description="Wet film of one coat: a word, or as measured.",
        examples=["45 um"],
    )
    zones: f.ZoneNames = Field(
        (WHOLE_FACE,),
        alias="zone",
        description="Where it goes: zones, faces whole, or face for all.",
        examples=[["head", "neck"]],
    )

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

    coats: Annotated[int, PlainValidator(f.whole(1, 60))] = Field(1, description="How many coats.", examples=[3])
    bursts: Annotated[tuple[Burst, ...], BeforeValidator(f.one_or_several)] = Field(
        (),
        alias="burst",
        description="Build that rises towards an edge; one, or a list of several.",
        examples=[{"from": "outline", "width": "60 mm", "fall_off": "soft"}],
    )
    cut_back: Annotated[float, PlainValidator(f.quantity("fraction", 0.0, 0.9))] = Field(
        0.0, description="How much of it is rubbed through again, on average.", examples=["35 %"]
    )
    cut_back_seed: Annotated[int, PlainValidator(f.whole(0, 2**32 - 1))] = Field(
        7, description="Another number, other worn places.", examples=[3]
    )


class DyeCoat(AnyCoat):
    """`coats` coats of a dye mix over a zone."""

    mix: f.Text = Field(description="The mix that is sprayed.", examples=["honey"])

    @property
    def label(self) -> str:
        """What it is called in lists and figures."""
        return self.mix


class OpaqueCoat(AnyCoat):
    """`coats` coats of an opaque colour; coverage = 1 - 10^(-hiding * coats * build)."""

    name: f.Text | None = Field(
        None, description="What the paint is called; [paint.NAME] tells of the product.", examples=["rim"]
    )
    colour: f.Colour = Field(
        alias="opaque", description="An opaque colour, which hides what is below.", examples=["#1a1010"]
    )
    hiding: Annotated[float, PlainValidator(f.number(0.01, 20.0))] = Field(
        description="How well one coat hides: at 1 a tenth of what is below is seen, at 2 a hundredth.", examples=[1.2]
    )

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

    rings: f.Text = Field(
        description="Several coats in one line, light to dark: a mix or colour, its coats, how far in, its fall-off.",
        examples=["honey x3 | plum x3 75 mm soft | #140d0e x2 16 mm fan"],
    )
    hiding: Annotated[float, PlainValidator(f.number(0.01, 20.0))] = Field(
        USUAL_HIDING,
        description="How well one coat hides: at 1 a tenth of what is below is seen; always said of an opaque one.",
        examples=[1.2],
    )
