"""How long the work takes and what it costs, as far as the scheme says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import ClassVar

from layerpreview.job.batches import MixAmounts
from layerpreview.job.plan import Mask, faces_covered, sanding_of
from layerpreview.job.products import Details
from layerpreview.job.sprayed import Sprayed, minutes_per_coat
from layerpreview.spray.batch import Part, rounded
from layerpreview.spray.budget import RULE_OF_THUMB
from layerpreview.spray.ingredients import exact
from layerpreview.told import Basis, Rest, Told, summed
from layerpreview.units import Range, shop_length

CENT = Fraction(1, 100)
TAPE_MIN_PER_M = Range(1.0, 2.0, 4.0)
PLUG_MIN_PER_HOLE = Range(1.0, 2.0, 5.0)
MIX_MIN_PER_CUP = Range(5.0, 10.0, 20.0)
SAND_MIN_PER_M2 = Range(20.0, 40.0, 90.0)
COVER_MIN_PER_FACE = Range(1.0, 3.0, 8.0)
"""Hands-on time to lay a metre of tape and take it off again, to plug a hole, to mix and strain a cup, to sand or
polish a square metre once, to cover a face [min]: common practice, no source."""


@dataclass(frozen=True)
class Time:
    """How long a kind of work takes [min]; `minutes` None where the scheme does not say. `hands_on` or waiting."""

    what: str
    minutes: Told | None
    hands_on: bool
    also_in_json: ClassVar = ("basis",)

    @property
    def basis(self) -> str:
        """What the time rests on, in words."""
        return self.minutes.basis if self.minutes else "not stated"


@dataclass(frozen=True)
class Cost:
    """What something costs, in the scheme's currency; `price` None where none is given."""

    what: str
    amount: str
    price: Fraction | None


def times_of(
    details: Details,
    masks: Sequence[Mask],
    mixes: Sequence[MixAmounts],
    sprayed: Sequence[Sprayed],
    faces: Mapping[str, float],
    finish: str,
) -> tuple[Time, ...]:
    """Hands-on time and waiting, as far as the scheme says; `faces` have their areas [m2]."""
    cups = sum(max(1, len(mix.cups)) for mix in mixes)
    coats = summed([minutes_per_coat(stage).scaled(stage.coats) for stage in sprayed])
    waits = [
        stage.product.flash_min.scaled(stage.coats - 1) if stage.product.flash_min else None
        for stage in sprayed
        if stage.coats > 1
    ]
    grits, polish = sanding_of(finish, details)
    steps = len(grits) + (1 if polish else 0)
    return (
        mask_time(masks, faces_covered(tuple(faces), sprayed), us=details.units == "US"),
        Time(f"mix and strain, {cups} cup{'s' if cups > 1 else ''}", _practice(MIX_MIN_PER_CUP.scaled(cups)), True),
        Time("spray", _practice(coats), True),
        Time(
            f"sand{' and polish' if polish else ''}, {steps} step{'s' if steps > 1 else ''}",
            _practice(SAND_MIN_PER_M2.scaled(sum(faces.values()) * steps)),
            True,
        ),
        Time("flash between coats", _all_stated(waits), False),
        Time("dry between stages", _all_stated([stage.dry_min for stage in sprayed]), False),
    )


def mask_time(masks: Sequence[Mask], covered: int, *, us: bool) -> Time:
    """Time to mask: by the length of tape that is cut, the number of holes, and how often a face is covered."""
    tape_mm, holes = sum(mask.tape_mm for mask in masks), sum(mask.hole for mask in masks)
    minutes = summed(
        [
            TAPE_MIN_PER_M.scaled(tape_mm / 1000.0),
            PLUG_MIN_PER_HOLE.scaled(holes),
            COVER_MIN_PER_FACE.scaled(covered),
        ]
    )
    what = [f"{shop_length(tape_mm, us=us)} of tape"] if tape_mm else []
    what += [f"{holes} hole{'s' if holes > 1 else ''} to plug"] if holes else []
    what += [f"{covered} cover{'s' if covered > 1 else ''} over faces"] if covered else []
    return Time(f"mask: {', '.join(what) or 'nothing'}", _practice(minutes), True)


def costs_of(details: Details, mixes: Sequence[MixAmounts], times: Sequence[Time]) -> tuple[Cost, ...]:
    """Materials that go into the batches, and the hands-on time, each with its price where one is given.

    Prices are in whole cents, so that their sum is the sum of what is printed.
    """
    costs = []
    for mix in mixes:
        prices = mix.product.prices
        for part in poured(mix):
            price = details.dye_prices.get(part.name) if part.kind in ("dye", "powder") else prices.get(part.kind)
            grams = part.exact_g if part.kind == "powder" or (price and price.per == "g") else None
            amount = grams if grams is not None else part.mL
            usable = price is not None and (price.per == "mL" or grams is not None)
            shown = f"{float(amount):.2f}".rstrip("0").rstrip(".") + (" g" if grams is not None else " mL")
            cost = rounded(amount * price.amount, CENT) if usable and price else None
            costs.append(Cost(f"{mix.title}: {part.name}", shown, cost))
    hands_on = summed([time.minutes for time in times if time.hands_on and time.minutes is not None])
    if details.hour_price is not None:
        hours = exact(round(hands_on.likely / 60.0, 1))
        costs.append(Cost("hands-on time, likely", f"{float(hours):.1f} h", rounded(hours * details.hour_price, CENT)))
    return tuple(costs)


def poured(mix: MixAmounts) -> list[Part]:
    """What goes into all cups of a mix together, part by part."""
    if not mix.cups:
        return list(mix.batch.parts)
    poured: dict[str, Part] = {}
    for part in (part for cup in mix.cups for part in cup.batch.parts):
        before = poured.get(part.name)
        if before is not None:
            grams = None if before.exact_g is None or part.exact_g is None else before.exact_g + part.exact_g
            part = replace(part, mL=before.mL + part.mL, exact_g=grams)
        poured[part.name] = part
    return list(poured.values())


def _practice(minutes: Range) -> Told:
    return Told.of(minutes, "min", Rest(Basis.ASSUMED, RULE_OF_THUMB))


def _all_stated(minutes: Sequence[Range | None]) -> Told | None:
    """The sum [min], None where one of them is not stated."""
    known = [each for each in minutes if each is not None]
    return Told.of(summed(known), "min", Rest(Basis.STATED)) if len(known) == len(minutes) else None
