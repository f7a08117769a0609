"""What product sheets say, as people write it: mixing ratios, times, prices and grits."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from layerpreview.spray.ingredients import PartName, Ratio
from layerpreview.units import Range, UnitError, parse_quantity

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
