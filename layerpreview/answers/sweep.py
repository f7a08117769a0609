"""Thousands of recipes as patch colours in one call, cut in blocks that any machine can make on its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import encode_srgb, on_screen
from layerpreview.finish.patches import Patches

F64 = NDArray[np.float64]

BLOCK_RUNS = 1000


@dataclass(frozen=True)
class Ranges:
    """What a sweep ranges over: strengths as sold by dye [mL/L, or g/L of a powder], whole coats, wet film [um]."""

    strengths: Mapping[str, tuple[float, float]]
    coats: tuple[int, int]
    film_um: tuple[float, float]
    runs: int = 10_000
    seed: int = 7


@dataclass(frozen=True, eq=False)
class Swept:
    """Recipes and colours, a row each: `strength` (N, dyes) in the ranges' order, `coats`, `film_um` (N,), `load_mg_m2`
    (N, dyes), `lab` (N, lights, 3), `srgb` (N, 3) 8-bit under the first light; `first_run` is the number of row 0."""

    first_run: int
    strength: F64
    coats: NDArray[np.int64]
    film_um: F64
    load_mg_m2: F64
    lab: F64
    srgb: NDArray[np.uint8]


def sweep(patches: Patches, load_of_unit: F64, ranges: Ranges, *, part: int = 1, parts: int = 1) -> Swept:
    """Draw the recipes of one part of the sweep and compute their colours.

    `load_of_unit` (dyes,): see `Reach`. Runs are drawn in blocks of 1000, each from the seed and its own number: part
    `part` of `parts` gives the same rows wherever it is made, and all parts together the whole.
    Raises ValueError for a part that is not there.
    """
    if not 1 <= part <= parts:
        raise ValueError(f"part {part} of {parts} is not there")
    blocks = -(-ranges.runs // BLOCK_RUNS)
    mine = range(blocks * (part - 1) // parts, blocks * part // parts)
    first, last = mine.start * BLOCK_RUNS, min(mine.stop * BLOCK_RUNS, ranges.runs)
    wide = len(ranges.strengths) + 2
    drawn = [np.random.default_rng([ranges.seed, i]).random((BLOCK_RUNS, wide)) for i in mine]
    u = np.concatenate([np.zeros((0, wide)), *drawn])[: last - first]
    low, high = np.array(list(ranges.strengths.values())).reshape(-1, 2).T
    strength = low + (high - low) * u[:, :-2]
    (fewest, most), (thin, full) = ranges.coats, ranges.film_um
    coats = fewest + np.floor((most + 1 - fewest) * u[:, -2]).astype(np.int64)
    film = thin + (full - thin) * u[:, -1]
    load = strength * load_of_unit * (coats * film)[:, None]
    srgb = np.rint(255.0 * encode_srgb(on_screen(patches.rgb_lin(load).astype(np.float32)))).astype(np.uint8)
    return Swept(first, strength, coats, film, load, patches.lab(load), srgb)
