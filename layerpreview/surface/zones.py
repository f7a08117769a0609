"""Zones of a face: regions in true millimetres, and how far pixels are from their border.

A region is kept as it was taped (`whole`, which may reach beyond the face) and as it lies on the face (`shape`). The
border that a soft edge or a burst goes by is that of `whole`: the face's own edges are no tape line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import translate

from layerpreview.errors import InputError, Problem
from layerpreview.surface.distance import DistanceField, coverage, distance_field_of_rings, rings_of
from layerpreview.surface.outline import Outline, Points, check_ring
from layerpreview.surface.sample import PixelGrid
from layerpreview.surface.shapes import CHORD_ERROR_MM

_NOTHING_SHARE = 1e-9  # of the face's area
_SAME_LINE_MM = 1e-4  # a border this close to an edge of the face is that edge, no tape
_FEWEST_SEGMENTS = 8


@dataclass(frozen=True, eq=False)
class Region:
    """A zone on its face.

    `shape` is the part of the face it covers, `whole` the same as taped, which may reach beyond the face (on an
    unrolled tube: repeated round it), both in mm; `tape_length_mm` [mm] is the length of its border inside the face.
    """

    shape: shapely.MultiPolygon
    whole: shapely.MultiPolygon
    tape_length_mm: float

    @property
    def area_m2(self) -> float:
        """Area on the face, openings taken out [m2]."""
        return float(self.shape.area) * 1e-6


def region_of_ring(outline: Outline, ring: Points, *, name: str = "", file: str = "") -> Region:
    """Return the region inside the closed polyline `ring` (n, 2) [mm], in the face's coordinates.

    It may reach beyond the face; on an unrolled tube what reaches beyond a side comes back on the other.
    Raises PictureError for a line that crosses itself and InputError for a region outside its face (naming `name`).
    """
    check_ring(ring, field=_field(name), file=file)
    return _region(outline, shapely.Polygon(ring), name=name, file=file)


def region_of_side(
    outline: Outline, *, at_mm: tuple[float, float], angle_deg: float, name: str = "", file: str = ""
) -> Region:
    """Return all that lies on the right-hand side of a straight line through `at_mm` (x, y) [mm].

    angle_deg : where the line heads, clockwise from the top of the picture [degrees]. Looking along it, the right-hand
        side is the region: at 0 what lies to the right, at 90 what lies below. On an unrolled tube it also ends at the
        seam where the other side of the seam is not in it.
    Raises InputError when the line does not cross the face.
    """
    heading = math.radians(angle_deg)
    along = np.array([math.sin(heading), -math.cos(heading)])
    right = np.array([math.cos(heading), math.sin(heading)])
    far = _far_mm(outline) + math.hypot(*at_mm)
    at = np.array(at_mm)
    corners = (at - far * along, at + far * along, at + far * along + far * right, at - far * along + far * right)
    whole: Any = shapely.Polygon(corners)
    if outline.wraps:
        whole = whole.intersection(shapely.box(0.0, -far, outline.width_mm, outline.height_mm + far))
    missed = "the line does not cross its face"
    return _region(outline, whole, name=name, file=file, outside=missed, covers=missed)


def region_of_band(
    outline: Outline, *, edges: str = "outline", width_mm: float, name: str = "", file: str = ""
) -> Region:
    """Return all that lies within `width_mm` [mm] of chosen edges of the face.

    edges : "outline", "openings" or the name of one opening. The seam of an unrolled tube is no edge.
    Raises InputError for an opening that is not there, and for a band that covers the whole face.
    """
    if edges == "outline":
        whole = _rim(outline, width_mm)
    else:
        holes = [shapely.Polygon(ring) for ring in rings_of(outline, edges)]
        whole = shapely.union_all([hole.buffer(width_mm, quad_segs=_segments(width_mm)) for hole in holes])
    return _region(outline, whole, name=name, file=file, covers="the band covers the whole of its face")


def zone_field(region: Region, grid: PixelGrid) -> DistanceField:
    """Return the signed distance [mm] to the border of a region for the pixels of `grid`, positive inside it.

    The border is that of `region.whole`: where the region ends at an edge of the face there is none.
    """
    rings = [shapely.get_coordinates(ring)[:-1] for part in region.whole.geoms for ring in _lines(part)]
    return distance_field_of_rings(rings, region.whole, grid)


def zone_share(distance_mm: NDArray[np.float32], *, pixel_mm: float, edge_mm: float = 0.0) -> NDArray[np.float32]:
    """Return how much of a zone's coat lands at signed distances from its border, 0..1, positive inside.

    edge_mm : 0 for tape: the share of the pixel inside; else the whole width [mm] of a soft edge, half of it on either
        side of the border: s = clip(d / edge_mm + 1/2, 0, 1), share = s^2 (3 - 2 s). An edge narrower than a pixel is
        as good as tape.
    """
    if edge_mm <= pixel_mm:
        return coverage(distance_mm, pixel_mm)
    s = np.clip(distance_mm * np.float32(1 / edge_mm) + np.float32(0.5), 0, 1)
    share: NDArray[np.float32] = s * s * (np.float32(3) - np.float32(2) * s)
    return share


def ridge_height(distance_mm: NDArray[np.float32], *, ridge_mm: float, pixel_mm: float = 0.0) -> NDArray[np.float32]:
    """Return the height of the ridge along a tape line, 0..1 of its crest, at signed distances from the line.

    The ridge stands on the painted side: (1 - cos(2 pi d / ridge_mm)) / 2 for 0 < d < ridge_mm, its crest in the
    middle. With `pixel_mm` [mm] it is averaged over a pixel, since most ridges are narrower than one.
    """
    d = np.asarray(distance_mm, dtype=np.float64)
    if pixel_mm <= 0.0:
        inside = (d > 0) & (d < ridge_mm)
        return np.where(inside, 0.5 - 0.5 * np.cos(2 * np.pi * d / ridge_mm), 0.0).astype(np.float32)
    upper, lower = (_ridge_up_to(d + sign * pixel_mm / 2, ridge_mm) for sign in (1, -1))
    return ((upper - lower) / pixel_mm).astype(np.float32)


def painted_area_m2(outline: Outline, zones: Sequence[Region] | None = None, *, masked: Sequence[Region] = ()) -> float:
    """Return the area [m2] of the union of `zones` (None: the whole face) without what is `masked`."""
    covered: Any = outline.polygon if zones is None else shapely.union_all([zone.shape for zone in zones])
    if masked:
        covered = covered.difference(shapely.union_all([zone.shape for zone in masked]))
    return float(covered.area) * 1e-6


def _ridge_up_to(d: NDArray[np.float64], ridge_mm: float) -> NDArray[np.float64]:
    """Area of the ridge from the line up to d [mm]."""
    d = np.clip(d, 0.0, ridge_mm)
    area: NDArray[np.float64] = d / 2 - ridge_mm / (4 * np.pi) * np.sin(2 * np.pi * d / ridge_mm)
    return area


def _rim(outline: Outline, width_mm: float) -> Any:
    """All but the middle of the face, out to far beyond it."""
    far = _far_mm(outline)
    middle: Any
    if outline.wraps:
        middle = shapely.box(-2 * far, width_mm, 2 * far, max(outline.height_mm - width_mm, width_mm))
    else:
        middle = shapely.Polygon(outline.outer).buffer(-width_mm, quad_segs=_segments(width_mm))
    return shapely.box(-far, -far, outline.width_mm + far, outline.height_mm + far).difference(middle)


def _segments(radius_mm: float) -> int:
    """Chords of a quarter circle for the usual chord error: radius (1 - cos(pi / 4 n)) <= CHORD_ERROR_MM."""
    return max(_FEWEST_SEGMENTS, math.ceil(math.pi / 4 * math.sqrt(radius_mm / (2 * CHORD_ERROR_MM))))


def _far_mm(outline: Outline) -> float:
    return 10 * (outline.width_mm + outline.height_mm)


def _region(
    outline: Outline, whole: Any, *, name: str, file: str, outside: str = "it lies outside its face", covers: str = ""
) -> Region:
    """Clip `whole` to the face and measure it; `outside` or `covers` is said when none or all of the face is in it."""
    if outline.wraps:
        whole = _round_the_tube(outline, whole)
    shape = _polygons(whole.intersection(outline.polygon))
    area, least = outline.polygon.area, _NOTHING_SHARE * outline.polygon.area
    rule = outside if shape.area <= least else covers if area - shape.area <= least else ""
    if rule:
        remedy = "move it" if rule == outside else "make it narrower, or name the face itself in the coat's zone"
        size = f"the face is {outline.width_mm:.1f} x {outline.height_mm:.1f} mm"
        raise InputError(Problem(rule, f"{remedy}; {size}", file, field=_field(name)))
    return Region(shape, _polygons(whole), _tape_mm(outline, whole))


def _round_the_tube(outline: Outline, whole: Any) -> Any:
    """Repeat a region so often that its ends are further away than any place on the sheet is high."""
    turns = math.ceil(outline.height_mm / outline.width_mm) + 1
    return shapely.union_all([translate(whole, k * outline.width_mm) for k in range(-turns, turns + 1)])


def _tape_mm(outline: Outline, whole: Any) -> float:
    """Length of the border inside the face; on an unrolled tube a border along the seam counts once."""
    face: Any = outline.polygon
    edges: list[Any] = [shapely.LinearRing(ring) for ring in outline.openings.values()]
    if outline.wraps:
        wide, high, slack = outline.width_mm, outline.height_mm, 1e-6 * outline.width_mm
        face = shapely.box(-slack, 0.0, wide - slack, high).difference(
            shapely.union_all([shapely.Polygon(ring) for ring in outline.openings.values()])
        )
        edges += [shapely.LineString([(-wide, y), (2 * wide, y)]) for y in (0.0, high)]
    else:
        edges.append(shapely.LinearRing(outline.outer))
    tape = whole.boundary.intersection(face)
    return float(tape.difference(shapely.union_all(edges).buffer(_SAME_LINE_MM)).length)


def _polygons(shape: Any) -> shapely.MultiPolygon:
    """The parts of a shape that have an area."""
    parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > 0]
    return shapely.MultiPolygon(parts)


def _lines(part: Any) -> list[Any]:
    return [part.exterior, *part.interiors]


def _field(name: str) -> str:
    return f"zone {name!r}" if name else "zone"
