"""Lines, Bezier curves and arcs of a drawing, exact under every transform, and their chords."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Matrix = NDArray[np.float64]
Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Lines:
    """Straight lines from where the last piece ended to each of the places, x + iy."""

    places: list[complex]


@dataclass(frozen=True, eq=False, slots=True)
class Cubic:
    """A cubic Bezier curve by its four places, x + iy."""

    places: tuple[complex, complex, complex, complex]


@dataclass(frozen=True, eq=False, slots=True)
class Arc:
    """centre + cos(t) along + sin(t) across, for t from `begin` over `turn` [radians]."""

    centre: complex
    along: complex
    across: complex
    begin: float
    turn: float
    end: complex
    """Where it was said to end, exactly."""


Piece = Lines | Cubic | Arc


@dataclass(eq=False, slots=True)
class Subpath:
    """One line of a drawing: where it starts, its pieces, and whether it is closed by Z."""

    start: complex
    pieces: list[Piece]
    closed: bool = False

    def places(self) -> list[complex]:
        """The places that all of it lies near: those of its lines and curves, the corners about its arcs."""
        found = [self.start]
        for piece in self.pieces:
            if isinstance(piece, Arc):
                corners = ((1, 1), (1, -1), (-1, 1), (-1, -1))
                found += [piece.centre + a * piece.along + b * piece.across for a, b in corners]
            else:
                found += piece.places
        return found


def quadratic(start: complex, middle: complex, end: complex) -> Cubic:
    """Return a quadratic Bezier curve as the same curve of third degree."""
    return Cubic((start, start + (middle - start) * (2 / 3), end + (middle - end) * (2 / 3), end))


def arc(start: complex, numbers: list[float], end: complex) -> Piece:
    """Return the arc of path data from `start` to `end`; `numbers`: two radii, an angle and two flags (SVG 2, B.2).

    Raises ValueError for radii that are too small for how far the ends lie apart.
    """
    rx, ry = abs(numbers[0]), abs(numbers[1])
    if rx == 0 or ry == 0 or start == end:
        return Lines([end])
    turned = cmath.rect(1.0, math.radians(math.fmod(numbers[2], 360.0)))
    half = (start - end) / 2 / turned
    x, y = half.real / rx, half.imag / ry
    over = x * x + y * y
    if not math.isfinite(over) or over > 1e24:
        raise ValueError("an arc whose radii are far too small for it")
    grow = max(1.0, math.sqrt(over))
    rx, ry, x, y = rx * grow, ry * grow, x / grow, y / grow
    over = max(over / (grow * grow), 1e-300)
    aside = math.sqrt(max(0.0, 1.0 / over - 1.0)) * (1 if numbers[3] != numbers[4] else -1)
    middle = complex(aside * y, -aside * x)  # in the circle of radius 1
    begin, finish = cmath.phase(complex(x, y) - middle), cmath.phase(complex(-x, -y) - middle)
    turn = finish - begin
    if numbers[4] and turn < 0:
        turn += 2 * math.pi
    elif not numbers[4] and turn > 0:
        turn -= 2 * math.pi
    centre = (start + end) / 2 + complex(middle.real * rx, middle.imag * ry) * turned
    return Arc(centre, rx * turned, 1j * ry * turned, begin, turn, end)


def whole_ellipse(centre: complex, rx: float, ry: float) -> Subpath:
    """Return a closed ellipse."""
    end = centre + rx
    return Subpath(end, [Arc(centre, complex(rx), complex(0, ry), 0.0, 2 * math.pi, end)], closed=True)


def moved(places: complex | list[complex] | tuple[complex, ...] | NDArray[np.complex128], matrix: Matrix) -> Points:
    """Return places under a transform, (n, 2)."""
    flat = np.atleast_1d(np.asarray(places, dtype=np.complex128))
    made: Points = np.stack((flat.real, flat.imag), axis=1) @ matrix[:, :2].T + matrix[:, 2]
    return made


def chords(subpath: Subpath, matrix: Matrix, step: float, *, most: int) -> Points:
    """Return the points (n, 2) of a line under a transform, its chords no further than `step` from it.

    It ends early, with more than `most` points, where there would be more.
    """
    parts = [moved(subpath.start, matrix)]
    count = 1
    for piece in subpath.pieces:
        parts.append(_piece(piece, matrix, step, most))
        count += len(parts[-1])
        if count > most:
            break
    return np.concatenate(parts)


def _piece(piece: Piece, matrix: Matrix, step: float, most: int) -> Points:
    """Points along a piece, its start left out: n chords stray at most max|r''| / (8 n^2) from it."""
    if isinstance(piece, Lines):
        return moved(piece.places, matrix)
    if isinstance(piece, Cubic):
        p = moved(piece.places, matrix)
        bend = 6 * max(float(np.hypot(*(p[0] - 2 * p[1] + p[2]))), float(np.hypot(*(p[1] - 2 * p[2] + p[3]))))
        t = _times(bend, step, most)
        if len(t) == 1:
            return p[3:]
        s = 1 - t
        made: Points = s**3 * p[0] + 3 * s * s * t * p[1] + 3 * s * t * t * p[2] + t**3 * p[3]
        return made
    ends = moved([piece.centre, piece.centre + piece.along, piece.centre + piece.across, piece.end], matrix)
    along, across = ends[1] - ends[0], ends[2] - ends[0]
    bend = piece.turn**2 * float(np.hypot(np.hypot(*along), np.hypot(*across)))
    t = piece.begin + piece.turn * _times(bend, step, most)
    round_it: Points = ends[0] + np.cos(t) * along + np.sin(t) * across
    round_it[-1] = ends[3]
    return round_it


def _times(bend: float, step: float, most: int) -> Points:
    """How far along a piece its points lie, above 0 to 1, (n, 1)."""
    wanted = math.sqrt(bend / (8 * step)) if bend / (8 * step) < most * most else float(most + 1)
    count = max(1, math.ceil(wanted)) if math.isfinite(wanted) else most + 1
    return np.linspace(0, 1, min(count, most + 1) + 1)[1:, None]
