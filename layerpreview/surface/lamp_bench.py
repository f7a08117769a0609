"""Lamps, even light, steepness of the base and fall-off under which three photos of it are likeliest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from layerpreview.film.bases import SILVERS, MetalBase
from layerpreview.surface.lamp_readings import (
    FINE,
    FLOOR,
    SEARCH,
    Fineness,
    Readings,
    expected_log,
    law_of_lamp,
    readings_of,
)

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Inside = NDArray[np.bool_]

HEIGHTS_DEG = (30.0, 37.5, 45.0, 52.5, 60.0)
"""Heights of a lamp over the bench that are tried: 45 give or take 15, as one is asked to hold it."""
_USUAL_DEG = 45.0
STEEPNESSES = (0.02, 0.05, 0.1, 0.2, 0.35)
"""Spreads of the slopes along x and along y that are tried; the made reliefs have 0.004 to 0.35."""
EVENS = (0.03, 0.1, 0.2)
"""Shares of the light from all round that are tried: a dark room to a dim one."""
_FULL = 0.98
_SOME, _FEW = 20_000, 4
_TERMS = 6
_REGION = 4.0  # of the lattice's steps, one in 140 of the face: wider than a facet, narrower than a hand's shadow
_GAIN = 0.005
_HELD = 0.02  # natural log: what a lamp 7.5 degrees from 45, as one is asked to hold it, counts as less likely
_BLUR = 0.1
_DIM, _USUAL_EVEN = 0.03, 0.1
_LEAD = 0.02  # natural log, mean of a place: a silver must be so much likelier than the usual one
_ROUNDS = 4
_TRIM_KEPT, _TRIM_EVERY, _TRIM_STEPS, _TRIM_OFF = 0.62, 8, 10, 0.8
_TILT = 0.4  # natural log from the middle to the edge: more is no lamp of five widths away
_ENDS = [(0, x, y) for x in (-1, 0, 1) for y in (-1, 0, 1)]
_FACETS = 500  # as many places of a face tell of its light's fall-off as if they knew nothing of each other (assumed)
_SMOOTH = np.array([0.0, 0.4, 0.4, 0.2, 0.2, 0.2]) ** 2  # spread of the fall-off's terms [natural log], for a lamp
_SMOOTH[1:] = 1.0 / _SMOOTH[1:]  # of five widths away
_CERTAIN = 0.0  # natural log, mean of a region: so much likelier is it that a photo is odd there


@dataclass(frozen=True, eq=False)
class Bench:
    """One guess: flakes, lamps, even light, steepness of the base, and the light's surface (3, terms) in each photo."""

    silver: str
    heights_deg: tuple[float, ...]
    even: float
    steepness: tuple[float, float]
    surface: F64
    log_likelihood: float = -np.inf


@dataclass(frozen=True, eq=False)
class Sight:
    """Some places of the face, on a lattice: their light (3, n), their place in terms of second order (n, terms).

    `on` (rows, cols): which of the lattice's places they are; `odd` (3, n): where a photo says something else.
    """

    light: F32
    terms: F32
    on: Inside
    sides: tuple[str, ...]
    odd: Inside

    def full(self, bench: Bench) -> list[float]:
        """The light at which nearly all of each photo is surely not blown out."""
        return [float(_FULL * np.exp(np.percentile(self.terms @ one, 5))) for one in bench.surface]

    def laws(self, bench: Bench) -> list[F32]:
        lamps = zip(self.sides, bench.heights_deg, strict=True)
        silver: MetalBase = SILVERS[bench.silver]
        return [law_of_lamp(silver, side=side, height_deg=height, even=bench.even) for side, height in lamps]

    def table(self, bench: Bench, *, fineness: Fineness = FINE, likelihood: bool = False) -> Readings:
        return readings_of(
            self.laws(bench),
            self.full(bench),
            steepness=bench.steepness,
            fineness=fineness,
            likelihood=likelihood,
        )

    @property
    def search(self) -> Fineness:
        """A table of as much blur as the photos' contrast bears: of small slopes the usual one leaves little."""
        contrast = float(np.log(self.light + FLOOR).std(axis=1).mean())
        return replace(SEARCH, blur=float(np.clip(_BLUR * contrast, FINE.blur, SEARCH.blur)))

    def seen(self, bench: Bench) -> F32:
        """Light (3, n) with exposure and fall-off taken out, as bright as a photo can tell."""
        light = self.light * np.exp(bench.surface.astype(np.float32) @ self.terms.T)
        return np.asarray(np.minimum(light, np.array(self.full(bench), np.float32)[:, None]))

    def few(self) -> Sight:
        """Every fourth of the places that no photo is odd at: enough to tell one guess from another."""
        return self.some(np.flatnonzero(~self.odd.any(axis=0))[::_FEW])

    def some(self, which: NDArray[np.intp]) -> Sight:
        return replace(self, light=self.light[:, which], terms=self.terms[which], odd=self.odd[:, which])

    def regional(self, values: F32, *, spread: float = _REGION) -> F32:
        """Means (n,) of values (n,) over a region of the face, `spread` steps of the lattice wide."""
        laid = np.zeros(self.on.shape, np.float32)
        laid[self.on] = values
        weight = gaussian_filter(self.on.astype(np.float32), spread)
        return np.asarray((gaussian_filter(laid, spread) / np.maximum(weight, 1e-6))[self.on])


def sight_of(photos: Sequence[F32], sides: Sequence[str], face: Inside) -> tuple[Sight, int]:
    """Some places of the face (rows, cols) on a lattice, and its step [px]."""
    rows, cols = face.shape
    step = max(1, round(float(np.sqrt(face.sum() / _SOME))))
    part = slice(step // 2, None, step), slice(step // 2, None, step)
    on = face[part]
    y, x = np.nonzero(on)
    light = np.stack([photo[part][on] for photo in photos]).astype(np.float32)
    terms = terms_of(y * step + step // 2, x * step + step // 2, rows, cols)
    return Sight(light, terms, on, tuple(sides), np.zeros(light.shape, dtype=bool)), step


def terms_of(y: NDArray[np.intp], x: NDArray[np.intp], rows: int, cols: int) -> F32:
    across, down = (2.0 * v / n - 1.0 for v, n in ((x, cols), (y, rows)))
    terms = [np.ones_like(across), across, down, across**2, across * down, down**2]
    return np.stack(terms, axis=-1).astype(np.float32)


def likeliest(
    sight: Sight, silvers: Sequence[str], heights_deg: Sequence[float] | None = None
) -> tuple[Bench, Sight, dict[str, float]]:
    """The bench under which the photos are likeliest, where they are odd, and each silver's log-likelihood.

    `heights_deg`: of the lamps over the bench, where they are known [deg].
    """
    sight = _darker_in(sight)
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
    other = replace(bench, **changes)
    brighter = [
        expected_log(new, other.steepness) - expected_log(old, bench.steepness)
        for new, old in zip(sight.laws(other), sight.laws(bench), strict=True)
    ]
    surface = bench.surface.copy()
    surface[:, 0] += brighter
    return replace(other, surface=surface)


def _darker_in(sight: Sight) -> Sight:
    """The sight with regions in it that stand off the smooth light of a photo's better part, as a hand's shadow does.

    A first guess, before base and lamps are known: least trimmed squares (Rousseeuw, Journal of the American
    Statistical Association 79, 871 (1984), doi 10.1080/01621459.1984.10477105) from starts that each leave out an end
    of the face, since a shadow over a third of it bends a fit to all.
    """
    odd = np.zeros_like(sight.odd)
    level = sight.terms[:, :3]
    some = level[::_TRIM_EVERY].astype(np.float64)
    starts = [some @ direction for direction in _ENDS]
    for light, found in zip(sight.light, odd, strict=True):
        logs = sight.regional(np.log(light + np.float32(FLOOR)), spread=2.5 * _REGION)
        few = logs[::_TRIM_EVERY].astype(np.float64)
        best: F64 = np.zeros(3)
        trimmed = np.inf
        for ranked in starts:
            for _ in range(_TRIM_STEPS):
                kept = np.argsort(ranked)[: round(_TRIM_KEPT * few.size)]
                solution = np.asarray(np.linalg.lstsq(some[kept], few[kept], rcond=None)[0], dtype=np.float64)
                solution[1:] = np.clip(solution[1:], -_TILT, _TILT)
                solution[0] += np.mean(few[kept] - some[kept] @ solution)
                ranked = (few - some @ solution) ** 2
            total = float(np.sort(ranked)[: round(_TRIM_KEPT * few.size)].mean())
            if total < trimmed:
                best, trimmed = solution, total
        off = np.abs(logs - level @ best.astype(np.float32))
        found[:] = off > max(_TRIM_OFF, 3.0 * float(np.sqrt(trimmed)))
    if odd.any(axis=0).mean() > _TRIM_KEPT:
        return sight
    return replace(sight, odd=odd)


def odd_in(sight: Sight, bench: Bench) -> Sight:
    """The sight with what is odd in it: asked of a region, since shadows and mirrored lamps are wider than a facet."""
    table = sight.table(bench, fineness=sight.search, likelihood=True)
    cells = table.cells(sight.seen(bench))
    usual = np.log(table.often(cells))
    gained = np.stack([sight.regional(np.log(table.without(k, cells)[0] + 1e-9) - usual) for k in range(3)])
    return replace(sight, odd=(gained > _CERTAIN) & (gained == gained.max(axis=0)))


def _first(sight: Sight, silver: str, heights_deg: tuple[float, ...]) -> Bench:
    """A bench of the light's surface that brings each photo's log brightness to what is expected."""
    even, steepness = 0.1, (0.3, 0.3)
    surface = np.zeros((3, _TERMS))
    for one, light, side, height in zip(surface, sight.light, sight.sides, heights_deg, strict=True):
        law = law_of_lamp(SILVERS[silver], side=side, height_deg=height, even=even)
        one[:] = -np.linalg.lstsq(sight.terms, np.log(light + 1e-3), rcond=None)[0]
        for _ in range(8):
            off = np.log(light * np.exp(sight.terms @ one) + FLOOR).mean()
            one[0] += expected_log(law, steepness) - off
    return Bench(silver, heights_deg, even, steepness, surface)


def _best(sight: Sight, benches: Sequence[Bench]) -> Bench:
    return max((_settled(sight, bench, steps=4) for bench in benches), key=lambda bench: bench.log_likelihood)


def _settled(sight: Sight, bench: Bench, *, steps: int) -> Bench:
    """The bench with the light's surfaces that make the photos likeliest.

    Newton's steps with the outer products of the slopes in place of the curvature (Berndt, Hall, Hall and Hausman,
    Annals of Economic and Social Measurement 3, 653 (1974)), halved when they go too far.
    """
    firm = np.diag(np.tile(_SMOOTH, 3)) * (sight.light.shape[1] / _FACETS)
    held = _HELD * float(np.mean((np.array(bench.heights_deg) - _USUAL_DEG) ** 2)) / 7.5**2
    held += _DIM * float(np.log(bench.even / _USUAL_EVEN) ** 2)
    step, share, surface = np.zeros_like(bench.surface), 1.0, bench.surface
    best = replace(bench, log_likelihood=-np.inf)
    for _ in range(steps):
        # The light that blows a photo out goes with its exposure: held still, all would be likeliest blown out.
        tried = replace(bench, surface=surface)
        table, full = (
            sight.table(tried, fineness=sight.search, likelihood=True),
            np.array(sight.full(tried), np.float32)[:, None],
        )
        exposure = np.exp(surface.astype(np.float32) @ sight.terms.T)
        light = sight.light * exposure
        cells = table.cells(np.minimum(light, full))
        likelihood = float(np.log(table.often(cells)).mean()) - held
        # Readings are counted by log(light + FLOOR), photos by log(number + FLOOR): the brighter the silver, the
        # fewer of the dark places the floor holds together, which would speak against it.
        likelihood += float(np.log((light + FLOOR * exposure) / (light + FLOOR)).sum(axis=0).mean())
        likelihood -= 0.5 * float(surface.ravel() @ firm @ surface.ravel()) / sight.light.shape[1]
        if likelihood > best.log_likelihood:
            best = replace(best, surface=surface, log_likelihood=likelihood)
            pull = table.log_pull(light, cells) * (light < full) + FLOOR / (light + FLOOR)
            slopes = (pull[:, None, :] * sight.terms.T).reshape(3 * _TERMS, -1).astype(np.float64)
            curvature = slopes @ slopes.T + firm
            curvature += 1e-3 * np.trace(curvature) / len(curvature) * np.eye(len(curvature))
            step = np.linalg.solve(curvature, slopes.sum(axis=1) - firm @ surface.ravel()).reshape(3, _TERMS)
        else:
            share *= 0.5
        surface = best.surface + np.clip(share * step, -0.3, 0.3)
    return best
