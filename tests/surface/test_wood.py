"""Wood: against a grain that changes with the picture's size or step, and against wood that is not pale or thirsty."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.surface.wood import FIGURES, make_grain


@pytest.mark.parametrize("figure", FIGURES)
def test_larger_panel_continues_the_same_wood(figure: str) -> None:
    small = make_grain(width_mm=37, height_mm=52, seed=3, figure=figure)
    large = make_grain(width_mm=91, height_mm=74, seed=3, figure=figure)
    rows, cols = small.openness.shape
    assert small.albedo_rgb_lin.shape == (208, 148, 3)
    np.testing.assert_array_equal(large.albedo_rgb_lin[:rows, :cols], small.albedo_rgb_lin)
    np.testing.assert_array_equal(large.openness[:rows, :cols], small.openness)


@pytest.mark.parametrize("figure", FIGURES)
def test_finer_step_shows_the_same_wood(figure: str) -> None:
    coarse = make_grain(width_mm=60, height_mm=45, seed=9, figure=figure).albedo_rgb_lin
    fine = make_grain(width_mm=60, height_mm=45, seed=9, figure=figure, step_mm=0.125).albedo_rgb_lin
    averaged = fine.reshape(180, 2, 240, 2, 3).mean(axis=(1, 3))
    assert float(np.abs(averaged - coarse).mean()) < 0.01


@pytest.mark.slow
@pytest.mark.parametrize("figure", FIGURES)
@pytest.mark.parametrize("seed", [2, 5])
def test_wood_is_pale_warm_and_soaks_about_once(figure: str, seed: int) -> None:
    grain = make_grain(width_mm=200, height_mm=260, seed=seed, figure=figure)
    red, green, blue = grain.albedo_rgb_lin.mean(axis=(0, 1))
    assert grain.albedo_rgb_lin.dtype == grain.openness.dtype == np.float32
    assert 0 <= grain.albedo_rgb_lin.min() < grain.albedo_rgb_lin.max() <= 1
    assert 0.75 > red > 1.2 * green > 1.4 * blue > 0.2
    assert grain.openness.min() >= 0
    assert grain.openness.mean() == pytest.approx(1, abs=0.05)
    assert grain.openness.max() < 4


def test_grain_runs_down_and_the_flame_across_it() -> None:
    plain, flame = (make_grain(width_mm=80, height_mm=80, seed=4, figure=f).albedo_rgb_lin[..., 1] for f in FIGURES)
    across, along = (float(np.abs(np.diff(plain, axis=axis)).mean()) for axis in (1, 0))
    assert across > 3 * along
    assert flame.mean(axis=1).std() > 1.5 * plain.mean(axis=1).std()


def test_all_problems_are_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        make_grain(width_mm=0, height_mm=20, seed=1, step_mm=-1, figure="burl")
    assert [p.field for p in caught.value.problems] == ["figure", "width_mm", "step_mm"]
