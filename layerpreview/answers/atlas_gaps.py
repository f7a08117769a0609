"""Where an atlas has no recipe for a colour that lies between two of its own, and the recipes that fill such gaps.

Colours are sorted into cells of an even space. Halfway between two recipes lies a third; where its cell has none yet it
is kept, and the ways beside it are halved again, twice more.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.atlas import TURNS, Question, Recipes, colours
from layerpreview.colour import lab_to_din99b

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]

CELL = 1.25
"""Edge of a cell in the even space: corner to corner it is about 2 CIEDE2000, which is plainly seen."""
_LIGHTNESSES, _HUES = 84, 104
CELLS = _LIGHTNESSES * _HUES * _HUES
LOOKED_AT = 4_000_000
"""Recipes that all parts together may look at when ways are halved once more: where there are many anyway, the gaps
that are left are small, and looking is what takes the time."""


def cells_of(lab: F64) -> I64:
    """The cell of colours in which each of (N, 3) lies, by number below `CELLS`."""
    middle = np.array([0.0, _HUES / 2, _HUES / 2])
    even = lab_to_din99b(np.maximum(lab, [0.0, -np.inf, -np.inf])) / CELL
    light, a, b = np.floor(even + middle).astype(np.int64).T
    light, a, b = (np.clip(part, 0, most - 1) for part, most in ((light, _LIGHTNESSES), (a, _HUES), (b, _HUES)))
    return np.asarray((light * _HUES + a) * _HUES + b)


def gaps_filled(question: Question, number: I64, seen: dict[int, NDArray[np.bool_]]) -> tuple[Recipes, F64]:
    """Of the recipes between those of these numbers and the next weaker, those whose colour no other has.

    `seen`: by base which cells, under the first light, have a recipe. One is kept for each cell that has none, at most
    `part_rows` in all. -> the recipes and their colours.
    """
    seen = {base: there.copy() for base, there in seen.items()}
    kept: list[I64] = [np.zeros(0, dtype=np.int64)]
    labs: list[F64] = [np.zeros((0, len(question.lights), 3))]
    wanted = question.part_rows
    for turn in range(1, TURNS + 1):
        if turn > 1 and len(number) * ((1 << turn * question.most_dyes) - 1) * question.parts > LOOKED_AT:
            break
        found: list[I64] = [np.zeros(0, dtype=np.int64)]
        for block in question.between(number, turn):
            recipes = question.recipes(block)
            lab = colours(question, recipes)
            new = _new_in(seen, recipes.base, cells_of(lab[:, 0]))[:wanted]
            for base, there in seen.items():
                there[cells_of(lab[new[recipes.base[new] == base], 0])] = True
            wanted -= len(new)
            found.append(block[new])
            labs.append(lab[new])
        kept += found
        number = np.unique(np.concatenate(found) % question.count)
    return question.recipes(np.concatenate(kept)), np.concatenate(labs)


def _new_in(seen: dict[int, NDArray[np.bool_]], base: I64, cell: I64) -> NDArray[np.intp]:
    """Rows that are the first of their cell and base, where nothing is seen there."""
    first = np.unique(cell + CELLS * base, return_index=True)[1]
    is_new = np.zeros(len(cell), dtype=bool)
    for one, there in seen.items():
        here = first[base[first] == one]
        is_new[here[~there[cell[here]]]] = True
    return np.flatnonzero(is_new)
