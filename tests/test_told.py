"""What a value rests on stays with it through sums and products."""

from __future__ import annotations

import pytest

from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

FILM_UM = Told.of(Range(28.0, 40.0, 55.0), "um", Rest(Basis.ASSUMED, "medium"))
DYE_G_PER_L = Told.of(Range(1.5, 2.0, 2.25), "g/L", Rest(Basis.TABLE, about="concentrate"))


def test_a_point_is_a_range_of_one_figure() -> None:
    told = Told.of(15.0, "mL", Rest(Basis.STATED))
    assert (told.range, told.unit, told.basis) == (Range(15.0, 15.0, 15.0), "mL", "stated")


def test_a_product_rests_on_both() -> None:
    load = DYE_G_PER_L.times(FILM_UM.called("film"), "mg/m2")
    assert load.range == Range(42.0, 80.0, 123.75)
    assert (load.unit, load.basis) == ("mg/m2", "concentrate table; film assumed (medium)")
    assert load.weakest is Basis.ASSUMED


def test_a_known_factor_changes_only_the_figure() -> None:
    thick = FILM_UM.scaled(3)
    assert (thick.range, thick.unit, thick.rests_on) == (Range(84.0, 120.0, 165.0), "um", FILM_UM.rests_on)
    assert FILM_UM.scaled(0.5, "mL").unit == "mL"


def test_a_sum_names_each_ground_once() -> None:
    wet = Told.of(Range(50.0, 65.0, 90.0), "um", Rest(Basis.ASSUMED, "wet"))
    total = Told.total([each.called("film") for each in (FILM_UM, wet, FILM_UM)])
    assert total.range == Range(106.0, 145.0, 200.0)
    assert total.basis == "film assumed (medium), assumed (wet)"


def test_an_input_keeps_the_names_of_its_own_inputs() -> None:
    landed = Told.from_inputs(Range(1.0, 2.0, 3.0), "mL", film=FILM_UM)
    needed = Told.from_inputs(Range(2.0, 5.0, 9.0), "mL", landed=landed, strokes_past_edges=Rest(Basis.ASSUMED))
    assert needed.basis == "film assumed (medium); strokes past edges assumed"


@pytest.mark.parametrize(
    ("rests_on", "weakest"),
    [
        ((Basis.MEASURED, Basis.STATED), Basis.STATED),
        ((Basis.TABLE, Basis.COMPUTED), Basis.TABLE),
        ((), Basis.ASSUMED),
    ],
)
def test_a_value_is_as_good_as_its_weakest_ground(rests_on: tuple[Basis, ...], weakest: Basis) -> None:
    assert Told.of(1.0, "", *map(Rest, rests_on)).weakest is weakest
