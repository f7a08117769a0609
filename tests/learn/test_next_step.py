"""The next step worth spraying: exists for a coat's scatter that is forgotten, and for one that is not shared by all
windows of the step (they lie under the same strokes).

Expected by Bayes' rule for many readings: precision after = precision before + slopes' (noise)^-1 slopes, with slopes
taken by differences of `predict` (any book on linear estimation; the code uses the other form, by gain).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.learn import next_step
from layerpreview.learn.fit import DyeFit, fit_dye, predict
from layerpreview.learn.model import Card, Ground, lab_eye
from layerpreview.learn.next_step import CANDIDATE_LOADS, NextStep, next_steps

from .simulated import lab_card, random_truth

F64 = NDArray[np.float64]
WANTED = (0.7, 4.0)


@pytest.fixture(scope="module")
def learnt() -> DyeFit:
    rng = np.random.default_rng(42)
    return fit_dye(lab_card(random_truth(rng), rng))


def slopes_of(fit: DyeFit, ground: Ground, load: float, light: str) -> tuple[F64, F64]:
    """Slopes of one reading over every root of the doubt (3, K), and over the logarithm of the load (3,)."""
    eye, bare = lab_eye(light, 2), ground.bare(np.ones(3))

    def read(dye: F64, coats: float) -> F64:
        return predict(replace(fit, absorbance10=dye), film=ground.film, bare=bare, load=coats, eye=eye).read

    tiny = 1e-5
    by_root = [
        (read(fit.absorbance10 * np.exp(tiny * root), load) - read(fit.absorbance10 * np.exp(-tiny * root), load))
        / (2 * tiny)
        for root in fit.doubt.T
    ]
    by_load = read(fit.absorbance10, load * np.exp(tiny)) - read(fit.absorbance10, load * np.exp(-tiny))
    return np.stack(by_root, axis=1), by_load / (2 * tiny)


def doubt_after(fit: DyeFit, load: float, lights: tuple[str, ...]) -> tuple[float, float]:
    """The doubt before and after one step of `load` coats over both grounds."""
    parts = [slopes_of(fit, ground, load, "D65") for ground in fit.card.grounds]
    slopes = np.concatenate([by_root for by_root, _ in parts])
    by_load = np.concatenate([by_log for _, by_log in parts])
    # One coat, or one coat of a thinner mix, scatters in full; n coats by 1/sqrt(n) of their sum.
    scatter = fit.card.coat_scatter**2 / max(1.0, load) + fit.card.local_scatter**2
    noise = fit.noise_used**2 * np.eye(by_load.size) + scatter * by_load[:, None] * by_load[None, :]
    covariance = np.linalg.inv(np.eye(fit.doubt.shape[1]) + slopes.T @ np.linalg.inv(noise) @ slopes)
    aims = [
        slopes_of(fit, ground, wanted, light)[0] for ground in fit.card.grounds for wanted in WANTED for light in lights
    ]
    before, after = (
        np.sqrt(np.mean([np.trace(aim @ c @ aim.T) for aim in aims])) for c in (np.eye(fit.doubt.shape[1]), covariance)
    )
    return float(before), float(after)


@pytest.mark.parametrize(("coat", "local"), [(0.06, 0.02), pytest.param(0.30, 0.08, marks=pytest.mark.slow)])
def test_the_step_told_is_the_best_by_bayes_rule(learnt: DyeFit, coat: float, local: float) -> None:
    card: Card = replace(learnt.card, coat_scatter=coat, local_scatter=local)
    fit, lights = replace(learnt, card=card), ("D65", "A")
    (told,) = next_steps(fit, wanted_loads=WANTED, lights=lights, count=1)
    after = {load: doubt_after(fit, load, lights) for load in CANDIDATE_LOADS}
    best = min(after, key=lambda load: after[load][1])
    assert told.load == best
    assert told.doubt_before == pytest.approx(after[best][0], rel=1e-4)
    assert told.doubt_after == pytest.approx(after[best][1], rel=1e-4)


@pytest.mark.parametrize("load", [0.25, 0.5, 1.0, 2.0, 8.0])
def test_a_thin_coat_scatters_as_one_and_many_as_their_sum(
    learnt: DyeFit, monkeypatch: pytest.MonkeyPatch, load: float
) -> None:
    fit = replace(learnt, card=replace(learnt.card, coat_scatter=0.2))
    monkeypatch.setattr(next_step, "CANDIDATE_LOADS", (load,))
    (told,) = next_steps(fit, wanted_loads=WANTED, lights=("D65",), count=1)
    assert told.doubt_after == pytest.approx(doubt_after(fit, load, ("D65",))[1], rel=1e-4)


@pytest.mark.parametrize(
    ("load", "words"),
    [
        (0.5, "one coat at 0.5 of the strength"),
        (0.9, "one coat at 0.9 of the strength"),
        (1.0, "one coat"),
        (1.5, "one coat at 1.5 times the strength"),
        (6.0, "6 coats"),
    ],
)
def test_a_step_is_said_as_it_is_sprayed(load: float, words: str) -> None:
    assert NextStep(load, 2.0, 1.0).words == words


def test_every_step_can_be_sprayed_and_mixed_with_a_shops_measures() -> None:
    """One coat of a mix in quarters of the strength, or whole coats up to a dozen (common practice, no source)."""
    assert list(CANDIDATE_LOADS) == sorted(set(CANDIDATE_LOADS))
    thin, thick = [[x for x in CANDIDATE_LOADS if (x < 2) is is_thin] for is_thin in (True, False)]
    assert thin == [0.25, 0.5, 0.75, 1.0, 1.5]
    assert all(load == int(load) for load in thick)
    assert thick[:5] == [2, 3, 4, 5, 6]  # the columns of the card
    assert thick[-1] == 12


def test_steps_are_told_in_turn_each_with_what_is_known_then(learnt: DyeFit, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read twice, the same step tells less the second time: precisions add up (Bayes' rule)."""
    monkeypatch.setattr(next_step, "CANDIDATE_LOADS", (3.0,))
    one, two, three = next_steps(learnt, wanted_loads=WANTED, lights=("D65",), count=3)
    assert (two.doubt_before, three.doubt_before) == (one.doubt_after, two.doubt_after)
    gains = [step.doubt_before - step.doubt_after for step in (one, two, three)]
    assert gains[0] > gains[1] > gains[2] > 0
    assert len(next_steps(learnt, wanted_loads=WANTED, lights=("D65",))) == 2
