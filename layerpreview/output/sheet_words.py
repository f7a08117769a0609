"""The mix sheet as blocks of text, and its words: amounts, times and places in the shop's units."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from layerpreview.job.cautions import Caution
from layerpreview.job.products import USUAL_TOOLS
from layerpreview.job.sprayed import Sprayed
from layerpreview.spray.batch import Part, Tools
from layerpreview.units import Range, shop_length

TICK, BLANK, NBSP = "[ ]", "______", "\u00a0"
Rows = list[tuple[str, ...]]


@dataclass(frozen=True)
class Heading:
    """`level` 1 or 2: the contents list has both."""

    text: str
    level: int = 1
    kind: Literal["heading"] = "heading"


@dataclass(frozen=True)
class Para:
    text: str
    small: bool = False
    kind: Literal["para"] = "para"


@dataclass(frozen=True)
class Items:
    items: tuple[str, ...]
    kind: Literal["items"] = "items"


@dataclass(frozen=True)
class Table:
    """`widths` are shares of the line, every column has a head; cells that are TICK or BLANK are drawn.

    `large` is for what hands follow.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[int, ...]
    large: bool = False
    kind: Literal["table"] = "table"


@dataclass(frozen=True)
class Warn:
    title: str
    text: str
    kind: Literal["caution"] = "caution"


@dataclass(frozen=True)
class Drawing:
    svg: str
    described: str
    width_mm: float
    kind: Literal["drawing"] = "drawing"


Simple = Heading | Para | Items | Table | Warn | Drawing


@dataclass(frozen=True)
class Group:
    """Blocks that stay on one page."""

    blocks: tuple[Simple, ...]
    kind: Literal["group"] = "group"


@dataclass(frozen=True)
class Columns:
    """Groups that flow in two columns, where there is room."""

    groups: tuple[Group, ...]
    kind: Literal["columns"] = "columns"


Block = Simple | Group | Columns


FL_OZ_ML = 29.5735295625
OZ_G = 28.349523125
SEE_SHEET = "see the product's sheet"


@dataclass(frozen=True)
class Words:
    """How amounts are written: metric, or US units with the metric amount behind, since syringes and scales show it.

    Weights have as many decimals as the scale of `tools`.
    """

    units: str
    tools: Tools = USUAL_TOOLS

    @property
    def us(self) -> bool:
        return self.units == "US"

    def film(self, um: Range | float) -> str:
        """A film thickness [um]."""
        return _with(um, "mil", 1 / 25.4) if self.us else _with(um, "µm", 1.0)

    def volume(self, mL: Range | float) -> str:
        """A volume [mL]."""
        metric = _with(mL, "mL", 1.0)
        return f"{_with(mL, 'fl oz', 1 / FL_OZ_ML)} = {metric}" if self.us else metric

    @property
    def volume_unit(self) -> str:
        """The unit of `measure`."""
        return "fl oz" if self.us else "mL"

    def measure(self, mL: Range | float) -> str:
        """A volume [mL] without its unit, for a table that has it in its head."""
        factor = 1 / FL_OZ_ML if self.us else 1.0
        return spread(mL.scaled(factor) if isinstance(mL, Range) else mL * factor)

    def made(self, mL: Fraction) -> str:
        """A batch [mL], exact in mL."""
        metric = f"{plain(mL)} mL"
        return f"{metric} ({float(mL) / FL_OZ_ML:.2f} fl oz)" if self.us else metric

    def weight(self, g: Fraction) -> str:
        """A weight on the scale [g], exact in g."""
        metric = self.grams(g)
        return f"{metric} ({float(g) / OZ_G:.2f} oz wt)" if self.us else metric

    def grams(self, g: Fraction | None) -> str:
        """What the scale shows [g]."""
        return f"{float(g or 0):.{places(self.tools.scale_g)}f} g"

    def area(self, m2: float) -> str:
        """An area [m2]."""
        return f"{number(m2 * 1550.0031)} sq in" if self.us else f"{number(m2 * 1e4)} cm2"

    def length(self, mm: float) -> str:
        """A length on the part, of edge or of tape [mm]."""
        return shop_length(mm, us=self.us)


def number(value: float) -> str:
    """Three digits, two below 1, without a power of ten.

    >>> [number(value) for value in (41.76, 1234.0, 0.5, 0.0, -12.34)]
    ['41.8', '1234', '0.5', '0', '-12.3']
    """
    if abs(value) >= 1000:
        return f"{value:.0f}"
    if abs(value) < 1:
        return f"{value:.2g}" if abs(value) >= 0.01 else f"{round(value, 3):g}"
    return f"{value:.3g}"


def places(step: Fraction) -> int:
    """How many decimals a tool shows whose marks are `step` apart.

    >>> places(Fraction(1, 10)), places(Fraction(1, 4)), places(Fraction(5))
    (1, 2, 0)
    """
    return next((n for n in range(3) if (step * 10**n).denominator == 1), 3)


def spread(value: Range | float) -> str:
    """A likely figure with its range behind it.

    >>> spread(Range(28.0, 40.0, 55.0))
    '40 (28 to 55)'
    """
    if isinstance(value, float | int) or value.high - value.low <= 1e-9 * max(abs(value.high), 1e-30):
        return number(value.likely if isinstance(value, Range) else value)
    return f"{number(value.likely)} ({number(value.low)} to {number(value.high)})"


def plain(value: Fraction) -> str:
    """An amount that is a whole number of hundredths, without needless zeros.

    >>> plain(Fraction("83.70")), plain(Fraction(85))
    ('83.7', '85')
    """
    text = f"{float(value):.2f}"
    return text.rstrip("0").rstrip(".")


def in_mL(mL: Fraction) -> str:
    """A volume [mL] as cups and syringes show it, in every shop."""
    return f"{plain(mL)}{NBSP}mL"


def minutes(value: Range | None) -> str:
    """A time [min] as a range, or where to look it up.

    >>> minutes(Range(60.0, 90.0, 120.0)), minutes(None)
    ('1 to 2 h', "see the product's sheet")
    """
    if value is None:
        return SEE_SHEET
    if value.high <= 0.0:
        return "none"
    if value.high < 1.0:
        return "under 1 min"
    factor, unit = (60.0, "h") if value.low >= 60.0 else (1.0, "min")
    if value.high >= 48 * 60.0:
        factor, unit = 1440.0, "days"
    low, high = (f"{x / factor:.{0 if factor == 1.0 else 1}f}".removesuffix(".0") for x in (value.low, value.high))
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


def measured(part: Part, words: Words) -> str:
    """How a part is measured by volume, fill by fill: "1 + 0.40 mL = 1.40 mL, 1 mL syringe"."""
    if part.tool == "drops":
        return f"{part.drops} drops"
    if part.tool == "scale":
        return f"{words.grams(part.g)}, weighed"
    if part.tool == "cup":
        more = " more" if part.line_mL != part.mL else ""
        return f"up to the {plain(part.line_mL)} mL line ({in_mL(part.mL)}{more})"
    small = part.tool == "1 mL syringe"
    marks = places(words.tools.small_syringe_mL if small else words.tools.syringe_mL)
    total = f"{float(part.mL):.{marks}f}{NBSP}mL, {part.tool}"
    return total if len(part.fills_mL) == 1 else f"{_fills(part, marks)} mL = {total}"


def poured(part: Part, words: Words) -> str:
    """What hands do with a part, in short, for the wall: "10 + 2.5 mL", "fill to 51 mL", "28 drops"."""
    if part.tool == "drops":
        return f"{part.drops} drops"
    if part.tool == "scale":
        return words.grams(part.g)
    if part.tool == "cup":
        return f"fill to {in_mL(part.line_mL)}"
    return f"{_fills(part)}{NBSP}mL"


def _fills(part: Part, marks: int | None = None) -> str:
    """Each fill of a syringe [mL], the last to `marks` decimals where they are given: "3 x 10 + 3.6"."""
    fills = part.fills_mL
    full = fills.count(fills[0])
    told = [f"{full} x {plain(fills[0])}" if full > 1 else plain(fills[0])]
    told += [plain(fill) if marks is None else f"{float(fill):.{marks}f}" for fill in fills[full:]]
    return " + ".join(told)


def off(percent: Fraction | None) -> str:
    """How far a rounded amount is from the exact one.

    >>> off(Fraction(-196, 100)), off(Fraction(0))
    ('-2.0\\xa0%', 'exact')
    """
    if percent is None:
        return ""
    return f"{float(percent):+.1f}{NBSP}%" if abs(percent) >= Fraction(5, 100) else "exact"


def _with(value: Range | float, unit: str, factor: float) -> str:
    return f"{spread(value.scaled(factor) if isinstance(value, Range) else value * factor)} {unit}"


def where(sprayed: Sprayed | None, words: Words) -> str:
    if sprayed is None:
        return ""
    zone = "every face, whole" if sprayed.zone == "face" else sprayed.zone
    if not sprayed.bursts:
        return zone
    burst = "burst " + " and ".join(f"from {source}, gone at {words.length(mm)}" for source, mm in sprayed.bursts)
    return burst if sprayed.zone == "face" else f"{burst}, within {zone}"


def counted(n: int) -> str:
    return f"{n} coat{'s' if n > 1 else ''}"


def caution_box(caution: Caution) -> Warn:
    return Warn(f"CAUTION: {caution.title}", caution.text)
