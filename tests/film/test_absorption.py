"""From dye to absorbance: exists for natural logarithms taken for decadic ones, mg taken for g, a factor 10 between
L/(g cm) and g/m2, and for tests that swapped factors would pass (every example is asymmetric)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.colour import light_spd, observer_cmf
from layerpreview.film import absorbance10_of_load
from layerpreview.spray import load_mg_m2, pure_dye_g_per_L
from layerpreview.units import Strength

from ..literal import transmittance

TEN_MM_UM = 10_000.0


def absorbance_in_cell(absorptivity_L_per_g_cm: float, dye_g_per_L: float) -> float:
    """Absorbance of a 10 mm cell, by way of the load of a film as thick as the cell."""
    load = load_mg_m2(dye_g_per_L=dye_g_per_L, wet_film_um=TEN_MM_UM)
    return float(absorbance10_of_load(absorptivity_L_per_g_cm=absorptivity_L_per_g_cm, load_mg_m2=load))


def test_transmittance_table() -> None:
    """Exact by definition, T = 10^-A."""
    table = {0.0: 1.0, 0.05: 0.891251, 0.1: 0.794328, 0.5: 0.316228, 1.0: 0.1}
    assert transmittance(list(table)) == pytest.approx(list(table.values()), abs=6e-7)
    # Here the absorbance is the rounded one of the two.
    assert transmittance([0.3010, 0.6021, 1.3010]) == pytest.approx([0.5, 0.25, 0.05], rel=1.2e-4)
    assert transmittance([2.0, 3.0]) == pytest.approx([0.01, 0.001])


def test_textbook_problems() -> None:
    """25 %T is A = 0.602 (a Beer-Lambert page of a textbook publisher); 1 cm passes 70 %: A = 0.155, and 4.5 cm pass
    20 % (University of Guelph, physics, xm2/doc18a)."""
    assert float(transmittance(0.602)) == pytest.approx(0.25, abs=5e-4)
    assert float(transmittance(0.155)) == pytest.approx(0.70, abs=5e-4)
    assert float(transmittance(0.155 * 4.5)) == pytest.approx(0.20, abs=2e-3)


def test_load_and_absorptivity_by_hand() -> None:
    """A = 0.1 a m: 163 L/(g cm) at 5 g/L over 12.27 um is 61.35 mg/m2 and A = 1, the long way a c l as well."""
    load = load_mg_m2(dye_g_per_L=5.0, wet_film_um=12.269938650306749)
    assert load == pytest.approx(61.349693, abs=1e-6)
    assert float(absorbance10_of_load(absorptivity_L_per_g_cm=163.0, load_mg_m2=load)) == pytest.approx(1.0)
    assert float(163.0 * 5.0 * 12.269938650306749e-4) == pytest.approx(1.0)


def test_shapes_broadcast() -> None:
    a = absorbance10_of_load(absorptivity_L_per_g_cm=np.array([10.0, 20.0, 70.0]), load_mg_m2=np.array([[3.0], [9.0]]))
    assert a.shape == (2, 3)
    assert a[1] == pytest.approx([0.009, 0.018, 0.063])


@given(a=st.floats(0.1, 300.0), c=st.floats(0.01, 40.0), film_um=st.floats(5.0, 90.0), k=st.floats(1.0, 9.0))
def test_thinning_does_not_matter(a: float, c: float, film_um: float, k: float) -> None:
    thick = load_mg_m2(dye_g_per_L=c, wet_film_um=film_um)
    thinned = load_mg_m2(dye_g_per_L=c / k, wet_film_um=film_um * k)
    assert absorbance10_of_load(absorptivity_L_per_g_cm=a, load_mg_m2=thinned) == pytest.approx(
        absorbance10_of_load(absorptivity_L_per_g_cm=a, load_mg_m2=thick)
    )


@given(coats=st.integers(1, 60), a=st.floats(0.1, 300.0), load=st.floats(0.01, 30.0))
def test_coats_multiply_transmittance(coats: int, a: float, load: float) -> None:
    one = absorbance10_of_load(absorptivity_L_per_g_cm=a, load_mg_m2=load)
    all_coats = absorbance10_of_load(absorptivity_L_per_g_cm=a, load_mg_m2=coats * load)
    assert transmittance(all_coats) == pytest.approx(transmittance(one) ** coats, rel=1e-9)


# mg/L: A at 235, 257, 313, 350 nm in a 10 mm cell; potassium dichromate in 0.001 M perchloric acid (made from NIST SRM
# 935a), nominal absorbances printed by a maker of reference cells. Tolerances: how closely this real dye follows the
# law (it dimerises: Burke & Mavrodineanu, J. Res. NBS 80A, 631 (1976), doi 10.6028/jres.080A.062).
DICHROMATE = {
    20: (0.246, 0.286, 0.096, 0.214),
    40: (0.493, 0.574, 0.193, 0.428),
    60: (0.743, 0.865, 0.290, 0.643),
    80: (0.994, 1.157, 0.387, 0.858),
    100: (1.247, 1.452, 0.484, 1.074),
}
ABSORPTIVITY = {235: (12.429, 0.013), 257: (14.470, 0.013), 313: (4.836, 0.009), 350: (10.728, 0.004)}


@pytest.mark.parametrize(("column", "nm"), list(enumerate(ABSORPTIVITY)))
def test_dichromate(column: int, nm: int) -> None:
    absorptivity, within = ABSORPTIVITY[nm]
    for mg_per_L, row in DICHROMATE.items():
        assert absorbance_in_cell(absorptivity, mg_per_L / 1000.0) == pytest.approx(row[column], rel=within)


# nm: lowest and highest absorbance of platinum-cobalt (APHA) No. 500, 10 mm, ASTM D1209 Table 1.
PLATINUM_COBALT = {430: (0.110, 0.120), 455: (0.130, 0.145), 480: (0.105, 0.120), 510: (0.055, 0.065)}


@pytest.mark.parametrize("nm", PLATINUM_COBALT)
def test_platinum_cobalt_dilutes_to_its_number(nm: int) -> None:
    """The stock is No. 500; 300 mL of it in a litre are No. 150 and absorb three tenths."""
    low, high = PLATINUM_COBALT[nm]
    stock_g_per_L = 1.245 + 1.000  # K2PtCl6 and CoCl2.6H2O, same table
    absorptivity = 0.5 * (low + high) / stock_g_per_L
    diluted = pure_dye_g_per_L(Strength(300.0, "mL/L"), concentrate_g_per_L=stock_g_per_L).likely
    assert low < absorbance_in_cell(absorptivity, stock_g_per_L) < high
    assert 0.3 * low < absorbance_in_cell(absorptivity, diluted) < 0.3 * high


# Strength of the filter: x, y of illuminant A seen through it (2 deg), and the tolerance. Davis & Gibson, NBS Misc.
# Publ. 114 (1931): the filter that makes C out of A, and the weaker one of the same liquids that makes B (0.3484,
# 0.3516). Chromaticities of A, B and C: CIE 15; 0.7225 and 0.715 are the strengths found from the CIE spectra and from
# the recipes; the other points are recomputed.
DAVIS_GIBSON = {
    0.0: (0.44757, 0.40745, 2e-5),
    1.0: (0.31006, 0.31616, 2e-5),
    0.7225: (0.34842, 0.35161, 1e-3),
    0.715: (0.34842, 0.35161, 2.5e-3),
    0.5: (0.38096, 0.37463, 5e-4),
    0.25: (0.41545, 0.39435, 5e-4),
    2.0: (0.20356, 0.17194, 5e-4),
}


@pytest.mark.parametrize("strength", DAVIS_GIBSON)
def test_davis_gibson_filters(strength: float) -> None:
    """Lamp, dye and eye in one: our tables of A and C, our absorbance, our observer."""
    lamp, daylight = light_spd("A"), light_spd("C")
    filter_a = np.log10(lamp / daylight)  # up to a grey that x, y do not see; lifted so that no absorbance is negative
    filter_a = filter_a - filter_a.min()
    # The filter as a dye: 3.412 g/L of it (the recipe's copper sulphate, from memory) in a cell of 10 mm.
    dye_g_per_L = 3.412
    load = load_mg_m2(dye_g_per_L=strength * dye_g_per_L, wet_film_um=TEN_MM_UM)
    seen = lamp * transmittance(absorbance10_of_load(absorptivity_L_per_g_cm=filter_a / dye_g_per_L, load_mg_m2=load))
    xyz = seen @ observer_cmf(2)
    x, y, within = DAVIS_GIBSON[strength]
    assert xyz[:2] / xyz.sum() == pytest.approx([x, y], abs=within)
