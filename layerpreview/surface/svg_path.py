"""The numbers of an SVG drawing: whether path data and lists of points are whole, and how many points they ask for.

Path data is read from left to right, one number or command at a time (SVG 2, 9.3.9), and never gone back over, so that
the time it takes grows with its length alone. Commas and blanks are both taken as gaps.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

LARGEST = 1e9
"""No number of a drawing may be larger, in user units or mm."""
NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_GAP = re.compile(r"[ \t\r\n\f,]*")
_NUMBER = re.compile(rf"({NUMBER}){_GAP.pattern}")
_FLAG = re.compile(rf"([01]){_GAP.pattern}")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
_ARGUMENTS = {letter: count for name, count in _TAKES.items() for letter in (name, name.lower())}
_FLAGS = (3, 4)  # of the seven numbers of an arc; one character each, the next number may follow at once


def path_fault(d: str) -> str:
    """Return what is wrong with the path data `d`, or an empty text (SVG 2, 9.3: commands and their numbers)."""
    try:
        for _ in _commands(d):
            pass
    except ValueError as fault:
        return str(fault)
    return ""


def path_points(d: str) -> int:
    """How many points the whole path data `d` asks for, a curve or an arc counted once."""
    return sum(count for _, count in _commands(d))


def read_points(text: str) -> list[tuple[float, float]]:
    """Return the points of a polygon or polyline. Raises ValueError saying what is wrong with `text`."""
    numbers, end = _numbers(text, _after_gap(text, 0))
    if end < len(text):
        raise ValueError(f"not a number at {_place(text, end)}")
    if len(numbers) % 2:
        raise ValueError(f"{len(numbers)} numbers where a point takes 2")
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def _commands(d: str) -> Iterator[tuple[str, int]]:
    """Every command of the path data and how often it is given numbers. Raises ValueError saying what is wrong."""
    pos = _after_gap(d, 0)
    if pos < len(d) and d[pos] not in "Mm":
        raise ValueError(f"it starts with {d[pos : pos + 8]!r}, not with M")
    while pos < len(d):
        start, command = pos, d[pos]
        wanted = _ARGUMENTS[command]
        numbers, pos = _numbers(d, _after_gap(d, pos + 1), arcs=command in "Aa")
        count = len(numbers)
        if pos < len(d) and d[pos] not in _ARGUMENTS:
            if command in "Aa" and count % wanted in _FLAGS:
                within = f"after {count} numbers of the arc at {_place(d, start)}"
                raise ValueError(f"neither 0 nor 1 for a flag at {_place(d, pos)}, {within}")
            raise ValueError(f"neither a number nor a command at {_place(d, pos)}")
        if count % wanted or not count if wanted else count:
            raise ValueError(f"{count} numbers where {command} takes {wanted} at a time, at {_place(d, start)}")
        yield command, count // wanted if wanted else 1


def _numbers(text: str, pos: int, *, arcs: bool = False) -> tuple[list[float], int]:
    """The numbers from `pos` on, and where they end. Raises ValueError for one that is too large."""
    found: list[float] = []
    while token := (_FLAG if arcs and len(found) % 7 in _FLAGS else _NUMBER).match(text, pos):
        number = float(token[1])
        if abs(number) > LARGEST:
            raise ValueError(f"a number larger than {LARGEST:,.0f} at {_place(text, pos)}")
        found.append(number)
        pos = token.end()
    return found, pos


def _after_gap(text: str, pos: int) -> int:
    gap = _GAP.match(text, pos)
    assert gap is not None  # it may be empty
    return gap.end()


def _place(text: str, pos: int) -> str:
    """Where a fault is: what stands there, and which character that is."""
    return f"{text[pos : pos + 24].strip()!r}, character {pos + 1}"
