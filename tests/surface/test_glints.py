"""Flakes that flash: exists for light that flakes make or lose, and for flashes that only the picture's size makes."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.surface.glints import FLASHING, SPARKLES, Flakes, glitter_of, sparkle_of

EVEN = (np.arange(2_000_000, dtype=np.float32) + np.float32(0.5)) / np.float32(2_000_000)


@pytest.mark.parametrize("phase", [0.0, 0.37, 2.9])
@pytest.mark.parametrize(("size_mm", "cell_mm", "share"), [(0.4, 0.4, 0.03), (0.1, 0.25, 0.03), (0.2, 0.25, 0.4)])
def test_glitter_neither_makes_nor_takes_light(size_mm: float, cell_mm: float, share: float, phase: float) -> None:
    light = glitter_of(EVEN, size_mm=size_mm, share=share, cell_mm=cell_mm, depth=0.8, phase=phase)
    assert light.mean(dtype=np.float64) == pytest.approx(1.0, abs=1e-3)
    assert light.min() >= 0.0


def test_glitter_can_be_counted() -> None:
    """Flakes of 0.4 mm on 3 % of the area: 0.1875 a square millimetre, of which 6 in 100 flash at a time."""
    light = glitter_of(EVEN, size_mm=0.4, share=0.03, cell_mm=0.4, depth=1.0, phase=0.2)
    flashing = float((light > 5.0).mean()) / 0.4**2
    assert flashing == pytest.approx(0.1875 * FLASHING, rel=0.01)


def test_small_glitter_flashes_more_weakly_in_a_larger_square() -> None:
    """A flake of 0.1 mm fills 0.16 of a square of 0.25 mm; the flakes on the area are as many as they are."""
    light = glitter_of(EVEN, size_mm=0.1, share=0.03, cell_mm=0.25, depth=1.0, phase=0.0)
    large = glitter_of(EVEN, size_mm=0.4, share=0.03, cell_mm=0.4, depth=1.0, phase=0.0)
    assert light.max() - 1.0 == pytest.approx(0.16 * (large.max() - 1.0), rel=1e-3)
    assert float((light > 1.5).mean()) / 0.25**2 == pytest.approx(3.0 * FLASHING, rel=0.01)


def test_a_turn_lights_other_flakes() -> None:
    numbers = np.random.default_rng(3).random(200_000, dtype=np.float32)
    one, other = (sparkle_of(numbers, depth=0.4, phase=phase) > 1.8 for phase in (0.0, 0.4))
    assert one.mean() == pytest.approx(other.mean(), rel=0.1)
    assert (one & other).sum() < 0.1 * one.sum()


def test_over_many_flakes_the_unrest_falls() -> None:
    """As the root of their number: a quarter of the width, sixteen flakes, a quarter of the share."""
    assert Flakes(0.1, 0.4).seen_on(0.4) == pytest.approx(0.1)
    assert Flakes(0.5, 0.4).seen_on(0.25) == 0.4
    shares = [SPARKLES[name].seen_on(0.25) for name in ("none", "fine", "medium", "coarse")]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
