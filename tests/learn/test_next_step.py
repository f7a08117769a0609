"""The next windows worth spraying: exists for a coat's scatter that is forgotten, for one that is not shared by windows
under the same strokes, and for a doubt that is told in other steps than a person sees.

Expected by Bayes' rule for many readings: precision after = precision before + slopes' (noise)^-1 slopes, with slopes
taken by differences of `predict` (any book on linear estimation; the code uses the other form, by gain).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import delta_e_2000, spectrum_to_lab
from layerpreview.learn.card.model import Card, lab_eye
from layerpreview.learn.fit.one_card import DyeFit, fit_dye, predict
from layerpreview.learn.read.columns import Column
from layerpreview.learn.tell import next_step
from layerpreview.learn.tell.next_step import CANDIDATES, Aim, card_aims, next_windows

from .simulated import METAL, WHITE, lab_card, random_truth

F64 = NDArray[np.float64]
TINY = 1e-4


@pytest.fixture(scope="module")
def learnt() -> DyeFit:
    rng = np.random.default_rng(42)
    return fit_dye(lab_card(random_truth(rng), rng))


def aims_of(fit: DyeFit) -> list[Aim]:
    bare = fit.card.ground("base").bare(np.ones(3))
    other10 = np.linspace(0.3, 0.0, 81)  # a yellow that is there as well
    return [Aim(WHITE, 0.9 * np.ones(81), 0.7, "D65"), Aim(METAL, bare, 4.0, "A", 10, other10)]


def slopes_of(fit: DyeFit, window: Column) -> tuple[F64, F64]:
    """Slopes of one reading over every root of the doubt (3, K), and over the logarithm of the load (3,)."""
    ground = fit.card.ground(window.background)
    eye, bare = lab_eye("D65", 2), ground.bare(np.ones(3))

    def read(dye: F64, load: float) -> F64:
        return predict(replace(fit, absorbance10=dye), film=ground.film, bare=bare, load=load, eye=eye).read

    by_root = [
        read(fit.absorbance10 * np.exp(TINY * root), window.load)
        - read(fit.absorbance10 * np.exp(-TINY * root), window.load)
        for root in fit.doubt.T
    ]
    by_load = read(fit.absorbance10, window.load * np.exp(TINY))
    by_load = by_load - read(fit.absorbance10, window.load * np.exp(-TINY))
    return np.stack(by_root, axis=1) / (2 * TINY), by_load / (2 * TINY)


def doubt_after(fit: DyeFit, windows: Sequence[Column], aims: Sequence[Aim]) -> float:
    """The doubt once windows were read, in CIEDE2000: of each aim by moving the dye along the roots of its doubt."""
    kinds = fit.doubt.shape[1]
    precision = np.eye(kinds)
    if windows:
        parts = [slopes_of(fit, window) for window in windows]
        slopes, by_load = np.concatenate([s for s, _ in parts]), [b for _, b in parts]
        noise = fit.noise_used**2 * np.eye(3 * len(windows))
        for i, one in enumerate(windows):
            for j, other in enumerate(windows):
                # The same strokes: the first min(coats) of both scatter as one.
                shared = min(one.coats, other.coats) if fit.card.masked or one.coats == other.coats else 0.0
                scatter = fit.card.coat_scatter**2 * shared / (one.coats * other.coats)
                scatter = scatter * (one.strength == other.strength) + fit.card.local_scatter**2 * (i == j)
                noise[3 * i : 3 * i + 3, 3 * j : 3 * j + 3] += scatter * np.outer(by_load[i], by_load[j])
        precision = precision + slopes.T @ np.linalg.inv(noise) @ slopes
    roots = fit.doubt @ np.linalg.cholesky(np.linalg.inv(precision))
    return float(np.mean([spread_de00(fit, aim, roots) for aim in aims]))


def spread_de00(fit: DyeFit, aim: Aim, roots: F64) -> float:
    def lab(dye: F64) -> F64:
        seen = aim.film.reflectance(aim.load * dye + aim.other10, aim.bare)
        return spectrum_to_lab(seen, light=aim.light, observer_deg=aim.observer_deg)

    steps = [
        delta_e_2000(lab(fit.absorbance10 * np.exp(0.01 * root)), lab(fit.absorbance10 * np.exp(-0.01 * root))) / 0.02
        for root in roots.T
    ]
    return float(np.sqrt(np.square(steps).sum()))


FEW = (Column(1, 0.5), Column(1), Column(3), Column(6), Column(5, 2))


@pytest.mark.parametrize("masked", [True, pytest.param(False, marks=pytest.mark.slow)])
@pytest.mark.parametrize(("coat", "local"), [(0.06, 0.02), pytest.param(0.30, 0.08, marks=pytest.mark.slow)])
def test_the_windows_told_are_the_best_by_bayes_rule(
    learnt: DyeFit, monkeypatch: pytest.MonkeyPatch, coat: float, local: float, masked: bool
) -> None:
    card: Card = replace(learnt.card, coat_scatter=coat, local_scatter=local, masked=masked)
    fit = replace(learnt, card=card)
    aims = aims_of(fit)
    monkeypatch.setattr(next_step, "CANDIDATES", FEW)
    one, two = next_windows(fit, aims=aims)
    every = [replace(column, background=ground) for ground in ("white", "base") for column in FEW]
    after = {pair: doubt_after(fit, pair, aims) for pair in combinations(every, 2)}
    best = min(after, key=lambda pair: after[pair])
    assert {one.window, two.window} == set(best)
    assert one.doubt_before_de00 == pytest.approx(doubt_after(fit, (), aims), rel=2e-3)
    assert one.doubt_after_de00 == two.doubt_before_de00
    assert one.doubt_after_de00 == pytest.approx(min(doubt_after(fit, (window,), aims) for window in best), rel=2e-3)
    assert two.doubt_after_de00 == pytest.approx(after[best], rel=2e-3)


def test_both_windows_of_one_step_err_together(learnt: DyeFit, monkeypatch: pytest.MonkeyPatch) -> None:
    """They lie under the same strokes: read one by one they would tell more of the dye."""
    fit = replace(learnt, card=replace(learnt.card, coat_scatter=0.2))
    aims = aims_of(fit)
    monkeypatch.setattr(next_step, "CANDIDATES", (Column(2),))
    together = next_windows(fit, aims=aims)[1].doubt_after_de00
    pair = (Column(2, 1, "white"), Column(2, 1, "base"))
    assert together == pytest.approx(doubt_after(fit, pair, aims), rel=2e-3)
    apart = (Column(2, 1, "white"), Column(2, 1.0001, "base"))
    assert doubt_after(fit, apart, aims) < 0.99 * together


def test_a_card_stands_for_its_own_range_by_daylight_and_lamp_light(learnt: DyeFit) -> None:
    aims = card_aims(learnt)
    assert {(aim.load, aim.light) for aim in aims} == {
        (load, light) for load in (1.0, 3.0, 6.0) for light in ("D65", "A")
    }
    assert len(aims) == 12
    assert {aim.film for aim in aims} == {ground.film for ground in learnt.card.grounds}


def test_every_window_can_be_sprayed_and_mixed_with_a_shops_measures() -> None:
    """One coat of a mix in quarters of the strength, or whole coats of it up to the card's six columns; twice as strong
    where that is not enough (common practice, no source).
    """
    loads = [column.load for column in CANDIDATES]
    assert loads == sorted(set(loads))
    assert [c.load for c in CANDIDATES if c.coats == 1] == [0.25, 0.5, 0.75, 1.0, 1.5]
    assert [c.coats for c in CANDIDATES if c.strength == 1] == [1, 2, 3, 4, 5, 6]
    assert [c.load for c in CANDIDATES if c.strength == 2] == [8, 10, 12]
    assert all(column.background == "" for column in CANDIDATES)
