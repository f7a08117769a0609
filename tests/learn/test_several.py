"""Several cards of shared dyes: exists for a strength that is not carried over, a rough card that rules, an odd card
that stays hidden, or one that agrees and is called odd.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from layerpreview.learn.card.model import lab_eye, lightness_root
from layerpreview.learn.card.setting import CardSetting, card_of_readings
from layerpreview.learn.fit.joint import SharedCard
from layerpreview.learn.fit.one_card import fit_dye, predict
from layerpreview.learn.fit.several import TogetherFit, fit_together
from layerpreview.learn.read.readings import Kind
from layerpreview.learn.tell.fitted_several import odd_words
from layerpreview.units import NINETY

from .simulated import F64, METAL, Truth, lab_card, random_truth, readings_of

D65 = lab_eye("D65", 2)
pytestmark = pytest.mark.slow


def card(dyes: Sequence[F64], shares: Sequence[float], rng: np.random.Generator, **how: object) -> SharedCard:
    """A card with its own bare grounds and builds, each dye off by 3 %; its noise is what it shows by itself."""
    kind, noise = how.pop("kind", None), float(how.pop("noise", 0.01))  # type: ignore[arg-type]
    assert not how
    mixed = sum(s * np.exp(0.03 * rng.standard_normal()) * dye for s, dye in zip(shares, dyes, strict=True))
    truth: Truth = replace(random_truth(rng), absorbance10=np.asarray(mixed))
    if kind is None:
        made = lab_card(truth, rng, noise=noise)
    else:
        made = card_of_readings(readings_of(truth, rng, kind, noise=noise), CardSetting())  # type: ignore[arg-type]
    own = fit_dye(made)
    name = "+".join(f"{share:g}" for share in shares)
    return SharedCard(name, made, np.array(shares)).rougher(own.noise_used / made.noise)


def misses(fit: TogetherFit, d: int, dye: F64, metal: F64, load: float) -> F64:
    """How far a predicted L*, a*, b* is off, in standard deviations."""
    guess = predict(fit.dyes[d], film=METAL, bare=metal, load=load, eye=D65)
    right = D65.mix @ lightness_root(D65.take @ METAL.reflectance(load * dye, metal))
    return np.asarray((guess.read - right) / np.sqrt(np.diag(guess.covariance)))


@pytest.fixture(scope="module")
def agreeing() -> tuple[Truth, list[SharedCard]]:
    """Three cards of one dye in strengths as 1, 0.4 and 1.5."""
    rng = np.random.default_rng(31)
    truth = random_truth(rng)
    return truth, [card([truth.absorbance10], [share], rng) for share in (1.0, 0.4, 1.5)]


def test_cards_of_three_strengths_teach_one_dye_and_agree(agreeing: tuple[Truth, list[SharedCard]]) -> None:
    truth, cards = agreeing
    fit = fit_together(cards, ["amber"])
    alone = fit_dye(cards[0].card)
    assert np.abs(misses(fit, 0, truth.absorbance10, truth.metal, 3.3)).max() < 3.0
    assert np.median(fit.dyes[0].high / fit.dyes[0].low) < 0.9 * np.median(alone.high / alone.low)
    assert odd_words(fit.cards, ["amber"]) == []
    assert fit.dyes[0].heaviest_load == pytest.approx(6 * 1.5)
    for one in fit.cards:
        (strength,) = one.strengths
        assert strength is not None
        assert strength.low < 1.0 < strength.high
        assert one.fitted.shape == (14, 3)
        assert set(one.builds) == {1, 2, 3, 4, 5, 6}


@pytest.mark.parametrize("factor", [1.35, 0.7])
def test_a_card_of_another_strength_is_told_by_how_much(
    agreeing: tuple[Truth, list[SharedCard]], factor: float
) -> None:
    truth, cards = agreeing
    rng = np.random.default_rng(8)
    wrong = replace(card([factor * truth.absorbance10], [1.0], rng), name="thursday.csv")
    fit = fit_together([*cards, wrong], ["amber"])
    (words,) = odd_words(fit.cards, ["amber"])
    assert words.startswith("thursday.csv disagrees")
    assert ("% more dye" if factor > 1 else "% less dye") in words
    assert np.log1p(fit.cards[3].standing.strength_off) == pytest.approx(np.log(factor), abs=0.12)
    assert [one.standing.odd for one in fit.cards][3]


@pytest.mark.parametrize("kind", ["lab", "spectrum"])
def test_an_odd_card_is_found_and_cards_that_agree_are_not_odd(kind: Kind) -> None:
    """A quarter more dye, and a sixth of another dye in it: found in most sets of three; of 36 cards that agree, none.

    Once in a thousand cards is what is stated; two of 36 would happen once in 1600 such tests.
    """
    found = {"strength": 0, "hue": 0}
    called = 0
    for seed in range(12):
        rng = np.random.default_rng(400 + seed)
        dye, other = random_truth(rng).absorbance10, random_truth(rng).absorbance10
        tinted = dye + 0.18 * dye.max() / other.max() * other
        cards = [card([dye], [1.0], rng, kind=kind) for _ in range(3)]
        called += sum(one.standing.odd for one in fit_together(cards, ["a"]).cards)
        for what, wrong in (("strength", 1.25 * dye), ("hue", tinted)):
            fit = fit_together([*cards[:2], card([wrong], [1.0], rng, kind=kind)], ["a"])
            (words,) = odd_words(fit.cards, ["a"]) or [""]
            found[what] += words.startswith("1 disagrees") and fit.cards[2].standing.odd
    assert called <= int(binom.ppf(0.999, 36, 1e-3))
    assert found["strength"] >= 8
    assert found["hue"] >= 9


def test_two_cards_that_disagree_do_not_say_which_is_wrong() -> None:
    rng = np.random.default_rng(5)
    dye = random_truth(rng).absorbance10
    fit = fit_together([card([dye], [1.0], rng), card([1.6 * dye], [1.0], rng)], ["a"])
    (words,) = odd_words(fit.cards, ["a"])
    assert "it may as well be the other" in words


def test_a_rough_card_hardly_moves_a_good_one() -> None:
    rng = np.random.default_rng(12)
    truth = random_truth(rng)
    good = [card([truth.absorbance10], [1.0], rng) for _ in range(2)]
    rough = card([truth.absorbance10], [1.0], rng, noise=0.06)
    fit, without = fit_together([*good, rough], ["a"]), fit_together(good, ["a"])
    assert fit.cards[2].shared.card.noise > 2.0 * fit.cards[0].shared.card.noise
    load = 2.5
    reads = [predict(f.dyes[0], film=METAL, bare=truth.metal, load=load, eye=D65).read for f in (fit, without)]
    assert np.abs(reads[0] - reads[1]).max() < 0.7


@pytest.mark.parametrize("shares", [((1, 0), (0, 1), (0.6, 0.4)), ((1, 0), (0.6, 1.0), (0.3, 0.5))])
def test_dyes_of_mixes_lie_in_their_range_as_often_as_stated(shares: tuple[tuple[float, float], ...]) -> None:
    """Both dyes alone and mixed, or the second only in mixes: one number of each dye in 14 sets, 90 % stated."""
    held = []
    for seed in range(14):
        rng = np.random.default_rng(900 + seed)
        truths = [random_truth(rng), random_truth(rng)]
        dyes = [truth.absorbance10 for truth in truths]
        fit = fit_together([card(dyes, share, rng) for share in shares], ["a", "b"])
        held += [
            abs(misses(fit, d, dyes[d], truths[d].metal, float(rng.uniform(0.5, 5.5)))[rng.integers(3)]) <= NINETY
            for d in (0, 1)
        ]
    assert sum(held) >= int(binom.ppf(0.005, len(held), 0.9))
