"""Exists for the mistakes shop input invites: commas read as thousands, fractions cut short, ounces guessed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.units import Dimension, Range, UnitError, parse_quantity, parse_range, parse_strength, shop_length

# Factors exact by definition: inch, pound and US gallon (NIST SP 811 appendix B, from memory), imperial gallon (UK
# Weights and Measures Act 1985, from memory); a fluid ounce is 1/128 of the US and 1/160 of the imperial gallon.
EXACT: list[tuple[str, Dimension, float]] = [
    ("1 in", "length", 25.4),
    ("1 ft", "length", 304.8),
    ("1 mil", "length", 0.0254),
    ("1 mil", "film", 25.4),
    ("1 gal", "volume", 3785.411784),
    ("1 fl oz", "volume", 29.5735295625),
    ("1 imp fl oz", "volume", 28.4130625),
    ("1 imp gal", "volume", 4546.09),
    ("1 lb", "mass", 453.59237),
    ("1 oz wt", "mass", 28.349523125),
    ("1 oz av", "mass", 28.349523125),
]
EXACT_BY_PARTS: list[tuple[str, Dimension, str]] = [
    ("4 qt", "volume", "1 gal"),
    ("8 pints", "volume", "1 gal"),
    ("128 fl oz", "volume", "1 us gal"),
    ("160 imp fl oz", "volume", "1 imperial gallon"),
    ("4 imp qt", "volume", "8 imp pt"),
    ("20 imp fl oz", "volume", "1 imp pt"),
    ("16 oz wt", "mass", "1 lb"),
    ("12 inches", "length", "1 foot"),
]
WRITTEN: list[tuple[str, Dimension, float]] = [
    ("25 mm", "length", 25.0),
    ("25mm", "length", 25.0),
    ("  25   mm ", "length", 25.0),
    ("25,5 mm", "length", 25.5),
    ("25.5 MM", "length", 25.5),
    ("0,125 mm", "length", 0.125),
    (",5 mm", "length", 0.5),
    ("1234,5 mm", "length", 1234.5),
    ("1.234 mm", "length", 1.234),
    ("1 1/2 in", "length", 38.1),
    ("1-1/2 in", "length", 38.1),
    ("1½ in", "length", 38.1),
    ("3/4 in", "length", 19.05),
    ("¾″", "length", 19.05),
    ('3/4"', "length", 19.05),
    ("3/4”", "length", 19.05),
    ("2'", "length", 609.6),
    ("2′", "length", 609.6),
    ("1e2 mm", "length", 100.0),
    ("45 um", "film", 45.0),
    ("45 \u00b5m", "film", 45.0),
    ("45 \u03bcm", "film", 45.0),
    ("45 microns", "film", 45.0),
    ("0.045 mm", "film", 45.0),
    ("3 fl. oz.", "volume", 88.7205886875),
    ("3 oz fl", "volume", 88.7205886875),
    ("7 cl", "volume", 70.0),
    ("0.95 g/mL", "density", 0.95),
    ("0,95 kg/L", "density", 0.95),
    ("950 kg/m³", "density", 0.95),
    ("40 g/L", "concentration", 40.0),
    ("40 mg/mL", "concentration", 40.0),
    ("4 g per 100 mL", "concentration", 40.0),
    ("40 kg/m3", "concentration", 40.0),
    ("22 %", "fraction", 0.22),
    ("22%", "fraction", 0.22),
    ("45 deg", "angle", 45.0),
    ("-45°", "angle", -45.0),
    ("48", "drops", 48.0),
    ("48 drops per mL", "drops", 48.0),
]
REFUSED: list[tuple[str, Dimension, str]] = [
    ("3 oz", "volume", 'write "fl oz" or "oz wt"'),
    ("3 oz", "mass", 'write "fl oz" or "oz wt"'),
    ("3 ounces", "volume", 'write "fl oz" or "oz wt"'),
    ("3 oz/gal", "concentration", 'write "fl oz" or "oz wt"'),
    ("1,234 mm", "length", 'write "1234 mm" or "1.234 mm"'),
    ("12,345.6 mm", "length", "without thousands marks"),
    ("1.234,5 mm", "length", "without thousands marks"),
    ("1 234 mm", "length", "two numbers"),
    ("300", "length", "no unit"),
    ("", "length", "a length is wanted"),
    ("wide", "length", "a number and a unit"),
    ("inf mm", "length", "a number and a unit"),
    ("nan mm", "length", "a number and a unit"),
    ("1e999 mm", "length", "is not known here"),
    ("1e99999999999 mm", "length", "is not known here"),
    ("-3 mm", "length", "negative"),
    ("−3 mm", "length", "negative"),
    ("3/0 in", "length", "not a fraction"),
    ("1 3/2 in", "length", "not a fraction"),
    ("5 mL", "length", "is a volume, a length is wanted"),
    ("5 milimetre", "length", 'did you mean "millimetre"'),
    ("5 g/mm", "density", "is not known here"),
    ("4 g per 0 mL", "concentration", "zero"),
    ("0.22", "fraction", "no unit"),
    ("35 to 50 mm", "length", "not a range"),
    ("9" * 100 + " mm", "length", "a length is wanted"),
]


@pytest.mark.parametrize(("text", "dimension", "expected"), EXACT + WRITTEN)
def test_value_in_base_unit(text: str, dimension: Dimension, expected: float) -> None:
    assert parse_quantity(text, dimension) == expected


@pytest.mark.parametrize(("text", "dimension", "same"), EXACT_BY_PARTS)
def test_parts_make_the_whole_exactly(text: str, dimension: Dimension, same: str) -> None:
    assert parse_quantity(text, dimension) == parse_quantity(same, dimension)


@pytest.mark.parametrize(("text", "dimension", "said"), REFUSED)
def test_refused_with_rule_and_remedy(text: str, dimension: Dimension, said: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, dimension)
    rule, remedy = caught.value.args
    assert said in f"{rule}; {remedy}" == str(caught.value)
    assert remedy
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("35 to 50 um", "film", (35.0, 42.5, 50.0)),
        ("35-50 um", "film", (35.0, 42.5, 50.0)),
        ("35–50um", "film", (35.0, 42.5, 50.0)),
        ("35 … 50 um", "film", (35.0, 42.5, 50.0)),
        ("35 um to 0,05 mm", "film", (35.0, 42.5, 50.0)),
        ("44 ± 5 um", "film", (39.0, 44.0, 49.0)),
        ("44 +/- 5 um", "film", (39.0, 44.0, 49.0)),
        ("0,5-1,5 mil", "film", (12.7, 25.4, 38.1)),
        ("1-1/2 in", "length", (38.1, 38.1, 38.1)),
        ("1/2-3/4 in", "length", (12.7, 15.875, 19.05)),
        ("1-1 1/2 in", "length", (25.4, 31.75, 38.1)),
        ("40 to 65 %", "fraction", (0.40, 0.525, 0.65)),
        ("44 to 53", "drops", (44.0, 48.5, 53.0)),
    ],
)
def test_ranges(text: str, dimension: Dimension, expected: tuple[float, float, float]) -> None:
    assert parse_range(text, dimension) == Range(*expected)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("50 to 35 um", "the smaller figure first"),
        ("35 to um", "not known"),
        ("35 to 50", "no unit"),
        ("35 - 50 - 60 um", "not known"),
        ("5 ± 9 um", "negative"),
        ("1 to 2 oz", "fl oz"),
    ],
)
def test_ranges_refused(text: str, said: str) -> None:
    with pytest.raises(UnitError, match=said):
        parse_range(text, "film")


def test_litres_are_shown_with_a_big_letter() -> None:
    with pytest.raises(UnitError, match='"mL" is a volume'):
        parse_quantity("5 ml", "length")
    with pytest.raises(UnitError, match='did you mean "mL/L"'):
        parse_strength("5 mk/l")


def test_a_range_never_falls() -> None:
    with pytest.raises(UnitError, match="rise"):
        Range(3.0, 2.0, 4.0)


@pytest.mark.parametrize(
    ("text", "amount", "unit"),
    [
        ("12 mL/L", 12.0, "mL/L"),
        ("12 ml per litre", 12.0, "mL/L"),
        ("1,2 mL/100 mL", 12.0, "mL/L"),
        ("1.2 mL per 100 mL", 12.0, "mL/L"),
        ("5 mL in 100 mL", 50.0, "mL/L"),
        ("1.2 %", 12.0, "mL/L"),
        ("1.2% by volume", 12.0, "mL/L"),
        ("2 fl oz/gal", 15.625, "mL/L"),  # 2/128, US both
        ("2 oz fl per quart", 62.5, "mL/L"),  # 2/32
        ("2 imp fl oz/imp gal", 12.5, "mL/L"),  # 2/160
        ("3 g/L", 3.0, "g/L"),
        ("0.3 g per 100 mL", 3.0, "g/L"),
        ("20 drops per 100 mL", 200.0, "drops/L"),
        ("20 drops/L", 20.0, "drops/L"),
        ("1 drop per mL", 1000.0, "drops/L"),
        ("2 % by weight", 2.0, "% by weight"),
        ("5 g/kg", 0.5, "% by weight"),
        ("0 mL/L", 0.0, "mL/L"),
    ],
)
def test_strengths(text: str, amount: float, unit: str) -> None:
    found = parse_strength(text)
    assert (found.amount, found.unit, found.written) == (amount, unit, text)


def test_strengths_in_us_units() -> None:
    assert parse_strength("3 drops per fl oz").amount == pytest.approx(3000 / 29.5735295625, rel=1e-15)
    assert parse_strength("1 oz wt/gal").amount == pytest.approx(28.349523125 / 3.785411784, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("12", "no unit"),
        ("12 mL", "is a volume, a strength is wanted"),
        ("2 oz/gal", "fl oz"),
        ("2 fl oz/oz", "fl oz"),
        ("20 drops", "drops in how much mix"),
        ("1:20", "two ways"),
        ("1 to 20", "two ways"),
        ("-1 mL/L", "negative"),
        ("1001 mL/L", "more dye than a mix can hold"),
        ("101 % by weight", "more dye than a mix can hold"),
        ("3 mm/L", "did you mean"),
        ("3 mL/g", "is not known here"),
        ("1 to 2 mL/L", "not a range"),
        ("strong", "a strength is wanted"),
    ],
)
def test_strengths_refused(text: str, said: str) -> None:
    with pytest.raises(UnitError, match=said):
        parse_strength(text)


decimals = st.decimals(min_value=0, max_value=9999, places=4, allow_nan=False, allow_infinity=False)


@given(decimals)
def test_point_and_comma_say_the_same(number) -> None:
    text = f"{number:.4f}"
    assert (
        parse_quantity(f"{text.replace('.', ',')} mm", "length")
        == parse_quantity(f"{text} mm", "length")
        == float(text)
    )


@given(st.integers(0, 99), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_mixed_fractions_are_exact(whole: int, top: int, bottom: int) -> None:
    top %= bottom
    assert parse_quantity(f"{whole} {top}/{bottom} in", "length") == pytest.approx(
        25.4 * (whole + top / bottom), rel=1e-15
    )


@given(decimals, st.sampled_from(["mm", "cm", "m", "in", "ft", "um", "mil"]))
def test_a_film_is_a_thousand_times_its_length(number, unit: str) -> None:
    text = f"{number} {unit}"
    assert parse_quantity(text, "film") == pytest.approx(1000 * parse_quantity(text, "length"), rel=1e-15)


@given(decimals, decimals)
def test_ranges_rise_or_are_refused(a, b) -> None:
    text = f"{a} to {b} um"
    if a <= b:
        found = parse_range(text, "film")
        assert (found.low, found.high) == (float(a), float(b))
        assert found.low <= found.likely <= found.high
    else:
        with pytest.raises(UnitError):
            parse_range(text, "film")


@given(st.text(max_size=60))
def test_any_text_gives_a_quantity_or_one_clear_line(text: str) -> None:
    for parse in (parse_strength, lambda t: parse_range(t, "film"), lambda t: parse_quantity(t, "concentration")):
        said = ""
        try:
            parse(text)
        except UnitError as error:
            said = str(error)
        assert len(said.splitlines()) <= 1


@pytest.mark.parametrize(
    ("mm", "written"),
    [
        ("0", "0 in"),
        ("0.5", "under 1/16 in"),
        ("25.4", "1 in"),
        ("39.9", "1 9/16 in"),  # 1.571 in: 25.1 sixteenths
        ("69.85", "2 3/4 in"),
        ("303.9", "11 15/16 in"),  # 11.965 in is nearer to 11 15/16 than to 12
        ("304.4", "12 in"),
        ("533.4", "21 in"),
        ("546.1", "21 1/2 in"),
        ("1412", "55 5/8 in"),
        ("3048", "10 ft"),
        ("5000", "16 1/2 ft"),
    ],
)
def test_us_lengths_are_read_off_a_rule(mm: str, written: str) -> None:
    """By hand from 1 in = 25.4 mm exactly; sixteenths are the finest marks of a common rule (common practice)."""
    assert shop_length(float(mm), us=True) == written


@pytest.mark.parametrize(
    ("mm", "written"),
    [
        (0, "0 mm"),
        (0.04, "under 0.1 mm"),
        (6, "6 mm"),
        (37.7, "37.7 mm"),
        (250.7, "251 mm"),
        (999.7, "1 m"),
        (1412, "1.41 m"),
    ],
)
def test_metric_lengths_stay_metric(mm: float, written: str) -> None:
    assert shop_length(mm, us=False) == written


@given(st.floats(0.8, 9000.0), st.booleans())
def test_a_written_length_is_read_again_within_half_its_step(mm: float, us: bool) -> None:
    step = (
        (1 / 16 if mm < 12 * 25.4 else 1 / 8 if mm < 120 * 25.4 else 6) * 25.4
        if us
        else (0.1 if mm < 100 else 1 if mm < 999.5 else 10)
    )
    assert abs(parse_quantity(shop_length(mm, us=us), "length") - mm) <= step / 2 * (1 + 1e-9)


@pytest.mark.parametrize("mm", [-1.0, float("nan"), float("inf")])
def test_what_is_no_length_is_refused(mm: float) -> None:
    with pytest.raises(UnitError, match="0 or more"):
        shop_length(mm, us=True)
