"""How far a relief measured from three photos can be trusted, in figures and in one word."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.film.between import between
from layerpreview.film.facet_law import REACH, STEP
from layerpreview.surface.lamp_readings import FLOOR, Readings
from layerpreview.surface.lamp_sight import Bench, Sight
from layerpreview.surface.verdict import Verdict

F32 = NDArray[np.float32]


_BURIED = 1e-9
_UNDECIDED = 0.02  # natural log, mean of a place: silvers this near are not told apart
# Set on rendered photos: those of the made reliefs that come back within 15 % lie within _LOOK.
_LOOK = {
    "residual": (0.18, "what was found does not show all that the photos do: another silver, or no level light"),
    "unknown": (0.05, "a shadow or a mirrored thing lies over some of the face in one photo"),
    "doubt": (0.18, "the slopes are small for what photos tell: their pattern holds, their size is a guess"),
    "unresolved": (0.35, "facets or stripes are finer than the photos show: only the part that they show is measured"),
}
_TELL_HEIGHTS = "it is surer with the heights of the lamps told, --lamp-heights"
_NOT_USABLE = {
    "residual": (0.4, "the photos do not go together: check the sides of the lamp"),
    "unknown": (0.4, "shadows or mirrored things lie over much of the face"),
    "doubt": (0.6, "the photos tell next to nothing of the slopes"),
}


@dataclass(frozen=True)
class Trust:
    """What speaks for a measured relief and what against it.

    residual : rms difference between photos and what the relief would show [natural log of light]; unknown : share 0..1
    of the face where one photo is odd; one_way : share 0..1 where the other two had their lamps opposite; slopes : rms
    slope across and down; errors : standard error of each, of noise and of flakes, where the lamps are right;
    unresolved : share 0..1 by which the slopes change over two pixels; silver : the likeliest; silver_lead : how much
    likelier than the next [natural log, mean of a place], nan where it was told; against : what to look at, in plain
    words, empty for a good one.
    """

    verdict: Verdict
    residual: float
    unknown: float
    one_way: float
    slopes: tuple[float, float]
    errors: tuple[float, float]
    unresolved: float
    silver: str
    silver_lead: float
    against: tuple[str, ...]

    @property
    def lines(self) -> tuple[str, ...]:
        """All of it in plain words."""
        across, down = (
            f"{slope:.2f} {way}, give or take {error:.2f}"
            for slope, error, way in zip(self.slopes, self.errors, ("across", "down"), strict=True)
        )
        told = (
            f"silver: {self.silver}, as told"
            if np.isnan(self.silver_lead)
            else f"silver: {self.silver}, but the photos hardly tell it from the next"
            if self.silver_lead < _UNDECIDED
            else f"silver: {self.silver}, {100 * np.expm1(self.silver_lead):.0f} % likelier at each place than the next"
        )
        filled = f", {100 * self.one_way:.1f} % too little and filled with its texture" if self.one_way else ""
        return (
            f"three photos: {self.verdict}" + "".join(f"; {reason}" for reason in self.against),
            f"slopes (rms): {across}; {down}",
            f"light of the photos met within {100 * np.expm1(self.residual):.0f} %; "
            f"{100 * self.unknown:.1f} % of the face known from two photos alone" + filled,
            told,
        )


def trust_of(
    sight: Sight,
    bench: Bench,
    table: Readings,
    silvers: Mapping[str, float],
    *,
    unknown: float,
    one_way: float,
    unresolved: float,
    heights_told: bool,
) -> Trust:
    """Return how far to trust what `table` says of the places in sight."""
    clear = ~sight.odd.any(axis=0)
    seen = sight.seen(bench)[:, clear]
    slope_x, slope_y, gain, square_x, square_y = table.means(table.cells(seen))
    at = [np.asarray((v + REACH) / STEP, np.float32) for v in (slope_x, slope_y)]
    shown = np.stack([between(law[None], at[0], at[1])[0] for law in sight.laws(bench)]) * np.exp(gain)
    shown = np.minimum(shown, sight.full(bench)[:, None])
    slopes = float(np.sqrt(square_x.mean())), float(np.sqrt(square_y.mean()))
    errors = _spread(square_x, slope_x), _spread(square_y, slope_y)
    figures = {
        "residual": float(np.sqrt(np.mean((np.log(seen + FLOOR) - np.log(shown + FLOOR)) ** 2))),
        "unknown": unknown,
        "doubt": float(np.hypot(*errors) / max(np.hypot(*slopes), _BURIED)),
        "unresolved": unresolved,
    }
    useless, look = (
        tuple(said for name, (limit, said) in limits.items() if figures[name] > limit)
        for limits in (_NOT_USABLE, _LOOK)
    )
    if figures["doubt"] > _LOOK["doubt"][0] and not heights_told:
        look = (*look, _TELL_HEIGHTS)
    others = [value for name, value in silvers.items() if name != bench.silver]
    return Trust(
        verdict="not usable" if useless else "look at it" if look else "good",
        residual=figures["residual"],
        unknown=unknown,
        one_way=one_way,
        slopes=slopes,
        errors=errors,
        unresolved=unresolved,
        silver=bench.silver,
        silver_lead=silvers[bench.silver] - max(others) if others else float("nan"),
        against=useless or look,
    )


def _spread(square: F32, mean: F32) -> float:
    return float(np.sqrt(np.maximum(square - mean**2, 0.0).mean()))


def unresolved_share(slope_x: F32, slope_y: F32) -> float:
    """By how much slopes (rows, cols) change over two pixels, the way that they change most: 0 level, 1 at random."""
    power = float((slope_x**2 + slope_y**2).mean())
    over = (sum(float((s[2:] * s[:-2]).mean()) for s in pair) for pair in ((slope_x, slope_y), (slope_x.T, slope_y.T)))
    return 1.0 - min(over) / max(power, _BURIED)
