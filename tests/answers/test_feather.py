"""The overlap of a repair: exists for old and new coats that do not add up under a perfect hand, errors of a hand that
do not shrink with more coats, and draws that change with the feather that is asked about."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.answers.feather import FEATHERS_MM, Strays, kept_share, new_share, shares, strays_of
from layerpreview.spray.passes import HANDS
from layerpreview.units import Range

AWAY_MM = np.linspace(-30.0, 90.0, 241)


@given(st.floats(10.0, 60.0), st.integers(1, 5))
def test_a_perfect_hand_makes_one(feather_mm: float, coats: int) -> None:
    strays = strays_of(HANDS["flat"], coats=[coats], dyes=[Range.point(1.0)])
    old, new = shares(AWAY_MM, strays, feather_mm=feather_mm)
    np.testing.assert_allclose(old[:, None] + new, 1.0, atol=1e-12)
    assert (np.diff(old, axis=1) >= 0.0).all()


def test_what_strays_is_known_by_hand() -> None:
    """Sanded 3 mm too far, laid 2 mm short and 4 % too thick: u = (10 - 3) / 20 and (10 + 2) / 20 in u^2 (3 - 2 u)."""
    strays = Strays(np.array([3.0]), np.array([[-2.0]]), np.array([[1.04]]), np.ones((1, 1)))
    old, new = shares(np.array([10.0]), strays, feather_mm=20.0)
    assert old[0, 0] == pytest.approx(0.35**2 * (3.0 - 0.7))
    assert new[0, 0, 0] == pytest.approx(1.04 * (1.0 - 0.6**2 * (3.0 - 1.2)))


def test_a_wider_feather_is_never_worse_for_any_attempt() -> None:
    strays = strays_of(HANDS["hurried"], coats=[3, 1], dyes=[Range(0.9, 1.0, 1.2), Range.point(1.0)])
    last = np.full((40, 2), np.inf)
    for feather_mm in FEATHERS_MM:
        old, new = shares(feather_mm * np.linspace(-1.0, 1.5, 401), strays, feather_mm=feather_mm)
        off = np.abs(old[:, None] + new - 1.0).max(axis=2)
        assert (off <= last + 1e-4).all()
        last = off


def test_more_coats_stray_less_and_dyes_stay_in_their_range() -> None:
    dyes = [Range(0.8, 1.0, 1.3), Range.point(1.0)]
    strays = strays_of(HANDS["good"], coats=[1, 9], dyes=dyes, attempts=4000)
    # 9 coats: a third. Of a good hand 0.05 and 0.04 make 0.064; clipping at 2.5 takes some 2 % off.
    assert np.log(strays.level).std(axis=0) == pytest.approx([0.0640, 0.0213], rel=0.06)
    assert strays.laid_mm.std(axis=0) == pytest.approx([28.0 * 0.06, 28.0 * 0.02], rel=0.06)
    # Mean and standard deviation of a triangular distribution, (a + b + c) / 3 (NIST/SEMATECH e-Handbook, from memory).
    assert strays.dye[:, 0].mean() == pytest.approx((0.8 + 1.0 + 1.3) / 3.0, abs=0.005)
    assert strays.dye[:, 0].min() >= 0.8
    assert strays.dye[:, 0].max() <= 1.3
    assert (strays.dye[:, 1] == 1.0).all()


def test_what_is_sanded_is_what_is_sprayed_again() -> None:
    both = kept_share(AWAY_MM, feather_mm=25.0) + new_share(AWAY_MM, feather_mm=25.0)
    np.testing.assert_allclose(both, 1.0, atol=1e-15)
    assert kept_share([-0.1, 0.0, 25.0, 99.0], feather_mm=25.0).tolist() == [0.0, 0.0, 1.0, 1.0]
