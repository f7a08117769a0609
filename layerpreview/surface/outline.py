"""The outline of a face in true millimetres: one closed outer edge and its openings.

Coordinates: x to the right, y down, (0, 0) at the top left corner of the outer edge's bounding box.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.surface import shapes

Points = NDArray[np.float64]

SHAPES = ("panel", "ellipse", "disc", "teardrop", "double bout", "drum shell", "tube")
UNROLLED_SHAPES = ("drum shell", "tube")
MOST_OPENINGS = 1_000
"""Of one face. A grille has some hundred; with more the distances to their edges take minutes."""
MOST_POINTS = 20_000
"""Of an outer edge, curves as chords: a body with its scrolls has some two thousand; more is noise."""
LEAST_MM, MOST_MM = 0.1, 100_000.0
"""Sides of a face's box: below, nothing can be sprayed; a drum of 20 m is 63 m round."""
_INSIDE_SLACK_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Outline:
    """One face's shape in millimetres.

    `outer` (n, 2) [mm] is the closed outer edge, `openings` maps a name to (m, 2) [mm]; neither repeats its first
    point. With `wraps` the face is an unrolled tube: its left and right sides are one seam and no edge of the paint.
    """

    outer: Points
    openings: Mapping[str, Points] = field(default_factory=dict)
    wraps: bool = False

    @property
    def width_mm(self) -> float:
        """Width of the bounding box [mm]."""
        return float(self.outer[:, 0].max())

    @property
    def height_mm(self) -> float:
        """Height of the bounding box [mm]."""
        return float(self.outer[:, 1].max())

    @cached_property
    def polygon(self) -> shapely.Polygon:
        """The painted area as a shapely polygon with its openings as holes [mm]."""
        return shapely.Polygon(self.outer, list(self.openings.values()))

    @property
    def area_m2(self) -> float:
        """Painted area, openings taken out [m2]."""
        return float(self.polygon.area) * 1e-6

    @property
    def edge_length_mm(self) -> float:
        """Length of the outer edge and of every opening's edge [mm]; the seam of an unrolled tube is no edge."""
        seam = 2 * self.height_mm if self.wraps else 0.0
        return float(self.polygon.length) - seam


def make_outline(outer: Points, *, wraps: bool = False, file: str = "") -> Outline:
    """Return an `Outline` of the closed polyline `outer` (n, 2) [mm], moved so that its bounding box starts at (0, 0).

    Raises PictureError (naming `file`) when the line crosses itself, encloses no area, has more than 20,000
    points, or is no 0.1 mm to 100 m wide and high.
    """
    ring = np.array(outer, dtype=np.float64)
    if len(ring) > 1 and np.allclose(ring[0], ring[-1], rtol=0, atol=1e-9):
        ring = ring[:-1]
    if len(ring) > MOST_POINTS:
        rule = f"an outline has at most {MOST_POINTS:,} points, here are {len(ring):,}"
        raise PictureError(Problem(rule, "draw it smoother", file, field="outline"))
    check_ring(ring, field="outline", file=file)
    wide, high = np.ptp(ring, axis=0)
    if not (min(wide, high) >= LEAST_MM and max(wide, high) <= MOST_MM):
        rule = f"a face is {LEAST_MM:g} mm to {MOST_MM / 1000:g} m wide and high"
        value = f"{wide:.3g} x {high:.3g} mm"
        raise PictureError(Problem(rule, "check its size and its unit", file, field="outline", value=value))
    return Outline(outer=ring - ring.min(axis=0), wraps=wraps)


def built_in_ring(shape: str, **sizes_mm: float) -> Points:
    """Return the closed polyline (n, 2) [mm] of the built-in `shape`, one of `SHAPES`.

    Sizes [mm]: panel, ellipse, teardrop, double bout: width_mm, height_mm; disc: diameter_mm; drum shell: diameter_mm,
    depth_mm; tube: diameter_mm, length_mm. Raises InputError for an unknown shape, a missing, a needless or a bad size.
    """
    if shape not in SHAPES:
        raise InputError(
            Problem(field="shape", value=shape, rule="not a built-in shape", remedy=f"use one of {', '.join(SHAPES)}")
        )
    build: Any = getattr(shapes, shape.replace(" ", "_"))
    wanted = build.__kwdefaults__ or build.__code__.co_varnames[: build.__code__.co_kwonlyargcount]
    problems = [
        Problem(field=name.removesuffix("_mm"), rule=f"shape {shape!r} needs it", remedy="add it, in mm")
        for name in wanted
        if name not in sizes_mm
    ] + [
        Problem(field=name.removesuffix("_mm"), rule=f"shape {shape!r} does not use it", remedy="take it out")
        for name in sizes_mm
        if name not in wanted
    ]
    if problems:
        raise InputError(problems)
    ring: Points = build(**sizes_mm)
    return ring


def built_in_outline(shape: str, **sizes_mm: float) -> Outline:
    """Return the `Outline` of a built-in shape; sizes and errors as `built_in_ring`.

    >>> round(built_in_outline("drum shell", diameter_mm=356.0, depth_mm=165.0).area_m2, 4)
    0.1845
    """
    return make_outline(built_in_ring(shape, **sizes_mm), wraps=shape in UNROLLED_SHAPES)


def placed(ring: Points, *, centre_mm: tuple[float, float], turn_deg: float = 0.0) -> Points:
    """Return `ring` (n, 2) [mm] turned clockwise by `turn_deg` [degrees] and moved.

    The middle of its unturned bounding box comes to `centre_mm` = (x, y) [mm].
    """
    angle = math.radians(turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    turned: Points = (ring - middle) @ np.array([[cos, sin], [-sin, cos]]) + np.array(centre_mm)
    return turned


def with_openings(outline: Outline, openings: Mapping[str, Points], *, file: str = "") -> Outline:
    """Return `outline` with `openings` (name -> closed polyline (m, 2) [mm]) added to those it has.

    Raises PictureError with every problem at once: an opening that crosses itself, is not wholly inside the outer edge,
    overlaps another one, or repeats a name.
    """
    if (count := len(outline.openings) + len(openings)) > MOST_OPENINGS:
        rule = f"a face has at most {MOST_OPENINGS:,} openings, here are {count:,}"
        raise PictureError(Problem(rule, "leave out what is no opening", file))
    problems: list[Problem] = []
    face = shapely.Polygon(outline.outer).buffer(_INSIDE_SLACK_MM)
    shapely.prepare(face)
    done = {name: shapely.Polygon(ring) for name, ring in outline.openings.items()}
    for name, ring in openings.items():
        where = Problem(rule="", file=file, field=f"opening {name!r}")
        if name in done:
            problems.append(replace(where, rule="this name is taken", remedy="give each opening a name of its own"))
            continue
        try:
            check_ring(ring, field=where.field, file=file)
        except PictureError as error:
            problems.extend(error.problems)
            continue
        hole = shapely.Polygon(ring)
        if not face.contains(hole):
            left, top, right, bottom = hole.bounds
            problems.append(
                replace(
                    where,
                    value=f"x {left:.1f} to {right:.1f}, y {top:.1f} to {bottom:.1f} mm",
                    rule="not wholly inside the outline of its face",
                    remedy=f"move or shrink it; the face is {outline.width_mm:.1f} x {outline.height_mm:.1f} mm",
                )
            )
        done[name] = hole
    problems += [
        Problem(
            file=file,
            field=f"opening {name!r}",
            rule=f"overlaps opening {other!r}",
            remedy="move one, or draw both as one opening",
        )
        for name, other in _overlapping(done)
        if name in openings
    ]
    if problems:
        raise PictureError(problems)
    return replace(outline, openings={**outline.openings, **openings})


def _overlapping(openings: Mapping[str, shapely.Polygon]) -> list[tuple[str, str]]:
    """Every opening that overlaps one before it, with the first of those; one test each where all lie in one heap."""
    names, polygons = list(openings), np.array(list(openings.values()), dtype=object)
    tree, found = shapely.STRtree(polygons), list[tuple[str, str]]()
    for later, shape in enumerate(polygons):
        near = np.sort(tree.query(shape))
        first = next((k for k in near[near < later] if shape.intersects(polygons[k])), None)
        if first is not None:
            found.append((names[later], names[first]))
    return found


def within_others(polygons: Sequence[shapely.Polygon]) -> list[bool]:
    """Return which polygons lie within a larger one of them."""
    shapes = np.array(polygons, dtype=object)
    areas, tree = shapely.area(shapes), shapely.STRtree(shapes)
    found = []
    for shape, area in zip(shapes, areas, strict=True):
        larger = tree.query(shape)
        larger = larger[areas[larger] > area]
        largest_first = larger[np.argsort(-areas[larger], kind="stable")]
        found.append(any(shapes[k].contains(shape) for k in largest_first))
    return found


def mirrored(ring: Points, *, width_mm: float) -> Points:
    """Return `ring` (n, 2) [mm] as it is seen from behind a face `width_mm` wide [mm]: left and right changed over.

    >>> mirrored(np.array([[12.0, 5.0]]), width_mm=30.0).tolist()
    [[18.0, 5.0]]
    """
    # Turned round as well, so that the line still goes the same way about what it encloses.
    behind: Points = ring[::-1] * np.array([-1.0, 1.0]) + np.array([width_mm, 0.0])
    return behind


def check_ring(ring: Points, *, field: str, file: str = "") -> None:
    """Raise PictureError unless `ring` (n, 2) is a closed line that encloses an area and does not cross itself."""
    where = Problem(rule="", file=file, field=field)
    if (
        len(ring) < 3
        or not np.isfinite(ring).all()
        or shapely.Polygon(ring).area <= 0
        or np.ptp(ring, axis=0).min() <= 0
    ):
        raise PictureError(replace(where, rule="encloses no area", remedy="draw it as one closed line"))
    reason = shapely.is_valid_reason(shapely.Polygon(ring))
    if reason != "Valid Geometry":
        at = reason[reason.find("[") + 1 : reason.find("]")].replace(" ", ", ") if "[" in reason else "unknown"
        raise PictureError(
            replace(where, rule=f"the line crosses or touches itself near ({at}) mm", remedy="redraw that spot")
        )
