"""Fading: exists for a rate in the wrong logarithm, steps counted from the wrong end, and a dye that fades by the light
that another one absorbs at a third one's peak."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.fade import MLX_H_A_YEAR, PER_STEP, exposure_k_h, faded_absorbance10, fading_of
from layerpreview.finish.layers import stack_of
from layerpreview.scheme import load_scheme

from ..schemes import FULL

Save = Callable[..., Path]

# The absorbed-light law dA/dH = -(k / ln 10)(1 - 10^-A) in closed form, recomputed for this project after Whitmore &
# Bailie, J. Am. Inst. Conservation 36, 207-230 (1997): absorbance by kH.
BY_K_H = (0.0, 0.1, 0.25, 0.5, 1.0, 2.0, 4.0)
LEFT = {
    0.1: (0.1, 0.09142, 0.07978, 0.06335, 0.03951, 0.01496, 0.00205),
    0.3: (0.3, 0.27888, 0.24923, 0.20511, 0.13549, 0.05488, 0.00785),
    1.0: (1.0, 0.96111, 0.90359, 0.81015, 0.63457, 0.34596, 0.06627),
    2.0: (2.0, 1.95703, 1.89266, 1.78566, 1.57310, 1.15831, 0.44921),
}


@pytest.mark.parametrize("start", LEFT)
def test_table(start: float) -> None:
    left = [float(faded_absorbance10(start, k_h=k_h)) for k_h in BY_K_H]
    assert left == pytest.approx(LEFT[start], abs=6e-6)


def test_ends() -> None:
    """A pale coat fades by first order, a deep one at a constant rate kH / ln 10."""
    assert float(faded_absorbance10(1e-4, k_h=0.7)) / 1e-4 == pytest.approx(math.exp(-0.7), abs=1e-3)
    assert 5.0 - float(faded_absorbance10(5.0, k_h=0.7)) == pytest.approx(0.7 / math.log(10.0), abs=1e-3)


def test_two_exposures_are_one() -> None:
    twice = faded_absorbance10(faded_absorbance10([0.2, 0.9], k_h=0.4), k_h=0.8)
    assert twice == pytest.approx(faded_absorbance10([0.2, 0.9], k_h=1.2), abs=1e-12)


def test_steps() -> None:
    """0.4 Mlx h for step 1, 900 for step 8 without ultraviolet (Michalski 1990 as quoted by a museum's database): three
    times a step; by the definition of the steps twice. A tenth of the dye at absorbance 1 is lost there."""
    assert PER_STEP["museum"] == pytest.approx(3.01, abs=0.01)
    for step, exposure in ((1, 0.4), (8, 900.0)):
        k_h = exposure_k_h(step, exposure_Mlx_h=exposure, scale="museum")
        assert float(faded_absorbance10(1.0, k_h=k_h)) == pytest.approx(0.9, abs=1e-6)
    k_h = exposure_k_h(4, exposure_Mlx_h=3.2, scale="textile")
    assert float(faded_absorbance10(1.0, k_h=k_h)) == pytest.approx(0.9, abs=1e-6)
    assert exposure_k_h(5, exposure_Mlx_h=2.0, scale="museum") < exposure_k_h(5, exposure_Mlx_h=2.0, scale="textile")


@pytest.mark.parametrize(
    ("step", "exposure", "scale", "said"),
    [
        (0, 1.0, "museum", "step is 0"),
        (9, 1.0, "textile", "step is 9"),
        (4, -1.0, "museum", "exposure"),
        (4, 1.0, "shop", "'shop'"),
    ],
)
def test_bad_values(step: int, exposure: float, scale: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        exposure_k_h(step, exposure_Mlx_h=exposure, scale=scale)


def test_each_dye_at_its_own_peak(save_scheme: Save) -> None:
    """Half a coat of honey (1 of yellow and blue each) and 0.3 of the burst's blue: by hand at yellow's peak."""
    scheme = load_scheme(save_scheme(FULL))
    fading = fading_of(scheme, {"yellow": 3}, exposure_Mlx_h=1.5, scale="museum")
    builds = np.array([[0.5], [0.3], [0.0]])
    left = dict(zip(fading.names, fading.left(builds)[:, 0], strict=True))
    assert left["blue"] == pytest.approx(1.0)
    # At yellow's peak (480 nm and below: its first flat band, 380 nm): 3 x 40 um of honey, 2 x 30 um of sea.
    peak = 0.5 * 120e-4 * (50.0 * 0.48 + 1.0 * 0.05) + 0.3 * 60e-4 * 1.0 * 0.75
    k_h = exposure_k_h(3, exposure_Mlx_h=1.5, scale="museum")
    assert left["yellow"] == pytest.approx(float(faded_absorbance10(peak, k_h=k_h)) / peak)
    both = fading_of(scheme, {"yellow": 3, "blue": 6}, exposure_Mlx_h=1.5, scale="museum")
    more = dict(zip(both.names, both.left(builds)[:, 0], strict=True))
    assert left["yellow"] < more["blue"] < 1.0


def test_a_paler_place_keeps_a_smaller_share(save_scheme: Save) -> None:
    """Deep coats shield themselves: the same light takes a larger share where less dye lies."""
    scheme = load_scheme(save_scheme(FULL))
    fading = fading_of(scheme, {"yellow": 4, "blue": 5}, exposure_Mlx_h=20.0, scale="textile")
    left = fading.left(np.array([[1.0, 0.2], [1.0, 0.2], [0.0, 0.0]]))
    assert (left[:, 1] < left[:, 0]).all()


def test_no_light_changes_nothing(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    fading = fading_of(scheme, {"yellow": 1, "blue": 1}, exposure_Mlx_h=0.0, scale="textile")
    builds = np.array([[0.7], [0.4], [0.2]])
    bare = np.full((1, 81), 0.6)
    whole = stack_of(scheme)
    new = whole.reflectance(bare, builds.T)
    assert fading.stack(whole).reflectance(bare, fading.builds(builds).T.astype(float)) == pytest.approx(new, rel=1e-5)


def test_the_light_of_a_year_by_hand() -> None:
    """Lux times hours a day times 365: at a window 800 to 7500 lx for 11 h, on a wall 75 to 500 lx, an hour a day
    out of the case 50 to 800 lx (assumed, no source), each end to the one digit it is good for."""
    for place, low_lx, high_lx, hours in (("window", 800, 7500, 11), ("room", 75, 500, 11), ("case", 50, 800, 1)):
        year = MLX_H_A_YEAR[place]
        assert year.low == pytest.approx(low_lx * hours * 365e-6, rel=0.1)
        assert year.high == pytest.approx(high_lx * hours * 365e-6, rel=0.1)
        assert year.low < year.likely < year.high
    assert [MLX_H_A_YEAR[place].likely for place in ("window", "room", "case")] == [10.0, 1.0, 0.1]
