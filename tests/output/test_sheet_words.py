"""What the sheet says of an amount: exists for words that can be read in two ways."""

from __future__ import annotations

from fractions import Fraction

import pytest

from layerpreview.output.sheet_words import Words, measured
from layerpreview.spray.batch import Part, Tool, Tools, split_batch
from layerpreview.spray.ingredients import Ingredient, exact, ingredients_of

TWO = [Ingredient("amber", "dye", exact("0.014")), Ingredient("red", "dye", exact("0.0012"))]


def one(mL: str, tool: Tool, *, drops: int | None = None, g: str | None = None, line: str = "") -> Part:
    grams = None if g is None else exact(g)
    amount = exact(mL)
    return Part("x", "dye", tool, amount, amount, exact(line or mL), Fraction(0), drops, grams, grams, None, tool, None)


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (one("0.9", "1 mL syringe"), "0.90 mL, 1 mL syringe"),
        (one("1.4", "1 mL syringe"), "1 + 0.40 mL = 1.40 mL, 1 mL syringe"),
        (one("12.5", "10 mL syringe"), "10 + 2.5 mL = 12.5 mL, 10 mL syringe"),
        (one("20", "10 mL syringe"), "2 x 10 mL = 20.0 mL, 10 mL syringe"),
        (one("33.6", "10 mL syringe"), "3 x 10 + 3.6 mL = 33.6 mL, 10 mL syringe"),
        (one("43", "cup"), "up to the 43 mL line (43 mL)"),
        (one("49.48", "cup", line="51"), "up to the 51 mL line (49.48 mL more)"),
        (one("0.4", "drops", drops=18), "18 drops"),
        (one("0", "scale", g="3.7"), "3.7 g, weighed"),
    ],
)
def test_an_amount_is_told_in_one_way(part: Part, words: str) -> None:
    """Syringes of 1 and 10 mL: common sizes, no source. "1.40 mL, 2 times" was read as 2.80 mL by a painter."""
    assert measured(part, Words("metric")).replace("\u00a0", " ") == words


def test_marks_are_those_of_the_shop() -> None:
    tools = Tools(small_syringe_mL=exact("0.05"))
    batch = split_batch(ingredients_of(TWO, None), batch_mL=Fraction(100), tools=tools, coarse=True)
    told = [measured(part, Words("US", tools)).replace("\u00a0", " ") for part in batch.parts]
    assert told == [
        "1 + 0.40 mL = 1.40 mL, 1 mL syringe",
        "0.10 mL, 1 mL syringe",
        "up to the 100 mL line (98.5 mL more)",
    ]
