"""What a next card promises, against spraying it: exists for a linear theory that is right about its own covariance and
wrong about fits. Simulated dyes (see simulated.py) on a card of few steps; the windows told are sprayed, read and
fitted with the rest, and colours are compared with the truth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import delta_e_2000, spectrum_to_lab, xyz_to_lab
from layerpreview.learn.card.model import Card, Window
from layerpreview.learn.fit.one_card import DyeFit, fit_dye
from layerpreview.learn.read.columns import Column
from layerpreview.learn.tell.next_step import CANDIDATES, Aim, card_aims, next_windows

from .simulated import Truth, lab_card, random_truth

F64 = NDArray[np.float64]
FIRST = (Column(1, 1, "white"), Column(3, 1, "white"), Column(1, 1, "base"), Column(3, 1, "base"))
SEEDS = range(12)


def sprayed(card: Card, truth: Truth, columns: Sequence[Column], rng: np.random.Generator, *, first_step: int) -> Card:
    """The card with windows of `columns`, each step sprayed for itself with 6 % scatter of a coat, and read."""
    windows, steps = [], {}
    for column in columns:
        strokes = (column.coats, column.strength)
        if strokes not in steps:
            scatter = 0.06 * rng.standard_normal() / np.sqrt(column.coats)
            steps[strokes] = (first_step + len(steps), column.load * np.exp(scatter))
        step, load = steps[strokes]
        film = card.ground(column.background).film
        bare = truth.white if column.background == "white" else truth.metal
        seen = film.reflectance(load * np.exp(0.02 * rng.standard_normal()) * truth.absorbance10, bare)
        lab = xyz_to_lab(card.eye.take @ seen, white_xyz=np.ones(3)) + 0.35 * rng.standard_normal(3)
        windows.append(Window(column.background, step, column.load, lab, np.ones(3, dtype=bool)))
    return replace(card, windows=(*card.windows, *windows), masked=False)


def first_card(truth: Truth, rng: np.random.Generator) -> Card:
    card = lab_card(truth, rng)
    bare = tuple(window for window in card.windows if window.load == 0)
    return sprayed(replace(card, windows=bare), truth, FIRST, rng, first_step=1)


def errors_de00(fit: DyeFit, truth: Truth, aims: Sequence[Aim]) -> F64:
    """How far off every aim is foretold, over the bare grounds that were foretold with."""
    labs = [
        [spectrum_to_lab(aim.film.reflectance(aim.load * dye, aim.bare), light=aim.light) for aim in aims]
        for dye in (fit.absorbance10, truth.absorbance10)
    ]
    return delta_e_2000(np.array(labs[0]), np.array(labs[1]))


def root_mean_square(values: Sequence[float] | F64) -> float:
    return float(np.sqrt(np.square(values).mean()))


@pytest.mark.slow
def test_what_is_promised_is_what_comes() -> None:
    """Root mean squares [CIEDE2000].

    On 36 dyes: 1.03 before (colours were 1.34 off, one dye of them 5.7), 0.70 promised, 0.74 in the new fits, 0.61
    really. Two windows by chance: 0.86 in the new fits, 0.75 really; less doubt than by the two told for 6 of the 36.
    """
    promised, doubt, error = [], [], []
    for seed in SEEDS:
        rng = np.random.default_rng(900 + seed)
        truth = random_truth(rng)
        card = first_card(truth, rng)
        fit = fit_dye(card)
        aims = card_aims(fit)
        pair = next_windows(fit, aims=aims)
        choices = [replace(column, background=ground) for ground in ("white", "base") for column in CANDIDATES]
        chance = [choices[i] for i in rng.choice(len(choices), 2, replace=False)]
        taught = [sprayed(card, truth, each, rng, first_step=8) for each in ([one.window for one in pair], chance)]
        fits = [fit, *map(fit_dye, taught)]
        promised.append((pair[0].doubt_before_de00, pair[1].doubt_after_de00))
        doubt.append([next_windows(each, aims=aims)[0].doubt_before_de00 for each in fits])
        error.append([root_mean_square(errors_de00(each, truth, aims)) for each in fits])
    before, after = map(root_mean_square, np.transpose(promised))
    first, best, _ = map(root_mean_square, np.transpose(error))
    told_best, told_chance = map(root_mean_square, np.transpose(doubt)[1:])
    assert told_best == pytest.approx(after, rel=0.2)
    # The dyes here keep Beer's law to the letter: part of what is doubted never comes.
    assert 0.6 * after < best < 1.3 * after
    assert first == pytest.approx(before, rel=0.3)
    assert best < 0.9 * first
    assert told_best < 0.8 * told_chance
    assert sum(row[1] < row[2] + 0.005 for row in doubt) >= 0.8 * len(SEEDS)
