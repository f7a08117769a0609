"""The film at places that there are: what really lies over one another in the open, at edges and in zones."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.job.sprayed import LEAST_BUILD
from layerpreview.picture.survey import Survey
from layerpreview.spray.budget import FilmLayer
from layerpreview.surface.distance import distance_field
from layerpreview.told import summed
from layerpreview.units import Range

Flags = NDArray[np.bool_]
F32 = NDArray[np.float32]

AS_THICK = 1.02
"""Places whose films differ by less are one place."""
EDGE_PX = 1.5
"""Of the survey's pixels: so near to an edge a place is on it, so far from a border inside."""
DEEP = 0.97
"""Of the greatest depth of a field: what lies deeper is its calm middle."""
OPEN, AT_EDGE, FULLEST = "open face", "at the edge", "where it is thickest"


@dataclass(frozen=True)
class FilmAt:
    """The dry film at one place of a face [um]: `layers` from below with what lies there of each, and their sum.

    `place` in words, `at_mm` across and down from the top left corner of its face's box [mm]. `left_um`: what is left
    of it once the clear is sanded; wet paint draws away from a sharp edge, where 30 to 80 % of it stay.
    """

    face: str
    place: str
    at_mm: tuple[float, float]
    layers: tuple[FilmLayer, ...]
    total_um: Range
    left_um: Range

    @property
    def names(self) -> tuple[str, ...]:
        """What lies there, from below."""
        return tuple(layer.name for layer in self.layers)


def films_at(layers: Sequence[FilmLayer], surveys: Sequence[Survey], *, removed_um: Range) -> tuple[FilmAt, ...]:
    """The film at the open field of every face, at its edges and in its zones, the thickest of a face first.

    `layers` at full build from below, those of kind "dye" and "opaque" in the order of the scheme's coats;
    `removed_um` is what sanding and polishing take. A relief is taken as level. A place is left out where one that was
    named before it has the same coats, as thick.
    """
    return tuple(place for survey in surveys for place in _of_face(layers, survey, removed_um))


def _of_face(layers: Sequence[FilmLayer], survey: Survey, removed_um: Range) -> list[FilmAt]:
    face, n_cols = survey.shape.face.name, survey.grid.n_cols
    coats = [layer for layer in layers if layer.kind in ("dye", "opaque")]
    full_um = np.array([layer.dry_um.likely for layer in coats], dtype=np.float32)
    # Rounded, so that of places as thick as each other the first is named on every machine.
    thick_um = np.asarray(np.round(full_um @ survey.builds, 2), dtype=np.float32)
    found: list[FilmAt] = []
    for name, at in _places(survey, thick_um):
        row, column = divmod(at, n_cols)
        x, y = float(survey.grid.x_mm()[column]), float(survey.grid.y_mm()[row])
        there = tuple(_there(layers, face, survey.builds[:, at]))
        total = summed([layer.dry_um for layer in there])
        place = FilmAt(face, name, (x, y), there, total, _less(total, removed_um))
        if not any(_alike(place, other) for other in found):
            found.append(place)
    return sorted(found, key=lambda place: -place.total_um.likely)


def _less(um: Range, off_um: Range) -> Range:
    """What is left at least, likely and at most; never less than nothing."""
    left = (um.low - off_um.high, um.likely - off_um.likely, um.high - off_um.low)
    return Range(*(max(each, 0.0) for each in left))


def _there(layers: Sequence[FilmLayer], face: str, builds: NDArray[np.floating]) -> Iterator[FilmLayer]:
    """The layers at a place with what lies there of each; `builds` (coats,)."""
    coat = iter(builds.tolist())
    for layer in layers:
        build = next(coat) if layer.kind in ("dye", "opaque") else float(face in layer.faces)
        if build > LEAST_BUILD:
            yield replace(layer, wet_um=layer.wet_um.scaled(build), dry_um=layer.dry_um.scaled(build))


def _alike(one: FilmAt, other: FilmAt) -> bool:
    thin, thick = sorted((one.total_um.likely, other.total_um.likely))
    return one.names == other.names and thick <= AS_THICK * thin


def _places(survey: Survey, thick_um: F32) -> Iterator[tuple[str, int]]:
    """The places of a face and the pixel of each: the calm middle of what is deep inside, the thickest of a line."""
    shape, pixel_mm, rows = survey.shape, survey.grid.pixel_mm, survey.grid.n_rows
    painted = survey.edge_mm >= 0.0
    for name in shape.masked:
        painted &= survey.zone_mm[name] < 0.0
    edges = {AT_EDGE: distance_field(shape.outline, survey.grid, edges="outline")}
    for name in shape.outline.openings:
        edges[f"round {name}"] = distance_field(shape.outline, survey.grid, edges=name)
    near = {name: np.abs(field.rows(0, rows).ravel()) <= EDGE_PX * pixel_mm for name, field in edges.items()}

    def thickest(here: Flags) -> int:
        return int(np.argmax(np.where(here, thick_um, -1.0)))

    for name, depth_mm, border_mm in _fields(survey):
        inside = painted & (border_mm >= EDGE_PX * pixel_mm)
        if not inside.any():
            continue
        deep = np.flatnonzero(inside & (depth_mm >= DEEP * float(depth_mm[inside].max())))
        yield name, int(deep[np.argsort(thick_um[deep], kind="stable")[deep.size // 2]])
        for edge, line in near.items():
            if (here := inside & line).any():
                yield (edge if name == OPEN else f"{name}, {edge}"), thickest(here)
    if painted.any():
        yield FULLEST, thickest(painted)


def _fields(survey: Survey) -> Iterator[tuple[str, F32, F32]]:
    """The open face and each zone that a coat is limited to: how deep places lie in it, and how far from its border."""
    scheme, shape = survey.scheme, survey.shape
    used = {name for coat in scheme.coats for name in shape.zones_of(scheme, coat) or ()} - set(shape.masked)
    outside = np.full_like(survey.edge_mm, np.inf)
    for name in used:
        outside = np.minimum(outside, -survey.zone_mm[name])
    yield OPEN, survey.depth_mm(outside=sorted(used | set(shape.masked))), outside
    for name in sorted(used):
        yield name, survey.depth_mm(within=name, outside=shape.masked), survey.zone_mm[name]
