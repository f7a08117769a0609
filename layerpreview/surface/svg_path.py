"""The text of a drawing's lines: path data and lists of points, read from left to right and never gone back over.

Path data is read one number or command at a time (SVG 2, 9.3.9), so that the time it takes grows with its length
alone. Commas and blanks are both taken as gaps.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from layerpreview.surface.svg_curves import Cubic, Lines, Piece, Subpath, arc, quadratic

LARGEST = 1e9
"""No number of a drawing may be larger, in user units or mm."""
LIMIT_POINTS = 200_000
"""Of all lines of a drawing, a curve or an arc counted once; and again of all its chords."""
NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_GAP = re.compile(r"[ \t\r\n\f,]*")
_NUMBER = re.compile(rf"({NUMBER}){_GAP.pattern}")
_FLAG = re.compile(rf"([01]){_GAP.pattern}")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
_ARGUMENTS = {letter: count for name, count in _TAKES.items() for letter in (name, name.lower())}
_LIMIT_NUMBERS = LIMIT_POINTS * 7
_FLAGS = (3, 4)  # of the seven numbers of an arc; one character each, the next number may follow at once


class TooManyPointsError(ValueError):
    """More points than a drawing may have."""

    def __init__(self) -> None:
        super().__init__(f"more than {LIMIT_POINTS:,} points")


def read_path(d: str) -> list[Subpath]:
    """Return the lines of path data. Raises ValueError saying what is wrong with it (SVG 2, 9.3)."""
    pen = _Pen()
    for command, numbers in _commands(d):
        pen.draw(command, numbers)
    return pen.lines


def path_fault(d: str) -> str:
    """Return what is wrong with the path data `d`, or an empty text."""
    try:
        read_path(d)
    except ValueError as fault:
        return str(fault)
    return ""


def read_points(text: str) -> list[tuple[float, float]]:
    """Return the points of a polygon or polyline. Raises ValueError saying what is wrong with `text`."""
    numbers, end = _numbers(text, _after_gap(text, 0))
    if end < len(text):
        raise ValueError(f"not a number at {_place(text, end)}")
    if len(numbers) % 2:
        raise ValueError(f"{len(numbers)} numbers where a point takes 2")
    if len(numbers) > 2 * LIMIT_POINTS:
        raise TooManyPointsError
    return list(zip(numbers[::2], numbers[1::2], strict=True))


class _Pen:
    """Follows the commands of path data; a place is x + iy."""

    def __init__(self) -> None:
        self.lines: list[Subpath] = []
        self._at = 0j
        self._mirrored: dict[str, complex] = {}  # the control place of the last curve, for the next smooth one
        self._count = 0

    def draw(self, command: str, numbers: list[float]) -> None:
        """Follow one command with all its numbers."""
        name, relative = command.upper(), command.islower()
        takes = _TAKES[name]
        self._count += len(numbers) // takes if takes else 1
        if self._count > LIMIT_POINTS:
            raise TooManyPointsError
        if name == "Z":
            self._mirrored = {}
            self.lines[-1].closed = True
            self._at = self.lines[-1].start
            return
        for k in range(0, len(numbers), takes):
            self._one("L" if name == "M" and k else name, numbers[k : k + takes], self._at if relative else 0j)

    def _one(self, name: str, given: list[float], origin: complex) -> None:
        if name == "H":
            end = complex(given[0] + origin.real, self._at.imag)
        elif name == "V":
            end = complex(self._at.real, given[0] + origin.imag)
        else:
            end = complex(given[-2], given[-1]) + origin
        if name == "M":
            self.lines.append(Subpath(end, []))
            self._mirrored = {}
        else:
            if self.lines[-1].closed:  # what follows a Z starts where that line did
                self.lines.append(Subpath(self._at, []))
            pieces = self.lines[-1].pieces
            if name in "LHV":
                self._mirrored = {}
                if pieces and isinstance(pieces[-1], Lines):
                    pieces[-1].places.append(end)
                else:
                    pieces.append(Lines([end]))
            else:
                pieces.append(self._curve(name, given, origin, end))
        self._at = end

    def _curve(self, name: str, given: list[float], origin: complex, end: complex) -> Piece:
        if name == "A":
            self._mirrored = {}
            return arc(self._at, given[:5], end)
        places = [complex(x, y) + origin for x, y in zip(given[:-2:2], given[1:-2:2], strict=True)]
        kind = "C" if name in "CS" else "Q"
        if name in "ST":
            places.insert(0, 2 * self._at - self._mirrored.get(kind, self._at))
        self._mirrored = {kind: places[-1]}
        if kind == "Q":
            return quadratic(self._at, places[0], end)
        return Cubic((self._at, places[0], places[1], end))


def _commands(d: str) -> Iterator[tuple[str, list[float]]]:
    """Every command of the path data and its numbers. Raises ValueError saying what is wrong."""
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
        yield command, numbers


def _numbers(text: str, pos: int, *, arcs: bool = False) -> tuple[list[float], int]:
    """The numbers from `pos` on, and where they end. Raises ValueError for one that is too large, and for too many."""
    found: list[float] = []
    while token := (_FLAG if arcs and len(found) % 7 in _FLAGS else _NUMBER).match(text, pos):
        number = float(token[1])
        if abs(number) > LARGEST:
            raise ValueError(f"a number larger than {LARGEST:,.0f} at {_place(text, pos)}")
        found.append(number)
        if len(found) > _LIMIT_NUMBERS:
            raise TooManyPointsError
        pos = token.end()
    return found, pos


def _after_gap(text: str, pos: int) -> int:
    gap = _GAP.match(text, pos)
    assert gap is not None  # it may be empty
    return gap.end()


def _place(text: str, pos: int) -> str:
    """Where a fault is: what stands there, and which character that is."""
    return f"{text[pos : pos + 24].strip()!r}, character {pos + 1}"
