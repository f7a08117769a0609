"""Wet-film gauge readings as a film per coat: their mean, and how far it may be off."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from scipy.special import stdtrit

from layerpreview.job.done import FilmRead
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import NINETY, Range

TEETH_UM = (12.7, 5.0)
"""From one tooth of a comb to the next: half a mil, or 5 um, the finest there are: common practice, no source. A film
lies between the last tooth that is wet, which is what is read, and the first that is not (ISO 2808, wet film by comb;
ASTM D4414; from memory). Readings that are all whole teeth are taken for those of a comb."""
WHEEL_UM = 2.0
"""How finely a wheel, which is read between its marks, is read: assumed."""
FEW_READINGS = 3
"""Fewer readings than that do not tell their own spread."""
SPREAD_ASSUMED = 0.15
"""Standard deviation of the wet film from spot to spot, as a share, where too few readings tell it: assumed."""


@dataclass(frozen=True)
class FilmMeasured:
    """What the readings of one entry say: film of one coat [um], of `coats` read with `n` readings.

    `by_coat` [um]: the mean of each coat that was read; `film_um` is the mean of these, whichever was read more often.
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


def tooth_um(readings_um: Sequence[float]) -> float | None:
    """The step of the comb [um] that these readings were taken with; None where they are no whole teeth of one.

    >>> tooth_um([40.0, 45.0]), tooth_um([38.1, 50.8]), tooth_um([38.0, 45.0])
    (5.0, 12.7, None)
    """
    return next(
        (step for step in TEETH_UM if all(abs(um - step * round(um / step)) < 0.02 for um in readings_um)), None
    )


def film_told(um: float, units: str) -> str:
    """A wet film [um] in the words of the shop: in mil for a shop in "US" units.

    >>> film_told(61.3, "metric"), film_told(61.3, "US"), film_told(152.4, "US")
    ('61 um', '2.4 mil', '6 mil')
    """
    return f"{um / 25.4:.2g} mil" if units == "US" else f"{um:.0f} um"


def mean_film_um(readings_um: Sequence[float], *, comb_um: float | None = None) -> Told:
    """The mean film of gauge readings [um] with its 90 % range; `comb_um` is the step of a comb, None for a wheel.

    Of a comb half a step is added: the film reaches that far beyond the last wet tooth, on the average. Half of the
    range is Student's t times s / sqrt(n), and beside it half a step, which no number of readings makes smaller: both
    are added in quadrature. Of one or two readings the spread is taken as `SPREAD_ASSUMED`, or theirs where that is
    more. Raises ValueError without readings.
    """
    n = len(readings_um)
    if n == 0:
        raise ValueError("at least one reading is wanted")
    read = math.fsum(readings_um) / n
    spread = math.sqrt(math.fsum((value - read) ** 2 for value in readings_um) / (n - 1)) if n > 1 else 0.0
    mean = read + 0.5 * (comb_um or 0.0)
    if n < FEW_READINGS:
        spread, times = max(spread, SPREAD_ASSUMED * mean), NINETY
    else:
        times = float(stdtrit(n - 1, 0.95))
    half = math.hypot(times * spread / math.sqrt(n), 0.5 * (comb_um or WHEEL_UM))
    notes = (f"n = {n}", "spread assumed" if n < FEW_READINGS else "", "half a tooth added" if comb_um else "")
    note = ", ".join(filter(None, notes))
    return Told.of(Range(max(0.0, mean - half), mean, mean + half), "um", Rest(Basis.MEASURED, note))


def films_measured(films: Sequence[FilmRead]) -> dict[int, FilmMeasured]:
    """What was measured, by entry; readings of one coat count together. One gauge is taken to have read them all."""
    comb_um = tooth_um([value for film in films for value in film.readings_um])
    found: dict[int, dict[int, list[float]]] = {}
    for film in films:
        found.setdefault(film.entry, {}).setdefault(film.number, []).extend(film.readings_um)
    out = {}
    for entry, coats in sorted(found.items()):
        readings = [value for number in sorted(coats) for value in coats[number]]
        by_coat = {
            number: math.fsum(values) / len(values) + 0.5 * (comb_um or 0.0) for number, values in sorted(coats.items())
        }
        film_um = mean_film_um(readings, comb_um=comb_um)
        coats_um = math.fsum(by_coat.values()) / len(by_coat)
        out[entry] = FilmMeasured(entry, film_um.scaled(coats_um / film_um.likely), len(readings), by_coat)
    return out
