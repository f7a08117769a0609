"""What stands behind an option or in place of an argument, read the same way by every command: numbers, lights, texts
and names of files. What cannot be meant is told here, in one wording, before a command begins.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperCommand

from layerpreview.errors import InputError, Problem

LONGEST_TEXT, LONGEST_PATH, LONGEST_NAME = 20_000, 1000, 200
"""Signs of a text and of a path, and bytes of one name in a path: usual file systems hold 255, and some is added."""
MOST_NUMBER = 2**32 - 1
"""The largest number that is asked for by number or as a seed."""
_STEERING = frozenset("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff")
"""Signs that turn the direction of writing or cannot be seen."""


class UnfitError(typer.BadParameter):
    """A value that an option cannot use; `problem` tells it but for the option's name."""

    def __init__(self, rule: str, remedy: str, value: str = "") -> None:
        super().__init__(rule)
        self.problem = Problem(rule, remedy, value=value)


def number(
    name: str, metavar: str | None, told: str, *, low: float = -math.inf, high: float = math.inf, example: str = ""
) -> Any:
    """An option that takes a number in low..high, told as `told`."""
    return typer.Option(name, metavar=metavar, help=told, parser=_reader(low, high, example=example))


def whole(name: str, metavar: str | None, told: str, *, low: int, high: int, example: str = "") -> Any:
    """An option that takes a whole number in low..high, told as `told`."""
    return typer.Option(name, metavar=metavar, help=told, parser=_reader(low, high, whole=True, example=example))


def word(name: str, metavar: str | None, told: str) -> Any:
    """An option that takes one of a few words, in any case."""
    return typer.Option(name, metavar=metavar, help=told, parser=lambda value: " ".join(str(value).lower().split()))


def exposure_option(told: str) -> Any:
    """The option of an exposure to light."""
    return number("--exposure", "MLXH", told, low=0, high=10_000, example="20")


def years_option(name: str, told: str) -> Any:
    """The option of years in one place."""
    return number(name, "N", told, low=0, high=500, example="5")


def _reader(low: float, high: float, *, whole: bool = False, example: str = "") -> Callable[[object], float | int]:
    """Read a number; what is one already is an option's usual value."""

    def read(value: object) -> float | int:
        from layerpreview.units import UnitError, number_wanted, parse_number

        if isinstance(value, int | float):
            return value
        shown = str(value)
        try:
            found = parse_number(shown, low, high, example=example or f"{low:g}")
        except UnitError as error:
            rule = f"{number_wanted(low, high, whole=whole)} is wanted" if "is wanted" in error.rule else error.rule
            raise UnfitError(rule, error.remedy, shown) from None
        if whole and found != int(found):
            remedy = f"write for example {example or f'{low:g}'}"
            raise UnfitError(f"{number_wanted(low, high, whole=True)} is wanted", remedy, shown)
        return int(found) if whole else found

    read.__name__ = "whole number" if whole else "number"  # what help shows where an option has no word of its own
    return read


def read_light(value: object) -> str:
    """Read the name of a light, or the trade's word for one, and say which standard light that word is taken for.

    What is neither stays as it is: the command tells all of them at once.
    """
    from layerpreview.cli.common import say
    from layerpreview.colour import light_called, light_words

    shown = str(value)
    try:
        name = light_called(shown)
    except InputError:
        return shown
    if name.lower() != shown.strip().lower():
        say(f"light: {shown.strip()} is taken as {light_words(name)}")
    return name


def check_values(parameters: Iterable[Any], values: dict[str, Any]) -> list[Problem]:
    """What no command can use, of all that was typed: an empty text, a name that no file can have, signs that cannot be
    shown."""
    problems = []
    for parameter in parameters:
        value = values.get(parameter.name)
        for one in value if isinstance(value, list | tuple) else (value,):
            if isinstance(one, Path | str) and (found := _unfit(one)):
                option = parameter.param_type_name == "option"
                field = max(parameter.opts, key=len) if option else str(parameter.metavar or parameter.name.upper())
                rule, remedy = found
                remedy = remedy if option else remedy.removesuffix(", or leave the option out")
                problems.append(Problem(rule, remedy, field=field, value=str(one)))
    return problems


def _unfit(value: Path | str) -> tuple[str, str] | None:
    """The rule that a text or a path breaks and what to do, None where it breaks none."""
    text = str(value)
    if not text.strip():
        return "this must not be empty", "write something, or leave the option out"
    seen = text if isinstance(value, Path) else re.sub(r"[\t\r\n]", " ", text)  # as pasted
    if any(unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp") or sign in _STEERING for sign in seen):
        what = "a file's name" if isinstance(value, Path) else "a text"
        return f"{what} holds signs here that cannot be shown", "write it with letters, figures and blanks"
    if isinstance(value, str):
        return ("this is far too long", f"write {LONGEST_TEXT} signs at most") if len(text) > LONGEST_TEXT else None
    longest = max(len(name.encode("utf-8")) for name in value.parts or ("",))
    if len(text) > LONGEST_PATH or longest > LONGEST_NAME:
        return "this name is too long for a file", f"give it a name of {LONGEST_NAME} letters at most"
    return None


class CheckedCommand(TyperCommand):
    """A command that looks at all that was typed before it begins."""

    def parse_args(self, ctx: typer.Context, args: list[str]) -> list[str]:  # type: ignore[override]
        """Read what was typed. Raises InputError for an empty text: made a path, it would be the folder one is in."""
        if not ctx.resilient_parsing:  # the Tab key asks for what could stand there
            told, _, _ = self.make_parser(ctx).parse_args(list(args))
            if problems := [problem for problem in check_values(self.params, told) if problem.value == ""]:
                raise InputError(problems)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: typer.Context) -> Any:  # type: ignore[override]
        """Run it. Raises InputError for what no command can use."""
        if problems := check_values(self.params, ctx.params):
            raise InputError(problems)
        return super().invoke(ctx)
