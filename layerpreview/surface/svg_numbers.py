"""Lengths and transforms of an SVG drawing (SVG 2, 8; CSS Values 3, 6.2; CSS Transforms 1, 8)."""

from __future__ import annotations

import math
import re

import numpy as np
from numpy.typing import NDArray

from layerpreview.surface.svg_path import LARGEST, NUMBER

Matrix = NDArray[np.float64]
"""(2, 3): x, y and what is added."""

UNIT_MM = 25.4 / 96  # of a user unit without a viewBox
MM_PER = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6, "q": 0.25}
_DEG_PER = {"": 1.0, "deg": 1.0, "rad": 180 / math.pi, "grad": 0.9, "turn": 360.0}
_LENGTH = re.compile(rf"\s*+({NUMBER})\s*+([A-Za-z]*+|%)\s*+")
_FUNCTION = re.compile(r"[\s,]*+([A-Za-z]++)\s*+\(([^()]*+)\)[\s,]*+")
_TAKES = {"matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3), "skewx": (1,), "skewy": (1,)}
_TURNED = ("rotate", "skewx", "skewy")  # the first of their numbers is an angle
_SHOWN = 40

UNMOVED: Matrix = np.eye(2, 3)


def length(text: str, *, whole: float | None) -> float:
    """Return a length in user units; `whole` is what a percentage is of, None where that is not known.

    Raises ValueError saying what is wrong: no number, too large, or a unit that depends on a font or a window.
    """
    found = _LENGTH.fullmatch(text)
    if found is None:
        raise ValueError(f"{shown(text)} is not a length")
    number, unit = float(found[1]), found[2].lower()
    if unit in MM_PER:
        number *= MM_PER[unit] / UNIT_MM
    elif unit == "%":
        if whole is None:
            raise ValueError(f"{shown(text)} is a share of a page that has no size")
        number *= whole / 100
    elif unit not in ("", "px"):
        raise ValueError(f"{shown(text)} has a unit that is no fixed length")
    if not abs(number) <= LARGEST:
        raise ValueError(f"{shown(text)} is larger than {LARGEST:,.0f} units")
    return number


def length_mm(text: str | None) -> float | None:
    """Return a length with a physical unit in mm; None for pixels, percentages and nothing."""
    found = _LENGTH.fullmatch(text or "")
    if not found or found[2].lower() not in MM_PER:
        return None
    mm = float(found[1]) * MM_PER[found[2].lower()]
    return mm if 0 < mm < math.inf else None


def transform(text: str) -> Matrix:
    """Return the matrix of a `transform`. Raises ValueError saying what of it cannot be read."""
    matrix, pos = UNMOVED, 0
    if text.strip().lower() in ("", "none"):
        return matrix
    while pos < len(text):
        found = _FUNCTION.match(text, pos)
        if found is None:
            raise ValueError(f"its transform cannot be read at {shown(text[pos:])}")
        matrix = times(matrix, _function(found[1].lower(), found[2]))
        pos = found.end()
    return matrix


@np.errstate(over="ignore", invalid="ignore")  # what is too large is refused
def times(outer: Matrix, inner: Matrix) -> Matrix:
    """Return the transform that does `inner` first. Raises ValueError where its numbers grow too large."""
    made = outer[:, :2] @ inner
    made[:, 2] += outer[:, 2]
    if not (np.abs(made) <= LARGEST).all():
        raise ValueError(f"its transform has a number larger than {LARGEST:,.0f}")
    return made


def box_fitted(
    box: tuple[float, float, float, float], width: float, height: float, *, keep: str = ""
) -> tuple[Matrix, tuple[float, float]]:
    """Return how the viewBox (x, y, width, height) lies in a frame from (0, 0), and the size of the box.

    keep : `preserveAspectRatio` (SVG 2, 8.7).
    """
    x, y, wide, high = box
    scale_x, scale_y = width / wide, height / high
    words = keep.split() or ["xMidYMid"]
    if words[0] != "none":
        scale_x = scale_y = max(scale_x, scale_y) if "slice" in words else min(scale_x, scale_y)
    rests = (width - wide * scale_x, height - high * scale_y)
    shares = [next((share for word, share in at if word in words[0]), 0.5) for at in (_ALONG_X, _ALONG_Y)]
    moved = [share * rest for share, rest in zip(shares, rests, strict=True)]
    placed = np.array([[scale_x, 0.0, moved[0] - x * scale_x], [0.0, scale_y, moved[1] - y * scale_y]])
    return times(UNMOVED, placed), (wide, high)


_ALONG_X, _ALONG_Y = (("xMin", 0.0), ("xMax", 1.0)), (("YMin", 0.0), ("YMax", 1.0))


def view_box(text: str | None) -> tuple[float, float, float, float] | None:
    """Return the four numbers of a viewBox; None where there is none. Raises ValueError for one that cannot be used."""
    if text is None or not text.strip():
        return None
    parts = text.replace(",", " ").split()
    if len(parts) != 4 or not all(re.fullmatch(NUMBER, part) for part in parts):
        raise ValueError(f"its viewBox {shown(text)} is not four numbers")
    x, y, wide, high = (float(part) for part in parts)
    if not all(abs(number) <= LARGEST for number in (x, y, wide, high)):
        raise ValueError("its viewBox has a number too large to draw with")
    if wide <= 0 or high <= 0:
        raise ValueError(f"its viewBox {shown(text)} has no size")
    return x, y, wide, high


def shown(text: str) -> str:
    """Return a text of the drawing short enough for a line, in quotes."""
    text = text.strip()
    return repr(text if len(text) <= _SHOWN else text[: _SHOWN - 4] + " ...")


def _function(name: str, given: str) -> Matrix:
    parts = given.replace(",", " ").split()
    if name not in _TAKES or len(parts) not in _TAKES[name]:
        raise ValueError(f"its transform cannot be read at {shown(f'{name}({given})')}")
    turn = _angle(parts.pop(0)) if name in _TURNED else 0.0
    numbers = [length(part, whole=None) for part in parts]
    if name == "matrix":
        return np.array(numbers).reshape(3, 2).T
    if name == "translate":
        return np.array([[1.0, 0.0, numbers[0]], [0.0, 1.0, numbers[1] if len(numbers) > 1 else 0.0]])
    if name == "scale":
        return np.array([[numbers[0], 0.0, 0.0], [0.0, numbers[-1], 0.0]])
    cos, sin, tan = math.cos(turn), math.sin(turn), math.tan(turn)
    if name == "rotate":
        x, y = numbers or (0.0, 0.0)
        return np.array([[cos, -sin, x - x * cos + y * sin], [sin, cos, y - x * sin - y * cos]])
    return np.array([[1.0, tan if name == "skewx" else 0.0, 0.0], [tan if name == "skewy" else 0.0, 1.0, 0.0]])


def _angle(text: str) -> float:
    """An angle [radians]."""
    found = _LENGTH.fullmatch(text)
    if found is None or found[2].lower() not in _DEG_PER or not abs(float(found[1])) <= LARGEST:
        raise ValueError(f"{shown(text)} is not an angle")
    return math.radians(math.fmod(float(found[1]) * _DEG_PER[found[2].lower()], 360.0))
