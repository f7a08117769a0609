"""The way of the strokes in words: exists for a way that is read as another, and for words that are taken for a way
though they say none."""

from __future__ import annotations

import pytest

from layerpreview.spray.direction import strokes_deg, strokes_words

TALL, WIDE = {"width_mm": 320.0, "height_mm": 400.0}, {"width_mm": 1117.0, "height_mm": 165.0}


@pytest.mark.parametrize(
    ("text", "tall", "wide"),
    [
        ("along the strings, then across", (90.0, 0.0), (0.0, 90.0)),
        ("along the shell while it turns", (90.0,), (0.0,)),
        ("lengthwise", (90.0,), (0.0,)),
        ("Across", (0.0,), (90.0,)),
        ("across, lengthwise", (0.0, 90.0), (90.0, 0.0)),
        ("crossed", (0.0, 90.0), (0.0, 90.0)),
        ("both ways", (0.0, 90.0), (0.0, 90.0)),
        ("cross each coat with the next", (0.0, 90.0), (0.0, 90.0)),
        ("every other coat at right angles", (0.0, 90.0), (0.0, 90.0)),
        ("lengthwise, crossed", (90.0, 0.0), (0.0, 90.0)),
        ("left to right", (0.0,), (0.0,)),
        ("from right to left", (0.0,), (0.0,)),
        ("up and down", (90.0,), (90.0,)),
        ("first top to bottom then left to right", (90.0, 0.0), (90.0, 0.0)),
        ("45 deg", (45.0,), (45.0,)),
        ("0 and 90 deg", (0.0, 90.0), (0.0, 90.0)),
        ("30°/120°", (30.0, 120.0), (30.0, 120.0)),
        ("-45 degrees", (135.0,), (135.0,)),
        ("45 deg, crossed", (45.0, 135.0), (45.0, 135.0)),
        ("0, 45 and 90 deg", (0.0, 45.0, 90.0), (0.0, 45.0, 90.0)),
        ("vertical, then top to bottom", (90.0,), (90.0,)),
    ],
)
def test_understood(text: str, tall: tuple[float, ...], wide: tuple[float, ...]) -> None:
    assert strokes_deg(text, **TALL) == tall
    assert strokes_deg(text, **WIDE) == wide


@pytest.mark.parametrize(
    "text", ["", "as it comes", "45", "round the rim", "not crossed", "lengthwise, slowly", "coats", "4500 deg"]
)
def test_not_understood(text: str) -> None:
    assert strokes_deg(text, **TALL) is None


def test_in_words_again() -> None:
    assert strokes_words((0.0,)) == "left to right"
    assert strokes_words((22.5, 90.0)) == "at 22.5 deg, then top to bottom"
