"""Known dyes told apart in a mix read as spectra: exists for a range that is too narrow with more than two dyes, and
for a figure given where one dye can stand for another.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from layerpreview.errors import NoAnswerError
from layerpreview.learn.card.model import Card
from layerpreview.learn.card.setting import CardSetting, card_of_readings
from layerpreview.learn.fit.colourant import KnownDye
from layerpreview.learn.fit.one_card import fit_dye, fit_mix

from .simulated import Truth, known_dye, lab_card, random_truth, readings_of

SETS = 12


def spectra(truth: Truth, rng: np.random.Generator) -> Card:
    return card_of_readings(readings_of(truth, rng, "spectrum"), CardSetting())


@pytest.mark.slow
@pytest.mark.parametrize("count", [3, 4])
def test_the_true_shares_lie_in_their_range_as_often_as_stated(count: int) -> None:
    """Each dye from a card of its own, 20 to 120 % of what is meant; ranges of 90 %, no wider than a sixth either way.

    Half width 6 % in the median; most of it is how far the coats of one card may be off together.
    """
    held, widths = [], []
    for seed in range(SETS):
        rng = np.random.default_rng(7000 + seed)
        truths = [random_truth(rng) for _ in range(count)]
        shares = np.exp(rng.uniform(np.log(0.2), np.log(1.2), count))
        dyes = [known_dye(f"dye {d}", fit_dye(spectra(truth, rng))) for d, truth in enumerate(truths)]
        mixed = sum(share * truth.absorbance10 for share, truth in zip(shares, truths, strict=True))
        found = fit_mix(spectra(replace(random_truth(rng), absorbance10=np.asarray(mixed)), rng), dyes)
        ranges = [found.strengths[dye.name] for dye in dyes]
        held += [r.low <= share <= r.high for r, share in zip(ranges, shares, strict=True)]
        widths += [r.high / r.likely - 1.0 for r in ranges]
    assert sum(held) >= int(binom.ppf(0.005, len(held), 0.9))
    assert np.median(widths) < 0.08
    assert max(widths) < 0.17


def test_a_dye_that_can_stand_for_another_is_told() -> None:
    """One dye twice, its two names known to 6 % each: only their sum is in the card."""
    rng = np.random.default_rng(3)
    truth = random_truth(rng)
    twins = [KnownDye(name, truth.absorbance10, np.full((81, 1), 0.06)) for name in ("honey", "amber")]
    with pytest.raises(NoAnswerError, match=r"honey may be \d+ to \d{3} % of what is meant, amber may be") as caught:
        fit_mix(lab_card(replace(truth, absorbance10=1.7 * truth.absorbance10), rng), twins)
    assert "\n" not in str(caught.value)


def test_a_trace_beside_much_of_the_like_is_no_such_case() -> None:
    """Of a dye of which next to nothing was meant the range is wide, but the other one is known: told as it is."""
    rng = np.random.default_rng(4)
    truth = random_truth(rng)
    dyes = [
        KnownDye("much", truth.absorbance10, np.full((81, 1), 0.03)),
        KnownDye("trace", 0.01 * truth.absorbance10, np.full((81, 1), 0.03)),
    ]
    found = fit_mix(lab_card(truth, rng), dyes)
    assert found.strengths["trace"].high > 2.0 * found.strengths["trace"].likely
    assert found.strengths["much"].low < 1.0 < found.strengths["much"].high
