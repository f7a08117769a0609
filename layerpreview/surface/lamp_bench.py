"""Lamps, even light, steepness of the base and fall-off under which three photos of it are likeliest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np

from layerpreview.film.bases import SILVERS
from layerpreview.surface.lamp_odd import darker_in, odd_in
from layerpreview.surface.lamp_readings import FLOOR, expected_log, law_of_lamp, readings_of
from layerpreview.surface.lamp_sight import TERMS, Bench, Sight

HEIGHTS_DEG = (30.0, 37.5, 45.0, 52.5, 60.0)
"""Heights of a lamp over the bench that are tried: 45 give or take 15, as one is asked to hold it."""
STEEPNESSES = (0.02, 0.05, 0.1, 0.2, 0.35)
"""Spreads of the slopes along x and along y that are tried; the made reliefs have 0.004 to 0.35."""
EVENS = (0.03, 0.1, 0.2)
"""Shares of the light from all round that are tried: a dark room to a dim one."""
_GAIN, _STILL = 0.005, 0.0005  # natural log, mean of a place: less is not worth a round, nor another search
_PROMISED = 0.0002  # natural log, mean of a place: twice what a step would gain that is not tried any more
_USUAL_DEG, _HELD = 45.0, 0.02  # natural log: what a lamp 7.5 degrees from it counts as less likely
_USUAL_EVEN, _DIM = 0.1, 0.03  # and what e times more or less even light than a darkened room's does
_LEAD = 0.02  # natural log, mean of a place: a silver must be so much likelier than the usual one
_ROUNDS = 4
_FACETS = 500  # as many places of a face tell of its light's fall-off as if they knew nothing of each other (assumed)
_SMOOTH = np.array([0.0, 0.4, 0.4, 0.2, 0.2, 0.2]) ** 2  # spread of the fall-off's terms [natural log], for a lamp
_SMOOTH[1:] = 1.0 / _SMOOTH[1:]  # of five widths away


def likeliest(
    sight: Sight, silvers: Sequence[str], heights_deg: Sequence[float] | None = None
) -> tuple[Bench, Sight, dict[str, float]]:
    """The bench under which the photos are likeliest, where they are odd, and each silver's log-likelihood.

    `heights_deg`: of the lamps over the bench, where they are known [deg].
    """
    sight = darker_in(sight)
    few = sight.few()
    bench = _first(few, silvers[0], tuple(heights_deg or (_USUAL_DEG,) * 3))
    bench = _best(few, [_changed(few, bench, steepness=both) for both in product(STEEPNESSES, repeat=2)])
    sight = odd_in(sight, bench)
    few = sight.few()
    found = [_searched(few, _changed(few, bench, silver=silver), free=heights_deg is None) for silver in silvers]
    # What the photos do not tell apart is the usual one, which is the first.
    bench = max(found, key=lambda one: one.log_likelihood + (_LEAD if one is found[0] else 0.0))
    for _ in range(_ROUNDS):
        sight = odd_in(sight, bench)
        bench = _settled(sight.few(), bench, steps=6)
    clear = sight.some(np.flatnonzero(~sight.odd.any(axis=0)))
    return _settled(clear, bench, steps=8), sight, {one.silver: one.log_likelihood for one in found}


def _searched(few: Sight, bench: Bench, *, free: bool) -> Bench:
    """One of the bench's numbers after the other, again from what was found until nothing is gained.

    `free`: the heights of the lamps as well.
    """
    tried = product([(deg,) * 3 for deg in HEIGHTS_DEG] if free else [bench.heights_deg], EVENS)
    bench = _best(few, [_changed(few, bench, heights_deg=heights, even=even) for heights, even in tried])
    for step in (7.5, 7.5, 3.75, 3.75, 3.75):
        before = bench.log_likelihood
        for k in range(3 if free else 0):
            there = bench.heights_deg[k]
            near = [deg for deg in (there - step, there + step) if HEIGHTS_DEG[0] <= deg <= HEIGHTS_DEG[-1]]
            others = ((*bench.heights_deg[:k], deg, *bench.heights_deg[k + 1 :]) for deg in near)
            bench = _best(few, [bench, *(_changed(few, bench, heights_deg=heights) for heights in others)])
        bench = _best(few, [bench, *(_changed(few, bench, even=bench.even * factor) for factor in (0.75, 1.4))])
        for x, y in ((1.25, 1.25), (0.8, 0.8), (1.25, 1.0), (0.8, 1.0), (1.0, 1.25), (1.0, 0.8)):
            steepness = bench.steepness[0] * x, bench.steepness[1] * y
            bench = _best(few, [bench, _changed(few, bench, steepness=steepness)])
        if bench.log_likelihood < before + _GAIN:
            break
    return bench


def _changed(sight: Sight, bench: Bench, **changes: Any) -> Bench:
    """Another guess, exposed so that the mean log brightness it expects stays that of the photos."""
    other = replace(bench, **changes, settled=False)
    brighter = [
        expected_log(new, other.steepness) - expected_log(old, bench.steepness)
        for new, old in zip(sight.laws(other), sight.laws(bench), strict=True)
    ]
    surface = bench.surface.copy()
    surface[:, 0] += brighter
    return replace(other, surface=surface)


def _first(sight: Sight, silver: str, heights_deg: tuple[float, ...]) -> Bench:
    """A bench of the light's surface that brings each photo's log brightness to what is expected."""
    even, steepness = 0.1, (0.3, 0.3)
    surface = np.zeros((3, TERMS))
    for one, light, side, height in zip(surface, sight.light, sight.sides, heights_deg, strict=True):
        law = law_of_lamp(SILVERS[silver], side=side, height_deg=height, even=even)
        one[:] = -np.linalg.lstsq(sight.terms, np.log(light + 1e-3), rcond=None)[0]
        for _ in range(8):
            off = np.log(light * np.exp(sight.terms @ one) + FLOOR).mean()
            one[0] += expected_log(law, steepness) - off
    return Bench(silver, heights_deg, even, steepness, surface)


def _best(sight: Sight, benches: Sequence[Bench]) -> Bench:
    settled = (bench if bench.settled else _settled(sight, bench, steps=4) for bench in benches)
    return max(settled, key=lambda bench: bench.log_likelihood)


def _settled(sight: Sight, bench: Bench, *, steps: int) -> Bench:
    """The bench with the light's surfaces that make the photos likeliest.

    Newton's steps with the outer products of the slopes in place of the curvature (Berndt, Hall, Hall and Hausman,
    Annals of Economic and Social Measurement 3, 653 (1974)), halved when they go too far.
    """
    firm = np.diag(np.tile(_SMOOTH, 3)) * (sight.light.shape[1] / _FACETS)
    held = _HELD * float(np.mean((np.array(bench.heights_deg) - _USUAL_DEG) ** 2)) / 7.5**2
    held += _DIM * float(np.log(bench.even / _USUAL_EVEN) ** 2)
    step, share, surface = np.zeros_like(bench.surface), 1.0, bench.surface
    fineness = sight.search
    facets = sight.facets(bench, fineness)
    best = replace(bench, log_likelihood=-np.inf)
    for left in reversed(range(steps)):
        # The light that blows a photo out goes with its exposure: held still, all would be likeliest blown out.
        tried = replace(bench, surface=surface)
        full = sight.full(tried)
        table = readings_of(facets, full, fineness=fineness, likelihood=True)
        exposure = np.exp(surface.astype(np.float32) @ sight.terms.T)
        light = sight.light * exposure
        cells = table.cells(np.minimum(light, full[:, None]))
        likelihood = float(np.log(table.often(cells)).mean()) - held
        # Readings are counted by log(light + FLOOR), photos by log(number + FLOOR): the brighter the silver, the
        # fewer of the dark places the floor holds together, which would speak against it.
        likelihood += float(np.log((light + FLOOR * exposure) / (light + FLOOR)).sum(axis=0).mean())
        likelihood -= 0.5 * float(surface.ravel() @ firm @ surface.ravel()) / sight.light.shape[1]
        if likelihood > best.log_likelihood:
            best = replace(best, surface=surface, log_likelihood=likelihood)
            if not left:
                break
            pull = table.log_pull(light, cells) * (light < full[:, None]) + FLOOR / (light + FLOOR)
            slopes = (pull[:, None, :] * sight.terms.T).reshape(3 * TERMS, -1).astype(np.float64)
            curvature = slopes @ slopes.T + firm
            curvature += 1e-3 * np.trace(curvature) / len(curvature) * np.eye(len(curvature))
            uphill = slopes.sum(axis=1) - firm @ surface.ravel()
            step = np.linalg.solve(curvature, uphill).reshape(3, TERMS)
            if float(uphill @ step.ravel()) < _PROMISED * sight.light.shape[1]:
                break
        else:
            share *= 0.5
        surface = best.surface + np.clip(share * step, -0.3, 0.3)
    return replace(best, settled=best.log_likelihood < bench.log_likelihood + _STILL)
