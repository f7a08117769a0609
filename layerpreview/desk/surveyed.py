"""The places of the open job and what lands there, made once for all that ask of a version, and not before."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from layerpreview.desk.jobs import Read
from layerpreview.desk.made import Made
from layerpreview.picture.scene import Scene, make_scene
from layerpreview.picture.spots import FIGURES_WIDTH_PX, Spot, spots_of
from layerpreview.picture.survey import Survey


@dataclass(frozen=True, eq=False)
class Surveyed:
    """A version's faces in the size that figures are taken from, on grids of their own, and all its places."""

    read: Read

    @cached_property
    def scene(self) -> Scene:
        """The faces side by side. Raises PictureError."""
        return make_scene(self.read.scheme, width_px=FIGURES_WIDTH_PX, shapes=self.read.shapes)

    @cached_property
    def surveys(self) -> tuple[Survey, ...]:
        """What lands where on each face."""
        return tuple(Survey(self.read.scheme, shape) for shape in self.read.shapes)

    @cached_property
    def spots(self) -> tuple[Spot, ...]:
        """All places. Raises PictureError."""
        return tuple(spots_of(self.read.scheme, self.scene, self.surveys))


_made: Made[Surveyed] = Made(2)


def surveyed(read: Read) -> Surveyed:
    """Those of a version."""
    return _made.get((read.version, read.shapes, read.stamps), lambda: Surveyed(read))
