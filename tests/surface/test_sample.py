"""Resampling: exists for pictures shifted by half a pixel, strips that show, and filters that change the mean."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.surface.sample import PixelGrid, Sampler, Taps, make_taps, mm_taps

scales = st.floats(0.07, 9.0)
starts = st.floats(-40.0, 40.0)


def _picture(high: int, wide: int, channels: int | None = None, seed: int = 3) -> np.ndarray:
    shape = (high, wide) if channels is None else (high, wide, channels)
    return np.random.default_rng(seed).integers(0, 256, shape, dtype=np.uint8)


@settings(deadline=None, max_examples=60)
@given(scales, starts, st.booleans(), st.sampled_from(["smooth", "linear"]), st.data())
def test_rows_do_not_depend_on_the_strips(
    scale: float, start: float, mirror: bool, kind: str, data: st.DataObject
) -> None:
    row_taps = make_taps(23, 31, scale=scale, start=start, kind=kind, mirror=mirror)  # type: ignore[arg-type]
    col_taps = make_taps(17, 29, scale=scale * 1.1, start=-start, kind=kind, mirror=mirror)  # type: ignore[arg-type]
    lookup = np.linspace(0, 1, 256, dtype=np.float32) ** np.float32(2.2)
    sampler = Sampler(_picture(23, 17, 3), row_taps, col_taps, lookup=lookup)
    whole = sampler.rows(0, 31)
    cuts = sorted(data.draw(st.lists(st.integers(0, 31), max_size=6)))
    bounds = [0, *cuts, 31]
    parts = [sampler.rows(a, b) for a, b in pairwise(bounds)]
    assert whole.dtype == np.float32
    assert whole.shape == (31, 29, 3)
    assert np.concatenate(parts).tobytes() == whole.tobytes()


@settings(deadline=None, max_examples=100)
@given(scales, starts, st.booleans(), st.sampled_from(["smooth", "linear"]), st.integers(1, 40))
def test_a_flat_picture_stays_flat(scale: float, start: float, mirror: bool, kind: str, n_in: int) -> None:
    taps = make_taps(n_in, 37, scale=scale, start=start, kind=kind, mirror=mirror)  # type: ignore[arg-type]
    assert taps.weights.sum(axis=1) == pytest.approx(np.ones(37), abs=1e-5)
    assert taps.indices.min() >= 0
    assert taps.indices.max() < n_in


@settings(deadline=None, max_examples=60)
@given(scales, st.floats(0.0, 20.0), st.sampled_from(["smooth", "linear"]))
def test_a_ramp_stays_the_same_ramp_in_the_middle(scale: float, start: float, kind: str) -> None:
    """Sample j of the input is at j + 0.5; a filter that is off by half a pixel moves a ramp."""
    n_in = 600
    taps = make_taps(n_in, 40, scale=scale, start=start + 40, kind=kind)  # type: ignore[arg-type]
    ramp = np.arange(n_in) + 0.5
    got = (ramp[taps.indices] * taps.weights).sum(axis=1)
    assert got == pytest.approx(start + 40 + (np.arange(40) + 0.5) * scale, rel=1e-5, abs=1e-4)


def test_identity_gives_the_lattice_back_and_is_a_copy() -> None:
    lattice = np.random.default_rng(1).random((9, 7)).astype(np.float32)
    sampler = Sampler(lattice, make_taps(9, 9, scale=1.0), make_taps(7, 7, scale=1.0))
    got = sampler.rows(2, 6)
    assert (got == lattice[2:6]).all()
    got[:] = -1
    assert (lattice >= 0).all()


def test_whole_shift_without_filtering() -> None:
    picture = _picture(8, 6)
    sampler = Sampler(picture, make_taps(8, 4, scale=1.0, start=3.0), make_taps(6, 3, scale=1.0, start=-1.0))
    assert (sampler.rows(0, 4) == picture[3:7][:, [0, 0, 1]]).all()  # left of the edge its end sample repeats


def test_mirror_tiling_reflects_without_repeating_a_gap() -> None:
    taps = make_taps(4, 14, scale=1.0, start=-5.0, mirror=True)
    assert taps.indices[:, 0].tolist() == [3, 3, 2, 1, 0, 0, 1, 2, 3, 3, 2, 1, 0, 0]


def test_reducing_by_a_whole_factor_keeps_the_mean() -> None:
    picture = _picture(120, 96).astype(np.float64)
    sampler = Sampler(picture, make_taps(120, 30, scale=4.0), make_taps(96, 24, scale=4.0))
    assert sampler.rows(0, 30).mean() == pytest.approx(picture.mean(), rel=0.01)


def test_reducing_removes_what_the_pixel_cannot_show() -> None:
    """Stripes one pixel wide, reduced by 5: nothing but their mean may be left (at the ends a sample repeats)."""
    stripes = np.tile(np.array([[0.0, 1.0]]), (60, 60))
    got = Sampler(stripes, make_taps(60, 12, scale=5.0), make_taps(120, 24, scale=5.0)).rows(0, 12)
    assert np.abs(got[:, 1:-1] - 0.5).max() < 0.05


def test_catmull_rom_against_its_published_weights() -> None:
    """Half way between samples: -1/16, 9/16, 9/16, -1/16 (R. Keys, IEEE Trans. ASSP 29 (1981) 1153, a = -1/2)."""
    taps = make_taps(10, 1, scale=0.5, start=4.75)  # its centre is at 5.0, half way between samples 4 and 5
    assert taps.indices[0].tolist() == [3, 4, 5, 6]
    assert taps.weights[0] == pytest.approx([-1 / 16, 9 / 16, 9 / 16, -1 / 16])


def test_millimetres() -> None:
    """Input samples 2.0 mm, output pixels 0.5 mm from 3.0 mm: the first pixel's middle is at 3.25 mm, sample 1.125."""
    taps = mm_taps(20, 5, in_pitch_mm=2.0, out_pitch_mm=0.5, offset_mm=3.0, kind="linear")
    where = (taps.indices * taps.weights).sum(axis=1)
    assert where == pytest.approx(1.125 + 0.25 * np.arange(5))


def test_lookup_comes_before_the_filter() -> None:
    """The mean of black and white in linear light is 0.5, not the light of the middle number (0.21)."""
    picture = np.array([[0, 255]], dtype=np.uint8)
    lookup = (np.arange(256) / 255.0).astype(np.float32) ** np.float32(2.2)
    got = Sampler(picture, make_taps(1, 1, scale=1.0), make_taps(2, 1, scale=2.0), lookup=lookup).rows(0, 1)
    assert got[0, 0] == pytest.approx(0.5)


def test_pixel_grid() -> None:
    grid = PixelGrid(pixel_mm=0.25, n_rows=8, n_cols=6, left_mm=-1.0, top_mm=2.0)
    assert grid.x_mm()[[0, 5]] == pytest.approx([-0.875, 0.375])
    assert grid.y_mm(2, 4) == pytest.approx([2.625, 2.875])
    assert len(grid.y_mm()) == 8


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan"), float("inf")])
def test_bad_scale(scale: float) -> None:
    with pytest.raises(ValueError, match="cannot resample"):
        make_taps(5, 5, scale=scale)


def test_rows_outside_the_picture() -> None:
    one = Taps(np.zeros((4, 1), np.int32), np.ones((4, 1), np.float32))
    sampler = Sampler(np.zeros((2, 2)), one, one)
    assert sampler.rows(2, 2).shape == (0, 4)
    with pytest.raises(IndexError, match="rows 3 to 5"):
        sampler.rows(3, 5)
