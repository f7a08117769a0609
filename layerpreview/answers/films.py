"""Wet-film gauge readings as a film per coat: their mean, and how far it may be off."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from layerpreview.job.done import FilmRead
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import NINETY, Range

GAUGE_STEP_UM = 5.0
"""From one tooth of a fine comb or wheel to the next: assumed, common practice, no source. A film lies between the last
tooth that is wetted and the first that is not (ISO 2808, wet film by comb or wheel; ASTM D4414; from memory)."""
FEW_READINGS = 3
"""Fewer readings than that do not tell their own spread."""
SPREAD_ASSUMED = 0.15
"""Standard deviation of the wet film from spot to spot, as a share, where too few readings tell it: assumed."""


@dataclass(frozen=True)
class FilmMeasured:
    """What the readings of one entry say: film of one coat [um], of `coats` read with `n` readings.

    `by_coat` [um]: the mean of each coat that was read.
    """

    entry: int
    film_um: Told
    n: int
    by_coat: Mapping[int, float]

    @property
    def coats(self) -> int:
        """How many coats were read."""
        return len(self.by_coat)

    def laid_um(self, numbers: Iterable[int]) -> Told:
        """Film of all coats of these numbers together [um]: those that were not read count as the mean of the others.

        The range is that of one coat, taken for all.
        """
        likely = math.fsum(self.by_coat.get(number, self.film_um.likely) for number in numbers)
        return self.film_um.scaled(likely / self.film_um.likely)


def mean_film_um(readings_um: Sequence[float], *, step_um: float = GAUGE_STEP_UM) -> Told:
    """The mean of gauge readings [um] with its 90 % range.

    Half of the range is Student's t times s / sqrt(n), and beside it half a step of the gauge, which no number of
    readings makes smaller: both are added in quadrature. Of one or two readings the spread is taken as
    `SPREAD_ASSUMED`, or theirs where that is more. Raises ValueError without readings.
    """
    n = len(readings_um)
    if n == 0:
        raise ValueError("at least one reading is wanted")
    mean = math.fsum(readings_um) / n
    spread = math.sqrt(math.fsum((value - mean) ** 2 for value in readings_um) / (n - 1)) if n > 1 else 0.0
    if n < FEW_READINGS:
        spread, times = max(spread, SPREAD_ASSUMED * mean), NINETY
    else:
        times = float(stdtrit(n - 1, 0.95))
    half = math.hypot(times * spread / math.sqrt(n), 0.5 * step_um)
    note = f"n = {n}" + (", spread assumed" if n < FEW_READINGS else "")
    return Told.of(Range(max(0.0, mean - half), mean, mean + half), "um", Rest(Basis.MEASURED, note))


def films_measured(films: Sequence[FilmRead]) -> dict[int, FilmMeasured]:
    """What was measured, by entry; readings of one coat count together."""
    found: dict[int, dict[int, list[float]]] = {}
    for film in films:
        found.setdefault(film.entry, {}).setdefault(film.number, []).extend(film.readings_um)
    out = {}
    for entry, coats in sorted(found.items()):
        readings = [value for number in sorted(coats) for value in coats[number]]
        by_coat = {number: math.fsum(values) / len(values) for number, values in sorted(coats.items())}
        out[entry] = FilmMeasured(entry, mean_film_um(readings), len(readings), by_coat)
    return out
