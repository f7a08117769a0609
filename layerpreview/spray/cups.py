"""Amounts in whole steps of a tool, and a batch shared among cups."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise

from layerpreview.units import Range


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


def coats_per_cup(*, coats: int, coat_min: Range, pot_life_min: Range) -> tuple[int, ...]:
    """Say how many of `coats` each cup serves, so that its first coat to its last fit the pot life at its shortest.

    `coat_min` [min]: one coat with its flash time, taken at its longest. A cup always serves at least one coat; whether
    that one fits must be asked of the product's sheet.

    >>> coats_per_cup(coats=3, coat_min=Range(20, 25, 30), pot_life_min=Range(60, 75, 90))
    (2, 1)
    """
    each = max(1, math.floor(pot_life_min.low / max(coat_min.high, 1e-9)))
    return tuple(min(each, coats - done) for done in range(0, coats, each))
