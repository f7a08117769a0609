"""Jobs of the shop book in plain values, for tests that need none to be worked out."""

from __future__ import annotations

from dataclasses import replace

from layerpreview.answers.book import BookCoat, BookColour, BookDye, BookJob, BookMix, Need, Story, Worked
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

FILM = Told.of(Range(28.0, 40.0, 55.0), "um", Rest(Basis.ASSUMED, "medium"))
DROPS = Told.of(Range(44.0, 49.0, 53.0), "drops/mL", Rest(Basis.TABLE, "lacquer solvents"))


def plain_need(name: str = "amber", bottle: str = "40 g/L", likely: float = 2.0, **more: object) -> Need:
    """What a job takes of one thing: half of it to three times as much."""
    needed = Told.of(Range(likely / 2, likely, likely * 3), "mL", Rest(Basis.ASSUMED, about="transfer"))
    usual: dict[str, object] = {"kind": "dye", "of": "honey", "of_kind": "dye", "unit": "mL", "make": likely * 1.25}
    return Need(name=name, bottle=bottle, needed=needed, **{**usual, **more})  # type: ignore[arg-type]


def plain_job(
    place: str, *, lab: tuple[float, float, float] = (40.0, 5.0, 34.0), over: str = "silver metal", **more: object
) -> BookJob:
    """A planned job of one colour, `lab`, `over` a base; `more`: other values of what was worked out."""
    field = BookColour("field", "field", lab, "#785c26", 3.0, over)
    bare = BookColour("base", "base", (50.0, 0.0, 0.0), "#777777", 0.0, over)
    worked = Worked(
        name=f"The {place}",
        light="D65",
        finish="gloss",
        base=(over,),
        colours=(bare, field),
        mixes=(BookMix("honey", (("amber", "14 mL/L"),)),),
        dyes=(BookDye("amber", "generic", "#d08a1a", 40.0, DROPS),),
        coats=(BookCoat(1, "honey", 3, FILM), BookCoat(2, "rim", 2, FILM)),
        clear=BookCoat(-1, "clear coat", 3, FILM),
        transfer=Told.of(Range(0.4, 0.5, 0.65), "", Rest(Basis.ASSUMED, "HVLP")),
        hands_on_h=Told.of(Range(1.0, 2.0, 4.0), "h", Rest(Basis.ASSUMED)),
        waiting_h=None,
        cost=None,
        unpriced=2,
        currency="",
        needs=(plain_need(),),
    )
    return BookJob(place, f"{place}/scheme.toml", replace(worked, **more), Story())  # type: ignore[arg-type]
