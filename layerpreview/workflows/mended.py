"""A part that was found in a photo and mended by hand: its line pulled, its openings kept or closed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from layerpreview.surface.bent import Pull, bent
from layerpreview.surface.outline import Points, make_outline, with_openings
from layerpreview.surface.square import Square
from layerpreview.surface.trace import Traced
from layerpreview.surface.verdict import Sureness
from layerpreview.workflows.photo_options import Wanted
from layerpreview.workflows.photographed import Found, PhotoRead, found_in

_SAME_OPENING = 0.5  # of the area of both together
BY_HAND = "the line was moved by hand: look at it where it was"


@dataclass(frozen=True, eq=False)
class Opening:
    """A place within a part that shows its ground, a ring (n, 2) [px of the photo], and whether it is an opening."""

    ring: Points
    open: bool


def openings_in(photo: PhotoRead, square: Square | None, found: Found, wanted: Wanted) -> tuple[Opening, ...]:
    """Return every place in the part that is like its ground, those that were closed too, so that a person may choose.

    Raises PictureError.
    """
    own = [Opening(ring, True) for ring in found.traced.rings_px()[1].values()]
    if not found.sureness.closed:
        return tuple(own)
    kept = found_in(photo, square, replace(wanted, holes="keep"))
    others = kept.traced.rings_px()[1].values()
    return (*own, *(Opening(ring, False) for ring in others if not any(_same(ring, one.ring) for one in own)))


def _same(one: Points, other: Points) -> bool:
    first, second = shapely.Polygon(one).buffer(0), shapely.Polygon(other).buffer(0)
    return bool(first.intersection(second).area > _SAME_OPENING * first.union(second).area)


def mended(found: Found, pulls: Sequence[Pull], openings: Sequence[Opening], keep: Sequence[bool]) -> Found:
    """Return what was found with its line pulled and with those of `openings` that are to be kept, `keep` one for each.

    Where nothing is changed it is returned as it is. Raises PictureError where the line crosses itself or an opening.
    """
    pulled = [pull for pull in pulls if pull.right_px or pull.down_px]
    if not pulled and all(one.open == stays for one, stays in zip(openings, keep, strict=True)):
        return found
    traced, said = found.traced, list(found.mended)
    outer = bent(traced.rings_px()[0], pulled)
    if pulled:
        most_mm = max(float(np.hypot(pull.right_px, pull.down_px)) for pull in pulled) * traced.pixel_mm
        times = f"{len(pulled)} place{'' if len(pulled) == 1 else 's'}"
        said.append(f"the outline was moved by hand at {times}, by up to about {most_mm:.1f} mm")
    kept = [one.ring for one, stays in zip(openings, keep, strict=True) if stays]
    closed = [one.ring for one, stays in zip(openings, keep, strict=True) if one.open and not stays]
    opened = sum(stays and not one.open for one, stays in zip(openings, keep, strict=True))
    if closed or opened:
        said.append(f"of the openings {opened} were opened by hand and {len(closed)} closed")
    return replace(
        found,
        traced=_traced(outer, kept, traced.pixel_mm),
        sureness=_by_hand(found.sureness, moved=bool(pulled), openings=len(kept), closed=len(openings) - len(kept)),
        covered=(*found.covered, *closed),
        mended=tuple(said),
    )


def _traced(outer: Points, openings: Sequence[Points], pixel_mm: float) -> Traced:
    corner = outer.min(axis=0)
    ordered = sorted(openings, key=lambda ring: (float(ring[:, 1].min()), float(ring[:, 0].min())))
    named = {f"opening {k}": (ring - corner) * pixel_mm for k, ring in enumerate(ordered, start=1)}
    outline = with_openings(make_outline(outer * pixel_mm), named)
    return Traced(outline, pixel_mm, (float(corner[0]), float(corner[1])))


def _by_hand(sureness: Sureness, *, moved: bool, openings: int, closed: int) -> Sureness:
    """A line that a person has drawn over is to be looked at: no photo speaks for it, and no photo against it."""
    told = replace(sureness, openings=openings, closed=closed)
    if not moved:
        return told
    return replace(told, verdict="look at it", against=(*sureness.against, BY_HAND))
