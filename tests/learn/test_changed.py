"""Two learnings of one dye: exists for a doubt taken for drift, a drift lost in doubt, and a strength taken for hue.

Simulated cards are of dyes unlike the fit's prior (`simulated`), builds and readings drawn anew for each card.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom, chi2, norm

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.film import diffuse_film
from layerpreview.learn.card.model import ground_of_rgb
from layerpreview.learn.fit.one_card import DyeFit, fit_dye
from layerpreview.learn.tell.changed import CHANCE, Changed, compare
from layerpreview.units import NINETY

from .simulated import METAL, STEPS, lab_card, random_dye, random_truth

WHITE = ground_of_rgb("white", diffuse_film(), np.array([0.86, 0.86, 0.84]), spread=0.02)
SILVER = ground_of_rgb("base", METAL, np.array([0.60, 0.63, 0.66]), spread=0.02)
LOADS = (1.0, 3.0, 6.0)


def band(centre_nm: float, width_nm: float = 40.0) -> np.ndarray:  # type: ignore[type-arg]
    return np.asarray(np.exp(-0.5 * ((WAVELENGTHS_NM - centre_nm) / width_nm) ** 2))


YELLOW, RED = 0.02 + 0.3 * band(440), 0.02 + 0.3 * band(520)
SMOOTH = 0.01 * np.stack([band(nm, 30.0) for nm in range(380, 790, 30)], axis=1)
"""A doubt of 1 % of the logarithm in every part of the spectrum, each on its own."""


def between(first, second, *doubts) -> Changed:  # type: ignore[no-untyped-def]
    return compare(first, second, doubts or [SMOOTH], grounds=(WHITE, SILVER), loads=LOADS)


def test_a_stronger_dye_is_stronger_and_nothing_else() -> None:
    """The logarithm's doubt of 4 % and 3 %, all of it strength, and 1 % in parts: the normal law says how sure."""
    strength = [np.full((81, 1), 0.04), np.full((81, 1), 0.03)]
    found = between(YELLOW, 1.13 * YELLOW, *strength, SMOOTH)
    assert found.strength.likely == pytest.approx(1.13, rel=1e-9)
    sd = np.log(found.strength.high / found.strength.likely) / NINETY
    assert 0.05 < sd < 0.0515  # 5 % by Pythagoras, and the parts' own
    assert found.strength.low == pytest.approx(1.13**2 / found.strength.high)
    assert found.strength_sure == pytest.approx(2 * norm.cdf(np.log(1.13) / sd) - 1, abs=1e-9)
    assert found.hue_sure == pytest.approx(0.0, abs=1e-9)
    assert found.mean_left_de00 == pytest.approx(0.0, abs=1e-6)
    assert (found.stronger_or_weaker, found.other_hue, found.hue_words) == (sd < np.log(1.13) / 2.2414, False, ())


def test_what_no_strength_mends_is_as_sure_as_chi_square_says() -> None:
    """Hue differences of three independent directions: half the doubt is four times the chi-square."""
    second = YELLOW + 0.001 * band(560)
    once, twice = between(YELLOW, second, SMOOTH, SMOOTH), between(YELLOW, second, 2 * SMOOTH, 2 * SMOOTH)
    assert chi2.ppf(once.hue_sure, 3) == pytest.approx(4 * chi2.ppf(twice.hue_sure, 3), rel=1e-3)
    # What the eye does not see is no hue: another band beyond 740 nm.
    assert between(YELLOW, YELLOW + 0.3 * band(780, 10)).hue_sure < 0.01


@pytest.mark.parametrize(
    ("first", "added", "word"),
    [
        (YELLOW, 0.04 * band(530), "redder"),
        (YELLOW, 0.04 * band(640), "greener"),
        (RED, 0.10 * band(430), "yellower"),
        (RED, 0.04 * band(590, 25), "bluer"),
        (RED, 0.05 * np.ones(81), "duller"),
        (0.2 * np.ones(81), 0.05 * band(440), "yellower"),
        (0.2 * np.ones(81), 0.05 * band(540), "redder"),
    ],
)
def test_the_words_are_what_the_eye_says(first, added, word: str) -> None:  # type: ignore[no-untyped-def]
    """A second dye of the complementary colour's band is mixed in; the other way round the first is not that."""
    assert word in between(first, first + added).hue_words
    assert word not in between(first + added, first).hue_words


def two_cards(seed: int, *, times: float = 1.0, other: float = 0.0) -> tuple[DyeFit, DyeFit]:
    rng = np.random.default_rng(seed)
    truth = random_truth(rng)
    dye = times * truth.absorbance10 + other * truth.absorbance10.max() * random_dye(rng)
    builds = np.cumsum(1.0 + 0.05 * rng.standard_normal(max(STEPS)))
    later = replace(truth, absorbance10=dye, builds=builds)
    return fit_dye(lab_card(truth, rng)), fit_dye(lab_card(later, rng))


def changed(first: DyeFit, second: DyeFit) -> Changed:
    doubts = [first.doubt, second.doubt]
    return compare(first.absorbance10, second.absorbance10, doubts, grounds=first.card.grounds, loads=LOADS)


@pytest.mark.slow
def test_the_same_dye_is_not_told_to_have_changed_and_one_that_did_lies_in_the_range() -> None:
    """40 dyes, each sprayed twice: a false alarm in 5 %, the true strength in the 90 % range, as binomials allow."""
    same, stronger = [], []
    for seed in range(40):
        first, second = two_cards(9000 + seed)
        found = changed(first, second)
        same.append(found.stronger_or_weaker or found.other_hue)
        first, second = two_cards(9100 + seed, times=1.08)
        strength = changed(first, second).strength
        stronger.append(strength.low <= 1.08 <= strength.high)
    assert sum(same) <= binom.ppf(0.995, 40, 2 * CHANCE)  # 6
    assert sum(stronger) >= binom.ppf(0.005, 40, 0.9)  # 31


@pytest.mark.slow
def test_a_second_dye_of_a_few_per_cent_is_told() -> None:
    """6 % of another dye: told wherever it moves colours by more than 1 CIEDE2000 at equal strength."""
    told = []
    for seed in range(20):
        first, second = two_cards(9200 + seed, other=0.06)
        found = changed(first, second)
        if found.mean_left_de00 > 1.0:
            told.append(found.other_hue)
            assert found.hue_words or not found.other_hue
    assert len(told) >= 8
    assert np.mean(told) >= 0.9
