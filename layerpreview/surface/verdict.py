"""How sure a traced part is, in figures and one word: by what the photo shows of its edge, not by how it looks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from layerpreview.surface.ground import Ground
from layerpreview.surface.part_edge import Edge
from layerpreview.surface.part_mask import Region

Verdict = Literal["good", "look at it", "not usable"]

_STEP_SD = 4.0  # of the ground's scatter: less of a step is no clear edge
_LEAST_STEP = (0.15, 0.3)  # natural log of light: within these
_RIVAL = 0.15  # of the part's size: a smaller thing in the middle is not what is meant
_FOREIGN = 0.05  # of the rim
_BURNT_LN, _BURNT_SHARE = -0.02, 0.1  # natural log of a channel's light, and share of the ground
_DARK_GROUND = 0.06  # linear light: below, shadows and dark spots cannot be told apart (assumed)
# Set on 90 rendered photos (49 fair, 41 made to fail): outside of _LOOK lie all that are off by more than 3 % of area,
# and all but three that are off by more than 1 % or 1 mm.
_LOOK = {
    "doubtful": (0.026, "part and ground are alike along some of the edge"),
    "edge_clear": (0.90, "some of the edge hardly shows"),
    "border_clear": (0.75, "much of the picture's border is no plain ground"),
    "raggedness_mm": (0.2, "the edge is ragged"),
}
_NOT_USABLE = {
    "doubtful": (0.12, "part and ground are too much alike to tell them apart"),
    "edge_clear": (0.70, "most of the edge does not show"),
    "border_clear": (0.35, "hardly any of the picture's border is plain ground"),
}


@dataclass(frozen=True)
class Sureness:
    """What speaks for a traced part and what against it.

    raggedness_mm : root mean square of the edge found about the edge drawn [mm]; contrast : change of light across the
    edge, median along it [natural log]; edge_clear : share 0..1 of the edge where that stands out of the ground's own
    scatter; border_clear : share 0..1 of the picture's border that is plain ground; doubtful : area between what is
    surely part and surely not, as a share of the part's; openings, closed : places like the ground left open and
    closed; against : what to look at, in plain words, worst first, empty for a good one.
    """

    verdict: Verdict
    raggedness_mm: float
    contrast: float
    edge_clear: float
    border_clear: float
    doubtful: float
    openings: int
    closed: int
    against: tuple[str, ...]


def judged(region: Region, ground: Ground, edges: list[Edge], *, mm: float) -> Sureness:
    """Return how sure a part is; edges : the outer edge, then its openings'; mm : of one pixel of the edges [mm]."""
    outer = edges[0]
    share = region.share
    figures = {
        "raggedness_mm": float(np.sqrt(np.mean(outer.stray_px**2))) * mm,
        "contrast": float(np.median(outer.step)),
        "edge_clear": float(np.mean(outer.step > np.clip(_STEP_SD * ground.sd, *_LEAST_STEP))),
        "border_clear": ground.border_clear,
        "doubtful": float((4 * share * (1 - share)).sum() / share.sum()),
    }
    useless = _beyond(_NOT_USABLE, figures)
    against = useless or _beyond(_LOOK, figures)
    if region.rival > _RIVAL:
        against = (*against, "more than one thing reaches into the middle: name a point of the part")
    if region.foreign > _FOREIGN:
        against = (*against, "something of another colour touches the part, or it has two colours")
    if float(np.mean(ground.ln_rgb[ground.seen].max(axis=1) > _BURNT_LN)) > _BURNT_SHARE:
        against = (*against, "much of the ground is burnt out")
    if _cut_off(region):
        against = (*against, "the part runs out of the picture")
    if region.openings and float(np.median(ground.ln_rgb)) < np.log(_DARK_GROUND):
        against = (*against, "on a dark ground a dark spot looks like an opening")
    verdict: Verdict = "not usable" if useless else "look at it" if against else "good"
    return Sureness(verdict, **figures, openings=len(region.openings), closed=region.closed, against=against)


def _beyond(limits: dict[str, tuple[float, str]], figures: dict[str, float]) -> tuple[str, ...]:
    """What is said of every figure past its limit: shares of what is clear count from below, the others from above."""
    return tuple(
        said
        for name, (limit, said) in limits.items()
        if (figures[name] < limit if name.endswith("clear") else figures[name] > limit)
    )


def _cut_off(region: Region) -> bool:
    high, wide = region.share.shape
    low, top = region.outer.min(axis=0), region.outer.max(axis=0)
    return bool(min(low) < 1 or top[0] > wide - 1 or top[1] > high - 1)
