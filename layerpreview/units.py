"""Quantities with units as people write them in a shop; one parser, one wanted dimension per field.

Accepted: ``25,5 mm``, ``1 1/2 in``, ``3/4"``, ``45um``, ``35 to 50 um``, ``45 +/- 5 um``, ``12 mL/L``,
``20 drops per 100 mL``. Whatever can be read in two ways is refused with the question which is meant: a bare
``oz``, ``1,234 mm``, a number without a unit.

US and imperial factors are exact by definition (inch 25.4 mm, US gallon 231 in3, imperial gallon 4.54609 L,
avoirdupois pound 453.59237 g); sums are done in fractions, so that only the last step rounds.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

Dimension = Literal["length", "film", "volume", "mass", "density", "concentration", "fraction", "angle", "drops"]
StrengthUnit = Literal["mL/L", "g/L", "drops/L", "% by weight"]


NINETY = 1.645
"""Half of a 90 % range in standard deviations, of a normal distribution."""


class UnitError(ValueError):
    """A text that is not the quantity asked for: `rule` says what is wrong, `remedy` what to write instead."""

    def __init__(self, rule: str, remedy: str = "") -> None:
        super().__init__(rule, remedy)
        self.rule = rule
        self.remedy = remedy

    def __str__(self) -> str:
        return self.rule + (f"; {self.remedy}" if self.remedy else "")


@dataclass(frozen=True)
class Range:
    """A figure that is not known to a point: low <= likely <= high."""

    low: float
    likely: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.likely <= self.high:
            raise UnitError(f"a range must rise, got {self.low:g}, {self.likely:g}, {self.high:g}")

    @classmethod
    def point(cls, x: float) -> Range:
        """Return the range that is one known figure.

        >>> Range.point(40.0)
        Range(low=40.0, likely=40.0, high=40.0)
        """
        return cls(x, x, x)

    @classmethod
    def of_log(cls, likely: float, sd_ln: float) -> Range:
        """Return the 90 % range of a figure whose natural logarithm is known to the standard deviation `sd_ln`.

        >>> Range.of_log(2.0, 0.0)
        Range(low=2.0, likely=2.0, high=2.0)
        """
        half = math.exp(NINETY * sd_ln)
        return cls(likely / half, likely, likely * half)

    def scaled(self, factor: float) -> Range:
        """Return the range with every figure multiplied by `factor` (>= 0)."""
        return Range(self.low * factor, self.likely * factor, self.high * factor)

    def times(self, other: Range) -> Range:
        """Return the range of the product of two independent, non-negative ranges: low by low to high by high."""
        return Range(self.low * other.low, self.likely * other.likely, self.high * other.high)


@dataclass(frozen=True)
class Strength:
    """How much of a dye is in the finished mix; `written` is the text it came from.

    `amount` in [mL/L] millilitres of the dye as sold per litre of mix, [g/L] grams of the dye as sold per litre,
    [drops/L] drops per litre, or [% by weight] grams of the dye as sold in 100 g of mix.
    """

    amount: float
    unit: StrengthUnit
    written: str = field(default="", compare=False)


def _table(*rows: tuple[str, str]) -> dict[str, Fraction]:
    return {name: Fraction(factor) for names, factor in rows for name in names.split("|")}


def _kitchen(prefixes: tuple[str, ...], fl_oz: str, pint: str, quart: str, gallon: str) -> dict[str, Fraction]:
    plain = _table(
        ("fl oz|floz|oz fl|fluid ounce|fluid ounces|fluid oz", fl_oz),
        ("pt|pint|pints", pint),
        ("qt|quart|quarts", quart),
        ("gal|gals|gallon|gallons", gallon),
    )
    return {prefix + name: factor for prefix in prefixes for name, factor in plain.items()}


_LENGTH_MM = _table(
    ("mm|millimetre|millimetres|millimeter|millimeters", "1"),
    ("cm|centimetre|centimetres|centimeter|centimeters", "10"),
    ("m|metre|metres|meter|meters", "1000"),
    ("um|micron|microns|micrometre|micrometres|micrometer|micrometers", "0.001"),
    ("mil|mils|thou", "0.0254"),
    ("in|inch|inches|\"|''", "25.4"),
    ("ft|foot|feet|'", "304.8"),
)
_VOLUME_ML = {
    **_table(
        ("ml|cc|cm3|millilitre|millilitres|milliliter|milliliters", "1"),
        ("l|litre|litres|liter|liters|dm3", "1000"),
        ("cl|centilitre|centilitres|centiliter|centiliters", "10"),
        ("dl|decilitre|decilitres|deciliter|deciliters", "100"),
        ("m3", "1000000"),
    ),
    **_kitchen(("", "us "), "29.5735295625", "473.176473", "946.352946", "3785.411784"),
    **_kitchen(("imp ", "imperial ", "uk "), "28.4130625", "568.26125", "1136.5225", "4546.09"),
}
_MASS_G = _table(
    ("g|gram|grams|gramme|grammes", "1"),
    ("mg|milligram|milligrams", "0.001"),
    ("kg|kilogram|kilograms", "1000"),
    ("oz wt|oz av|wt oz|av oz|oz by weight|ounce by weight|ounces by weight", "28.349523125"),
    ("lb|lbs|pound|pounds", "453.59237"),
)
_PERCENT = _table(("%|percent|per cent", "0.01"))
_DEGREES = _table(("deg|degree|degrees|°", "1"))
_DROPS = _table(("drop|drops", "1"))
_DROPS_PER_ML = _table(("|drops|per ml|/ml|drops per ml|drops/ml", "1"))
_BY_VOLUME = ("%", "% by volume", "% v/v", "% vol", "vol %", "percent", "percent by volume")
_BY_WEIGHT = ("% by weight", "% w/w", "% wt", "wt %", "percent by weight", "% by mass")
_BARE_OUNCE = ("oz", "ozs", "ounce", "ounces")

_PLAIN: Mapping[str, Mapping[str, Fraction]] = {
    "length": _LENGTH_MM,
    "film": {name: factor * 1000 for name, factor in _LENGTH_MM.items()},
    "volume": _VOLUME_ML,
    "mass": _MASS_G,
    "fraction": _PERCENT,
    "angle": _DEGREES,
    "drops": _DROPS_PER_ML,
}
_RATIO_FROM_G_PER_ML = {"density": 1, "concentration": 1000}
_KINDS: tuple[tuple[str, Mapping[str, Fraction]], ...] = (
    ("a length", _LENGTH_MM),
    ("a volume", _VOLUME_ML),
    ("a weight", _MASS_G),
    ("a percentage", _PERCENT),
    ("an angle", _DEGREES),
    ("a number of drops", _DROPS),
)
_WANTED = {  # what a field asks for: in words, in which units, as an example
    "length": ("a length", "mm, cm, m, in or ft", "mm"),
    "film": ("a film thickness", "um, mil or mm", "um"),
    "volume": ("a volume", "mL, L, fl oz, pt, qt or gal", "mL"),
    "mass": ("a weight", "g, mg, kg, oz wt or lb", "g"),
    "density": ("a density", "g/mL, kg/L or lb/gal", "g/mL"),
    "concentration": ("a concentration", "g/L, mg/mL or oz wt/gal", "g/L"),
    "fraction": ("a percentage", "%", "%"),
    "angle": ("an angle", "deg", "deg"),
    "drops": ("a number of drops per mL", "a plain number or range", "per mL"),
    "strength": ("a strength", "mL/L, g/L, %, % by weight, fl oz/gal or drops per 100 mL", "mL/L"),
}

_NUMBER = re.compile(
    r"""(?P<sign>[+-]?)\ ?(?:
        (?P<whole>\d+)(?:\ |-)(?P<top>\d+)\ ?/\ ?(?P<bottom>\d+)              # 1 1/2, and 1-1/2 as many write it
      | (?P<top2>\d+)\ ?/\ ?(?P<bottom2>\d+)                                  # 3/4
      | (?P<decimal>(?:\d+(?:[.,]\d+)*|[.,]\d+)(?:e[+-]?\d{1,2}(?!\d))?)      # 25.5, 25,5, .5, 1e3
    )""",
    re.VERBOSE,
)
_TO = re.compile(r" ?(?:\bto\b|-|\.\.+) ?(?=[\d.,])")
_PLUS_MINUS = re.compile(r" ?(?:±|\+ ?/ ?-|\+-) ?(?=[\d.,])")
_TWINS = str.maketrans(
    {
        **dict.fromkeys("\u00b5\u03bc", "u"),  # the micro sign and the Greek letter
        **dict.fromkeys("\u2033\u201c\u201d\u201e", '"'),
        **dict.fromkeys("\u2032\u2018\u2019\u00b4", "'"),
        **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"),
        **dict.fromkeys("\u2044\u2215", "/"),
        "\u2026": "..",
        "³": "3",
        "º": "°",
        **{sign: f" {top}/{bottom}" for sign, top, bottom in zip("½¼¾⅓⅔⅛⅜⅝⅞", "113121357", "244338888", strict=True)},
    }
)
_LONGEST = 80  # characters; a quantity is short


def parse_quantity(text: str, dimension: Dimension) -> float:
    """Return the quantity written in `text` in the base unit of `dimension`.

    Base units: length [mm], film [um], volume [mL], mass [g], density [g/mL], concentration [g/L], fraction [0..1],
    angle [deg], drops [1/mL]. A plain ``fl oz``, ``pt``, ``qt`` or ``gal`` is the US one; write ``imp fl oz``,
    ``imp gal`` and so on for the imperial one.

    Raises UnitError when the text is not one non-negative quantity of that dimension (an angle may be negative).

    >>> parse_quantity("1 1/2 in", "length")
    38.1
    >>> parse_quantity("2 mil", "film")
    50.8
    """
    clean = _clean(text, dimension)
    amount, rest = _leading_number(clean, dimension)
    if _TO.search(rest) or _PLUS_MINUS.match(rest):
        raise UnitError("one figure is wanted here, not a range", "write one figure with its unit")
    return float(_in_base(amount, rest, dimension))


def parse_number(text: str, low: float = -math.inf, high: float = math.inf, *, example: str = "") -> float:
    """Return a plain number as it is typed, in low..high: "4.5", "4,5", "1 1/2", "½", with any of the minus signs.

    Raises UnitError for anything else, a unit behind it, ``nan`` and ``1,234`` included.

    >>> parse_number("4,5"), parse_number("1½"), parse_number("\u221230")
    (4.5, 1.5, -30.0)
    """
    error = UnitError(f"{number_wanted(low, high)} is wanted", f"write for example {example or '12.5'}")
    clean = " ".join(text.translate(_TWINS).lower().split())
    match = _NUMBER.fullmatch(clean) if len(clean) <= _LONGEST else None
    if match is None or not low <= (value := float(_value_of(match, ""))) <= high:
        raise error
    return value


def parse_numbers(
    text: str, *, least: int = 1, most: int, low: float = -math.inf, high: float = math.inf, example: str = ""
) -> tuple[float, ...]:
    """Return the plain numbers typed in one text, `least` to `most` of them, each in low..high: "1,2,3", or "0,5; 1,5"
    where a comma is the decimal sign. Raises UnitError.

    >>> parse_numbers("0.5, 1, 2", most=3), parse_numbers("0,5; 1,5", most=3)
    ((0.5, 1.0, 2.0), (0.5, 1.5))
    """
    parts = text.split(";" if ";" in text else ",")
    remedy = f"write for example {example}" if example else "write for example 1,2,3"
    if not least <= len(parts) <= most:
        count = f"{most}" if least == most else f"{least} to {most}"
        raise UnitError(f"{count} numbers with commas between are wanted, here are {len(parts)}", remedy)
    try:
        return tuple(parse_number(part, low, high) for part in parts)
    except UnitError as error:
        count = "numbers" if least < most else f"{most} numbers"
        each = number_wanted(low, high).removeprefix("a number")
        rule = f"{count} with commas between are wanted{', each' + each if each else ''}"
        raise UnitError(rule, error.remedy if "whichever" in error.remedy else remedy) from None


def number_wanted(low: float = -math.inf, high: float = math.inf, *, whole: bool = False) -> str:
    """Say which number is wanted.

    >>> number_wanted(0, 80), number_wanted(1, whole=True)
    ('a number from 0 to 80', 'a whole number of 1 or more')
    """
    number = "a whole number" if whole else "a number"
    if math.isfinite(low) and math.isfinite(high):
        return f"{number} from {low:.10g} to {high:.10g}"
    return f"{number} of {low:.10g} or more" if math.isfinite(low) else number


def parse_range(text: str, dimension: Dimension) -> Range:
    """Return the range written in `text`, in base units: "35 to 50 um", "35-50 um", "45 +/- 5 um" or "45 um".

    The likely value of "a to b" is the middle. Units and rules are those of `parse_quantity`.

    >>> parse_range("35 to 50 um", "film")
    Range(low=35.0, likely=42.5, high=50.0)
    """
    clean = _clean(text, dimension)
    first, rest = _leading_number(clean, dimension)
    if sign := _PLUS_MINUS.match(rest):
        delta, unit = _leading_number(rest[sign.end() :], dimension)
        low, likely, high = (_in_base(x, unit, dimension) for x in (first - delta, first, first + delta))
    elif to := _TO.search(rest):
        last, unit = _leading_number(rest[to.end() :], dimension)
        low = _in_base(first, rest[: to.start()].strip() or unit, dimension)
        high = _in_base(last, unit, dimension)
        likely = (low + high) / 2
    else:
        low = likely = high = _in_base(first, rest, dimension)
    if low > high:
        raise UnitError("a range must rise", f'write the smaller figure first: "{text.strip()}" falls')
    return Range(float(low), float(likely), float(high))


def parse_strength(text: str) -> Strength:
    """Return the strength of a dye in the finished mix, reduced to one of four units.

    Volume per volume becomes [mL/L] ("12 mL/L", "1.2 mL per 100 mL", "1 %", "1 % by volume", "2 fl oz/gal"), mass per
    volume [g/L] ("3 g/L", "1 oz wt/gal"), drops per volume [drops/L] ("20 drops per 100 mL", "3 drops per fl oz"),
    mass per mass [% by weight] ("2 % by weight", "5 g/kg"). Plain fl oz, pt, qt, gal are the US ones.

    Raises UnitError for anything else, a bare ``oz`` and ``1:20`` included, and for more dye than the mix can hold.

    >>> parse_strength("20 drops per 100 mL")
    Strength(amount=200.0, unit='drops/L', written='20 drops per 100 mL')
    """
    clean = _clean(text, "strength")
    if re.fullmatch(r"\d+ ?(?::|to|in) ?\d+", clean):
        raise UnitError(
            "a ratio can be read in two ways (1 part in 20, or 1 part to 20)", 'write for example "50 mL/L" or "5 %"'
        )
    number, rest = _leading_number(clean, "strength")
    if _TO.search(rest):
        raise UnitError("one strength is wanted here, not a range", 'write one figure, for example "12 mL/L"')
    amount, unit = _strength(number, rest.strip())
    if amount < 0:
        raise UnitError("a strength cannot be negative", 'write for example "12 mL/L"')
    most = {"mL/L": 1000, "g/L": 2000, "drops/L": 100_000, "% by weight": 100}[unit]
    if amount > most:
        raise UnitError(f"that is {float(amount):g} {unit}, more dye than a mix can hold", f"at most {most} {unit}")
    return Strength(float(amount), unit, " ".join(text.split()))


def shop_length(mm: float, *, us: bool) -> str:
    """Return a length [mm, >= 0] as a shop writes it, for hands with a ruler: `us` in inches and parts of an inch.

    Inches to the nearest 1/16 below 12 in and 1/8 above, from 10 ft on in half feet; metric in mm, with tenths
    below 100 mm, from 1 m on in metres. What would come out as nothing is "under 1/16 in" or "under 0.1 mm".

    Raises UnitError for a length that is negative or no number.

    >>> shop_length(39.9, us=True), shop_length(533.4, us=True), shop_length(75.0, us=False)
    ('1 9/16 in', '21 in', '75 mm')
    """
    if not 0.0 <= mm < math.inf:
        raise UnitError(f"a length is a number of mm, 0 or more, got {mm:g}")
    if us:
        inches = Fraction(mm) / _LENGTH_MM["in"]
        if inches >= _FEET_FROM_IN:
            return f"{_in_parts(inches / 12, 2)} ft"
        fine = _in_parts(inches, 16)
        return f"{fine if inches < 12 else _in_parts(inches, 8)} in" if fine != "0" or not mm else "under 1/16 in"
    if mm >= _METRES_FROM_MM:
        return f"{mm / 1000.0:.2f}".rstrip("0").rstrip(".") + " m"
    small = f"{mm:.1f}".removesuffix(".0") if mm < 99.95 else f"{mm:.0f}"
    return f"{small} mm" if small != "0" or not mm else "under 0.1 mm"


_FEET_FROM_IN, _METRES_FROM_MM = 120, 999.5


def _in_parts(value: Fraction, parts: int) -> str:
    """A number to the nearest 1/`parts`, halves up, as a whole and a fraction in lowest terms: "1 9/16"."""
    whole, rest = divmod(math.floor(value * parts + Fraction(1, 2)), parts)
    fraction = str(Fraction(rest, parts)) if rest else ""
    return " ".join(filter(None, (str(whole) if whole or not fraction else "", fraction)))


def _strength(amount: Fraction, unit: str) -> tuple[Fraction, StrengthUnit]:
    if unit in _BY_WEIGHT:
        return amount, "% by weight"
    if unit in _BY_VOLUME:
        return amount * 10, "mL/L"
    over, count, under = _ratio(unit, "strength")
    if under in _VOLUME_ML:
        per_litre = amount * 1000 / (count * _VOLUME_ML[under])
        if over in _DROPS:
            return per_litre, "drops/L"
        if over in _VOLUME_ML:
            return per_litre * _VOLUME_ML[over], "mL/L"
        if over in _MASS_G:
            return per_litre * _MASS_G[over], "g/L"
    if over in _MASS_G and under in _MASS_G:
        return amount * 100 * _MASS_G[over] / (count * _MASS_G[under]), "% by weight"
    raise _wrong_unit(unit, "strength")


def _in_base(amount: Fraction, rest: str, dimension: Dimension) -> Fraction:
    unit = rest.strip()
    if dimension in _RATIO_FROM_G_PER_ML:
        over, count, under = _ratio(unit, dimension)
        if over not in _MASS_G or under not in _VOLUME_ML:
            raise _wrong_unit(unit, dimension)
        base = amount * _MASS_G[over] * _RATIO_FROM_G_PER_ML[dimension] / (count * _VOLUME_ML[under])
    else:
        if unit not in _PLAIN[dimension]:
            raise _wrong_unit(unit, dimension)
        base = amount * _PLAIN[dimension][unit]
    if base < 0 and dimension != "angle":
        raise UnitError("a negative amount makes no sense here", "write it without the minus")
    return base


def _ratio(unit: str, dimension: str) -> tuple[str, Fraction, str]:
    """Split "mL per 100 mL" into what is above, how many of the unit below, and the unit below."""
    parts = re.split(r" ?/ ?| per | in ", unit)
    if len(parts) != 2:
        raise _wrong_unit(unit, dimension)
    over, under = parts
    count = Fraction(1)
    if _NUMBER.match(under):
        count, under = _leading_number(under, dimension)
        under = under.strip()
    for part in (over, under):
        if part in _BARE_OUNCE:
            raise _wrong_unit(part, dimension)
    if count <= 0:
        raise UnitError("nothing can be divided by zero", f'write for example "12 {_WANTED[dimension][2]}"')
    return over, count, under


def _clean(text: str, dimension: str) -> str:
    """Return the text in lower case with one spelling for each sign that has twins."""
    one_line = " ".join(text.translate(_TWINS).lower().split())
    if not one_line or len(one_line) > _LONGEST:
        what, units, example = _WANTED[dimension]
        raise UnitError(f"{what} is wanted ({units})", f'write for example "12 {example}"')
    return re.sub(r"(?<=[a-z])\.(?!\.)", "", one_line)  # "fl. oz." is "fl oz"


def _leading_number(text: str, dimension: str) -> tuple[Fraction, str]:
    what, units, example = _WANTED[dimension]
    match = _NUMBER.match(text)
    if match is None:
        raise UnitError(f"{what} is wanted: a number and a unit ({units})", f'write for example "12 {example}"')
    rest = text[match.end() :]
    if re.match(r" ?[\d.,/]*\d", rest) and not _TO.match(rest):
        raise UnitError(
            f'"{text}" holds two numbers side by side', f'write one number without spaces, for example "1234 {example}"'
        )
    return _value_of(match, f" {example}"), rest


def _value_of(match: re.Match[str], unit: str) -> Fraction:
    """The value of a number that was found, `unit` for what is told as an example (with a blank before it)."""
    if match["decimal"]:
        value = _decimal(match["decimal"], unit)
    else:
        top, bottom = int(match["top"] or match["top2"]), int(match["bottom"] or match["bottom2"])
        if bottom == 0 or (match["whole"] and top >= bottom):
            raise UnitError(f'"{match[0]}" is not a fraction', f'write for example "1 1/2{unit}"')
        value = int(match["whole"] or 0) + Fraction(top, bottom)
    return -value if match["sign"] == "-" else value


def _decimal(digits: str, unit: str) -> Fraction:
    marks = re.findall(r"[.,]", digits)
    if len(marks) > 1:
        raise UnitError(
            f'"{digits}" has more than one decimal sign',
            f'write it without thousands marks, for example "1234.5{unit}"',
        )
    if re.fullmatch(r"[1-9]\d{0,2},\d{3}", digits):
        whole, part = digits.split(",")
        raise UnitError(
            f'"{digits}" can be read as {whole}{part} or as {whole}.{part}',
            f'write "{whole}{part}{unit}" or "{whole}.{part}{unit}", whichever is meant',
        )
    return Fraction(digits.replace(",", "."))


def _wrong_unit(unit: str, dimension: str) -> UnitError:
    what, units, _ = _WANTED[dimension]
    spelled = _with_big_litre(unit)
    if unit in _BARE_OUNCE:
        return UnitError(
            'a bare "oz" can be a fluid ounce or an ounce by weight', 'write "fl oz" or "oz wt", whichever is meant'
        )
    if not unit:
        return UnitError(f"the number has no unit, {what} is wanted", f"add the unit: {units}")
    if unit in _DROPS and dimension == "strength":
        return UnitError("drops in how much mix?", 'write for example "20 drops per 100 mL"')
    for kind, names in _KINDS:
        if unit in names:
            return UnitError(f'"{spelled}" is {kind}, {what} is wanted', f"use {units}")
    from difflib import get_close_matches

    known = _PLAIN.get(dimension) or (*_units_in(units), *_BY_WEIGHT, *_BY_VOLUME)
    close = get_close_matches(unit, list(known), n=1)
    hint = f'did you mean "{_with_big_litre(close[0])}"?' if close else f"use {units}"
    return UnitError(f'the unit "{spelled}" is not known here, {what} is wanted', hint)


def _with_big_litre(unit: str) -> str:
    return re.sub(r"(?<![a-z])([mcd]?)l(?![a-z])", r"\1L", unit)


def _units_in(listed: str) -> list[str]:
    return [name.lower() for name in re.split(r", | or ", listed)]
