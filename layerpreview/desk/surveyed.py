"""The places of the open job and what lands there, made once for all that ask of a version."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.desk.jobs import Read
from layerpreview.desk.made import Made
from layerpreview.picture.scene import Scene, make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, Spot, spots_of
from layerpreview.picture.survey import Survey


@dataclass(frozen=True, eq=False)
class Surveyed:
    """A version's faces in the size that figures are taken from, on their own grids, and all its places."""

    scene: Scene
    surveys: tuple[Survey, ...]
    spots: tuple[Spot, ...]


_made: Made[Surveyed] = Made(2)


def surveyed(read: Read) -> Surveyed:
    """Those of a version. Raises PictureError."""
    return _made.get((read.version, read.shapes, read.stamps), lambda: _surveyed(read))


def _surveyed(read: Read) -> Surveyed:
    scene = make_scene(read.scheme, width_px=FIGURES_WIDTH_PX, shapes=read.shapes)
    surveys = tuple(Survey(read.scheme, shape) for shape in read.shapes)
    return Surveyed(scene, surveys, tuple(spots_of(read.scheme, scene, surveys)))
