"""Ratios, times, prices and grits: exist for a hardener read as a thinner, minutes as hours, a price
per the wrong amount."""

from __future__ import annotations

import pytest

from layerpreview.scheme.work_fields import parse_grit, parse_minutes, parse_price, parse_ratio
from layerpreview.units import Range, UnitError


@pytest.mark.parametrize(
    ("text", "shares", "by"),
    [
        ("4:1:1 carrier:catalyst:thinner", {"carrier": "2/3", "catalyst": "1/6", "thinner": "1/6"}, "volume"),
        ("100:12,5 clear:reducer by weight", {"carrier": "8/9", "thinner": "1/9"}, "weight"),
        ("2 Lacquer : 1 Hardener by volume", {"carrier": "2/3", "catalyst": "1/3"}, "volume"),
    ],
)
def test_ratios(text: str, shares: dict[str, str], by: str) -> None:
    ratio = parse_ratio(text)
    assert {name: str(share) for name, share in ratio.parts} == shares
    assert ratio.by == by


@pytest.mark.parametrize(
    "text",
    ["4:1:1", "4:1", "", "carrier", "4:1 carrier", "4:0 carrier:thinner", "4:-1 carrier:thinner", "4:1 carrier:oil",
     "1:1 thinner:catalyst", "2:1 carrier:clear", "2001:1 carrier:thinner", "a:b carrier:thinner"],
)  # fmt: skip
def test_ratios_that_do_not_parse(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_ratio(text)
    assert caught.value.remedy


def test_times_prices_and_grits() -> None:
    assert parse_minutes("30 min to 1 h") == Range(30.0, 45.0, 60.0)
    assert parse_minutes("2-3 days") == Range(2880.0, 3600.0, 4320.0)
    assert float(parse_price("60 per qt").amount) == pytest.approx(60 / 946.352946)
    assert parse_price("12,5 per 100 g").per == "g"
    assert parse_grit("p1500") == 1500


@pytest.mark.parametrize("text", ["15", "20 to 10 min", "soon", "-5 min"])
def test_times_that_do_not_parse(text: str) -> None:
    with pytest.raises(UnitError):
        parse_minutes(text)


@pytest.mark.parametrize("text", ["38", "38 per", "38 per oz", "-3 per L", "4 per 0 L", "4 per mm"])
def test_prices_that_do_not_parse(text: str) -> None:
    with pytest.raises(UnitError):
        parse_price(text)


@pytest.mark.parametrize("text", ["800", "P8", "fine"])
def test_grits_that_do_not_parse(text: str) -> None:
    with pytest.raises(UnitError):
        parse_grit(text)
