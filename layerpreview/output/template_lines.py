"""The lines of a face that a painter traces: where it is taped, and where bursts are half and gone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from layerpreview.output.sheet_words import Words
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Burst, Coat, Scheme
from layerpreview.scheme.part import NEAR_CENTRE, NEAR_OPENINGS, NEAR_OUTLINE
from layerpreview.spray import HALF_BUILD_AT
from layerpreview.surface.outline import Outline

GAUGE_MM = 120.0
SHORTEST_MM = 0.1  # a shorter line is a dot under the pen


@dataclass(frozen=True)
class Line:
    """One line of a template [mm]: an "edge", a zone's "tape" line, or where a burst is down to "half" or "gone"."""

    kind: str
    label: str
    shape: shapely.MultiLineString


def lines_of(scheme: Scheme, part: FaceShape, words: Words) -> list[Line]:
    """The face's edges, and in it the borders of zones that coats need and the lines where bursts are half and gone.

    A zone is needed where it is covered or a coat is limited to it. A burst's lines are drawn where its coat goes:
    within the zones it names, outside those that are taped off. Without such lines the face has none, not even edges.
    """
    outline = part.outline
    found: list[tuple[str, str, BaseGeometry]] = [("edge", "solid: edges and openings", outline.polygon.boundary)]
    used = {name for coat in scheme.coats for name in part.zones_of(scheme, coat) or ()} | set(part.masked)
    for zone in (zone for zone in part.face.zones if zone.name in used):
        border = part.regions[zone.name].whole.boundary.intersection(outline.polygon)
        how = "covered" if zone.masked else "tape" if zone.hard else f"soft over {words.length(zone.edge_mm)}"
        found.append(("tape", f"dash and dot: zone {zone.name}, {how}", border))
    for coat in scheme.coats:
        sprayed = _sprayed(scheme, part, coat)
        for burst in part.bursts_of(scheme, coat):
            for kind, share in (("gone", 1.0), ("half", HALF_BUILD_AT[burst.fall_off])):
                away = burst.width_mm * share
                inside = _at(part, burst, away).intersection(sprayed)
                dash = "long dashes" if kind == "gone" else "short dashes"
                what = "gone" if kind == "gone" else "half build"
                label = f"{dash}: {coat.label} from {burst.source}, {what} at {words.length(away)}"
                found.append((kind, label, inside))
    lines = [Line(kind, label, only_lines(shape)) for kind, label, shape in found]
    lines = [line for line in lines if not line.shape.is_empty]
    if all(line.kind == "edge" for line in lines):
        return []
    return _gauge(lines, outline) if outline.wraps else lines


def _gauge(lines: list[Line], outline: Outline) -> list[Line]:
    """Of a tube whose lines all run round it a piece that is the same all round; else all of them."""
    if any(_slants(line.shape) for line in lines if line.kind != "edge"):
        return lines
    piece = shapely.box(0.0, -1.0, min(GAUGE_MM, outline.width_mm), outline.height_mm + 1.0)
    rims = shapely.MultiLineString([[(0.0, y), (outline.width_mm, y)] for y in (0.0, outline.height_mm)])
    found = []
    for line in lines:
        shape = rims if line.kind == "edge" else line.shape
        label = "solid: both rims; all lines are the same all round" if line.kind == "edge" else line.label
        found.append(Line(line.kind, label, only_lines(shape.intersection(piece))))
    return found


def _slants(shape: shapely.MultiLineString) -> bool:
    return any(np.ptp(shapely.get_coordinates(line)[:, 1]) > SHORTEST_MM for line in shape.geoms)


def _sprayed(scheme: Scheme, part: FaceShape, coat: Coat) -> BaseGeometry:
    """Where a coat goes on the face."""
    names = part.zones_of(scheme, coat)
    over: BaseGeometry = part.outline.polygon
    if names is not None:
        over = shapely.union_all([part.regions[name].shape for name in names])
    return over.difference(shapely.union_all([part.regions[name].shape for name in part.masked]))


def only_lines(shape: BaseGeometry) -> shapely.MultiLineString:
    """What of a shape can be drawn as lines: where lines only touch, what they have in common are points."""
    parts = shapely.get_parts(shapely.get_parts(shape))  # a collection may hold several lines as one part
    lines = [part for part in parts if part.geom_type in ("LineString", "LinearRing") and not part.is_empty]
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(lines)))
    return shapely.MultiLineString([line for line in merged if line.length >= SHORTEST_MM])


def _at(part: FaceShape, burst: Burst, away_mm: float) -> BaseGeometry:
    """The line at `away_mm` from what a burst starts from; the seam of an unrolled tube is no edge."""
    outline, source = part.outline, burst.source
    if burst.at_mm is not None and source == NEAR_CENTRE:
        return shapely.Point(burst.at_mm).buffer(away_mm, quad_segs=64).boundary
    if burst.at_mm is not None and burst.angle_deg is not None:
        angle, far = math.radians(burst.angle_deg), 10.0 * (outline.width_mm + outline.height_mm)
        x, y = burst.at_mm
        way = (far * math.sin(angle), -far * math.cos(angle))
        line = shapely.LineString([(x - way[0], y - way[1]), (x + way[0], y + way[1])])
        return shapely.union_all([line.offset_curve(side * away_mm) for side in (1.0, -1.0)])
    if source == NEAR_OUTLINE and outline.wraps:
        across = [[(0.0, y), (outline.width_mm, y)] for y in (away_mm, outline.height_mm - away_mm)]
        return shapely.MultiLineString(across)
    if source == NEAR_OUTLINE:
        return shapely.Polygon(outline.outer).buffer(-away_mm).boundary
    if source in part.regions:
        return part.regions[source].whole.buffer(-away_mm).boundary
    named = [ring for name, ring in outline.openings.items() if source in (NEAR_OPENINGS, name)]
    return shapely.union_all([shapely.Polygon(ring).buffer(away_mm).boundary for ring in named])
