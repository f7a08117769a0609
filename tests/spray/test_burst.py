"""Bursts: exist for a width that means something else than it says, a fall-off upside down, a centre that lifts the
edge as well, and for hiding counted in the wrong logarithm."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.spray import FALL_OFFS, HALF_BUILD_AT, burst_build

FALL = st.sampled_from(FALL_OFFS)


@pytest.mark.parametrize("fall_off", FALL_OFFS)
@pytest.mark.parametrize(("width_mm", "centre"), [(45.0, 0.0), (7.0, 0.3)])
def test_what_the_width_means(fall_off: str, width_mm: float, centre: float) -> None:
    """Full at the edge and outside it, nothing extra at the width and beyond, half the extra at HALF_BUILD_AT."""
    half_mm = HALF_BUILD_AT[fall_off] * width_mm
    at_mm = [-3.0, 0.0, half_mm, width_mm, 3.0 * width_mm, 1e9]
    build = burst_build(at_mm, width_mm=width_mm, fall_off=fall_off, centre=centre)
    half = centre + 0.5 * (1.0 - centre)
    assert build == pytest.approx([1.0, 1.0, half, centre, centre, centre], abs=2e-6)
    assert build.dtype == np.float32


# u = 0.2 and 0.6 by hand: 1 - u; 1 - 3u^2 + 2u^3 = 1 - .12 + .016, 1 - 1.08 + .432; (1 - u^2)^2 = .96^2, .64^2.
BY_HAND = {"linear": (0.8, 0.4), "soft": (0.896, 0.352), "fan": (0.9216, 0.4096)}


@pytest.mark.parametrize("fall_off", FALL_OFFS)
def test_by_hand(fall_off: str) -> None:
    fall = np.array(BY_HAND[fall_off])
    assert burst_build([5.0, 15.0], width_mm=25.0, fall_off=fall_off) == pytest.approx(fall, abs=1e-6)
    lifted = burst_build([5.0, 15.0], width_mm=25.0, fall_off=fall_off, centre=0.25)
    assert lifted == pytest.approx(0.25 + 0.75 * fall, abs=1e-6)


def test_fan_is_half_a_beta_profile() -> None:
    """q = (1 - u^2)^(b - 1) with b = 3 (Balkan & Arikan, J. Robotic Syst. 16 (1999), from memory); its mean over the
    fan is 8/15 (check: 0.5333 in the published table of that profile)."""
    middles = (np.arange(4000) + 0.5) / 4000.0
    fan = burst_build(middles * 31.0, width_mm=31.0, fall_off="fan")
    assert float(fan.mean()) == pytest.approx(8.0 / 15.0, abs=1e-5)


@given(
    fall_off=FALL,
    width_mm=st.floats(0.5, 500.0),
    centre=st.floats(0.0, 1.0),
    distances=st.lists(st.floats(-50.0, 900.0, width=32), min_size=2, max_size=20),
)
def test_it_only_falls_and_stays_within(fall_off: str, width_mm: float, centre: float, distances: list[float]) -> None:
    build = burst_build(sorted(distances), width_mm=width_mm, fall_off=fall_off, centre=centre)
    assert np.all(np.diff(build) <= 1e-6)
    assert np.all(build >= centre - 1e-6)
    assert np.all(build <= 1.0 + 1e-6)


@given(fall_off=FALL, factor=st.floats(0.1, 30.0), distance_mm=st.floats(0.0, 80.0))
def test_only_the_ratio_to_the_width_counts(fall_off: str, factor: float, distance_mm: float) -> None:
    one, other = (burst_build(distance_mm * f, width_mm=60.0 * f, fall_off=fall_off, centre=0.1) for f in (1.0, factor))
    assert float(one) == pytest.approx(float(other), abs=1e-5)


def test_shape_is_kept() -> None:
    assert burst_build(np.zeros((3, 5)), width_mm=10.0).shape == (3, 5)


@pytest.mark.parametrize("width_mm", [0.0, -4.0, float("nan")])
def test_a_width_is_needed(width_mm: float) -> None:
    with pytest.raises(ValueError, match="width_mm"):
        burst_build([1.0], width_mm=width_mm)


def test_unknown_fall_off() -> None:
    with pytest.raises(ValueError, match=r"'steep'.*linear, soft, fan"):
        burst_build([1.0], width_mm=3.0, fall_off="steep")  # type: ignore[arg-type]
