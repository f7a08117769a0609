"""Every kind of reading: the truth lies in the stated 90 % range about as often as stated.

Dyes, grounds and builds are drawn anew each time (`simulated`: dyes unlike the prior's). Of each dye one question of
each sort is asked, so that answers are independent and the binomial says how many misses chance allows.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.stats import binom

from layerpreview.learn.card.model import Card, lab_eye, lightness_root
from layerpreview.learn.card.setting import CardSetting, card_of_readings
from layerpreview.learn.fit.one_card import fit_dye, predict
from layerpreview.learn.read.readings import Kind
from layerpreview.units import NINETY

from .simulated import METAL, STEPS, Truth, photo_card, random_truth, readings_of

DYES = 30
FEWEST = int(binom.ppf(0.005, DYES, 0.9))  # 22: fewer happen by chance once in two hundred tests
D65 = lab_eye("D65", 2)
Made = Callable[[Truth, np.random.Generator], Card]


def read_as(kind: Kind, step_nm: int = 10) -> Made:
    return lambda truth, rng: card_of_readings(readings_of(truth, rng, kind, step_nm=step_nm), CardSetting())


CARDS: dict[str, Made] = {
    "spectra": read_as("spectrum"),
    "spectra every 20 nm": read_as("spectrum", step_nm=20),
    "XYZ": read_as("xyz"),
    "L*a*b*": read_as("lab"),
    "sRGB": read_as("srgb"),
    "photo": lambda truth, rng: photo_card(truth, rng, grey=True),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", CARDS)
def test_the_truth_lies_in_the_range_as_often_as_stated(kind: str) -> None:
    held = []
    for seed in range(DYES):
        rng = np.random.default_rng(5000 + seed)
        truth = random_truth(rng)
        fit = fit_dye(CARDS[kind](truth, rng))
        strong = np.flatnonzero(truth.absorbance10 > 0.05 * truth.absorbance10.max())
        at, step, axis = rng.choice(strong), rng.choice(STEPS), rng.integers(3)
        load = float(rng.uniform(0.5, 5.5))
        guess = predict(fit, film=METAL, bare=truth.metal, load=load, eye=D65)
        right = D65.mix @ lightness_root(D65.take @ METAL.reflectance(load * truth.absorbance10, truth.metal))
        inside = np.abs(guess.read - right) <= NINETY * np.sqrt(np.diag(guess.covariance))
        build = fit.builds[step]
        held.append(
            (
                fit.low[at] <= truth.absorbance10[at] <= fit.high[at],
                build.low <= truth.builds[step - 1] <= build.high,
                inside[axis],
            )
        )
    assert (np.sum(held, axis=0) >= FEWEST).all()
