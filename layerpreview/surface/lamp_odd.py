"""Where one of three photos says something else than the base: a cast shadow, a mirrored lamp."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from layerpreview.surface.lamp_readings import FLOOR
from layerpreview.surface.lamp_sight import F64, REGION, Bench, Sight

_TRIM_KEPT, _TRIM_EVERY, _TRIM_STEPS, _TRIM_OFF = 0.62, 8, 10, 0.8
_TILT = 0.4  # natural log from the middle to the edge: more is no lamp of five widths away
_ENDS = [(0, x, y) for x in (-1, 0, 1) for y in (-1, 0, 1)]
_CERTAIN = 0.0  # natural log, mean of a region: so much likelier is it that a photo is odd there


def darker_in(sight: Sight) -> Sight:
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
        logs = sight.regional(np.log(light + np.float32(FLOOR)), spread=2.5 * REGION)
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
