"""What is believed of a dye beforehand: exists for a band out of its range, and for a belief that is not what its
made-up dyes say.

The ranges of the bands are of our own making, as the module says. A generator whose every draw lies at a given share of
its range turns them into dyes that are worked out by hand here.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.learn.fit.prior import dye_prior, hues, population, seen_prior

F64 = NDArray[np.float64]
NM = WAVELENGTHS_NM


class Drawn(np.random.Generator):
    """Draws that lie at `share` of whatever range is asked for; `chances` in turn; permutations move on by one."""

    def __init__(self, share: F64, chances: F64) -> None:
        super().__init__(np.random.PCG64(0))
        self.share, self.chances = share, chances

    def uniform(self, low: Any = 0.0, high: Any = 1.0, size: Any = None) -> Any:
        return (low + self.share * (high - low)).reshape(size)

    def random(self, size: Any = None, dtype: Any = np.float64, out: Any = None) -> Any:
        return self.chances[:size]

    def permutation(self, x: Any, axis: int = 0) -> Any:
        return np.roll(np.arange(x), -1)


# Centre, width [nm] and height of each band, and what is absorbed everywhere. In the middle of every range: main band
# 540 (390 to 690) and 34 wide (18 to 50); shoulders 42.5 nm away, 1.2 times as wide, 0.45 and 0.15 high; a second band
# 120 nm towards the violet; a violet band at 380; a tail 100 nm towards the red.
MIDDLE = [(540, 34, 1), (497.5, 40.8, 0.45), (582.5, 40.8, 0.15), (420, 42.5, 0.2), (380, 35, 0.35), (640, 45, 0.04)]
UPPER = [(690, 50, 1), (630, 75, 0.9), (750, 75, 0.3), (530, 60, 0.4), (410, 50, 0.7), (830, 60, 0.08)]
LOWER = [(390, 18, 1)]  # every other band may be missing


def sum_of(bands: list[tuple[float, float, float]], level: float) -> F64:
    return level + sum((h * np.exp(-(((NM - c) / w) ** 2) / 2) for c, w, h in bands), np.zeros(NM.size))


def made(monkeypatch: pytest.MonkeyPatch, share: list[float], chances: list[float]) -> F64:
    drawn = Drawn(np.array(share), np.array(chances))
    monkeypatch.setattr(np.random, "default_rng", lambda seed: drawn)
    return population(len(share), seed=1)


def test_the_bands_of_a_made_up_dye(monkeypatch: pytest.MonkeyPatch) -> None:
    dyes = made(monkeypatch, [0.0, 0.5, 1.0], [0.9, 0.9, 0.9])
    for dye, expected in zip(dyes, (sum_of(LOWER, 0.0), sum_of(MIDDLE, 0.01), sum_of(UPPER, 0.02)), strict=True):
        np.testing.assert_allclose(dye, expected / expected.max(), rtol=1e-9)


def test_one_dye_in_five_is_mixed_with_another(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of draws from 0 to 1, those below 0.2; the dye's own share in the mix is 0.2 to 0.8."""
    dyes = made(monkeypatch, [0.5, 0.0, 1.0], [0.201, 0.199, 0.1])
    middle, lower, upper = sum_of(MIDDLE, 0.01), sum_of(LOWER, 0.0), sum_of(UPPER, 0.02)
    for dye, expected in zip(dyes, (middle, 0.2 * lower + 0.8 * upper, 0.8 * upper + 0.2 * middle), strict=True):
        np.testing.assert_allclose(dye, expected / expected.max(), rtol=1e-9)


def test_the_belief_is_what_the_made_up_dyes_say_loosened_by_smooth_shapes() -> None:
    """Covariance of log(dye + 0.4 % of its peak), and 0.65 in the logarithm of smooth shapes that reach 22 nm."""
    believed = dye_prior()
    logs = np.log(population(3000, seed=11) + 0.004)
    np.testing.assert_allclose(believed.mean, logs.sum(axis=0) / 3000, rtol=1e-9)
    away = logs - believed.mean
    nearby = np.exp(-((NM[:, None] - NM) ** 2) / (2 * 22.0**2))
    expected = away.T @ away / 2999 + 0.65**2 * nearby
    strength, shapes = believed.shapes[:, 0], believed.shapes[:, 1:]
    assert np.all(strength == 1.5)  # strengths from e^-2.5 to e^2.5 times the mean dye's in 90 %: hardly a belief
    # What is left out is the least that can be, by Eckart and Young (1936): the next size of the 81.
    left = np.linalg.norm(expected - shapes @ shapes.T, 2)
    assert left == pytest.approx(np.linalg.eigvalsh(expected)[-26], rel=1e-6)
    assert left < 1e-4 * np.linalg.norm(expected, 2)


def test_a_card_gives_the_same_dye_in_every_run_and_release() -> None:
    """Not worked out: as it was when this was written. Another seed or size changes every dye learnt so far a little:
    do it only on purpose, and say so in the changelog."""
    believed = dye_prior()
    spread = np.sqrt(np.square(believed.shapes[:, 1:]).sum(axis=1))
    assert believed.shapes.shape == (81, 26)
    assert believed.mean[::20] == pytest.approx([-1.03603, -1.22970, -1.54743, -2.75561, -4.05129], abs=2e-5)
    assert spread[::20] == pytest.approx([1.03348, 1.20834, 1.52492, 1.76624, 1.04429], abs=2e-5)
    assert dye_prior() is believed  # found once, kept


def test_a_fit_may_begin_at_the_mean_dye_and_at_dyes_of_every_hue() -> None:
    believed, begin = dye_prior(), np.stack(hues())
    assert begin.shape == (41, 26)
    assert not begin[0].any()
    dyes = np.exp(believed.mean + begin[1:] @ believed.shapes.T) - 0.004
    made_up = population(40, seed=5)
    assert np.abs(dyes - made_up).max() < 0.02
    # Every hue: of forty peaks, ten or more in each third of where peaks lie.
    assert np.histogram(NM[made_up.argmax(axis=1)], [380, 480, 580, 781])[0].min() >= 10
    # Nowhere more than 2.5 deviations out, one draw in eighty: a beginning is not a rarity itself.
    assert np.abs(begin).max() <= 2.5
    # Directions that weigh less than a hundredth of the strongest are left at their mean (the strength is no direction
    # of its own: one more unknown than directions).
    size = np.linalg.svd(believed.shapes, compute_uv=False)
    shown = np.abs(begin).max(axis=0) > 0.1
    assert shown.sum() == (size > 0.01 * size[0]).sum() + 1


def test_what_was_read_is_hardly_believed_beforehand() -> None:
    """The made-up dyes, a strength, and 2.0 and 0.3 in the logarithm of shapes that reach 22 and 8 nm (our choice)."""
    logs = np.log(population(3000, seed=11) + 0.004)
    apart2 = (NM[:, None] - NM) ** 2
    far, near = (np.exp(-apart2 / (2 * reach**2)) for reach in (22.0, 8.0))
    expected = np.cov(logs.T) + 1.5**2 + 2.0**2 * far + 0.3**2 * near
    believed = seen_prior()
    np.testing.assert_allclose(believed.mean, dye_prior().mean)
    away = expected - believed.shapes @ believed.shapes.T
    assert np.abs(away).max() < 1e-3
    # A bump of 15 % at one wavelength and half of it beside, no dye's, is met to 2 %.
    bump = 0.15 * np.clip(1 - np.abs(NM - 560) / 10, 0, 1)
    met = believed.shapes @ np.linalg.lstsq(believed.shapes, bump, rcond=None)[0]
    assert np.abs(met - bump).max() < 0.02
