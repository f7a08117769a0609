"""How sure a traced part is, in figures and one word: by what the photo shows of its edge, not by how it looks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from layerpreview.surface.ground import Ground
from layerpreview.surface.part_doubts import hung_at
from layerpreview.surface.part_edge import Edge
from layerpreview.surface.part_mask import Region

Verdict = Literal["good", "look at it", "not usable"]

_SOFT_MM, _SOFT_PX = 2.5, 4.0  # over which light changes by a soft edge: a part's own is as sharp as the photo
_STEP_SD = 4.0  # of the ground's scatter: less of a step is no clear edge
_LEAST_STEP = (0.15, 0.3)  # natural log of light: within these
_RIVAL = 0.15  # of the part's size: a smaller thing in the middle is not what is meant
_AS_LARGE = 0.5  # of the part's size: a thing elsewhere that may be the one that is meant
_COARSE_MM = 2.5  # of a pixel: the edge is no finer than about half of that
_FOREIGN = 0.05  # of the rim
_BURNT_LN, _BURNT_SHARE = -0.02, 0.1  # natural log of a channel's light, and share of the ground
_SMOOTH_OPENING = 0.65  # of the ground's texture: true openings had 0.92 and more, painted discs 0.4 and less
_DARK_OPENING = 0.06  # linear light: below, shadows, openings and dark spots look the same (assumed)
# Set on rendered photos of `tests/surface/part_scenes.py` and `more_part_scenes.py`.
_LOOK = {
    "doubtful_px": (1.3, "part and ground are alike along some of the edge"),
    "edge_clear": (0.90, "some of the edge hardly shows"),
    "border_clear": (0.75, "much of the picture's border is no plain ground"),
    "raggedness_mm": (0.2, "the edge is ragged"),
    "edge_soft": (0.04, "some of the edge is soft: out of focus, or a reflection's or a shadow's"),
    "ground_scatter": (0.4, "the ground is patterned"),
}
_NOT_USABLE = {
    "doubtful_px": (2.0, "part and ground are too much alike to tell them apart"),
    "edge_clear": (0.70, "most of the edge does not show"),
    "border_clear": (0.35, "hardly any of the picture's border is plain ground"),
    "edge_soft": (
        0.1,
        "much of the edge is soft: the photo is out of focus, or a reflection's or a shadow's edge was traced",
    ),
}
_OF_THE_GROUND = ("border_clear", "ground_scatter")


@dataclass(frozen=True)
class Sureness:
    """What speaks for a traced part and what against it.

    raggedness_mm : root mean square of the edge found about the edge drawn [mm]; contrast : change of light across the
    edge, median along it [natural log]; edge_clear : share 0..1 of the edge where that stands out of the ground's own
    scatter; border_clear : share 0..1 of the picture's border that is plain ground; doubtful : area between what is
    surely part and surely not, as a share of the part's; doubtful_px : how wide that is, in pixels of the picture it
    was sought in; edge_soft : share 0..1 of the edge over which light changes as slowly as along a reflection's or a
    shadow's; ground_scatter : of the ground about its smooth surface [natural log]; openings, closed : places like the
    ground left open and closed; against : what to look at, in plain words, worst first, empty for a good one.
    """

    verdict: Verdict
    raggedness_mm: float
    contrast: float
    edge_clear: float
    border_clear: float
    doubtful: float
    doubtful_px: float
    edge_soft: float
    ground_scatter: float
    openings: int
    closed: int
    against: tuple[str, ...]


def judged(
    region: Region,
    ground: Ground,
    edges: list[Edge],
    *,
    mm: float,
    size_px: tuple[int, int],
    full_px: tuple[int, int],
    at: bool = False,
    opening_texture: float = 1.0,
    touched: bool = False,
    by_hand: bool = False,
) -> Sureness:
    """Return how sure a part is; edges : the outer edge, then its openings'; mm : of one pixel of the edges [mm];
    size_px : width and height of the picture they were found in, full_px : of the photo; at : whether a point of the
    part was named; opening_texture : the least of any opening, as a
    share of the ground's; touched : whether what was left out lies against the part; by_hand : whether the part was
    outlined roughly by hand, so that it does not stand on its ground alone."""
    outer = edges[0]
    share = region.share
    figures = {
        "raggedness_mm": float(np.sqrt(np.mean(outer.stray_px**2))) * mm,
        "contrast": float(np.median(outer.step)),
        "edge_clear": float(np.mean(outer.step > np.clip(_STEP_SD * ground.sd, *_LEAST_STEP))),
        "border_clear": ground.border_clear,
        "doubtful": float((4 * share * (1 - share)).sum() / share.sum()),
        "doubtful_px": _doubtful_px(region),
        "edge_soft": float(np.mean(outer.soft_px > max(_SOFT_MM / mm, _SOFT_PX))),
        "ground_scatter": ground.sd,
    }
    asked = figures if not by_hand else {name: figures[name] for name in figures if name not in _OF_THE_GROUND}
    useless = _beyond(_NOT_USABLE, asked)
    if _cut_off(region):
        useless = ("the part runs out of the picture: step back until all of it is in", *useless)
    against = [*(useless or _beyond(_LOOK, asked)), *_seen_in(region, ground, size_px, at=at)]
    if touched:
        against.append("the sheet or frame touches the part")
    if opening_texture < _SMOOTH_OPENING:
        against.append("an opening is smoother than the ground round the part: it may be a spot on it")
    hung = None if by_hand else hung_at(outer.ring)
    if hung:
        against.append(f"something may hang at the part's edge, at {_place(hung, size_px)}")
    if mm * max(size_px) / max(full_px) > _COARSE_MM:
        against.append(f"a pixel is {mm * max(size_px) / max(full_px):.1f} mm: take a larger photo, or go nearer")
    verdict: Verdict = "not usable" if useless else "look at it" if against else "good"
    return Sureness(verdict, **figures, openings=len(region.openings), closed=region.closed, against=tuple(against))


def _seen_in(region: Region, ground: Ground, size_px: tuple[int, int], *, at: bool) -> Iterator[str]:
    """What in the picture about the part speaks against it; `at`: a point of the part was named."""
    if region.rival > _RIVAL:
        yield "more than one thing reaches into the middle: name a point of the part"
    share, *place = region.other
    if share > _AS_LARGE and not at:
        high, wide = region.share.shape
        there = _place((place[0] / wide * size_px[0], place[1] / high * size_px[1]), size_px)
        yield f"something nearly as large lies at {there}: if that is the part, name it with --at"
    if region.foreign > _FOREIGN:
        yield "something of another colour touches the part, or it has two colours"
    if float(np.mean(ground.ln_rgb[ground.seen].max(axis=1) > _BURNT_LN)) > _BURNT_SHARE:
        yield "much of the ground is burnt out"
    if region.darkest < np.log(_DARK_OPENING):
        yield "an opening is as dark as a dark spot on the part would be"


def _place(at: tuple[float, float], size_px: tuple[int, int]) -> str:
    x, y = (round(100 * where / size) for where, size in zip(at, size_px, strict=True))
    return f"{x}%,{y}%"


def _doubtful_px(region: Region) -> float:
    rings = [np.concatenate((ring, ring[:1])) for ring in (region.outer, *region.openings)]
    length = sum(float(np.linalg.norm(np.diff(ring, axis=0), axis=1).sum()) for ring in rings)
    return float((4 * region.share * (1 - region.share)).sum() / length)


def _beyond(limits: dict[str, tuple[float, str]], figures: dict[str, float]) -> tuple[str, ...]:
    """What is said of every figure past its limit: shares of what is clear count from below, the others from above."""
    return tuple(
        said
        for name, (limit, said) in limits.items()
        if name in figures and (figures[name] < limit if name.endswith("clear") else figures[name] > limit)
    )


def _cut_off(region: Region) -> bool:
    high, wide = region.share.shape
    low, top = region.outer.min(axis=0), region.outer.max(axis=0)
    return bool(min(low) < 1 or top[0] > wide - 1 or top[1] > high - 1)
