"""One face at one picture size: its coverage and the build of every layer, row by row."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, reduce
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from layerpreview.picture.bare import Bare, Rows
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.pools import Pools, pools_of
from layerpreview.picture.seats import Seats
from layerpreview.scheme import Burst, Coat, DyeCoat, Scheme
from layerpreview.spray import burst_build
from layerpreview.surface.distance import (
    coverage,
    distance_field,
    distance_field_of_line,
    distance_field_of_point,
)
from layerpreview.surface.outline import Outline
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.wear import CutBack, cut_back, soaked_build
from layerpreview.surface.zones import ridge_height, zone_field, zone_share

F32 = NDArray[np.float32]

WEAR_POINTS = 200
RIDGE_BUILD = 0.5
"""Extra build at the crest of the ridge that tape leaves (assumed)."""


@dataclass(frozen=True)
class FaceRows:
    """A strip of a face: `bare` (1 or 3, P), `builds` (layers, P) and `cover` (P,) the share of each pixel inside.

    `path` (3, P): the numerators of each pixel's own curve over a textured metal; `kept` (zones, P): the share of each
    zone in `BuildMaps.seats`.
    """

    bare: F32
    path: F32 | None
    builds: F32
    cover: F32
    kept: F32


class Field(Protocol):
    """Anything that gives distances [mm] for rows of pixels."""

    def rows(self, y0: int, y1: int) -> F32: ...


class BuildMaps:
    """Coverage and builds of a face on a pixel grid; `rows` gives any strip, the same whatever the strips.

    `openness`: rows of a wood base that takes dye unevenly, 1 on average; None for all other bases.
    """

    def __init__(self, scheme: Scheme, shape: FaceShape, grid: PixelGrid, *, openness: Rows | None = None) -> None:
        self.grid, self.shape = grid, shape
        self._scheme, self._openness = scheme, openness
        self.edge = distance_field(shape.outline, grid, edges="all", seam=True)
        self.seats = Seats(scheme, shape, grid)
        self._zones = {zone.name: zone for zone in shape.face.zones}
        self._where = [shape.zones_of(scheme, coat) for coat in scheme.coats]
        self._bursts = [shape.bursts_of(scheme, coat) for coat in scheme.coats]
        used = {name for names in self._where if names for name in names} | set(shape.masked)
        self._borders: dict[str, Field] = {name: zone_field(shape.regions[name], grid) for name in sorted(used)}
        self._sources = {_key(burst): self._field(burst) for bursts in self._bursts for burst in bursts}
        self._cuts: dict[int, CutBack] = {}

    def rows(self, y0: int, y1: int) -> tuple[F32, F32]:
        """Builds (layers, P) as they end up and cover (P,), for rows y0 to y1."""
        builds, cover = self.level_rows(y0, y1)
        if self.pools is not None:
            self.pools.gather(builds, y0, y1)
        return builds, cover

    @cached_property
    def pools(self) -> Pools | None:
        """Where coats gather in the hollows of the base; None where it has none of known height."""
        return pools_of(self._scheme, self.shape, self.grid)

    def level_rows(self, y0: int, y1: int) -> tuple[F32, F32]:
        """As `rows`, over a base taken as level: the mean of what gathers in hollows and what is missing on peaks."""
        edge_mm = self.edge.rows(y0, y1)
        return self._worn(self.sprayed(y0, y1), edge_mm, y0, y1), coverage(edge_mm, self.grid.pixel_mm).ravel()

    def where_rows(self, y0: int, y1: int) -> F32:
        """Builds (layers, P) as `level_rows` has them, were no coat a burst: times its fall-offs (`away_mm`) they are
        those of `level_rows`."""
        return self._worn(self._laid(y0, y1, None), self.edge.rows(y0, y1), y0, y1)

    def sprayed(self, y0: int, y1: int) -> F32:
        """Builds (layers, P) as they are sprayed: before anything is cut back or soaks in unevenly."""
        return self._laid(y0, y1, {key: field.rows(y0, y1).ravel() for key, field in self._sources.items()})

    def _worn(self, builds: F32, edge_mm: F32, y0: int, y1: int) -> F32:
        """The builds (layers, P), in place, as they are cut back and soak in."""
        openness = None if self._openness is None else self._openness.rows(y0, y1)
        for i, coat in enumerate(self._scheme.coats):
            if coat.cut_back > 0.0 and builds[i].any():
                builds[i] *= self._keep(i, coat, y0, y1, edge_mm, openness).ravel()
            if openness is not None and isinstance(coat, DyeCoat):
                soak = self._scheme.base_for(self.shape.face.name).soak
                builds[i] = soaked_build(builds[i], openness.ravel(), soak=soak)
        return builds

    def _laid(self, y0: int, y1: int, away: dict[tuple[object, ...], F32] | None) -> F32:
        """Builds (layers, P) where coats go; by the distances `away` from what their bursts start at, None: in full."""
        count = (y1 - y0) * self.grid.n_cols
        shares = {name: self._zone_share(name, y0, y1) for name in self._borders}
        builds = np.zeros((len(self._where), count), dtype=np.float32)
        for row, names, bursts in zip(builds, self._where, self._bursts, strict=True):
            if names == ():
                continue
            row[:] = _burst_sum(bursts, away) if bursts and away is not None else np.float32(1.0)
            if names is not None:
                row *= reduce(np.maximum, (shares[name] for name in names))
            for name in self.shape.masked:
                row *= np.maximum(1.0 - shares[name], 0.0)
        return builds

    def away_mm(self, burst: Burst, y0: int, y1: int) -> F32:
        """Distance [mm] (rows, cols) from what a burst of this face starts at, positive where it reaches."""
        return self._sources[_key(burst)].rows(y0, y1)

    def _zone_share(self, name: str, y0: int, y1: int) -> F32:
        zone, pixel_mm = self._zones[name], self.grid.pixel_mm
        border_mm = self._borders[name].rows(y0, y1).ravel()
        share = zone_share(border_mm, pixel_mm=pixel_mm, edge_mm=zone.edge_mm)
        if zone.ridge_mm is not None:
            near = np.flatnonzero(np.abs(border_mm) < zone.ridge_mm + pixel_mm)
            height = ridge_height(border_mm[near], ridge_mm=zone.ridge_mm, pixel_mm=pixel_mm)
            share[near] += np.float32(RIDGE_BUILD) * height
        return share

    def _field(self, burst: Burst) -> Field:
        if burst.source == "line":
            assert burst.at_mm is not None
            assert burst.angle_deg is not None
            return distance_field_of_line(self.shape.outline, self.grid, at_mm=burst.at_mm, angle_deg=burst.angle_deg)
        if burst.source == "centre":
            assert burst.at_mm is not None
            return distance_field_of_point(self.shape.outline, self.grid, at_mm=burst.at_mm)
        if burst.source in self.shape.regions:
            return zone_field(self.shape.regions[burst.source], self.grid)
        outline = self.shape.outline
        if burst.source == "outline" and not outline.openings and not outline.wraps:
            return self.edge  # the only edge there is
        return distance_field(outline, self.grid, edges=burst.source)

    def _keep(self, index: int, coat: Coat, y0: int, y1: int, edge_mm: F32, openness: F32 | None) -> F32:
        if index not in self._cuts:
            self._cuts[index] = _prepared_cut(coat, self.shape.outline)
        grid = self.grid
        return self._cuts[index].keep(
            x_mm=grid.x_mm(), y_mm=grid.y_mm(y0, y1), distance_mm=edge_mm, openness=openness, pixel_mm=grid.pixel_mm
        )


def _prepared_cut(coat: Coat, outline: Outline) -> CutBack:
    """How a coat is cut back on this face, from a coarse look at the whole of it."""
    grid = pixel_grid(outline, max(outline.width_mm, outline.height_mm) / WEAR_POINTS)
    distance_mm = distance_field(outline, grid, edges="all", seam=True).rows(0, grid.n_rows)
    return cut_back(
        amount=coat.cut_back, seed=coat.cut_back_seed, x_mm=grid.x_mm(), y_mm=grid.y_mm(), distance_mm=distance_mm
    )


class FacePicture:
    """A face on a pixel grid: its base and its build maps, any strip of them."""

    def __init__(self, bare: Bare, maps: BuildMaps) -> None:
        self.bare, self.maps = bare, maps

    @property
    def grid(self) -> PixelGrid:
        return self.maps.grid

    @property
    def shape(self) -> FaceShape:
        return self.maps.shape

    @property
    def outline(self) -> Outline:
        return self.maps.shape.outline

    def rows(self, y0: int, y1: int) -> FaceRows:
        """Rows y0 to y1 of the face."""
        light, path = self.bare.lit(y0, y1)
        builds, cover = self.maps.rows(y0, y1)
        bare = light.reshape(-1, 3).T if light.ndim == 3 else light.reshape(1, -1)
        return FaceRows(bare, path, builds, cover, self.maps.seats.shares(y0, y1))

    def lit_anew(self, bare: Bare) -> FacePicture:
        """The same face over a base that is lit or seen otherwise."""
        return FacePicture(bare, self.maps)


def pixel_grid(outline: Outline, pixel_mm: float) -> PixelGrid:
    """The grid of pixels of `pixel_mm` that covers an outline's bounding box."""
    rows, cols = (max(1, math.ceil(size / pixel_mm - 1e-6)) for size in (outline.height_mm, outline.width_mm))
    return PixelGrid(pixel_mm=pixel_mm, n_rows=rows, n_cols=cols)


def _key(burst: Burst) -> tuple[object, ...]:
    """What a burst's distances depend on."""
    return (burst.source, burst.at_mm, burst.angle_deg)


def _burst_sum(bursts: tuple[Burst, ...], away_mm: dict[tuple[object, ...], F32]) -> F32:
    """Bursts of one coat add as paint adds, over the largest of their centres."""
    centre = max(burst.centre for burst in bursts)
    falls = [burst_build(away_mm[_key(burst)], width_mm=burst.width_mm, fall_off=burst.fall_off) for burst in bursts]
    return np.asarray(centre + (1.0 - centre) * reduce(np.add, falls), dtype=np.float32)
