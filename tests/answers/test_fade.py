"""Fading: exists for a rate in the wrong logarithm, steps counted from the wrong end, and a dye that fades by the light
that another one absorbs at a third one's peak."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.fade import (
    MLX_H_A_YEAR,
    PER_STEP,
    Exposure,
    Step,
    exposure_k_h,
    faded_absorbance10,
    faded_of,
    faded_scene,
    fading_of,
)
from layerpreview.colour import delta_e_2000
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import spots_of
from layerpreview.scheme import load_scheme
from layerpreview.units import Range

from ..schemes import DYES, FULL, HEAD, HONEY, MIXES, PANEL, SILVER

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


def test_deeper_than_a_number_can_hold() -> None:
    """10^290 still fits, 10^350 does not: what is black stays black."""
    assert float(faded_absorbance10(290.0, k_h=0.7)) == pytest.approx(290.0 - 0.7 / math.log(10.0), abs=1e-9)
    assert 280.0 < float(faded_absorbance10(350.0, k_h=0.7)) <= 350.0


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
        (0.9, 1.0, "museum", "step is 0.9"),
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


def test_paint_does_not_fade(save_scheme: Save) -> None:
    """Nor does it take part in what the dyes over it or under it absorb: only the dyes' own builds fall."""
    scheme = load_scheme(save_scheme(FULL))
    fading = fading_of(scheme, {"yellow": 2, "blue": 4}, exposure_Mlx_h=9.0, scale="museum")
    builds = np.array([[0.5, 0.9, 0.2, 1.0], [0.3, 0.1, 0.8, 0.0], [0.4, 0.0, 0.7, 0.6]])
    without = builds * np.array([[1.0], [1.0], [0.0]])
    left = dict(zip(fading.names, fading.left(without), strict=True))
    assert 0.0 < left["yellow"].min() < left["yellow"].max() < left["blue"].min() < 1.0
    assert fading.left(builds) == pytest.approx(fading.left(without))
    # Honey is yellow and blue, the burst blue, the rim paint.
    meant = [builds[0] * left["yellow"], builds[0] * left["blue"], builds[1] * left["blue"], builds[2]]
    assert fading.builds(builds) == pytest.approx(np.array(meant), rel=1e-6)
    assert fading.builds(builds).dtype == np.float32


def test_the_picture_fades_as_its_builds_do(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    scene = make_scene(scheme, width_px=64)
    fading = fading_of(scheme, {"yellow": 2, "blue": 4}, exposure_Mlx_h=9.0, scale="textile")
    before, after = (shown.faces[0].picture for shown in (scene, faded_scene(scene, fading)))
    assert (after.grid, after.outline) == (before.grid, before.outline)
    builds, cover = before.maps.rows(3, 9)
    faded, same = after.maps.rows(3, 9)
    assert np.array_equal(faded, fading.builds(builds))
    assert np.array_equal(same, cover)
    assert np.array_equal(after.maps.edge.rows(3, 9), before.maps.edge.rows(3, 9))


HALVES = "".join(
    f'[[face.zone]]\nname = "{name}"\nshape = "panel"\nwidth = "32 mm"\nheight = "48 mm"\n{centre}\n'
    for name, centre in (("left", 'centre = ["16 mm", "24 mm"]'), ("right", 'centre = ["48 mm", "24 mm"]'))
)
SEA = '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\nzone = "right"\n'


def test_the_gentler_and_the_harsher_reading(save_scheme: Save) -> None:
    """Museum figures: the best step of each range and the least light; textile: the worst step, the most light. Blue
    alone lies on the right, 2 x 30 um of 30 mL/L of 25 g/L; the colours are those of a coat with less of it."""
    head = HEAD.replace('["D65"]', '["A", "D65"]')
    coats = HONEY + 'zone = "left"\n' + SEA
    scheme = load_scheme(save_scheme(head + PANEL + HALVES + SILVER + DYES + MIXES + coats))
    scene = make_scene(scheme, width_px=64)
    steps = {name: Step(Range(*at), "option") for name, at in (("yellow", (2.0, 3.0, 5.0)), ("blue", (3.0, 4.0, 6.0)))}
    exposure = Exposure(Range(30.0, 50.0, 90.0), "on a wall")
    found = faded_of(scheme, scene, steps, exposure)
    assert (found.light, found.exposure, found.steps) == ("A", exposure, steps)
    assert [spot.spot for spot in found.spots] == ["left", "right"]
    assert (found.left, found.de00) == (found.spots[0].dye_left, found.spots[0].de00)
    assert list(found.fadings) == ["new", "museum", "textile"]
    assert "fadings" not in repr(found)
    places = {spot.name: spot for spot in spots_of(scheme, scene)}
    left, right = found.spots
    assert (right.kind, right.at_mm) == (places["right"].kind, places["right"].at_mm)
    # Blue's peak is 70 L/(g cm) at 620 nm, where yellow has 2: 3 x 40 um with 12 mL/L of 40 g/L and 2 of 25 g/L.
    for scale, blue_step, yellow_step, light in (("museum", 6.0, 5.0, 30.0), ("textile", 3.0, 2.0, 90.0)):
        k_h = exposure_k_h(blue_step, exposure_Mlx_h=light, scale=scale)
        peak = 60e-4 * 70.0 * 0.75
        share = float(faded_absorbance10(peak, k_h=k_h)) / peak
        assert right.dye_left[scale] == pytest.approx({"blue": share}, rel=1e-5)
        both = 120e-4 * (2.0 * 0.48 + 70.0 * 0.05)
        share_left = float(faded_absorbance10(both, k_h=k_h)) / both
        yellows = 120e-4 * (50.0 * 0.48 + 1.0 * 0.05)
        k_h = exposure_k_h(yellow_step, exposure_Mlx_h=light, scale=scale)
        yellow = float(faded_absorbance10(yellows, k_h=k_h)) / yellows
        assert left.dye_left[scale] == pytest.approx({"yellow": yellow, "blue": share_left}, rel=1e-5)
        lab = [
            spot_lab(stack_of(scheme), places["right"].bare, np.array([0.0, build]), light="A", observer_deg=2)
            for build in (1.0, share)
        ]
        assert right.de00[scale] == pytest.approx(float(delta_e_2000(*np.array(lab))), rel=1e-3)
    assert right.de00["textile"] > right.de00["museum"] > 0.4


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
