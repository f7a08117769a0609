"""An atlas: every recipe of some dyes, strengths, coats and films over some bases, by number, with its colours.

A number alone says what its recipe is, so that any machine makes any range of them alone. The colours are those of
`Patches`, the full sum over 81 wavelengths: what `reach` and the figures tell of the same recipe.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import lab_to_din99b
from layerpreview.finish.patches import Patches

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]

CELL = 1.25
"""Edge of a cell of colours in the even space: corner to corner it is about 2 CIEDE2000, which is plainly seen."""
_LIGHTNESSES, _HUES = 84, 104
CELLS = _LIGHTNESSES * _HUES * _HUES


@dataclass(frozen=True, eq=False)
class Question:
    """What an atlas is asked for.

    `bases`: their names; `patches`: each base under all the dyes, all in the same lights. `dyes`: their names;
    `powders`; `load_of_unit` (bases, dyes): see `Reach`; `strengths` of each dye [mL/L as sold, g/L of a powder],
    rising, all above 0. `coats`: one to so many; `films_um`: wet films of a coat [um]; `most_dyes` [1..3] in one mix.
    `part_rows`: how many recipes, in the order of their numbers, are made and kept together.
    """

    bases: tuple[str, ...]
    patches: tuple[Patches, ...]
    dyes: tuple[str, ...]
    powders: tuple[bool, ...]
    load_of_unit: F64
    strengths: tuple[tuple[float, ...], ...]
    coats: int
    films_um: tuple[float, ...]
    most_dyes: int
    part_rows: int = 65_536

    @property
    def lights(self) -> tuple[str, ...]:
        """The lights of every base."""
        return self.patches[0].lights

    @property
    def count(self) -> int:
        """How many recipes there are over all bases."""
        return len(self.bases) * int(self._starts[-1])

    @cached_property
    def _mixes(self) -> list[tuple[int, ...]]:
        most = min(self.most_dyes, len(self.dyes))
        return [mix for k in range(1, most + 1) for mix in combinations(range(len(self.dyes)), k)]

    @cached_property
    def _used(self) -> I64:
        """Dye numbers of every mix, -1 where it has fewer (mixes, most dyes)."""
        return np.array([[*mix, *[-1] * (self.most_dyes - len(mix))] for mix in self._mixes], dtype=np.int64)

    @cached_property
    def _starts(self) -> I64:
        """The number of each mix's first recipe over one base, and after the last how many there are."""
        steps = [np.prod([len(self.strengths[d]) for d in mix], dtype=np.int64) for mix in self._mixes]
        return np.concatenate([[0], np.cumsum(steps)]) * self.coats * len(self.films_um)

    @cached_property
    def _levels(self) -> F64:
        """Strengths by dye and level, then halfway below each: in the logarithm, of the least to none (2, dyes, n)."""
        wide = max(map(len, self.strengths))
        table = np.ones((len(self.dyes), wide))
        for row, levels in zip(table, self.strengths, strict=True):
            row[: len(levels)] = levels
        below = np.sqrt(table * np.concatenate([table[:, :1] / 4.0, table[:, :-1]], axis=1))
        return np.stack([table, below])

    def recipes(self, number: I64) -> Recipes:
        """The recipes of these numbers.

        Up to `count` they are those that were asked for. `count` times m more, m in binary saying which dyes of the mix
        (the first dye 1, the second 2 ...), is the one halfway down to the next weaker of those: see `between`.
        """
        lowered, plain = np.divmod(number, self.count)
        base, rest = np.divmod(plain, self._starts[-1])
        mix = np.searchsorted(self._starts, rest, side="right") - 1
        rest, coat = np.divmod(rest - self._starts[mix], self.coats)
        rest, film = np.divmod(rest, len(self.films_um))
        strength = np.zeros((len(number), len(self.dyes)))
        counts = np.array([*map(len, self.strengths), 1])  # the last is that of no dye
        for slot in range(self.most_dyes):
            dye = self._used[mix, slot]
            rest, level = np.divmod(rest, counts[dye])
            here = np.flatnonzero(dye >= 0)
            which = (lowered[here] >> slot) & 1
            strength[here, dye[here]] = self._levels[which, dye[here], level[here]]
        return Recipes(number, base, strength, coat + 1, np.array(self.films_um)[film])

    def between(self, number: I64) -> I64:
        """Numbers of the recipes halfway to the next weaker of one dye of each recipe, of two, of all."""
        plain = number % self.count
        mix = np.searchsorted(self._starts, plain % self._starts[-1], side="right") - 1
        dyes = np.count_nonzero(self._used[mix] >= 0, axis=1)
        masks = range(1, 1 << self.most_dyes)
        return np.concatenate([number[(1 << dyes) > mask] + mask * self.count for mask in masks])


@dataclass(frozen=True, eq=False)
class Recipes:
    """Recipes, a row each: `number`, `base` (N,); `strength` (N, dyes) as sold; `coats`, `film_um` of one coat (N,)."""

    number: I64
    base: I64
    strength: F64
    coats: I64
    film_um: F64

    def load_mg_m2(self, question: Question) -> F64:
        """Dye per area, (N, dyes)."""
        return self.strength * question.load_of_unit[self.base] * (self.coats * self.film_um)[:, None]

    def kept(self, which: NDArray[np.intp]) -> Recipes:
        """Some of them."""
        return Recipes(
            self.number[which], self.base[which], self.strength[which], self.coats[which], self.film_um[which]
        )


def colours(question: Question, recipes: Recipes) -> F64:
    """L*a*b* (N, lights, 3) of recipes."""
    load = recipes.load_mg_m2(question)
    lab = np.empty((len(load), len(question.lights), 3))
    for base in np.unique(recipes.base):
        here = recipes.base == base
        lab[here] = question.patches[base].lab(load[here])
    return lab


def cells_of(lab: F64) -> I64:
    """The cell of colours in which each of (N, 3) lies, by number below `CELLS`."""
    middle = np.array([0.0, _HUES / 2, _HUES / 2])
    even = lab_to_din99b(np.maximum(lab, [0.0, -np.inf, -np.inf])) / CELL
    light, a, b = np.floor(even + middle).astype(np.int64).T
    light, a, b = (np.clip(part, 0, most - 1) for part, most in ((light, _LIGHTNESSES), (a, _HUES), (b, _HUES)))
    return np.asarray((light * _HUES + a) * _HUES + b)


def gaps_filled(question: Question, number: I64, seen: dict[int, NDArray[np.bool_]]) -> tuple[Recipes, F64]:
    """Of the recipes halfway between those of these numbers and the next weaker, those whose colour no other has.

    `seen`: by base which cells of colours, under the first light, have a recipe. One is kept for each cell that has
    none, at most as many in all as `number` has. -> the recipes and their colours.
    """
    seen = {base: there.copy() for base, there in seen.items()}
    kept: list[tuple[Recipes, F64]] = []
    wanted = len(number)
    halfway = question.between(number)
    for block in np.array_split(halfway, -(-max(len(halfway), 1) // 65_536)):
        recipes = question.recipes(block)
        lab = colours(question, recipes)
        cell = cells_of(lab[:, 0]) + CELLS * recipes.base
        new = np.unique(cell, return_index=True)[1]
        new = np.sort(new[[not seen[int(recipes.base[i])][cell[i] % CELLS] for i in new]])[:wanted]
        wanted -= len(new)
        for i in new:
            seen[int(recipes.base[i])][cell[i] % CELLS] = True
        kept.append((recipes.kept(new), lab[new]))
    return _joined(kept)


def _joined(parts: list[tuple[Recipes, F64]]) -> tuple[Recipes, F64]:
    recipes, labs = zip(*parts, strict=True)
    names = ("number", "base", "strength", "coats", "film_um")
    joined = {name: np.concatenate([getattr(one, name) for one in recipes]) for name in names}
    return replace(recipes[0], **joined), np.concatenate(labs)
