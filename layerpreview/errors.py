"""One exception tree; what a person did wrong is told as `Problem`s, one line each."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from dataclasses import dataclass

LONGEST_SHOWN = 120
"""Signs of a field or a value in a problem's line."""
LONGEST_LINE = 390
"""Signs of a whole line: more is not read. Of what is too long the place keeps its end, all else its beginning."""
MOST_TOLD = 20
"""Problems that are told one by one; of more their number is."""


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
        place, number = self.file, f":{self.line}" if self.line else ""
        field, value, rule, remedy = _short(self.field), _short(self.value), self.rule, self.remedy
        line = _line(place, number, field, value, rule, remedy)
        if (over := len(line) - LONGEST_LINE) > 0:
            place = _both_ends(place, max(120, len(place) - over))
            field, value = _short(field, 80), _short(value, 60)
            room = LONGEST_LINE - len(_line(place, number, field, value, "-", "-")) + 2
            remedy = _short(remedy, max(room - len(rule), room // 2))
            rule = _short(rule, room - len(remedy))
            line = _line(place, number, field, value, rule, remedy)[:LONGEST_LINE]
        return printable(line)


def _line(place: str, number: str, field: str, value: str, rule: str, remedy: str) -> str:
    what = field + (f" = {value}" if value else "")
    return ": ".join(part for part in (place + number, what, rule) if part) + (f"; {remedy}" if remedy else "")


def _short(text: str, longest: int = LONGEST_SHOWN) -> str:
    """What was written somewhere, short enough for one line beside what is wrong with it."""
    return text if len(text) <= longest else text[: max(0, longest - 4)] + " ..."


def _both_ends(text: str, longest: int) -> str:
    tail = longest // 3
    return text if len(text) <= longest else f"{text[: longest - tail - 5]} ... {text[-tail:]}"


def lines_told(text: str) -> list[str]:
    """The lines of an error as a person is told them: no longer than LONGEST_LINE, the first MOST_TOLD and how many
    more.

    >>> lines_told("one\\ntwo"), lines_told("x\\n" * 23)[-1]
    (['one', 'two'], 'and 3 more; mend these first')
    """
    lines = text.splitlines()
    told = [_short(printable(line), LONGEST_LINE) for line in lines[:MOST_TOLD]]
    return told + ([f"and {len(lines) - MOST_TOLD:,} more; mend these first"] if len(lines) > MOST_TOLD else [])


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
