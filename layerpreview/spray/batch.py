"""One batch of a mix split into amounts that can be measured and that add up exactly, and shared among cups.

All sums are in fractions. What is too little for the cup's marks goes into the empty cup first, by syringe, scale or
whole drops: dyes, and thinner and catalyst of a small batch. Every other part is poured up to a line of the cup, a
running total in whole steps, so that the carrier takes up what rounding leaves and the last line is the batch.
Volumes are taken to add (assumed), the volume of a powder is neglected.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import ClassVar, Literal

from layerpreview.errors import InputError, Problem
from layerpreview.spray.ingredients import Ingredient, Kind, exact


def rounded(value: Fraction, step: Fraction) -> Fraction:
    """Return `value` rounded to a whole number of steps, halves up.

    >>> rounded(Fraction("3.56"), Fraction("0.1"))
    Fraction(18, 5)
    """
    return math.floor(value / step + Fraction(1, 2)) * step


def rounded_up(value: Fraction, step: Fraction) -> Fraction:
    """Return the smallest whole number of steps that is not less than `value`."""
    return math.ceil(value / step) * step


def split_cups(batch_mL: Fraction, *, weights: Sequence[Fraction], step_mL: Fraction) -> tuple[Fraction, ...]:
    """Share a batch [mL] among cups by what each must serve, in whole steps that sum to the batch exactly.

    >>> [float(mL) for mL in split_cups(Fraction(250), weights=(Fraction(2), Fraction(1)), step_mL=Fraction(1))]
    [167.0, 83.0]
    """
    total, served, lines = sum(weights), Fraction(0), [Fraction(0)]
    for weight in weights[:-1]:
        served += weight
        lines.append(rounded(batch_mL * served / total, step_mL))
    return tuple(after - before for before, after in pairwise([*lines, batch_mL]))


Tool = Literal["drops", "1 mL syringe", "10 mL syringe", "cup", "scale"]
SYRINGE_HOLDS_ML: dict[Tool, int] = {"1 mL syringe": 1, "10 mL syringe": 10}

STEPS_TO_MEASURE = 10
"""An amount of ten steps of its tool is rounded by 5 % at most: the smallest that is measured."""
STEPS_TO_POUR = 20
"""Between two lines of the cup, both rounded, an amount is off by one step at most: by 5 % of twenty."""
SYRINGE_FOR_WEIGHED = Fraction(1, 40)
"""Where the scale rounds a liquid dye by more than 2.5 %, the syringe is used instead."""
LARGE_BATCH_ML = 500
SMALL_SYRINGE_UP_TO_ML = 2
"""The 1 mL syringe is filled twice before the 10 mL one, whose reading would be off by more than 2.5 %, takes over."""


@dataclass(frozen=True)
class Tools:
    """The marks of what amounts are measured with: common sizes, no source.

    [mL] a 1 mL syringe for up to 2 mL of dye, a 10 mL syringe (read to half its marks) above, a mixing cup or cylinder
    (five times as coarse for batches above 500 mL); [g] a scale.
    """

    small_syringe_mL: Fraction = Fraction(1, 100)
    syringe_mL: Fraction = Fraction(1, 10)
    cup_mL: Fraction = Fraction(1)
    scale_g: Fraction = Fraction(1, 10)

    def cup_step_mL(self, batch_mL: Fraction) -> Fraction:
        """Return the step to which the cup for a batch can be read [mL]."""
        return self.cup_mL if batch_mL <= LARGE_BATCH_ML else 5 * self.cup_mL


@dataclass(frozen=True)
class Part:
    """One line of the mixing table. `line_mL` and `line_g` are running totals: what cup and scale show after it.

    `exact_mL` and `exact_g` are before rounding; `error_percent` and `weighed_error_percent` say how far the measured
    amount is from it. Amounts that are not known or not used are None.
    """

    also_in_json: ClassVar = ("fills_mL",)
    name: str
    kind: Kind
    tool: Tool
    exact_mL: Fraction | None
    mL: Fraction
    line_mL: Fraction
    error_percent: Fraction
    drops: int | None
    exact_g: Fraction | None
    g: Fraction | None
    line_g: Fraction | None
    weighed_with: Tool
    weighed_error_percent: Fraction | None

    @property
    def fills_mL(self) -> tuple[Fraction, ...]:
        """What each fill of its syringe is drawn to, full ones first [mL]: they sum to `mL`; none by another tool."""
        holds = SYRINGE_HOLDS_ML.get(self.tool)
        if holds is None:
            return ()
        full, rest = divmod(self.mL, holds)
        return (Fraction(holds),) * full + ((rest,) if rest else ())


@dataclass(frozen=True)
class Batch:
    """A batch in the order it is poured: the parts' `mL` sum to `batch_mL`, their `g` to `batch_g`, exactly."""

    batch_mL: Fraction
    batch_g: Fraction | None
    parts: tuple[Part, ...]
    no_density_of: tuple[str, ...]


def smallest_batch_mL(ingredients: Sequence[Ingredient], tools: Tools | None = None) -> Fraction:
    """Return the smallest batch [mL] of which every part but the carrier is at least ten steps of its tool.

    Rounded up to 5 mL.
    """
    tools = tools or Tools()
    least = [5 * tools.cup_mL]
    for part in ingredients:
        if part.share <= 0 or part.kind == "carrier":
            continue
        if part.kind == "powder":
            step = tools.scale_g
        elif part.kind == "dye":
            step = 1 / exact(_drops(part)) if part.counted else tools.small_syringe_mL
        else:
            step = tools.syringe_mL
        least.append(STEPS_TO_MEASURE * step / part.share)
    return rounded_up(max(least), Fraction(5))


def split_batch(
    ingredients: Sequence[Ingredient],
    *,
    batch_mL: Fraction,
    tools: Tools | None = None,
    coarse: bool = False,
    place: str = "mix",
) -> Batch:
    """Split a batch of `batch_mL` [mL, > 0, whole steps of the cup] into parts that can be measured.

    Raises InputError for a batch that is too small to measure (see `smallest_batch_mL`), saying the smallest that is
    not; with `coarse` only where a part would round to nothing. `place` is where the scheme has this mix.

    >>> from layerpreview.spray.ingredients import ingredients_of
    >>> dye = Ingredient("amber", "dye", exact("0.014"))
    >>> batch = split_batch(ingredients_of([dye], None), batch_mL=exact(250))
    >>> [(part.name, float(part.mL), float(part.line_mL)) for part in batch.parts]
    [('amber', 3.5, 3.5), ('carrier', 246.5, 250.0)]
    """
    tools = tools or Tools()
    least = smallest_batch_mL(ingredients, tools)
    step = tools.cup_step_mL(batch_mL)
    if batch_mL <= 0 or batch_mL % step:
        rule = f"a batch is a whole number of {float(step):g} mL steps, more than 0"
        raise InputError(
            Problem(rule, f"make {float(rounded_up(max(batch_mL, step), step)):g} mL", field=f"{place}.batch")
        )
    ingredients = _as_poured(ingredients, batch_mL, tools)
    parts = _by_volume(ingredients, batch_mL, tools)
    nothing = [part.name for part in parts if part.mL <= 0 and part.kind != "powder" and part.exact_mL]
    if (batch_mL < least and not coarse) or nothing:
        what = f"{nothing[0]} would round to nothing" if nothing else "its parts cannot be measured within 5 %"
        rule = f"a batch of {float(batch_mL):g} mL is too small: {what}"
        raise InputError(Problem(rule, f"make at least {float(least):g} mL", field=f"{place}.batch"))
    return _weighed(ingredients, parts, batch_mL, tools)


def _drops(part: Ingredient) -> float:
    if part.drops_per_mL is None:
        raise InputError(Problem(f"{part.name} is counted, but not how many drops make a mL", "add drops_per_mL"))
    return part.drops_per_mL.likely


def _by_syringe(part: Ingredient, batch_mL: Fraction, tools: Tools) -> bool:
    """Whether a thinner or catalyst is too little for the marks of the cup."""
    little = part.share * batch_mL < STEPS_TO_POUR * tools.cup_step_mL(batch_mL)
    return part.kind in ("thinner", "catalyst") and little


def _as_poured(ingredients: Sequence[Ingredient], batch_mL: Fraction, tools: Tools) -> list[Ingredient]:
    """In the order they are poured: what is drawn up by syringe before what is poured to a line."""
    return sorted(
        ingredients, key=lambda part: part.kind not in ("dye", "powder") and not _by_syringe(part, batch_mL, tools)
    )


def _by_volume(ingredients: Sequence[Ingredient], batch_mL: Fraction, tools: Tools) -> list[Part]:
    found: list[Part] = []
    step, line, wanted = tools.cup_step_mL(batch_mL), Fraction(0), Fraction(0)
    for i, part in enumerate(ingredients):
        amount = part.share * batch_mL
        drops: int | None = None
        tool: Tool
        if part.kind == "powder":
            weighed = rounded(amount, tools.scale_g)
            found.append(_part(part, "scale", None, Fraction(0), line, _error(weighed, amount), None))
            continue
        wanted += amount
        if part.counted:
            per_mL = exact(_drops(part))
            drops, tool = int(rounded(amount * per_mL, Fraction(1))), "drops"
            got = drops / per_mL
        elif part.kind == "dye" or _by_syringe(part, batch_mL, tools):
            small = amount < SMALL_SYRINGE_UP_TO_ML
            tool = "1 mL syringe" if small else "10 mL syringe"
            got = rounded(amount, tools.small_syringe_mL if small else tools.syringe_mL)
        else:
            tool = "cup"
            got = (batch_mL if i == len(ingredients) - 1 else rounded(wanted, step)) - line
        line += got
        found.append(_part(part, tool, amount, got, line, _error(got, amount), drops))
    return found


def _part(
    part: Ingredient,
    tool: Tool,
    amount: Fraction | None,
    got: Fraction,
    line: Fraction,
    error: Fraction,
    drops: int | None,
) -> Part:
    return Part(part.name, part.kind, tool, amount, got, line, error, drops, None, None, None, "scale", None)


def _weighed(ingredients: Sequence[Ingredient], parts: Sequence[Part], batch_mL: Fraction, tools: Tools) -> Batch:
    """Add weights where every density is known: running totals in steps of the scale."""
    lacking = tuple(part.name for part in ingredients if part.weight_share is None)
    found: list[Part] = []
    line, wanted, step = Fraction(0), Fraction(0), tools.scale_g
    for ingredient, part in zip(ingredients, parts, strict=True):
        share = ingredient.weight_share
        amount = None if share is None else share * batch_mL
        if amount is None or (lacking and part.kind != "powder"):
            found.append(part)
            continue
        wanted += amount
        first = part.tool != "cup"
        got = rounded(amount, step) if first else rounded(wanted, step) - line
        line += got
        syringe = part.tool not in ("cup", "scale") and step / 2 > SYRINGE_FOR_WEIGHED * amount
        found.append(
            _with_weight(
                part,
                amount,
                got,
                None if lacking else line,
                part.tool if syringe else "scale",
                part.error_percent if syringe else _error(got, amount),
            )
        )
    return Batch(batch_mL, None if lacking else line, tuple(found), lacking)


def _with_weight(
    part: Part, amount: Fraction, got: Fraction, line: Fraction | None, tool: Tool, error: Fraction
) -> Part:
    return replace(part, exact_g=amount, g=got, line_g=line, weighed_with=tool, weighed_error_percent=error)


def _error(got: Fraction, wanted: Fraction) -> Fraction:
    return (got / wanted - 1) * 100 if wanted else Fraction(0)
