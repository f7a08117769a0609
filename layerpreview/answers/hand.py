"""How one hand lays the part, and how evenly, without looking for what would help."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layerpreview.answers.evenness import Part, Stripes, lay, part_of, stripes_of
from layerpreview.answers.gun import GunSet
from layerpreview.answers.uneven import UnevenFace, coarse_scene, uneven_faces
from layerpreview.scheme import Scheme
from layerpreview.spray.passes import HANDS


@dataclass(frozen=True, eq=False)
class Laying:
    """The `part` as it is meant, and its `faces` as the attempt leaves them that is nearest to the hand's figures."""

    part: Part
    faces: Sequence[UnevenFace]
    stripes: Stripes


def part_for(scheme: Scheme, gun: GunSet, *, width_mm: float) -> Part:
    """The part of a scheme, whose faces are `width_mm` [mm] side by side, to be laid by hands."""
    return part_of(scheme, coarse_scene(scheme, gun.how, width_mm=width_mm))


def laid_by(part: Part, gun: GunSet, hand: str) -> Laying:
    """The part as one of `HANDS` lays it; its figures are those of `evenness`."""
    laid = lay(part.sample(), gun.how, HANDS[hand])
    faces, _ = uneven_faces(part.scheme, part.faces, gun.how, HANDS[hand], attempt=laid.usual)
    return Laying(part, faces, stripes_of(part.scheme, laid, hand))
