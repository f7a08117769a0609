"""Where a repair may end without a feather: edges of a face, openings and tape lines; and what they bound."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import shapely

from layerpreview.picture.faces import FaceShape

_TOUCHES_MM = 0.05
OUTLINE = "outer edge"


@dataclass(frozen=True)
class NaturalEdge:
    """An edge by name, how it is said, and how far the damage lies from it [mm]; 0 where it reaches it."""

    name: str
    words: str
    away_mm: float


@dataclass(frozen=True, eq=False)
class Piece:
    """What is done anew where no feather hides the repair: the part of a face within `edges` round the damage."""

    shape: Any
    area_m2: float
    edges: tuple[NaturalEdge, ...]

    @property
    def words(self) -> str:
        """The edges it ends at, in words."""
        *first, last = [edge.words for edge in self.edges]
        return f"{', '.join(first)} and {last}" if first else last


def natural_edges(shape: FaceShape, damage: Any) -> tuple[NaturalEdge, ...]:
    """Every natural edge of a face, the nearest to the damage (a shape in mm) first."""
    lines = _lines(shape)
    found = [NaturalEdge(name, words, float(line.distance(damage))) for (name, words), line in lines.items()]
    return tuple(sorted(found, key=lambda edge: edge.away_mm))


def piece_round(shape: FaceShape, damage: Any) -> Piece:
    """The smallest part of a face that ends at natural edges all round and holds the damage."""
    piece: Any = shape.outline.polygon
    for name in _taped(shape):
        region: Any = shape.regions[name].shape
        inside, outside = float(damage.intersection(region).area), float(damage.difference(region).area)
        if outside <= 0.0:
            piece = piece.intersection(region)
        elif inside <= 0.0:
            piece = piece.difference(region)
    parts = [part for part in shapely.get_parts(piece) if part.intersection(damage).area > 0.0]
    whole = shapely.union_all(parts)
    near = whole.boundary.buffer(_TOUCHES_MM)
    ends = {key for key, line in _lines(shape).items() if line.intersection(near).length > 10.0 * _TOUCHES_MM}
    edges = tuple(edge for edge in natural_edges(shape, damage) if (edge.name, edge.words) in ends)
    return Piece(whole, float(whole.area) * 1e-6, edges)


def _taped(shape: FaceShape) -> list[str]:
    """Zones whose border is a tape line."""
    return [zone.name for zone in shape.face.zones if zone.hard or zone.masked]


def _lines(shape: FaceShape) -> dict[tuple[str, str], Any]:
    """Every natural edge as a line [mm] by name and words; the seam of a tube is none."""
    outline = shape.outline
    wide, high = outline.width_mm, outline.height_mm
    outer: Any = shapely.LinearRing(outline.outer)
    if outline.wraps:
        outer = shapely.MultiLineString([[(0.0, 0.0), (wide, 0.0)], [(0.0, high), (wide, high)]])
    lines: dict[tuple[str, str], Any] = {(OUTLINE, "the rims" if outline.wraps else f"the {OUTLINE}"): outer}
    for name, ring in outline.openings.items():
        lines[name, f"the edge of the {name}"] = shapely.LinearRing(ring)
    for name in _taped(shape):
        line: Any = shape.regions[name].shape.boundary
        tape = line.difference(shapely.union_all(list(lines.values())).buffer(_TOUCHES_MM))
        if tape.length > 0.0:
            lines[f"zone {name}", f"the tape line of {name}"] = tape
    return lines
