"""The film, layer by layer: wet and dry, what levelling takes, and what is left over a texture's peaks.

The thickness rules are sums; the amounts that sanding removes are common practice without a source and say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from layerpreview.errors import InputError, Problem
from layerpreview.told import Told, summed
from layerpreview.units import Range

RULE_OF_THUMB = "common practice, no source"
GRIT_REMOVES_UM = {  # one levelling or refining step by machine or block; common practice, no source
    240: Range(25.0, 40.0, 70.0),
    320: Range(20.0, 30.0, 50.0),
    400: Range(15.0, 25.0, 40.0),
    500: Range(12.0, 20.0, 30.0),
    600: Range(10.0, 15.0, 25.0),
    800: Range(6.0, 10.0, 18.0),
    1000: Range(4.0, 7.0, 12.0),
    1200: Range(3.0, 5.0, 9.0),
    1500: Range(2.0, 4.0, 6.0),
    2000: Range(1.0, 2.0, 4.0),
    3000: Range(0.5, 1.0, 2.0),
}
POLISH_REMOVES_UM = Range(0.5, 1.0, 2.0)
EDGE_SHARE = Range(0.3, 0.5, 0.8)
"""Share of the film that stays on a sharp edge, from which wet paint pulls away: common practice, no source."""
KEEP_OVER_PEAKS_UM = 30.0
"""Clear that should be left over the highest points after polishing: common practice, no source."""
MOST_COATS = 60
SOLIDS_ASSUMED = {  # by volume, ready to spray: common practice, no source
    "base": Range(0.12, 0.20, 0.30),
    "dye": Range(0.12, 0.20, 0.28),
    "opaque": Range(0.12, 0.20, 0.30),
    "clear": Range(0.35, 0.45, 0.55),
}


@dataclass(frozen=True)
class FilmLayer:
    """All coats of one stage at full build [um] on `faces`."""

    name: str
    kind: str
    coats: int
    wet_um: Told
    dry_um: Told
    faces: tuple[str, ...] = ()
    also_in_json: ClassVar = ("basis",)

    @property
    def basis(self) -> str:
        """What the dry film rests on, in words."""
        return self.dry_um.basis


@dataclass(frozen=True)
class Burial:
    """What the clear does to a relief of `relief_um` peak to valley [um]; low and high are the ends of what is likely.

    `shows_um` is left of the relief in the clear's own surface before sanding: low if every coat levels out while wet,
    high if none does. `over_peaks_um` is the clear left over the peaks when the surface is sanded flat and polished
    (below 0: sanded through). `coats_low` and `coats_high` coats bury the relief with `keep_um` left over the peaks;
    None for more than 60.
    """

    relief_um: Range
    shows_um: Range
    removed_um: Range
    over_peaks_um: Range
    at_edges_um: Range
    keep_um: float
    coats_low: int | None
    coats_high: int | None


def wet_film_um(*, dry_um: float, solids: float, thinner: float = 0.0) -> float:
    """Wet film [um] that dries to `dry_um` = dry * (1 + thinner) / volume solids (0..1]; thinner by volume per volume.

    >>> round(wet_film_um(dry_um=2.8, solids=0.35, thinner=0.10), 6)
    8.8
    """
    return dry_um * (1.0 + thinner) / solids


def dry_um_of(wet_um: Range, solids: Range) -> Range:
    """Dry film [um] of a wet one, thinnest with least solids to thickest with most; solids by volume.

    Raises InputError for solids that are not more than 0 and at most 100 %.
    """
    if not 0.0 < solids.low <= solids.high <= 1.0:
        shown = f"{100 * solids.low:g} to {100 * solids.high:g} %"
        rule = "solids by volume are more than 0 and at most 100 %"
        raise InputError(Problem(rule, 'write for example "45 %"', field="solids", value=shown))
    return wet_um.times(solids)


def relief_left_um(*, relief_um: float, coats: int, solids: float, levelling: float = 1.0) -> float:
    """Relief [um] that shows after `coats` coats, each of which levels the share `levelling` [0..1] out while wet.

    A level wet film over a hollow is thicker there, and dries by its solids everywhere: of the relief below it,
    1 - solids comes back. So `coats` coats leave relief * (1 - levelling * solids)^coats, all where none levels.

    >>> round(relief_left_um(relief_um=80.0, coats=2, solids=0.45), 3)
    24.2
    """
    return relief_um * (1.0 - levelling * solids) ** coats


def left_over_peaks_um(*, dry_um: float, relief_um: float, shows_um: float, removed_um: float) -> float:
    """Clear [um] left over the peaks of a relief, once sanded flat to the hollows of its own surface.

    dry - (relief + what shows) / 2 - removed, where `dry_um` is the mean film and the relief is as much above its mean
    as below. `removed_um` is what sanding and polishing take beyond flatness.
    """
    return dry_um - 0.5 * (relief_um + shows_um) - removed_um


def coats_to_bury(
    *, relief_um: float, dry_um_per_coat: float, solids: float, levels: bool, removed_um: float, keep_um: float
) -> int | None:
    """Return the coats that leave `keep_um` over the peaks after sanding flat; None for more than 60.

    `levels`: every coat levels out while wet (the best there is), or none does (the worst).

    >>> coats_to_bury(relief_um=60, dry_um_per_coat=25, solids=0.45, levels=False, removed_um=20, keep_um=30)
    5
    """
    for coats in range(1, MOST_COATS + 1):
        shows = relief_left_um(relief_um=relief_um, coats=coats, solids=solids) if levels else relief_um
        left = left_over_peaks_um(
            dry_um=coats * dry_um_per_coat, relief_um=relief_um, shows_um=shows, removed_um=removed_um
        )
        if left >= keep_um - 1e-9:
            return coats
    return None


def removed_by_um(grits: Sequence[int], *, polish: bool = True) -> Range:
    """What a row of sanding steps and polishing takes beyond flatness [um]; a grit that is not listed counts as the
    next coarser one that is.

    >>> removed_by_um([1500, 2000]).likely
    7.0
    """
    steps = [GRIT_REMOVES_UM[max([g for g in GRIT_REMOVES_UM if g <= grit], default=240)] for grit in grits]
    steps += [POLISH_REMOVES_UM] if polish else []
    return summed(steps)


def burial(
    *,
    relief_um: Range,
    coats: int,
    wet_um_per_coat: Range,
    solids: Range,
    removed_um: Range,
    keep_um: float = KEEP_OVER_PEAKS_UM,
) -> Burial:
    """What `coats` clear coats do to a relief; wet film of one coat [um], solids by volume [0..1]."""
    dry = dry_um_of(wet_um_per_coat, solids)
    total = dry.scaled(coats)
    best = relief_left_um(relief_um=relief_um.low, coats=coats, solids=solids.high)
    half = 0.5 * (relief_left_um(relief_um=relief_um.likely, coats=coats, solids=solids.likely) + relief_um.likely)
    shows = Range(best, half, relief_um.high)
    over = [
        left_over_peaks_um(dry_um=d, relief_um=r, shows_um=s, removed_um=m)
        for d, r, s, m in (
            (total.low, relief_um.high, shows.high, removed_um.high),
            (total.likely, relief_um.likely, shows.likely, removed_um.likely),
            (total.high, relief_um.low, shows.low, removed_um.low),
        )
    ]
    edges = total.times(EDGE_SHARE)

    def needed(levels: bool) -> int | None:
        return coats_to_bury(
            relief_um=relief_um.likely,
            dry_um_per_coat=dry.likely,
            solids=solids.likely,
            levels=levels,
            removed_um=removed_um.likely,
            keep_um=keep_um,
        )

    return Burial(relief_um, shows, removed_um, Range(*over), edges, keep_um, needed(True), needed(False))
