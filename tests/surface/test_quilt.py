"""Quilting: exists for bytes that change between runs, known pixels that move, and pictures too small for a piece."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.surface.quilt import quilted

RNG = np.random.default_rng(4)
NOISE = RNG.integers(40, 200, (120, 150, 3), dtype=np.uint8)


def _hole(shape: tuple[int, int]) -> np.ndarray:
    known = np.ones(shape, np.bool_)
    known[50:71, 60:97] = False
    return known


def test_the_same_seed_gives_the_same_bytes() -> None:
    known = _hole((120, 150))
    first = quilted(NOISE, known, seed=3)
    assert first.tobytes() == quilted(NOISE, known, seed=3).tobytes()
    assert first.tobytes() != quilted(NOISE, known, seed=4).tobytes()


def test_what_is_far_from_the_hole_stays_and_the_input_too() -> None:
    known, before = _hole((120, 150)), NOISE.copy()
    out = quilted(NOISE, known)
    assert (before == NOISE).all()
    assert (out[:10] == NOISE[:10]).all()
    assert (out[:, 145:] == NOISE[:, 145:]).all()


def test_a_regular_pattern_is_continued_where_it_belongs() -> None:
    """Stripes 12 pixels wide: a hole in them can be filled rightly in one way alone."""
    y, x = np.mgrid[:160, :200]
    stripes = np.where((x + y) // 12 % 2, 190, 60).astype(np.uint8)
    known = np.ones(stripes.shape, np.bool_)
    known[70:95, 90:120] = False
    hidden = np.where(known, stripes, 255).astype(np.uint8)
    assert np.abs(quilted(hidden, known)[~known].astype(float) - stripes[~known]).mean() < 8


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(1, 1), (3, 40), (7, 9), (40, 6, 3), (3000, 6)])
def test_small_pictures_are_filled_by_their_mean_or_by_pieces(dtype: type, shape: tuple[int, ...]) -> None:
    pixels = RNG.integers(10, 250, shape).astype(dtype)
    known = np.ones(shape[:2], np.bool_)
    known[:, shape[1] // 2 :] = False
    out = quilted(pixels, known)
    assert out.dtype == dtype
    assert out.shape == shape
    if known.any():
        assert out.max() <= pixels[known].max()
        assert out.min() >= pixels[known].min()


def test_nothing_known_or_nothing_to_do_leaves_it_as_it_is() -> None:
    for known in (np.zeros((120, 150), np.bool_), np.ones((120, 150), np.bool_)):
        assert (quilted(NOISE, known) == NOISE).all()
