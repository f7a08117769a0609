"""What product sheets and shops say, as people write it, as kinds of value: ratios, times, prices, marks, grits."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import PlainValidator

from layerpreview.scheme import fields as f
from layerpreview.scheme.taken import TEXT, Check, list_of, takes
from layerpreview.spray.ingredients import PartName, Ratio
from layerpreview.spray.passes import MOST_OVERLAP
from layerpreview.units import Dimension, Range, UnitError, parse_quantity

_PARTS: dict[str, PartName] = {
    **dict.fromkeys(("carrier", "clear", "base", "basecoat", "lacquer", "paint", "colour", "color"), "carrier"),
    **dict.fromkeys(("thinner", "reducer", "solvent", "water"), "thinner"),
    **dict.fromkeys(("catalyst", "hardener", "activator"), "catalyst"),
}
_NUMBER = r"\d+(?:[.,]\d+)?"
_MINUTES = {
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 1),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), 60),
    **dict.fromkeys(("d", "day", "days"), 24 * 60),
}
LARGEST_PART = 1000


@dataclass(frozen=True)
class WrittenRange(Range):
    """A range in base units that remembers how a person wrote it."""

    written: str = field(default="", compare=False)


@dataclass(frozen=True)
class Price:
    """What a millilitre, a gram or a piece costs, in whatever currency the shop uses."""

    amount: Fraction
    per: Literal["mL", "g"]


def parse_ratio(text: str) -> Ratio:
    """Return the mixing ratio written in `text`: "4:1:1 carrier:catalyst:thinner", with "by weight" where it is meant.

    The parts may be written as a product sheet has them (clear, hardener, reducer), in any order, each once; one of
    them is the carrier. Without "by weight" the ratio is by volume.

    Raises UnitError for numbers without names: 4:1:1 can mean thinner second or catalyst second, and it matters.

    >>> [(name, str(share)) for name, share in parse_ratio("4:1:1 clear:hardener:reducer").parts]
    [('carrier', '2/3'), ('catalyst', '1/6'), ('thinner', '1/6')]
    """
    example = 'write for example "4:1:1 carrier:catalyst:thinner by volume"'
    clean = " ".join(text.lower().split())
    by: Literal["volume", "weight"] = "volume"
    if told := re.search(r",? ?by (volume|weight|mass)$", clean):
        by = "volume" if told[1] == "volume" else "weight"
        clean = clean[: told.start()]
    if re.fullmatch(rf"{_NUMBER}( ?: ?{_NUMBER})+", clean):
        rule = f'"{clean}" does not say which part is which (product sheets differ in their order)'
        raise UnitError(rule, f'name the parts: "{clean} carrier:catalyst" or "{clean} carrier:thinner" and the like')
    listed = re.fullmatch(rf"({_NUMBER}(?: ?: ?{_NUMBER})+) ([a-z]+(?: ?: ?[a-z]+)+)", clean)
    if listed:
        numbers, names = (re.split(r" ?: ?", side) for side in listed.groups())
    elif re.fullmatch(rf"{_NUMBER} [a-z]+(?: ?: ?{_NUMBER} [a-z]+)+", clean):
        numbers, names = (list(side) for side in zip(*(p.split(" ") for p in re.split(r" ?: ?", clean)), strict=True))
    else:
        raise UnitError("a mixing ratio is wanted: numbers and the names of the parts", example)
    if len(numbers) != len(names):
        raise UnitError(f"{len(numbers)} numbers but {len(names)} names", example)
    unknown = [name for name in names if name not in _PARTS]
    if unknown:
        raise UnitError(f'"{unknown[0]}" is not a part of a mix', "the parts are carrier, thinner and catalyst")
    parts = [(_PARTS[name], Fraction(number.replace(",", "."))) for name, number in zip(names, numbers, strict=True)]
    kinds = [kind for kind, _ in parts]
    if len(set(kinds)) < len(kinds):
        raise UnitError("a part is named twice", "the parts are carrier, thinner and catalyst, each once")
    if "carrier" not in kinds:
        raise UnitError("the carrier is missing from the ratio", example)
    if any(not 0 < amount <= LARGEST_PART for _, amount in parts):
        raise UnitError(f"every part must be more than 0 and at most {LARGEST_PART}", "leave out what is not used")
    total = sum(amount for _, amount in parts)
    return Ratio(tuple((kind, amount / total) for kind, amount in parts), by, " ".join(text.split()), tuple(names))


def parse_minutes(text: str) -> Range:
    """Return a time or a range of times in minutes: "15 min", "10 to 20 min", "30 min to 1 h", "2-3 days".

    Raises UnitError for anything else, a bare number and a falling range included.

    >>> parse_minutes("1 to 2 h")
    Range(low=60.0, likely=90.0, high=120.0)
    """
    remedy = 'write for example "15 min", "10 to 20 min" or "1 to 2 h"'
    clean = " ".join(text.lower().split())
    pattern = rf"({_NUMBER}) ?([a-z]*)(?: ?(?:to|-|–) ?({_NUMBER}) ?([a-z]+))?"
    match = re.fullmatch(pattern, clean)
    if match is None:
        raise UnitError("a time is wanted: a number with min, h or days", remedy)
    first, first_unit, last, last_unit = match.groups()
    units = [first_unit or last_unit or "", last_unit or first_unit]
    if any(unit not in _MINUTES for unit in units):
        raise UnitError("a time needs its unit: min, h or days", remedy)
    low = float(first.replace(",", ".")) * _MINUTES[units[0]]
    high = low if last is None else float(last.replace(",", ".")) * _MINUTES[units[1]]
    if low > high:
        raise UnitError("a range must rise", f'write the shorter time first: "{clean}" falls')
    return Range(low, (low + high) / 2, high)


def parse_price(text: str) -> Price:
    """Return the price written in `text`, a plain number per amount: "38 per L", "24.50 per 50 mL", "12 per 100 g".

    Raises UnitError for anything else; the currency is stated once for the whole scheme, not here.

    >>> parse_price("24.50 per 50 mL").amount
    Fraction(49, 100)
    """
    remedy = 'write for example "38 per L", "24.50 per 50 mL" or "60 per qt"'
    match = re.fullmatch(rf"({_NUMBER}) ?(?:per|/) ?(.+)", " ".join(text.split()))
    if match is None:
        raise UnitError("a price is wanted: a plain number per volume or weight", remedy)
    amount = Fraction(match[1].replace(",", "."))
    under = match[2] if match[2][0].isdigit() else f"1 {match[2]}"
    try:
        volume = parse_quantity(under, "volume")
    except UnitError:
        try:
            weight = parse_quantity(under, "mass")
        except UnitError as error:
            raise UnitError(f'"{match[2]}" is neither a volume nor a weight', remedy) from error
        return Price(amount / _above_zero(weight, remedy), "g")
    return Price(amount / _above_zero(volume, remedy), "mL")


def parse_grit(text: str) -> int:
    """Return the number of a sanding grit on the P scale, "P800" -> 800.

    Raises UnitError for a bare number: P800 and the older 800 of another scale are not equally fine.

    >>> parse_grit("P1500")
    1500
    """
    match = re.fullmatch(r"[pP] ?(\d{2,4})", text.strip())
    if match is None or not 40 <= int(match[1]) <= 5000:
        raise UnitError("a grit of the P scale is wanted", 'write for example "P800", as printed on the paper')
    return int(match[1])


def _above_zero(amount: float, remedy: str) -> Fraction:
    if not amount > 0.0:
        raise UnitError("the amount a price is for must be more than 0", remedy)
    return Fraction(str(amount))


POWDER: Literal["powder"] = "powder"
_LONGEST_TIME_MIN = 90 * 24 * 60.0
_HIGHEST_PRICE = 10_000  # per mL or g
_MOST_GRITS = 12


@takes("mixing ratio with every part named", TEXT)
def ratio(value: object) -> Ratio:
    """Check a mixing ratio with its parts named."""
    if not isinstance(value, str):
        raise f.FieldError("a mixing ratio is wanted, in quotes", 'write for example "4:1:1 clear:hardener:reducer"')
    return parse_ratio(f.text(value))


@takes("time or a range of it, in min, h or days; at most 90 days", TEXT)
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


@takes("price per volume or weight", TEXT)
def price(value: object) -> Price:
    """Check a price per volume or weight."""
    if not isinstance(value, str):
        raise f.FieldError("a price is wanted per volume or weight, in quotes", 'write for example "38 per L"')
    found = parse_price(f.text(value))
    if found.amount > _HIGHEST_PRICE:
        raise f.FieldError(f"this is more than {_HIGHEST_PRICE} per {found.per}", "check the price and its amount")
    return found


@takes("g/L, 0.001 to 2000, or powder", TEXT)
def concentrate(value: object) -> float | Literal["powder"]:
    """Check what a litre of a dye as sold holds [g/L], or "powder" for a dye sold pure."""
    word = value.strip().lower() if isinstance(value, str) else ""
    if word == POWDER:
        return POWDER
    if word.isalpha():
        hint = f.did_you_mean(word, [POWDER])
        raise f.FieldError('a concentration such as "40 g/L" is wanted, or "powder"', hint or 'write "40 g/L"')
    return f.quantity("concentration", 0.001, 2000.0)(value)


@takes("blue wool step or two of them, 1 to 8", {"anyOf": [{"type": "integer", "minimum": 1, "maximum": 8}, TEXT]})
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


def written(dimension: Dimension, low: float, high: float) -> Check[WrittenRange]:
    """Return a check for a quantity or a range of it that is shown again as it was written."""
    check = f.quantity_range(dimension, low, high)

    def as_written(value: object) -> WrittenRange:
        found = check(value)
        return WrittenRange(found.low, found.likely, found.high, " ".join(str(value).split()))

    return Check(as_written, check.wants, check.schema)


def exact(dimension: Dimension, low: float, high: float, *, places: int | None = None) -> Check[Fraction]:
    """Return a check for a quantity that is reckoned with exactly, of at most `places` decimals in base units."""
    check = f.quantity(dimension, low, high)

    def as_fraction(value: object) -> Fraction:
        amount = Fraction(str(check(value)))
        if places is not None and (amount * 10**places).denominator != 1:
            unit = {"volume": "mL", "mass": "g"}.get(dimension, "")
            rule = f"marks are multiples of {10**-places:g} {unit}"
            raise f.FieldError(rule, f'write for example "0.1 {unit}", as printed on the tool')
        return amount

    return Check(as_fraction, check.wants, check.schema)


def none_or(check: Check[Range]) -> Check[Range]:
    """Return a check that takes the word none for nothing, and else what `check` takes."""

    def either(value: object) -> Range:
        if isinstance(value, str) and value.strip().lower() == "none":
            return Range(0.0, 0.0, 0.0)
        return check(value)

    return Check(either, f"none, or a {check.wants}", TEXT)


@takes("number, 0 to 100000", f.number(0.0, 100_000.0).schema)
def hour(value: object) -> Fraction:
    """Check what an hour of work costs: a plain number, in the shop's currency."""
    return Fraction(str(f.number(0.0, 100_000.0)(value)))


@takes("a short word or sign", TEXT)
def currency(value: object) -> str:
    """Check a currency: a short word or sign."""
    found = f.text(value)
    if len(found) > 10:
        raise f.FieldError("a currency is a short word", 'write for example "EUR"')
    return found


@takes("list of grits of the P scale, coarse to fine", list_of(TEXT, least=0, most=_MOST_GRITS))
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
LeftOverUm = Annotated[Range, PlainValidator(none_or(f.quantity_range("film", 0.1, 500.0)))]
KeepUm = Annotated[float, PlainValidator(f.quantity("film", 0.0, 1000.0))]
Spare = Annotated[float, PlainValidator(f.quantity("fraction", 0.0, 3.0))]
BatchML = Annotated[Fraction, PlainValidator(exact("volume", 1.0, 100_000.0))]
MarksML = Annotated[Fraction, PlainValidator(exact("volume", 0.01, 50.0, places=2))]
MarksG = Annotated[Fraction, PlainValidator(exact("mass", 0.001, 10.0, places=3))]
HourPrice = Annotated[Fraction, PlainValidator(hour)]
Currency = Annotated[str, PlainValidator(currency)]
Grits = Annotated[tuple[int, ...], PlainValidator(grits)]
