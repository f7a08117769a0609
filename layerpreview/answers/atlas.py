"""An atlas: every recipe of some dyes, strengths, coats and films over some bases, by number, with its colours.

A number alone says what its recipe is, so that any machine makes any range of them alone. The colours are those of
`Patches`, the full sum over 81 wavelengths: what `reach` and the figures tell of the same recipe.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise, product

import numpy as np
from numpy.typing import NDArray

from layerpreview.finish.patches import Patches

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]

TURNS = 3
"""How often the way from a strength to the next weaker may be halved."""
_FINE = 1 << TURNS
BLOCK_ROWS = 65_536


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
        """Strengths by dye, level and eighths of the way to the next weaker: even in the logarithm, or down to none."""
        table = np.ones((len(self.dyes), max(map(len, self.strengths)), _FINE))
        way = np.arange(_FINE) / _FINE
        for rows, levels in zip(table, self.strengths, strict=True):
            rows[0] = levels[0] * (1.0 - way)
            for i, (below, level) in enumerate(pairwise(levels), start=1):
                rows[i] = level * (below / level) ** way
        return table

    def recipes(self, number: I64) -> Recipes:
        """The recipes of these numbers.

        Up to `count` they are those that were asked for. `count` times k more is the one below it by as many eighths of
        the way to the next weaker as k says in digits of 8, the first dye of the mix in the last digit: see `between`.
        """
        lowered, plain = np.divmod(number, self.count)
        base, rest = np.divmod(plain, self._starts[-1])
        mix = self._mix_of(plain)
        rest, coat = np.divmod(rest - self._starts[mix], self.coats)
        rest, film = np.divmod(rest, len(self.films_um))
        strength = np.zeros((len(number), len(self.dyes)))
        counts = np.array([*map(len, self.strengths), 1])  # the last is that of no dye
        for slot in range(self.most_dyes):
            dye = self._used[mix, slot]
            rest, level = np.divmod(rest, counts[dye])
            lowered, eighths = np.divmod(lowered, _FINE)
            here = np.flatnonzero(dye >= 0)
            strength[here, dye[here]] = self._levels[dye[here], level[here], eighths[here]]
        return Recipes(number, base, strength, coat + 1, np.array(self.films_um)[film])

    @property
    def parts(self) -> int:
        """How many parts its recipes are made and kept in."""
        return -(-self.count // self.part_rows)

    def between(self, number: I64, turn: int) -> Iterator[I64]:
        """Numbers of the recipes between those of these numbers and the next weaker of each dye, in blocks: halfway the
        first `turn`, at quarters the second, at eighths the third, each without those of the turns before."""
        dyes = np.count_nonzero(self._used[self._mix_of(number)] >= 0, axis=1)
        for count in range(1, self.most_dyes + 1):
            mine = number[dyes == count]
            step = _FINE >> turn
            ways = [way for way in product(range(0, _FINE, step), repeat=count) if any(q // step % 2 for q in way)]
            lower = np.array([sum(q * _FINE**slot for slot, q in enumerate(way)) for way in ways], dtype=np.int64)
            together = max(1, BLOCK_ROWS // max(1, len(mine)))
            for i in range(0, len(lower) if len(mine) else 0, together):
                yield (lower[i : i + together, None] * self.count + mine).ravel()

    def _mix_of(self, plain: I64) -> NDArray[np.intp]:
        return np.asarray(np.searchsorted(self._starts, plain % self._starts[-1], side="right") - 1)


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


def colours(question: Question, recipes: Recipes) -> F64:
    """L*a*b* (N, lights, 3) of recipes."""
    load = recipes.load_mg_m2(question)
    lab = np.empty((len(load), len(question.lights), 3))
    for base in np.unique(recipes.base):
        here = recipes.base == base
        lab[here] = question.patches[base].lab(load[here])
    return lab
