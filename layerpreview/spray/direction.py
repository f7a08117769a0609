"""The way of the strokes, as people write it: in words or degrees, one way or several in turn."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

Way = float | Literal["along", "across", "crossed"]

LEVEL_DEG, UPRIGHT_DEG = 0.0, 90.0
_SAME = {"up and down": "vertical", "back and forth": "", "every other coat": ""}
_SAID_BESIDE = r"\b(?:first|from|alternately|alternating|in turn|by turns|strokes?|coats?|passes)\b"
_BETWEEN = r"[,;/+&]|\bthen\b|\band\b"
_WAYS: tuple[tuple[str, Way], ...] = (
    (r"left to right|right to left|side to side|horizontal(?:ly)?", LEVEL_DEG),
    (r"top to bottom|bottom to top|vertical(?:ly)?", UPRIGHT_DEG),
    (r"along\b.*|lengthwise|lengthways", "along"),
    (r"across\b.*|crosswise|crossways|widthwise", "across"),
    (r"cross(?:ed)?\b.*|criss-?cross|both (?:ways|directions)|at right angles", "crossed"),
)


def strokes_deg(text: str, *, width_mm: float, height_mm: float) -> tuple[float, ...] | None:
    """The ways of the strokes that `text` names, for the coats in turn [deg, 0 left to right, 90 top to bottom].

    "along" and "lengthwise" follow the longer side of a face of this box [mm], "across" the other; "crossed" is both.
    None where any piece of the text cannot be understood as a way.

    >>> strokes_deg("along the strings, then across", width_mm=320.0, height_mm=400.0)
    (90.0, 0.0)
    >>> strokes_deg("0 and 45 deg", width_mm=320.0, height_mm=400.0)
    (0.0, 45.0)
    >>> strokes_deg("as it comes", width_mm=320.0, height_mm=400.0) is None
    True
    """
    clean = " ".join(text.lower().replace("°", " deg").split())
    for words, meant in _SAME.items():
        clean = clean.replace(words, meant)
    pieces = [" ".join(re.sub(_SAID_BESIDE, " ", piece).split()) for piece in re.split(_BETWEEN, clean)]
    ways = [_way(piece, degrees=re.search(r"\bdeg", clean) is not None) for piece in pieces if piece]
    along = LEVEL_DEG if width_mm >= height_mm else UPRIGHT_DEG
    angles: list[float] = []
    for way in ways:
        if way is None:
            return None
        if way == "crossed":
            first = angles.pop() if angles else LEVEL_DEG
            angles += [first, (first + 90.0) % 180.0]
        else:
            angles.append(along if way == "along" else 90.0 - along if way == "across" else float(way))
    # The same way twice is one way: the coats' lines are shifted from coat to coat of one way.
    return tuple(angles[:1] if len(set(angles)) == 1 else angles) or None


def strokes_words(angles_deg: Sequence[float]) -> str:
    """The ways of the strokes in words.

    >>> strokes_words((90.0, 0.0, 30.0))
    'top to bottom, then left to right, then at 30 deg'
    """
    names = {LEVEL_DEG: "left to right", UPRIGHT_DEG: "top to bottom"}
    return ", then ".join(names.get(angle, f"at {angle:g} deg") for angle in angles_deg)


def _way(piece: str, *, degrees: bool) -> Way | None:
    number = re.fullmatch(r"(?:at )?([+-]?\d{1,3}(?:\.\d+)?)( ?deg(?:rees?)?)?", piece)
    if number and degrees:
        return float(number[1]) % 180.0
    return next((way for pattern, way in _WAYS if re.fullmatch(pattern, piece)), None)
