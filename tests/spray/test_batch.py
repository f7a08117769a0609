"""Batches: exist for amounts that do not add up after rounding, for a scale's step taken for a syringe's, for a ratio
by weight used as one by volume, and for a thinner poured as a catalyst. Numbers are asymmetric."""

from __future__ import annotations

import random
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.errors import InputError
from layerpreview.scheme.work_fields import parse_ratio
from layerpreview.spray.batch import (
    Batch,
    Tools,
    rounded,
    rounded_up,
    smallest_batch_mL,
    split_batch,
    split_cups,
)
from layerpreview.spray.ingredients import Ingredient, exact, ingredients_of
from layerpreview.units import Range

TOOLS = Tools()
DENSITIES = {"carrier": exact("0.95"), "thinner": exact("0.87"), "catalyst": exact("1.06")}


def dye(name: str, mL_per_L: float, density: float | None = 0.9, *, counted: bool = False) -> Ingredient:
    grams = None if density is None else exact(density)
    return Ingredient(name, "dye", exact(mL_per_L) / 1000, grams, Range(44.0, 49.0, 53.0), counted=counted)


def check_adds_up(batch: Batch) -> None:
    """Rounded parts sum to the batch, running totals run, and every part can be measured with the tool named."""
    line_mL, line_g = Fraction(0), Fraction(0)
    for part in batch.parts:
        line_mL += part.mL
        assert part.line_mL == line_mL
        assert part.mL >= 0
        step = {"1 mL syringe": TOOLS.small_syringe_mL, "10 mL syringe": TOOLS.syringe_mL}.get(part.tool)
        if step:
            assert part.mL % step == 0
        if part.tool == "cup":
            assert part.line_mL % TOOLS.cup_step_mL(batch.batch_mL) == 0
        if batch.batch_g is not None:
            assert part.g is not None
            assert part.g % TOOLS.scale_g == 0
            line_g += part.g
            assert part.line_g == line_g
    assert sum(part.mL for part in batch.parts) == batch.batch_mL
    if batch.batch_g is not None:
        assert sum(part.g or 0 for part in batch.parts) == batch.batch_g


@pytest.mark.slow
def test_ten_thousand_random_batches_add_up_exactly() -> None:
    """Amounts sum to the batch, by definition; a seeded loop, so that the number is what it says."""
    chance = random.Random(71)
    for _ in range(10_000):
        dyes = [
            dye(f"d{i}", chance.randint(1, 600) / 10, chance.choice([0.81, 0.9, 1.13]), counted=chance.random() < 0.2)
            for i in range(chance.randint(0, 4))
        ]
        parts = chance.sample(["thinner", "catalyst"], chance.randint(0, 2))
        numbers = ":".join(str(chance.randint(1, 20)) for _ in range(len(parts) + 1))
        by = chance.choice(["volume", "weight"])
        ratio = parse_ratio(f"{numbers} {':'.join(['carrier', *parts])} by {by}") if parts else None
        ingredients = ingredients_of(dyes, ratio, densities_g_per_mL=DENSITIES)
        batch_mL = rounded_up(smallest_batch_mL(ingredients) * chance.randint(1, 9), Fraction(5))
        check_adds_up(split_batch(ingredients, batch_mL=batch_mL))


@given(mL_per_L=st.floats(0.5, 120.0), times=st.integers(1, 40))
def test_strength_is_off_by_five_percent_at_most_and_said(mL_per_L: float, times: int) -> None:
    ingredients = ingredients_of([dye("amber", round(mL_per_L, 3))], None)
    batch = split_batch(ingredients, batch_mL=smallest_batch_mL(ingredients) * times)
    amber = batch.parts[0]
    assert amber.exact_mL is not None
    assert amber.error_percent == (amber.mL / amber.exact_mL - 1) * 100
    assert abs(amber.error_percent) <= 5


@given(k=st.integers(2, 9))
def test_k_times_the_batch_is_k_times_the_exact_amounts(k: int) -> None:
    ingredients = ingredients_of(
        [dye("amber", 13.7), dye("red", 1.9)],
        parse_ratio("7:2:1 carrier:thinner:catalyst"),
        densities_g_per_mL=DENSITIES,
    )
    one, many = (split_batch(ingredients, batch_mL=Fraction(mL)) for mL in (150, 150 * k))
    for small, large in zip(
        sorted(one.parts, key=lambda p: p.name), sorted(many.parts, key=lambda p: p.name), strict=True
    ):
        assert small.exact_mL is not None
        assert large.exact_mL == k * small.exact_mL
        assert large.exact_g == k * (small.exact_g or 0)


def test_a_recipe_by_hand() -> None:
    """240 mL at 14 mL/L of amber and 4:1:1 by volume: 3.36 mL dye, and 236.64 mL as 157.76 + 39.44 + 39.44."""
    ratio = parse_ratio("4:1:1 clear:hardener:reducer")
    batch = split_batch(
        ingredients_of([dye("amber", 14.0)], ratio, densities_g_per_mL=DENSITIES), batch_mL=Fraction(240)
    )
    assert [(part.name, float(part.mL), float(part.line_mL), part.tool) for part in batch.parts] == [
        ("amber", 3.4, 3.4, "10 mL syringe"),
        ("carrier", 157.6, 161.0, "cup"),
        ("thinner", 40.0, 201.0, "cup"),
        ("catalyst", 39.0, 240.0, "cup"),
    ]
    assert float(batch.parts[0].error_percent) == pytest.approx(1.190, abs=1e-3)
    assert float(batch.batch_g or 0) == 229.0  # 3.024 + 149.872 + 34.3128 + 41.8064 = 229.0152
    assert [float(part.line_g or 0) for part in batch.parts] == [3.0, 152.9, 187.2, 229.0]


def test_a_ratio_by_weight_goes_through_the_densities() -> None:
    """3:1 by weight of 0.95 and 1.06 g/mL: of 100 mL, 3/0.95 to 1/1.06 by volume, 76.998 to 23.002 mL."""
    parts = ingredients_of([], parse_ratio("3:1 carrier:catalyst by weight"), densities_g_per_mL=DENSITIES)
    assert [float(part.share) for part in parts] == pytest.approx([0.769976, 0.230024], abs=1e-6)
    weights = [part.weight_share or Fraction(0) for part in parts]
    assert weights[0] == 3 * weights[1]


def test_a_little_catalyst_is_drawn_up_first() -> None:
    batch = split_batch(ingredients_of([], parse_ratio("9:1 carrier:catalyst")), batch_mL=Fraction(30))
    assert [(part.name, float(part.mL), part.tool) for part in batch.parts] == [
        ("catalyst", 3.0, "10 mL syringe"),
        ("carrier", 27.0, "cup"),
    ]


def test_whole_drops() -> None:
    """250 drops/L at 49 to the mL in 100 mL: 25 drops, whatever their size."""
    part = dye("red", 0.0, counted=True)
    part = Ingredient("red", "dye", exact(250.0 / 49.0 / 1000), None, part.drops_per_mL, counted=True)
    batch = split_batch(ingredients_of([part], None), batch_mL=Fraction(100))
    assert batch.parts[0].drops == 25
    check_adds_up(batch)


def test_a_powder_is_weighed_and_takes_no_room() -> None:
    powder = Ingredient("blue", "powder", exact("0.0123"))
    batch = split_batch(ingredients_of([powder], None, densities_g_per_mL=DENSITIES), batch_mL=Fraction(300))
    assert (float(batch.parts[0].g or 0), batch.parts[0].tool) == (3.7, "scale")
    assert batch.parts[1].mL == 300
    check_adds_up(batch)


def test_a_little_liquid_is_measured_by_syringe_beside_the_scale() -> None:
    ingredients = ingredients_of([dye("amber", 14.0), dye("red", 1.2)], None, densities_g_per_mL=DENSITIES)
    batch = split_batch(ingredients, batch_mL=Fraction(250))
    assert [part.weighed_with for part in batch.parts] == ["scale", "1 mL syringe", "scale"]


def test_what_lacks_a_density_is_named() -> None:
    batch = split_batch(ingredients_of([dye("amber", 14.0, None)], None), batch_mL=Fraction(250))
    assert batch.batch_g is None
    assert batch.no_density_of == ("amber", "carrier")


def test_bad_input_is_told_all_at_once() -> None:
    with pytest.raises(InputError) as caught:
        ingredients_of(
            [dye("amber", 1200.0)], parse_ratio("4:1:1 carrier:catalyst:thinner by weight"), place="mix.honey"
        )
    text = [str(problem) for problem in caught.value.problems]
    assert len(text) == 4
    assert "no room" in text[0]
    assert all("density" in line and "mix.honey" in line for line in text[1:])


@pytest.mark.parametrize("density", ["0", "-0.9"])
def test_a_density_is_more_than_nothing(density: str) -> None:
    with pytest.raises(InputError, match="more than 0"):
        ingredients_of([], None, densities_g_per_mL={"carrier": exact(density)})


@pytest.mark.parametrize("mL", [0, -20, Fraction(7, 2)])
def test_a_batch_is_whole_steps(mL: Fraction) -> None:
    with pytest.raises(InputError, match="whole number"):
        split_batch(ingredients_of([dye("amber", 14.0)], None), batch_mL=Fraction(mL))


def test_too_small_a_batch_says_the_smallest() -> None:
    ingredients = ingredients_of([dye("red", 1.2)], None)
    assert smallest_batch_mL(ingredients) == 85  # ten marks of 0.01 mL are 0.1 mL, which is 1.2 mL/L of 83.3 mL
    with pytest.raises(InputError, match="make at least 85 mL"):
        split_batch(ingredients, batch_mL=Fraction(40))
    assert split_batch(ingredients, batch_mL=Fraction(40), coarse=True).parts[0].mL == exact("0.05")
    with pytest.raises(InputError, match="nothing"):
        split_batch(ingredients, batch_mL=Fraction(1), coarse=True)


@pytest.mark.slow
@given(weights=st.lists(st.integers(1, 30), min_size=1, max_size=12), batch=st.integers(20, 900))
def test_cups_sum_to_the_batch(weights: list[int], batch: int) -> None:
    cups = split_cups(Fraction(batch), weights=[Fraction(w) for w in weights], step_mL=Fraction(1))
    assert sum(cups) == batch
    assert all(abs(cup - Fraction(batch * w, sum(weights))) <= 1 for cup, w in zip(cups, weights, strict=True))


@pytest.mark.parametrize(
    ("value", "step", "nearest", "up"),
    [
        ("3.54", "0.1", "3.5", "3.6"),
        ("3.56", "0.1", "3.6", "3.6"),
        ("0.25", "0.1", "0.3", "0.3"),  # a half goes up, to an odd number of steps too
        ("0.35", "0.1", "0.4", "0.4"),
        ("12", "5", "10", "15"),
        ("15", "5", "15", "15"),
    ],
)
def test_rounding_by_hand(value: str, step: str, nearest: str, up: str) -> None:
    assert rounded(exact(value), exact(step)) == exact(nearest)
    assert rounded_up(exact(value), exact(step)) == exact(up)


def test_cups_by_hand() -> None:
    """100 mL for 3, 2 and 2 parts: lines at 42.86 and 71.43 are read as 43 and 71."""
    assert split_cups(Fraction(100), weights=[Fraction(w) for w in (3, 2, 2)], step_mL=Fraction(1)) == (43, 28, 29)
    assert split_cups(Fraction(100), weights=[Fraction(w) for w in (3, 2, 2)], step_mL=Fraction(5)) == (45, 25, 30)


@pytest.mark.parametrize(
    ("kind", "mL", "batch_mL", "tool"),
    [
        ("dye", "1.99", 250, "1 mL syringe"),  # two fillings at most
        ("dye", "2", 250, "10 mL syringe"),
        ("thinner", "19", 250, "10 mL syringe"),  # between two lines of 1 mL, 20 mL is off by 5 % at most
        ("thinner", "20", 250, "cup"),
        ("catalyst", "20", 500, "cup"),
        ("catalyst", "99", 505, "10 mL syringe"),  # the large cup is read to 5 mL
        ("catalyst", "100", 505, "cup"),
    ],
)
def test_what_each_amount_is_measured_with(kind: str, mL: str, batch_mL: int, tool: str) -> None:
    """Common sizes of syringes and cups, no source."""
    part = Ingredient(kind, kind, exact(mL) / batch_mL)  # type: ignore[arg-type]
    rest = Ingredient("carrier", "carrier", 1 - part.share)
    batch = split_batch([rest, part], batch_mL=Fraction(batch_mL), coarse=True)
    found = next(made for made in batch.parts if made.kind == kind)
    assert found.tool == tool
    assert found.exact_mL == exact(mL)
    check_adds_up(batch)
    assert sum(found.fills_mL) == (0 if tool == "cup" else found.mL)
    assert all(fill <= (1 if tool == "1 mL syringe" else 10) for fill in found.fills_mL)


@pytest.mark.parametrize(
    ("mL", "fills"),
    [("0.07", "0.07"), ("1", "1"), ("1.4", "1 0.4"), ("10", "10"), ("12.5", "10 2.5"), ("33.6", "10 10 10 3.6")],
)
def test_every_fill_of_a_syringe_is_told(mL: str, fills: str) -> None:
    """ "1.40 mL, 2 times" could be read as 2.80 mL: full fills first, then the rest."""
    part = dye("amber", 1000 * float(mL) / 250)
    batch = split_batch(ingredients_of([part], None), batch_mL=Fraction(250), coarse=True)
    assert batch.parts[0].fills_mL == tuple(exact(fill) for fill in fills.split())
    assert batch.parts[-1].fills_mL == ()


@pytest.mark.parametrize(("mL", "with_"), [("2.2", "10 mL syringe"), ("2.3", "scale")])
def test_below_twenty_steps_of_the_scale_the_syringe_is_better(mL: str, with_: str) -> None:
    """0.1 g steps round 2 g by 2.5 % at most; at 0.9 g/mL that is 2.22 mL."""
    ingredients = ingredients_of([dye("amber", float(mL) * 4)], None, densities_g_per_mL=DENSITIES)
    batch = split_batch(ingredients, batch_mL=Fraction(250))
    assert batch.parts[0].weighed_with == with_
    error = batch.parts[0].weighed_error_percent
    assert error is not None
    assert abs(error) <= Fraction(5, 2)


@pytest.mark.parametrize(
    ("ingredient", "least"),
    [
        (Ingredient("blue", "powder", exact("0.0123")), 85),  # 10 x 0.1 g: 81.3 mL
        (Ingredient("red", "dye", exact("0.0123")), 10),  # 10 x 0.01 mL: 8.13 mL
        (Ingredient("red", "dye", exact("0.0123"), None, Range(44, 49, 53), counted=True), 20),  # 10 drops: 16.6 mL
        (Ingredient("thinner", "thinner", exact("0.0123")), 85),  # 10 x 0.1 mL
        (Ingredient("thinner", "thinner", Fraction(0)), 5),
        (Ingredient("carrier", "carrier", exact("0.0123")), 5),  # five marks of the cup
    ],
)
def test_the_smallest_batch_by_hand(ingredient: Ingredient, least: int) -> None:
    assert smallest_batch_mL([ingredient]) == least
