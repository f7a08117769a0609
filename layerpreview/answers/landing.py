"""Where each coat entry lands on a face, as its strokes see it: over a box, or along the edge its bursts start at."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.picture.maps import FacePicture
from layerpreview.scheme import Coat, Scheme
from layerpreview.surface.distance import distance_field
from layerpreview.surface.outline import Outline
from layerpreview.surface.sample import PixelGrid

F64 = NDArray[np.float64]

HARDLY_ANY = 0.002
"""Build below which a coat is not meant to land at all."""


@dataclass(frozen=True, eq=False)
class Place:
    """One coat entry on one face, whatever the gun and the hand.

    Straight strokes cover a box of `width_mm` by `height_mm` that the points `x_mm`, `y_mm` (P,) lie in; on a tube that
    `wraps` the level ones run round. With `along_edge` the strokes follow an edge that is `height_mm` long: `x_mm` is
    the distance from it, at most the burst's width `width_mm`, and `y_mm` how far along it a point lies.
    """

    x_mm: F64
    y_mm: F64
    width_mm: float
    height_mm: float
    along_edge: bool = False
    wraps: bool = False

    def at(self, points: NDArray[np.intp]) -> Place:
        """The same place with only some of its points."""
        return replace(self, x_mm=self.x_mm[points], y_mm=self.y_mm[points])


def place_of(scheme: Scheme, picture: FacePicture, coat: Coat, painted: NDArray[np.bool_]) -> Place | None:
    """Where a coat entry lands on a face, `painted` (P,) being the points it reaches; None where it reaches none."""
    if not painted.any():
        return None
    grid, outline = picture.grid, picture.outline
    return _along_edge(scheme, picture, coat) or _over_box(painted, outline, grid)


def _over_box(painted: NDArray[np.bool_], outline: Outline, grid: PixelGrid) -> Place:
    x, y = (v.ravel() for v in np.meshgrid(grid.x_mm(), grid.y_mm()))
    left, top = x[painted].min(), y[painted].min()
    wide, high = x[painted].max() - left + grid.pixel_mm, y[painted].max() - top + grid.pixel_mm
    return Place(
        np.clip(x - left, 0.0, wide), np.clip(y - top, 0.0, high), float(wide), float(high), wraps=outline.wraps
    )


def _along_edge(scheme: Scheme, picture: FacePicture, coat: Coat) -> Place | None:
    """Along the first edge this coat's bursts start at; None where they start at no edge of the face."""
    grid, outline = picture.grid, picture.outline
    bursts = picture.shape.bursts_of(scheme, coat)
    edge = next((b for b in bursts if b.source in ("outline", "openings", *outline.openings)), None)
    if edge is None:
        return None
    ring = outline.outer if edge.source == "outline" else outline.openings.get(edge.source)
    if ring is None:
        ring = next(iter(outline.openings.values()))
    distance = distance_field(outline, grid, edges=edge.source).rows(0, grid.n_rows).ravel().astype(np.float64)
    along, length = _along(ring, grid, wraps=outline.wraps and edge.source == "outline")
    # Beyond the burst nothing of this coat lands that counts, and its last stroke must not leave a trough.
    return Place(np.clip(distance, 0.0, edge.width_mm), along, edge.width_mm, length, along_edge=True)


def _along(ring: F64, grid: PixelGrid, *, wraps: bool) -> tuple[F64, float]:
    """How far along an edge every point lies, and the edge's length [mm]: by its direction from the ring's middle, or
    round the upper and then the lower rim of a tube."""
    x, y = (v.ravel() for v in np.meshgrid(grid.x_mm(), grid.y_mm()))
    far = ring.max(axis=0)
    if wraps:
        return x + np.where(y > 0.5 * far[1], far[0], 0.0), 2.0 * float(far[0])
    middle = 0.5 * (ring.min(axis=0) + far)
    length = float(np.hypot(*(np.roll(ring, 1, axis=0) - ring).T).sum())
    return (np.arctan2(y - middle[1], x - middle[0]) / (2.0 * np.pi) + 0.5) * length, length
