"""A face on a grid of its own, the same at every picture size: what lands where, how far places are from borders."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from layerpreview.picture.faces import FaceShape
from layerpreview.picture.maps import BuildMaps, pixel_grid
from layerpreview.scheme import Burst, Scheme
from layerpreview.surface.distance import coverage
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.zones import zone_field

F32 = NDArray[np.float32]

SURVEY_PX = 600
"""Pixels along the longer side: areas come out within 0.1 %, places within a thousandth of the face."""
SMOOTH_SLOPE = 0.97
"""Of a distance: 1 everywhere but on creases."""
CREASE_PX = 6
"""How far from a crease it is felt: distances are interpolated from points some pixels apart."""


@dataclass(frozen=True, eq=False)
class Survey:
    """What each coat leaves on one face. Arrays are (P,) or (layers, P), pixels row by row of `grid`."""

    scheme: Scheme
    shape: FaceShape

    @cached_property
    def grid(self) -> PixelGrid:
        """Where the pixels lie."""
        outline = self.shape.outline
        return pixel_grid(outline, max(outline.width_mm, outline.height_mm) / SURVEY_PX)

    @cached_property
    def _maps(self) -> BuildMaps:
        return BuildMaps(self.scheme, self.shape, self.grid)

    @cached_property
    def edge_mm(self) -> F32:
        """Distance to the nearest edge of the face, openings and seam included, positive on it [mm]."""
        return self._maps.edge.rows(0, self.grid.n_rows).ravel()

    @cached_property
    def builds(self) -> F32:
        """Build of every coat as it ends up, wood taken as evenly open and a relief as level."""
        return self._maps.level_rows(0, self.grid.n_rows)[0]

    @cached_property
    def laid(self) -> F32:
        """Build of every coat before it is cut back."""
        if not any(coat.cut_back for coat in self.scheme.coats):
            return self.builds
        return self._maps.sprayed(0, self.grid.n_rows)

    @cached_property
    def unrest(self) -> F32:
        """How much each build (layers, P) changes from pixel to pixel around a place: scratches of a coat cut back."""
        layers = self.builds.reshape(-1, self.grid.n_rows, self.grid.n_cols)
        if min(layers.shape[1:]) < 2:
            return np.zeros_like(self.builds)
        change = np.zeros_like(layers)
        for layer, found in zip(layers, change, strict=True):
            if layer.min() < layer.max():
                found[:] = _most_around(np.hypot(*np.gradient(layer)))
        return change.reshape(self.builds.shape)

    @cached_property
    def zone_mm(self) -> dict[str, F32]:
        """Distance to the border of each zone, positive inside it [mm]."""
        rows = self.grid.n_rows
        return {
            name: zone_field(region, self.grid).rows(0, rows).ravel() for name, region in self.shape.regions.items()
        }

    def away_mm(self, burst: Burst) -> F32:
        """Distance from what a burst of this face starts at, positive where it reaches [mm]."""
        return self._maps.away_mm(burst, 0, self.grid.n_rows).ravel()

    def depth_mm(self, *, within: str | None = None, outside: Collection[str] = ()) -> F32:
        """How far inside every border a place lies [mm]: of the face, of a zone, of zones it must keep out of."""
        depth = self.edge_mm
        if within is not None:
            depth = np.minimum(depth, self.zone_mm[within])
        for name in outside:
            depth = np.minimum(depth, -self.zone_mm[name])
        return depth

    @cached_property
    def mean_builds(self) -> tuple[float, ...]:
        """Build of each coat over the whole face, on average, as it is sprayed."""
        return tuple(area / self.shape.outline.area_m2 for area in self.sprayed_m2)

    @cached_property
    def creased(self) -> NDArray[np.bool_]:
        """Where a burst comes from two sides at once, and around it: pixels round off the crease in its distance."""
        found = np.zeros(self.edge_mm.size, dtype=bool)
        if min(self.grid.n_rows, self.grid.n_cols) < 2:
            return found
        for coat in self.scheme.coats:
            for burst in self.shape.bursts_of(self.scheme, coat):
                away = self.away_mm(burst)
                slope = np.hypot(*np.gradient(away.reshape(self.grid.n_rows, self.grid.n_cols), self.grid.pixel_mm))
                found |= (slope.ravel() < SMOOTH_SLOPE) & (away < burst.width_mm)
        return _widened(found.reshape(self.grid.n_rows, self.grid.n_cols), CREASE_PX).ravel()

    @cached_property
    def sprayed_m2(self) -> tuple[float, ...]:
        """Area times local build of each coat [m2], before anything is cut back; exact where a coat has no burst."""
        coats = self.scheme.coats
        exact = [self.shape.painted_m2(self.scheme, coat) for coat in coats]
        if not any(coat.bursts for coat in coats):
            return tuple(exact)
        cover = coverage(self.edge_mm, self.grid.pixel_mm)
        mean = (self._maps.sprayed(0, self.grid.n_rows) @ cover) / max(float(cover.sum()), 1e-9)
        area = self.shape.outline.area_m2
        return tuple(area * float(mean[i]) if coat.bursts else exact[i] for i, coat in enumerate(coats))


def _most_around(change: F32) -> F32:
    """The largest within two pixels across and down (rows, cols); what leaves at one side comes in at the other."""
    for axis in (0, 1):
        two = np.maximum(change, np.roll(change, 1, axis=axis))
        four = np.maximum(two, np.roll(two, 2, axis=axis))
        change = np.roll(np.maximum(four, np.roll(change, 4, axis=axis)), -2, axis=axis)
    return change


def _widened(flags: NDArray[np.bool_], by_px: int) -> NDArray[np.bool_]:
    """The flags (rows, cols) and all within `by_px` pixels of them, across and down."""
    for axis in (0, 1):
        counts = np.cumsum(np.pad(flags, [(by_px + 1, by_px) if a == axis else (0, 0) for a in (0, 1)]), axis=axis)
        size = flags.shape[axis]
        ends, starts = (np.take(counts, np.arange(at, at + size), axis=axis) for at in (2 * by_px + 1, 0))
        flags = ends > starts
    return flags
