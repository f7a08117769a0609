"""One exception tree; what a person did wrong is told as `Problem`s, one line each."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from dataclasses import dataclass

LONGEST_SHOWN, LONGEST_TOLD = 120, 500
"""Signs of a field or a value in a problem's line, and of a rule or a remedy, which may list what there is."""


def typed(word: str) -> str:
    """A word as it is typed at a prompt: in quotes where a shell would take it apart, double ones where all know them.

    >>> print(typed("amber=4"), typed("grün, hell=4"), typed('13" wide'))
    amber=4 "grün, hell=4" '13" wide'
    """
    if re.fullmatch(r"[\w./\\:=@%+-]+", word):
        return word
    return shlex.quote(word) if re.search(r'["$`!\\]', word) else f'"{word}"'


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with an input, with what to do about it.

    `rule` says what is asked for, `remedy` what to do; `file`, `line`, `field` and `value` say where, as far as known.
    """

    rule: str
    remedy: str = ""
    file: str = ""
    line: int | None = None
    field: str = ""
    value: str = ""

    def __str__(self) -> str:
        place = self.file + (f":{self.line}" if self.line else "")
        what = _short(self.field) + (f" = {_short(self.value)}" if self.value else "")
        parts = [part for part in (place, what, _short(self.rule, LONGEST_TOLD)) if part]
        return printable(": ".join(parts) + (f"; {_short(self.remedy, LONGEST_TOLD)}" if self.remedy else ""))


def _short(text: str, longest: int = LONGEST_SHOWN) -> str:
    """What was written somewhere, short enough for one line beside what is wrong with it."""
    return text if len(text) <= longest else text[: longest - 4] + " ..."


def printable(text: str) -> str:
    """A text on one line without signs that could steer a terminal or that no file can hold."""
    return text if text.isprintable() else "".join(sign if sign.isprintable() else "?" for sign in text)


class LayerPreviewError(Exception):
    """Root of every error this package raises on purpose."""


class InputError(LayerPreviewError, ValueError):
    """Something handed in cannot be used; `problems` lists everything that is wrong with it at once."""

    def __init__(self, problems: Iterable[Problem] | Problem) -> None:
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


class SchemeError(InputError):
    """A scheme or dye file breaks the rules of its format."""


class PictureError(InputError):
    """A picture, mask or drawing cannot be read or used."""


class OutputError(LayerPreviewError, OSError):
    """A result cannot be written where it was asked for; nothing was written."""


class NoAnswerError(LayerPreviewError):
    """The question was understood but has no answer (a colour out of reach, a fit that failed)."""
