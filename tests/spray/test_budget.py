"""Film budget: exist for wet taken for dry, a thinner left out, a best case taken for the worst, and a relief that more
clear would bring back. Numbers are asymmetric."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.errors import InputError
from layerpreview.spray import dry_film_um
from layerpreview.spray.budget import (
    GRIT_REMOVES_UM,
    burial,
    coats_to_bury,
    dry_um_of,
    left_over_peaks_um,
    relief_left_um,
    removed_by_um,
    wet_film_um,
)
from layerpreview.units import Range

MIL_UM = 25.4


def test_wet_film_of_a_dry_one() -> None:
    """2.8 mil dry at 35 %: 8 mil wet, with 10 % thinner 8.8 (WFT = DFT (1 + thinner) / VS; geionline.com)."""
    assert wet_film_um(dry_um=2.8 * MIL_UM, solids=0.35) == pytest.approx(8.0 * MIL_UM)
    assert wet_film_um(dry_um=2.8 * MIL_UM, solids=0.35, thinner=0.10) == pytest.approx(8.8 * MIL_UM)


@given(dry=st.floats(1, 200), solids=st.floats(0.05, 1.0), thinner=st.floats(0, 2))
def test_wet_to_dry_and_back(dry: float, solids: float, thinner: float) -> None:
    wet = wet_film_um(dry_um=dry, solids=solids, thinner=thinner)
    assert dry_film_um(wet_film_um=wet, solids=solids, thinner=thinner) == pytest.approx(dry)


def test_dry_range_is_the_widest() -> None:
    assert dry_um_of(Range(40, 60, 90), Range(0.3, 0.4, 0.6)) == Range(12.0, 24.0, 54.0)


@pytest.mark.parametrize("solids", [(-0.1, 0.2, 0.3), (0.0, 0.2, 0.3), (0.4, 0.9, 1.2)])
def test_solids_that_cannot_be(solids: tuple[float, float, float]) -> None:
    with pytest.raises(InputError, match="solids by volume"):
        dry_um_of(Range(40, 60, 90), Range(*solids))


def test_a_coat_that_levels_leaves_its_volatile_share() -> None:
    """Brute force: a level top at H over z dries to z + s (H - z); peak minus valley is (1 - s) of what it was."""
    peak, valley, solids, top = 70.0, 0.0, 0.45, 200.0
    dried = [z + solids * (top - z) for z in (valley, peak)]
    assert dried[1] - dried[0] == pytest.approx(relief_left_um(relief_um=70.0, coats=1, solids=solids))
    again = [z + solids * (top + 90 - z) for z in dried]
    assert again[1] - again[0] == pytest.approx(relief_left_um(relief_um=70.0, coats=2, solids=solids))


def test_what_is_left_over_the_peaks_by_hand() -> None:
    """Mean 100 um over a wave of 60: surface peaks with 20 showing stand at 30 + 100 + 10 over the base's valleys, the
    hollows at 120; sanded there and 15 deeper, 105 - 60 = 45 are left."""
    assert left_over_peaks_um(dry_um=100, relief_um=60, shows_um=20, removed_um=15) == pytest.approx(45.0)


@given(relief=st.floats(1, 200), dry=st.floats(5, 60), solids=st.floats(0.2, 0.8), removed=st.floats(0, 40))
def test_levelling_never_takes_more_coats(relief: float, dry: float, solids: float, removed: float) -> None:
    def coats(levels: bool) -> int | None:
        return coats_to_bury(
            relief_um=relief, dry_um_per_coat=dry, solids=solids, levels=levels, removed_um=removed, keep_um=30
        )

    worst, best = coats(False), coats(True)
    if worst is not None:
        assert best is not None
        assert best <= worst


def test_coats_to_bury_by_hand() -> None:
    """No levelling: n * 25 - 60 - 20 >= 30 needs 4.4, that is 5 coats; none do at 1 um a coat."""
    same = {"relief_um": 60.0, "solids": 0.45, "removed_um": 20.0, "keep_um": 30.0}
    assert coats_to_bury(dry_um_per_coat=25.0, levels=False, **same) == 5
    assert coats_to_bury(dry_um_per_coat=1.0, levels=False, **same) is None


def test_burial_ranges_rise_and_more_clear_leaves_more() -> None:
    films = {"relief_um": Range(30, 60, 120), "wet_um_per_coat": Range(45, 55, 65), "solids": Range(0.4, 0.45, 0.5)}
    three, five = (burial(coats=n, removed_um=removed_by_um([800, 1500]), **films) for n in (3, 5))
    assert three.over_peaks_um.low < three.over_peaks_um.likely < three.over_peaks_um.high
    assert five.over_peaks_um.likely > three.over_peaks_um.likely
    assert five.shows_um.low < three.shows_um.low
    assert (three.coats_low, three.coats_high) == (five.coats_low, five.coats_high)


def test_finer_paper_takes_less() -> None:
    """Common practice, no source: only the order is checked."""
    likely = [GRIT_REMOVES_UM[grit].likely for grit in sorted(GRIT_REMOVES_UM)]
    assert likely == sorted(likely, reverse=True)
    assert removed_by_um([900], polish=False) == GRIT_REMOVES_UM[800]
    assert removed_by_um([], polish=False) == Range(0, 0, 0)


def test_a_burial_by_hand() -> None:
    """Three coats, 40/50/70 um wet at 40/45/50 %: dry 16/22.5/35, in all 48/67.5/105. Of a relief of 20/60/110 shows
    20 x 0.5^3 = 2.5 if all level out, 110 if none does, and likely half of (60 x 0.55^3 = 9.9825) + 60, 34.99125.
    Over the peaks: dry - (relief + what shows) / 2 - 8/12/21: 48 - 110 - 21, 67.5 - 47.495625 - 12, 105 - 11.25 - 8.
    Levelling, 4 coats leave 90 - 30 - 2.745 - 12 = 45, 3 only 20.5; not levelling, 4.53 coats, that is 5."""
    found = burial(
        relief_um=Range(20, 60, 110),
        coats=3,
        wet_um_per_coat=Range(40, 50, 70),
        solids=Range(0.40, 0.45, 0.50),
        removed_um=Range(8, 12, 21),
        keep_um=30.0,
    )
    for got, low, likely, high in (
        (found.shows_um, 2.5, 34.99125, 110.0),
        (found.over_peaks_um, -83.0, 8.004375, 85.75),
        (found.at_edges_um, 14.4, 33.75, 84.0),  # 30, 50 and 80 % of the film: common practice, no source
    ):
        assert (got.low, got.likely, got.high) == pytest.approx((low, likely, high))
    assert (found.coats_low, found.coats_high) == (4, 5)
    assert (found.relief_um.low, found.removed_um.high, found.keep_um) == (20, 21, 30.0)


def test_a_row_of_steps_takes_the_sum() -> None:
    """Every listed grit once, added by hand from what shops reckon with (common practice, no source): 98.5, 159 and 266
    um, and a polish 0.5, 1 and 2."""
    assert removed_by_um(list(GRIT_REMOVES_UM)) == Range(99.0, 160.0, 268.0)
    assert removed_by_um([800, 1500], polish=False) == Range(8.0, 14.0, 24.0)
    assert removed_by_um([240, 400], polish=False) == Range(40.0, 65.0, 110.0)
    assert removed_by_um([600, 3000, 3000], polish=False) == Range(11.0, 17.0, 29.0)
    assert removed_by_um([120], polish=False) == GRIT_REMOVES_UM[240]  # coarser than any: at least that


def test_what_should_be_left_where_nothing_is_said() -> None:
    """30 um over the peaks and 30 to 80 % at edges: common practice, no source."""
    same = Range.point(50.0)
    found = burial(relief_um=same, coats=2, wet_um_per_coat=same, solids=Range.point(0.4), removed_um=Range.point(5.0))
    assert found.keep_um == 30.0
    # Not levelling, 20 n - 50 - 5 >= 30 needs 4.25 coats; levelling, 4 coats leave 80 - 25 - 3.2 - 5, 3 only 24.6.
    assert (found.coats_low, found.coats_high) == (4, 5)


def test_even_a_smooth_base_gets_a_coat_and_none_more_than_sixty() -> None:
    smooth = {"relief_um": 0.0, "solids": 0.5, "levels": True, "removed_um": 0.0}
    assert coats_to_bury(dry_um_per_coat=10.0, keep_um=0.0, **smooth) == 1
    assert coats_to_bury(dry_um_per_coat=10.0, keep_um=600.0, **smooth) == 60
    assert coats_to_bury(dry_um_per_coat=10.0, keep_um=601.0, **smooth) is None
