"""Front and back of one part, each in a photo of its own: whether they go together, and what they share."""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely

from layerpreview.errors import InputError, Problem
from layerpreview.output.outline_svg import drawn_id
from layerpreview.surface.outline import Points, mirrored
from layerpreview.workflows.photo_options import Wanted
from layerpreview.workflows.photo_scheme import on_the_back
from layerpreview.workflows.photographed import Photographed

_ONE_BODY, _OTHER_PART = 0.06, 0.25  # of the area: outlines of two photos that differ by less, by more
_SAME_OPENING = 0.5  # of the area of both together


@dataclass(frozen=True, eq=False)
class Sides:
    """How a back goes with its front: `apart`, the share of the area on which they differ; `one_body`, whether the
    front's mirror image serves for both; `through`, the front's openings that are in both; `cavities` by file name,
    rings (n, 2) [mm] that the back has alone."""

    apart: float
    one_body: bool
    through: tuple[str, ...]
    cavities: dict[str, Points]

    @property
    def said(self) -> str:
        """In a sentence."""
        share = f"front and mirrored back differ on {100 * self.apart:.1f} % of the area"
        if self.one_body:
            return f"{share}: they are one body with the front's outline"
        return f"{share}: shown as two pieces; for one body use --back mirrored, or photograph both from straight above"


def of_back(wanted: Wanted, front: Photographed) -> Wanted:
    """What is known of the back's photo: as wide as the front; points were named in the front's photo."""
    return replace(
        wanted,
        part_width_mm=front.part.outline.width_mm,
        turn_deg=-wanted.turn_deg,
        marks=None,
        at=None,
        background=None,
        drawn=None,
    )


def sides_of(front: Photographed, back: Photographed) -> Sides:
    """Return how the back goes with the front. Raises InputError where they cannot be two sides of one part."""
    face = shapely.Polygon(front.part.outline.outer)
    behind = shapely.Polygon(_from_front(back.part.outline.outer, back, front))
    apart = float(face.symmetric_difference(behind).area) / float(face.area)
    if apart > _OTHER_PART:
        rule = f"differs from the front's mirror image on {100 * apart:.0f} % of its area: no two sides of one part"
        remedy = "turn the part over sideways for the second photo, or leave out --back"
        raise InputError(Problem(rule, remedy, field="--back", value=str(back.file)))
    through: list[str] = []
    cavities: dict[str, Points] = {}
    for ring in back.part.outline.openings.values():
        seen = shapely.Polygon(_from_front(ring, back, front))
        names = [name for name, own in front.part.outline.openings.items() if _same(seen, shapely.Polygon(own))]
        if names:
            through += map(drawn_id, names)
        else:
            cavities[f"back_opening_{len(cavities) + 1}.svg"] = on_the_back(ring, back, front)
    return Sides(apart, apart <= _ONE_BODY, tuple(through), cavities)


def _from_front(ring: Points, back: Photographed, front: Photographed) -> Points:
    """A ring of the back [mm] as it lies on the front, seen through the part."""
    return mirrored(on_the_back(ring, back, front), width_mm=front.part.outline.width_mm)


def _same(one: shapely.Polygon, other: shapely.Polygon) -> bool:
    return bool(one.intersection(other).area > _SAME_OPENING * one.union(other).area)
