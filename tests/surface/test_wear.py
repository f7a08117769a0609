"""Cutting back and soaking in.

Against: an amount that is not the amount taken off; a wear map that changes with the strips, the picture's size or
the run; rubbing that starts in the middle or digs the dye out of the pores; hard speckle instead of soft rubbing.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.surface.hashed_fields import F32
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.wear import HAND_MM, CutBack, cut_back, soaked_build
from layerpreview.surface.wood import make_grain

WIDE, HIGH = 310.0, 230.0


def _grid(pixel_mm: float) -> PixelGrid:
    return PixelGrid(pixel_mm, round(HIGH / pixel_mm), round(WIDE / pixel_mm))


def _panel(grid: PixelGrid) -> F32:
    x, y = grid.x_mm()[None, :], grid.y_mm()[:, None]
    return np.minimum(np.minimum(x, WIDE - x), np.minimum(y, HIGH - y)).astype(np.float32)


def _ellipse(grid: PixelGrid) -> F32:
    """About the distance to an ellipse's edge; negative outside."""
    x, y = (grid.x_mm()[None, :] - WIDE / 2) / WIDE * 2, (grid.y_mm()[:, None] - HIGH / 2) / HIGH * 2
    return ((1 - np.hypot(x, y)) * HIGH / 2).astype(np.float32)


def _made(amount: float, seed: int = 5, openness: F32 | None = None, shape: str = "panel") -> CutBack:
    grid = _grid(2.0)
    away = _panel(grid) if shape == "panel" else _ellipse(grid)
    return cut_back(amount=amount, seed=seed, x_mm=grid.x_mm(), y_mm=grid.y_mm(), distance_mm=away, openness=openness)


def _keep(made: CutBack, pixel_mm: float = 1.0, openness: F32 | None = None) -> F32:
    grid = _grid(pixel_mm)
    return made.keep(x_mm=grid.x_mm(), y_mm=grid.y_mm(), distance_mm=_panel(grid), openness=openness, pixel_mm=pixel_mm)


@pytest.mark.parametrize("amount", [0.05, 0.2, 0.45, 0.8])
@pytest.mark.parametrize("seed", [2, 19])
def test_what_is_left_is_one_less_the_amount(amount: float, seed: int) -> None:
    for pixel_mm in (0.5, 1.3):
        assert float(_keep(_made(amount, seed), pixel_mm).mean()) == pytest.approx(1 - amount, abs=0.004)


def test_only_painted_points_count() -> None:
    grid = _grid(0.7)
    away = _ellipse(grid)
    made = _made(0.3, shape="ellipse")
    keep = made.keep(x_mm=grid.x_mm(), y_mm=grid.y_mm(), distance_mm=away, pixel_mm=grid.pixel_mm)
    assert float(keep[away > 0].mean()) == pytest.approx(0.7, abs=0.007)
    assert float(keep.mean()) < 0.6


def test_the_amount_holds_on_wood() -> None:
    grain = make_grain(width_mm=WIDE, height_mm=HIGH, seed=4, step_mm=0.5, figure="plain")
    picked = grain.openness[2::4, 2::4][: _grid(2.0).n_rows, : _grid(2.0).n_cols]
    made = _made(0.35, openness=picked)
    assert float(_keep(made, 0.5, grain.openness).mean()) == pytest.approx(0.65, abs=0.0065)


def test_nothing_and_everything() -> None:
    assert (_keep(_made(0.0)) == 1).all()
    assert (_keep(_made(1.0)) == 0).all()


def test_edges_go_first_and_the_middle_of_the_face_last() -> None:
    keep, away = _keep(_made(0.2)), _panel(_grid(1.0))
    edge, inner = keep[away < 2].mean(), keep[away > 12].mean()
    assert edge < 0.4
    assert inner > 0.75
    middle = keep[85:145, 115:195].mean()
    assert middle > inner


def test_the_hand_wears_its_place_and_keeps_away_from_the_middle() -> None:
    for seed in range(30):
        made = _made(0.25, seed)
        assert len(made.hands) in (1, 2)
        for x, y, radius in made.hands:
            assert HAND_MM[0] <= 2 * radius <= HAND_MM[1]
            assert np.hypot((x - WIDE / 2) / WIDE, (y - HIGH / 2) / HIGH) > 0.25
    keep = _keep(_made(0.25, 3))
    x, y, radius = _made(0.25, 3).hands[0]
    grid = _grid(1.0)
    under = np.hypot(grid.x_mm()[None, :] - x, grid.y_mm()[:, None] - y) < radius / 2
    assert keep[under].mean() < keep.mean() - 0.15


def test_open_pores_keep_their_dye_and_high_spots_lose_it() -> None:
    made = _made(0.3)
    flat = np.ones((1, 1), dtype=np.float32)
    place = {"x_mm": np.array([140.0]), "y_mm": np.array([115.0]), "distance_mm": 60 * flat}
    shut, usual, pore = (float(made.keep(**place, openness=k * flat)[0, 0]) for k in (0.4, 1.0, 2.2))
    assert shut < usual < pore


@pytest.mark.parametrize("cuts", [(0, 230), (0, 1, 77, 78, 230)])
def test_the_same_in_any_strips(cuts: tuple[int, ...]) -> None:
    made, grid = _made(0.3), _grid(1.0)
    away, y = _panel(grid), grid.y_mm()
    parts = [made.keep(x_mm=grid.x_mm(), y_mm=y[a:b], distance_mm=away[a:b], pixel_mm=1.0) for a, b in pairwise(cuts)]
    np.testing.assert_array_equal(np.concatenate(parts), _keep(made))


def test_another_size_shows_the_same_wear() -> None:
    made = _made(0.3)
    coarse, fine = _keep(made, 1.0), _keep(made, 0.5)
    halved = fine.reshape(230, 2, 310, 2).mean(axis=(1, 3))
    assert float(np.abs(halved - coarse).mean()) < 0.02
    assert np.corrcoef(halved.ravel(), coarse.ravel())[0, 1] > 0.98


def test_soft_and_within_bounds() -> None:
    keep = _keep(_made(0.3), 0.25)
    assert keep.dtype == np.float32
    assert keep.min() >= 0
    assert keep.max() <= 1
    # no jump from one quarter millimetre to the next beyond what an edge zone of 6 mm and scratches of 0.6 mm need
    assert max(float(np.abs(np.diff(keep, axis=axis)).max()) for axis in (0, 1)) < 0.3


def test_same_seed_same_hand() -> None:
    np.testing.assert_array_equal(_keep(_made(0.3, 8)), _keep(_made(0.3, 8)))
    assert np.abs(_keep(_made(0.3, 8)) - _keep(_made(0.3, 9))).mean() > 0.05


@pytest.mark.parametrize("amount", [-0.1, 1.2, float("nan")])
def test_an_amount_out_of_range_is_told(amount: float) -> None:
    with pytest.raises(InputError, match=r"cut back = .*: must be 0 to 1; 0\.2 rubs off a fifth of the coat"):
        _made(amount)


def test_a_face_with_nothing_painted_is_told() -> None:
    grid = _grid(2.0)
    with pytest.raises(InputError, match="nothing of this face is painted"):
        cut_back(amount=0.2, seed=1, x_mm=grid.x_mm(), y_mm=grid.y_mm(), distance_mm=-_panel(grid))


def test_soaking() -> None:
    build = np.array([0.5, 2.0, 1.5, 1.0], dtype=np.float32)
    openness = np.array([1.0, 1.75, 0.25, 0.0], dtype=np.float32)
    # by hand: build * (1 + 0.4 * (openness - 1))
    np.testing.assert_allclose(soaked_build(build, openness, soak=0.4), [0.5, 2.6, 1.05, 0.6], rtol=1e-6)
    np.testing.assert_array_equal(soaked_build(build, openness, soak=0.0), build)
    assert soaked_build(build, openness, soak=1.3)[3] == 0
