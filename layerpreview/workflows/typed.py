"""Numbers as they are typed on the command line or said in a table, with the name of what they were typed for."""

from __future__ import annotations

import math

from layerpreview.errors import InputError, Problem
from layerpreview.units import UnitError, parse_number, parse_numbers


def number_typed(text: str, field: str, *, low: float = -math.inf, high: float = math.inf, example: str = "") -> float:
    """One number in low..high. Raises InputError.

    >>> number_typed("0,3", "--flake-spread")
    0.3
    """
    try:
        return parse_number(text, low, high, example=example)
    except UnitError as error:
        raise InputError(Problem(error.rule, error.remedy, field=field, value=text)) from None


def numbers_typed(
    text: str,
    field: str,
    *,
    least: int = 1,
    most: int,
    low: float = -math.inf,
    high: float = math.inf,
    example: str = "",
) -> tuple[float, ...]:
    """`least` to `most` numbers with commas between, each in low..high. Raises InputError.

    >>> numbers_typed("62, 12.5, 48", "--lab", least=3, most=3)
    (62.0, 12.5, 48.0)
    """
    try:
        return parse_numbers(text, least=least, most=most, low=low, high=high, example=example)
    except UnitError as error:
        raise InputError(Problem(error.rule, error.remedy, field=field, value=text)) from None


def place_typed(text: str, field: str) -> tuple[float, float]:
    """A place in a picture, across and down from its top left corner as shares 0..1. Raises InputError.

    >>> place_typed("15 %, 0.3", "--white"), place_typed("40,5 %; 55 %", "--at")
    ((0.15, 0.3), (0.405, 0.55))
    """
    parts = text.split(";" if ";" in text else ",")
    try:
        across, down = (_share(part.strip()) for part in parts)
    except (UnitError, ValueError):
        rule = "a place in the picture is wanted: how far across and how far down from its top left corner"
        raise InputError(Problem(rule, f'write for example {field} "15 %, 30 %"', field=field, value=text)) from None
    return across, down


def _share(text: str) -> float:
    percent = text.endswith("%")
    return round(parse_number(text.removesuffix("%"), 0.0, 100.0 if percent else 1.0) / (100.0 if percent else 1.0), 6)


def in_words(text: str, known: tuple[str, ...], field: str, *, rule: str = "there is no such choice") -> str:
    """The one of `known` that is meant, in any case. Raises InputError.

    >>> in_words(" a4", ("A4", "Letter"), "--paper")
    'A4'
    """
    for name in known:
        if name.lower() == text.strip().lower():
            return name
    raise InputError(Problem(rule, f"use one of {', '.join(known)}", field=field, value=text))
