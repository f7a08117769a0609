"""Amounts: exist for litres taken for millilitres, water's drops taken for solvent's, a best case divided by the worst,
and for a density that is asked of the wrong liquid. Numbers are asymmetric: every factor is different."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.spray import (
    DROPS_PER_ML_SOLVENT,
    as_sold,
    dry_film_um,
    landed_mL,
    load_mg_m2,
    pure_dye_g_per_L,
    to_spray_mL,
)
from layerpreview.spray.budget import wet_film_um
from layerpreview.units import Range, Strength, parse_quantity, parse_strength

MIL_UM = 25.4
US_GALLON_L = 3.785411784
FT2_M2 = 0.09290304


def test_one_gram_per_litre_over_one_micrometre_is_one_milligram_per_square_metre() -> None:
    assert load_mg_m2(dye_g_per_L=0.48, wet_film_um=37.0) == pytest.approx(17.76)


def test_us_coverage_constant() -> None:
    """1 US gallon of solids covers 1604 ft2 at 1 mil (231 in3 / 0.144; geionline.com, wet film formulae), and
    1604 x 0.65 / 5 mil = 208.52 ft2/gal (the same sheets); both are 1000 m2 um/L told in feet."""
    per_gallon = 1000.0 / wet_film_um(solids=1.0, dry_um=MIL_UM) * US_GALLON_L / FT2_M2
    assert per_gallon == pytest.approx(1604.17, abs=0.01)
    at_5_mil = 1000.0 / wet_film_um(solids=0.65, dry_um=5 * MIL_UM) * US_GALLON_L / FT2_M2
    assert at_5_mil == pytest.approx(208.52, abs=0.03)
    at_2_mil = 1000.0 / wet_film_um(solids=0.35, dry_um=2 * MIL_UM) * US_GALLON_L / FT2_M2
    assert at_2_mil == pytest.approx(280.7, abs=0.05)


def test_si_coverage_constant() -> None:
    """10 x 65 % / 125 um = 5.2 m2/L (the same sheets; one of them misprints the constant)."""
    assert 1000.0 / wet_film_um(solids=0.65, dry_um=125.0) == pytest.approx(5.2)


def test_thinned_film() -> None:
    """8 mil wet, 35 % solids, 10 % thinner: 2.545 mil dry (geionline.com formula; its sheet prints the unthinned
    2.8)."""
    assert dry_film_um(wet_film_um=8.0, solids=0.35, thinner=0.10) == pytest.approx(2.5455, abs=1e-4)
    assert dry_film_um(wet_film_um=8.0, solids=0.35) == pytest.approx(2.8)


# mN/m and g/mL at about 20 deg C (handbook values, from memory); drops per mL from a tip that gives 20 of water, by
# Tate's law, which holds within 15 %.
LIQUIDS = {
    "toluene": (28.4, 0.867),
    "xylene": (28.9, 0.864),
    "butyl acetate": (25.1, 0.882),
    "MEK": (24.6, 0.805),
    "acetone": (23.7, 0.791),
    "ethanol": (22.3, 0.789),
    "isopropanol": (21.7, 0.786),
}


def _drops_per_mL(tension: float, density: float) -> float:
    """A drop of water weighs 0.05 g (USP <1101>); mass goes with surface tension (Tate)."""
    return density / (0.05 * tension / 72.8)


@pytest.mark.parametrize("liquid", LIQUIDS)
def test_solvent_drops(liquid: str) -> None:
    drops = _drops_per_mL(*LIQUIDS[liquid])
    assert DROPS_PER_ML_SOLVENT.low - 1.0 < drops < DROPS_PER_ML_SOLVENT.high + 1.0


def test_water_drops() -> None:
    """USP <1101>: 20 drops per mL within 10 %; counting a solvent so is 2.2 to 2.65 times too much."""
    assert _drops_per_mL(72.8, 0.998) == pytest.approx(20.0, abs=0.1)
    assert DROPS_PER_ML_SOLVENT.low / 20.0 == pytest.approx(2.2)
    assert DROPS_PER_ML_SOLVENT.high / 20.0 == pytest.approx(2.65)


def test_volume_by_hand() -> None:
    """0.08 m2, 3 coats of 35..40..50 um at build 0.5, 40..50..80 % landing, 15 mL left in the cup: 0.08 x 3 x 0.5 =
    0.12 m2, so 4.2, 4.8 and 6 mL land; with 1..2..3 mL past the edges 5.2/.8, 6.8/.5 and 9/.4 mL are sprayed."""
    landed = landed_mL(area_m2=0.08 * 0.5, wet_film_um=Range(35.0, 40.0, 50.0), coats=3)
    assert (landed.low, landed.likely, landed.high) == pytest.approx((4.2, 4.8, 6.0))
    needed = to_spray_mL(
        landed_mL=landed, past_edges_mL=Range(1.0, 2.0, 3.0), transfer=Range(0.4, 0.5, 0.8), residue_mL=15.0
    )
    assert (needed.low, needed.likely, needed.high) == pytest.approx((21.5, 28.6, 37.5))


# What is written, with what the dye and the mix are like: pure dye in g per litre of mix, low - likely - high.
# Dye as sold 40 g/L, 0.9 g/mL, 40..50..60 drops per mL; mix 0.8 g/mL.
AMOUNTS = {
    "12 mL/L": (0.48, 0.48, 0.48),
    "1.2 %": (0.48, 0.48, 0.48),
    "20 drops per 100 mL": (200 / 60 * 0.04, 200 / 50 * 0.04, 200 / 40 * 0.04),
    "3 g/L": (3 / 0.9 * 0.04,) * 3,  # 3 g of the dye as sold are 3.33 mL
    "2 % by weight": (20 * 0.8 / 0.9 * 0.04,) * 3,  # a litre weighs 800 g, 16 g of it dye, 17.8 mL
}


@pytest.mark.parametrize("written", AMOUNTS)
def test_every_strength_unit(written: str) -> None:
    pure = pure_dye_g_per_L(
        parse_strength(written),
        concentrate_g_per_L=40.0,
        drops_per_mL=Range(40.0, 50.0, 60.0),
        dye_density_g_per_mL=0.9,
        mix_density_g_per_mL=0.8,
    )
    assert (pure.low, pure.likely, pure.high) == pytest.approx(AMOUNTS[written])


def test_powder_is_weighed() -> None:
    assert pure_dye_g_per_L(parse_strength("3 g/L"), concentrate_g_per_L=None) == Range.point(3.0)
    by_weight = pure_dye_g_per_L(parse_strength("0.5 % by weight"), concentrate_g_per_L=None, mix_density_g_per_mL=0.9)
    assert by_weight.likely == pytest.approx(4.5)


@pytest.mark.parametrize("written", ["12 mL/L", "20 drops per 100 mL", "1.2 %"])
def test_powder_by_volume_is_refused(written: str) -> None:
    with pytest.raises(ValueError, match="powder is weighed"):
        pure_dye_g_per_L(parse_strength(written), concentrate_g_per_L=None, drops_per_mL=Range.point(20.0))


@pytest.mark.parametrize(
    ("written", "given_", "missing"),
    [
        ("3 g/L", {"mix_density_g_per_mL": 0.8}, "the dye's density"),
        ("2 % by weight", {"mix_density_g_per_mL": 0.8}, "the dye's density"),
        ("2 % by weight", {"dye_density_g_per_mL": 0.9}, "the mix's density"),
        ("20 drops per 100 mL", {"dye_density_g_per_mL": 0.9, "mix_density_g_per_mL": 0.8}, "drops_per_mL"),
    ],
)
def test_what_is_missing_is_named(written: str, given_: dict[str, float], missing: str) -> None:
    with pytest.raises(ValueError, match=missing):
        pure_dye_g_per_L(parse_strength(written), concentrate_g_per_L=40.0, **given_)


def test_as_sold_of_a_liquid_is_millilitres() -> None:
    sold = as_sold(
        Strength(3.0, "g/L"), drops_per_mL=None, dye_density_g_per_mL=0.9, mix_density_g_per_mL=None, powder=False
    )
    assert sold.likely == pytest.approx(3.0 / 0.9)


@given(c=st.floats(0.1, 200.0), film_um=st.floats(5.0, 100.0), parts=st.floats(1.0, 10.0))
def test_dilution_leaves_the_load(c: float, film_um: float, parts: float) -> None:
    """Thinned k-fold and sprayed k times as wet: the same dye on the part."""
    assert load_mg_m2(dye_g_per_L=c / parts, wet_film_um=film_um * parts) == pytest.approx(
        load_mg_m2(dye_g_per_L=c, wet_film_um=film_um)
    )


@given(
    area_m2=st.floats(0.001, 2.0),
    film_um=st.floats(5.0, 90.0),
    coats=st.integers(1, 60),
    transfer=st.floats(0.2, 1.0),
    build=st.floats(0.05, 1.0),
)
def test_what_lands_is_what_covers(area_m2: float, film_um: float, coats: int, transfer: float, build: float) -> None:
    """Volume over area gives the film back, and without losses exactly what lands is needed."""
    landed = landed_mL(area_m2=area_m2 * build, wet_film_um=Range.point(film_um), coats=coats)
    nothing = Range.point(0.0)
    needed = to_spray_mL(landed_mL=landed, past_edges_mL=nothing, transfer=Range.point(transfer), residue_mL=0.0)
    assert landed.likely / area_m2 / coats / build == pytest.approx(film_um)
    assert needed.likely * transfer == pytest.approx(landed.likely)


def test_us_ounces_per_gallon_reach_the_load() -> None:
    """2 fl oz/gal = 15.625 mL/L (128 fl oz to the gallon, exact); at 40 g/L and 2 mil wet 31.75 mg/m2."""
    pure = pure_dye_g_per_L(parse_strength("2 fl oz/gal"), concentrate_g_per_L=40.0).likely
    film_um = parse_quantity("2 mil", "film")
    assert load_mg_m2(dye_g_per_L=pure, wet_film_um=film_um) == pytest.approx(15.625 * 0.04 * 50.8)
