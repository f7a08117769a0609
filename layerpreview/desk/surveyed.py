"""The places of the open job and what lands there, made once for all that ask of a version.

The grids that this is found on are let go again: of the sample they are 54 MiB.
"""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.desk.jobs import Read
from layerpreview.desk.made import Made
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, Spot, spots_of
from layerpreview.picture.survey import Survey


@dataclass(frozen=True, eq=False)
class Surveyed:
    """All places of a version, and by face the mean build of every coat over its painted area."""

    spots: tuple[Spot, ...]
    builds: tuple[tuple[float, ...], ...]


_made: Made[Surveyed] = Made(2)


def surveyed(read: Read) -> Surveyed:
    """Those of a version. Raises PictureError."""
    return _made.get((read.version, read.shapes, read.stamps), lambda: _surveyed(read))


def _surveyed(read: Read) -> Surveyed:
    scene = make_scene(read.scheme, width_px=FIGURES_WIDTH_PX, shapes=read.shapes)
    surveys = [Survey(read.scheme, shape) for shape in read.shapes]
    spots = tuple(spots_of(read.scheme, scene, surveys))
    return Surveyed(spots, tuple(tuple(map(float, survey.mean_builds)) for survey in surveys))
