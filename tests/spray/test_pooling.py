"""Pooling: against paint that is made or lost, peaks left bare, and later coats that meet a relief long filled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from layerpreview.spray.budget import relief_left_um
from layerpreview.spray.pooling import LEAST_FILM, LEVELLING, WetCoats, pooled_build

F32 = np.float32
ONE = WetCoats(wet_um=40.0, coats=1, solids=0.2, levelling=0.3)
# Heights of a little surface [um], mean 0 over their weights 1, 2, 1, 4: 24 - 2 * 12 + 16 - 4 * 4 = 0.
DEPTH, WEIGHT = np.array([24, -12, 16, -4], dtype=F32), np.array([1, 2, 1, 4], dtype=F32)


def test_one_coat_by_hand() -> None:
    """30 % of 24 um into a film of 40 um: 1.18; full levelling: 1.6."""
    np.testing.assert_allclose(pooled_build(DEPTH, ONE, weight=WEIGHT), [1.18, 0.91, 1.12, 0.97], rtol=1e-6)
    full = pooled_build(DEPTH, replace(ONE, levelling=1.0), weight=WEIGHT)
    np.testing.assert_allclose(40.0 * full - DEPTH, 40.0, rtol=1e-6)  # the wet film's top is level
    np.testing.assert_array_equal(pooled_build(DEPTH, replace(ONE, levelling=0.0), weight=WEIGHT), 1.0)


@pytest.mark.parametrize("levelling", [0.3, 1.0])
def test_each_coat_meets_what_the_last_one_left(levelling: float) -> None:
    """Coat by coat, the long way: a film dries to its solids, and the next one meets the sum."""
    wet = WetCoats(wet_um=50.0, coats=3, solids=0.25, levelling=levelling)
    height, builds = -DEPTH.astype(np.float64), []
    for _ in range(3):
        film = 50.0 + levelling * (np.average(height, weights=WEIGHT) - height)
        builds.append(film / 50.0)
        height = height + 0.25 * film
    np.testing.assert_allclose(pooled_build(DEPTH, wet, weight=WEIGHT), np.mean(builds, axis=0), rtol=1e-6)
    left = np.ptp(height) / np.ptp(DEPTH)
    assert wet.share_left() == pytest.approx(left)
    assert relief_left_um(relief_um=36.0, coats=3, solids=0.25, levelling=levelling) == pytest.approx(36.0 * left)
    after = replace(wet, left=wet.share_left())
    assert after.builds_per_um[0] == pytest.approx(levelling * left / 50.0)


def test_no_peak_is_left_bare_and_no_paint_is_made() -> None:
    rng = np.random.default_rng(4)
    height = rng.normal(0.0, 30.0, (300, 200)).astype(F32)
    weight = (rng.random((300, 200)) < 0.7).astype(F32) * F32(0.5)
    depth = np.float32(np.average(height, weights=weight)) - height
    wet = WetCoats(wet_um=25.0, coats=2, solids=0.2, levelling=1.0)
    found = pooled_build(depth, wet, weight=weight)
    assert float(found.min()) == pytest.approx(LEAST_FILM)
    assert (found == found.min()).mean() > 0.1
    assert np.average(found.astype(np.float64), weights=weight) == pytest.approx(1.0, abs=2e-6)
    order = np.argsort(depth.ravel())
    assert (np.diff(found.ravel()[order]) >= -1e-6).all()  # never more on a higher place


def test_the_ends_are_those_of_the_mix_sheet() -> None:
    assert (LEVELLING.low, LEVELLING.high) == (0.0, 1.0)
    assert relief_left_um(relief_um=70.0, coats=2, solids=0.4, levelling=LEVELLING.low) == 70.0
    assert relief_left_um(relief_um=70.0, coats=2, solids=0.4) == pytest.approx(70.0 * 0.36)
