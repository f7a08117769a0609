"""The kinds of value that only the mix sheet needs: ratios, times, prices, marks of tools, grits."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.scheme.written import (
    Price,
    WrittenRange,
    parse_grit,
    parse_minutes,
    parse_price,
    parse_ratio,
)
from layerpreview.spray.ingredients import Ratio
from layerpreview.spray.passes import MOST_OVERLAP
from layerpreview.units import Dimension, Range

POWDER: Literal["powder"] = "powder"
_LONGEST_TIME_MIN = 90 * 24 * 60.0
_HIGHEST_PRICE = 10_000  # per mL or g
_MOST_GRITS = 12


def ratio(value: object) -> Ratio:
    """Check a mixing ratio with its parts named."""
    if not isinstance(value, str):
        raise f.FieldError("a mixing ratio is wanted, in quotes", 'write for example "4:1:1 clear:hardener:reducer"')
    return parse_ratio(f.text(value))


def minutes(value: object) -> Range:
    """Check a time or a range of times."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        raise f.without_unit(value, "15 min")
    if not isinstance(value, str):
        raise f.FieldError("a time is wanted, in quotes", 'write for example "10 to 15 min"')
    found = parse_minutes(f.text(value))
    if not 0.0 < found.low <= found.high <= _LONGEST_TIME_MIN:
        raise f.FieldError("a time is more than 0 and at most 90 days", "check the number and its unit")
    return found


def price(value: object) -> Price:
    """Check a price per volume or weight."""
    if not isinstance(value, str):
        raise f.FieldError("a price is wanted per volume or weight, in quotes", 'write for example "38 per L"')
    found = parse_price(f.text(value))
    if found.amount > _HIGHEST_PRICE:
        raise f.FieldError(f"this is more than {_HIGHEST_PRICE} per {found.per}", "check the price and its amount")
    return found


def concentrate(value: object) -> float | Literal["powder"]:
    """Check what a litre of a dye as sold holds [g/L], or "powder" for a dye sold pure."""
    word = value.strip().lower() if isinstance(value, str) else ""
    if word == POWDER:
        return POWDER
    if word.isalpha():
        hint = f.did_you_mean(word, [POWDER])
        raise f.FieldError('a concentration such as "40 g/L" is wanted, or "powder"', hint or 'write "40 g/L"')
    return f.quantity("concentration", 0.001, 2000.0)(value)


def light_fastness(value: object) -> Range:
    """Check a blue wool step, 1 (fades at once) to 8 (hardly ever): one or a range of two."""
    remedy = 'write for example 6, or "5 to 6"'
    shown = str(value).strip() if isinstance(value, int | str) and not isinstance(value, bool) else ""
    match = re.fullmatch(r"([1-8])(?: ?(?:to|-|–) ?([1-8]))?", shown)
    if match is None:
        raise f.FieldError("a step of the blue wool scale is wanted, 1 (poor) to 8 (best)", remedy)
    low, high = float(match[1]), float(match[2] or match[1])
    if low > high:
        raise f.FieldError("a range must rise", "write the lower step first")
    return Range(low, (low + high) / 2, high)


def written(dimension: Dimension, low: float, high: float) -> Callable[[object], WrittenRange]:
    """Return a check for a quantity or a range of it that is shown again as it was written."""
    check = f.quantity_range(dimension, low, high)

    def as_written(value: object) -> WrittenRange:
        found = check(value)
        return WrittenRange(found.low, found.likely, found.high, " ".join(str(value).split()))

    return as_written


def exact(dimension: Dimension, low: float, high: float, *, places: int | None = None) -> Callable[[object], Fraction]:
    """Return a check for a quantity that is reckoned with exactly, of at most `places` decimals in base units."""
    check = f.quantity(dimension, low, high)

    def as_fraction(value: object) -> Fraction:
        amount = Fraction(str(check(value)))
        if places is not None and (amount * 10**places).denominator != 1:
            unit = {"volume": "mL", "mass": "g"}.get(dimension, "")
            rule = f"marks are multiples of {10**-places:g} {unit}"
            raise f.FieldError(rule, f'write for example "0.1 {unit}", as printed on the tool')
        return amount

    return as_fraction


def hour(value: object) -> Fraction:
    """Check what an hour of work costs: a plain number, in the shop's currency."""
    return Fraction(str(f.number(0.0, 100_000.0)(value)))


def currency(value: object) -> str:
    """Check a currency: a short word or sign."""
    found = f.text(value)
    if len(found) > 10:
        raise f.FieldError("a currency is a short word", 'write for example "EUR"')
    return found


def grits(value: object) -> tuple[int, ...]:
    """Check a list of grits of the P scale, from coarse to fine; an empty one says that nothing is sanded."""
    if not isinstance(value, list | tuple) or len(value) > _MOST_GRITS:
        raise f.FieldError(f"a list of at most {_MOST_GRITS} grits is wanted", 'write for example ["P800", "P1500"]')
    found = []
    for grit in value:
        if not isinstance(grit, str):
            raise f.FieldError("a grit of the P scale is wanted, in quotes", 'write for example "P800"')
        found.append(parse_grit(grit))
        if found[1:] and found[-2] >= found[-1]:
            raise f.FieldError("grits go from coarse to fine", f"put P{found[-1]} before P{found[-2]}")
    return tuple(found)


MixingRatio = Annotated[Ratio, PlainValidator(ratio)]
Minutes = Annotated[Range, PlainValidator(minutes)]
PriceOf = Annotated[Price, PlainValidator(price)]
Concentrate = Annotated[float | Literal["powder"], PlainValidator(concentrate)]
LightFastness = Annotated[Range, PlainValidator(light_fastness)]
FanMm = Annotated[WrittenRange, PlainValidator(written("length", 5.0, 1000.0))]
DistanceMm = Annotated[WrittenRange, PlainValidator(written("length", 10.0, 1000.0))]
Overlap = Annotated[WrittenRange, PlainValidator(written("fraction", 0.0, MOST_OVERLAP))]
ReliefUm = Annotated[Range, PlainValidator(f.quantity_range("film", 0.5, 5000.0))]
KeepUm = Annotated[float, PlainValidator(f.quantity("film", 0.0, 1000.0))]
Spare = Annotated[float, PlainValidator(f.quantity("fraction", 0.0, 3.0))]
BatchML = Annotated[Fraction, PlainValidator(exact("volume", 1.0, 100_000.0))]
MarksML = Annotated[Fraction, PlainValidator(exact("volume", 0.01, 50.0, places=2))]
MarksG = Annotated[Fraction, PlainValidator(exact("mass", 0.001, 10.0, places=3))]
HourPrice = Annotated[Fraction, PlainValidator(hour)]
Currency = Annotated[str, PlainValidator(currency)]
Grits = Annotated[tuple[int, ...], PlainValidator(grits)]
