"""The same colour again with other dyes, base and gun: strengths and whole coats that come closest at all places and
under all lights together.

What is aimed at are recorded spectra, not a recipe. With coats as they were the loads of every mix are free, so the
strengths are found by damped least squares in CIEDE2000 (its local metric, renewed as the colours move); a number of
coats changes only where that comes clearly closer, or where a mix would be stronger than may be mixed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.remake_booth import Booth, Part, Recipe
from layerpreview.colour import metric_de00
from layerpreview.doing import doing
from layerpreview.scheme import Dye, DyeCoat

F64 = NDArray[np.float64]

CLEARLY_DE00 = 0.2
"""By how much another number of coats must bring it closer to be worth changing (CIEDE2000, joint; assumed)."""
MOST_COATS = 60
_MOST_ADDED, _ENOUGH_SHARE = 2, 0.3
_ROUNDS, _STEPS, _SETTLED = 4, 12, 1e-3
_DROPS = (16, 4, 1)
_COAT_STEPS = (-2, -1, 1, 2, 3)
_AS_CLOSE_DE00 = 0.05
_LEAST_PER_L, _NUDGE, _MOST_DAMPED = 0.1, 1e-4, 1e6


def unchanged(booth: Booth) -> Recipe:
    """What comes out where nothing is changed: today's dyes and base with strengths and coats as they were."""
    return booth.recipe(booth.as_written, booth.coats)


def remade(booth: Booth, *, only: int | None = None) -> Recipe:
    """The recipe that comes closest; `only`: matched under that one light alone (its number), not all of them."""
    best = _settled(booth, booth.coats, booth.as_written, only)
    for coats in _deeper(booth, best):
        best = _settled(booth, coats, best.strengths, only)
    while True:
        near = [_settled(booth, coats, best.strengths, only) for coats in _beside(booth, best.coats)]
        closest = min((recipe.joint_de00 for recipe in near), default=np.inf)
        if closest > best.joint_de00 - CLEARLY_DE00:
            return measured_out(booth, best, only)
        # Of those that come as close the one whose mixes stay most as they were: they were tried.
        best = min((r for r in near if r.joint_de00 < closest + _AS_CLOSE_DE00), key=partial(strength_moved, booth))


def remade_in(booth: Booth, coats: Sequence[int]) -> Recipe:
    """The recipe that comes closest with just so many coats of each entry."""
    return measured_out(booth, _settled(booth, coats, booth.as_written, None))


def nearest_strengths(booth: Booth, coats: Sequence[int], start: F64, only: int | None = None) -> F64:
    """Strengths (parts,), none below 0, that leave least at these coats: damped least squares in CIEDE2000 steps."""
    scale = np.maximum(start, 0.05 * max(float(start.max()), _LEAST_PER_L))
    x = start / scale

    def off(halves: F64, x: F64) -> F64:
        away = booth.lab(x * scale, coats) - booth.target_lab
        return _counted(np.einsum("plij,pli->plj", halves, away), booth, only)

    for _ in range(_ROUNDS):
        lab, last = booth.lab(x * scale, coats), x
        halves = np.asarray(np.linalg.cholesky(metric_de00(0.5 * (lab + booth.target_lab))), dtype=np.float64)
        x = _descended(partial(off, halves), x)
        if np.abs(x - last).max() < _SETTLED:
            break
    return x * scale


def measured_out(booth: Booth, recipe: Recipe, only: int | None = None) -> Recipe:
    """The recipe in whole drops or milligrams: rounded, then some up or down as long as that comes closer."""
    best = booth.recipe(np.rint(recipe.strengths / booth.steps) * booth.steps, recipe.coats, only)
    for drops in _DROPS:
        moved = True
        while moved:
            moved = False
            for part in range(len(booth.parts)):
                for step in (-drops, drops):
                    tried = best.strengths.copy()
                    tried[part] = max(tried[part] + step * booth.steps[part], 0.0)
                    found = booth.recipe(tried, recipe.coats, only)
                    if found.joint_de00 < best.joint_de00 - 1e-4:
                        best, moved = found, True
    return replace(best, strengths=best.strengths.round(4))


def worth_adding(
    booth: Booth, best: Recipe, spare: Mapping[str, Dye], *, asked_for: bool = False
) -> tuple[Booth, Recipe] | None:
    """One dye of `spare`, or one for each of two mixes, that brings it clearly closer still; None where none does.

    Where they are `asked_for` any gain will do.
    """
    found = None
    for _ in range(_MOST_ADDED):
        here, now = found or (booth, best)
        more = _one_more(here, now, spare, 0.0 if asked_for else CLEARLY_DE00)
        if more is None:
            break
        found = more
    return found


def _one_more(booth: Booth, best: Recipe, spare: Mapping[str, Dye], least_de00: float) -> tuple[Booth, Recipe] | None:
    tried = []
    for part in (Part(mix, name) for mix in dict.fromkeys(part.mix for part in booth.parts) for name in spare):
        if part not in booth.parts:
            dyes = {**(booth.more_dyes or {}), part.dye: spare[part.dye]}
            wider = replace(booth, extra=(*booth.extra, part), more_dyes=dyes)
            start = np.append(best.strengths, 0.02 * max(float(best.strengths.max()), 0.1))
            tried.append((wider, _settled(wider, best.coats, start, None)))
    if not tried:
        return None
    wider, closer = min(tried, key=lambda pair: pair[1].joint_de00)
    closer = measured_out(wider, closer)
    enough = best.joint_de00 - max(least_de00, _ENOUGH_SHARE * best.joint_de00 * (least_de00 > 0.0))
    return (wider, closer) if closer.joint_de00 < enough and closer.strengths[-1] > 0.0 else None


def _settled(booth: Booth, coats: Sequence[int], start: F64, only: int | None) -> Recipe:
    found = booth.recipe(nearest_strengths(booth, coats, start, only), coats, only)
    doing(f"searching mixes and coats: {found.joint_de00:.1f} away in the last that was tried (CIEDE2000)")
    return found


def strength_moved(booth: Booth, recipe: Recipe) -> float:
    """How far the mixes of a recipe are from as strong as they were written: of all together, either way."""
    return abs(float(np.log(recipe.strengths.sum() / booth.as_written.sum())))


def _counted(away: F64, booth: Booth, only: int | None) -> F64:
    """Residuals in CIEDE2000 steps by the root of each place's weight, as one row."""
    some = away if only is None else away[:, only : only + 1]
    return np.asarray((np.sqrt(booth.weights)[:, None, None] * some).ravel())


def _descended(off: Callable[[F64], F64], x: F64) -> F64:
    """Least squares from `x`, none below 0, by damped Gauss-Newton with slopes by differences.

    What is at 0 and would go below is held there for the step, so that it stops nothing else.
    """
    damp, here = 1e-3, off(x)
    for _ in range(_STEPS):
        slopes = np.stack([(off(x + _NUDGE * one) - here) / _NUDGE for one in np.eye(x.size)], axis=1)
        normal, inward = slopes.T @ slopes, slopes.T @ here
        free = (x > 0.0) | (inward < 0.0)
        while True:
            damped = normal + damp * np.diag(np.diag(normal) + 1e-9)
            tried = x.copy()
            tried[free] -= np.linalg.solve(damped[np.ix_(free, free)], inward[free])
            tried = np.maximum(tried, 0.0)
            there = off(tried)
            if there @ there <= here @ here:
                break
            damp *= 8.0
            if damp > _MOST_DAMPED:
                return x
        gained = float(here @ here - there @ there)
        x, here, damp = tried, there, max(0.2 * damp, 1e-7)
        if gained < 1e-9:
            break
    return x


def _deeper(booth: Booth, found: Recipe) -> Iterator[tuple[int, ...]]:
    """More coats for entries whose mix would be stronger than it may be; nothing where all may be mixed."""
    coats = list(found.coats)
    for i, coat in enumerate(booth.scheme.coats):
        if isinstance(coat, DyeCoat):
            asked = float(found.strengths[booth.parts_of(coat.mix)].sum())
            coats[i] = min(int(np.ceil(coats[i] * asked / booth.strongest(coat.mix) - 1e-9)), MOST_COATS)
            coats[i] = max(coats[i], found.coats[i])
    if tuple(coats) != found.coats:
        yield tuple(coats)


def _beside(booth: Booth, coats: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
    """Some coats more or less of an entry that shares its mix: where a mix has one entry, strength does the same."""
    mixes = [coat.mix if isinstance(coat, DyeCoat) else None for coat in booth.scheme.coats]
    for i, mix in enumerate(mixes):
        if mix is None or mixes.count(mix) == 1:
            continue
        for step in _COAT_STEPS:
            if 1 <= coats[i] + step <= MOST_COATS:
                yield (*coats[:i], coats[i] + step, *coats[i + 1 :])
