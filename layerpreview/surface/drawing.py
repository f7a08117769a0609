"""The outline of a face from an SVG drawing, in true millimetres.

Its lines come from `svg.py`; its scale is taken from the width, height and viewBox of its root: one user unit is 1/96
inch unless a viewBox says otherwise (SVG 2, 8.2 and CSS Values 3, 6.2).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.outline import Outline, Points, make_outline, with_openings, within_others
from layerpreview.surface.shapes import CHORD_ERROR_MM
from layerpreview.surface.svg import SIMPLIFY, CheckedDrawing, check_drawing
from layerpreview.surface.svg_curves import chords, moved
from layerpreview.surface.svg_path import LARGEST, LIMIT_POINTS, TooManyPointsError

_HALF_ERROR_MM = CHORD_ERROR_MM / 2  # for the chords, and as much again for thinning them
_SAME_SHARE = 0.999  # a closed line this close to the outline's area is the outline drawn twice, not an opening
_SMALLEST = 1e-6  # user units: an outline that is narrower is a line
_JOINED_MM = 0.01  # ends no further apart than this are one point


@dataclass(frozen=True, eq=False)
class DrawnFace:
    """What a drawing holds: the outline with its openings, and every closed line by name.

    `rings` (name -> (n, 2) [mm], in the outline's coordinates) also serves zones chosen by id.
    """

    outline: Outline
    rings: dict[str, Points]


@np.errstate(over="ignore", divide="ignore", invalid="ignore")  # what is too large is refused by _drawable()
def read_drawing(
    path: str | Path,
    *,
    width_mm: float | None = None,
    height_mm: float | None = None,
    outline_id: str | None = None,
    opening_ids: Sequence[str] | None = None,
    zone_ids: Collection[str] = (),
) -> DrawnFace:
    """Return the outline and the openings drawn in the SVG file at `path`.

    width_mm, height_mm : true size [mm] of the OUTLINE; one is enough (the drawing keeps its proportions), and one is
        needed when the drawing has no physical size. Given both, the drawing is stretched.
    outline_id : id of the closed path or shape that is the outline; without it the one that encloses most.
    opening_ids : ids of the openings; without it every closed line inside the outline that is not inside another one.
    zone_ids : ids of lines that bound zones and so are no openings; what is drawn inside them may be one.
    Closed means ended by Z or back at its start within 0.01 mm. Names are ids; a line without id is "line 1",
    "line 2" ... in the order of the file. Curves become chords no further than 0.002 mm from them.
    Raises PictureError with one line for every fault of the file, and for ids that are not there.
    """
    checked = check_drawing(path)
    if width_mm is None and height_mm is None and checked.mm_per_unit is None:
        _refuse(
            checked.file,
            "a drawing in pixels, without a physical size",
            'give one true dimension: width = "... mm" of the outline',
        )
    lines = _closed_lines(checked)
    outer_name = outline_id if outline_id is not None else max(lines, key=lambda name: _area(lines[name]))
    missing = [name for name in (outer_name, *(opening_ids or ())) if name not in lines]
    if missing:
        known = ", ".join(repr(name) for name in list(lines)[:12])
        raise PictureError(
            [
                Problem(
                    file=checked.file, value=repr(name), rule="no closed line of this id", remedy=f"there is {known}"
                )
                for name in missing
            ]
        )
    size = np.ptp(lines[outer_name], axis=0)
    scale = _scale(checked, size, width_mm, height_mm)
    corner = lines[outer_name].min(axis=0)
    rings = {name: _thinned(_drawable(checked, (ring - corner) * scale)) for name, ring in lines.items()}
    outline = make_outline(rings[outer_name], file=checked.file)
    names = opening_ids if opening_ids is not None else _openings(rings, outer_name, zone_ids)
    return DrawnFace(with_openings(outline, {name: rings[name] for name in names}, file=checked.file), rings)


def _scale(
    checked: CheckedDrawing, size: NDArray[np.float64], width_mm: float | None, height_mm: float | None
) -> NDArray[np.float64]:
    """Millimetres per user unit in x and y."""
    if min(size) <= _SMALLEST:
        _refuse(checked.file, "the outline encloses no area", "draw it as one closed line")
    for name, given in (("width", width_mm), ("height", height_mm)):
        if given is not None and not (math.isfinite(given) and given > 0):
            _refuse(checked.file, f"{name} must be above zero", "give a true dimension of the outline in mm")
    wide = width_mm / size[0] if width_mm is not None else None
    high = height_mm / size[1] if height_mm is not None else None
    if wide is not None or high is not None:
        return np.array([wide if wide is not None else high, high if high is not None else wide], dtype=np.float64)
    return np.array(checked.mm_per_unit, dtype=np.float64)


def _closed_lines(checked: CheckedDrawing) -> dict[str, Points]:
    """Every closed line of the drawing by name, in user units."""
    step = _HALF_ERROR_MM / max(checked.mm_per_unit) if checked.mm_per_unit else 2e-6 * _extent(checked)
    joined = step * _JOINED_MM / _HALF_ERROR_MM
    lines: dict[str, Points] = {}
    n_points = n_open = 0
    for shape in checked.shapes:
        for k, part in enumerate(shape.lines):
            points = chords(part, shape.matrix, step, most=LIMIT_POINTS - n_points)
            n_points += len(_drawable(checked, points, shape.line))
            if n_points > LIMIT_POINTS:
                _refuse(checked.file, str(TooManyPointsError()), SIMPLIFY, line=shape.line)
            points = points[np.append(True, (np.diff(points, axis=0) != 0).any(axis=1))]
            if len(points) > 2 and (part.closed or np.hypot(*(points[0] - points[-1])) <= joined):
                name = shape.name
                own = name if name and k == 0 else f"{name} part {k + 1}" if name else f"line {len(lines) + 1}"
                lines[own if own not in lines else f"{own} ({len(lines) + 1})"] = points
            elif len(points) > 1:
                n_open += 1
    if not lines:
        what = f"{n_open} open line{'s' * (n_open != 1)}" if n_open else "nothing"
        _refuse(
            checked.file, f"no closed outline in it ({what})", "close the path of the outline, or draw it as a shape"
        )
    return lines


def _extent(checked: CheckedDrawing) -> float:
    """The longer side of the largest shape, in user units."""
    sides = [
        float(np.ptp(moved(line.places(), shape.matrix), axis=0).max())
        for shape in checked.shapes
        for line in shape.lines
    ]
    return max([_SMALLEST, *sides])


def _drawable(checked: CheckedDrawing, points: Points, line: int | None = None) -> Points:
    """The same points; refused where one is so far away, or nowhere, that no outline can be made of it."""
    if not (np.abs(points) <= LARGEST).all():
        rule = f"a line that reaches further than {LARGEST:,.0f} mm or units"
        _refuse(checked.file, rule, "check its size and its transforms, or save it as plain SVG", line=line)
    return points


def _openings(rings: dict[str, Points], outer_name: str, zone_ids: Collection[str]) -> list[str]:
    """Names of the closed lines inside the outline that bound no zone and are not inside another such line."""
    outer = shapely.Polygon(rings[outer_name]).buffer(1e-6)
    shapely.prepare(outer)
    inside = {
        name: shape
        for name, ring in rings.items()
        if name not in (outer_name, *zone_ids)
        and 0 < (shape := shapely.Polygon(ring)).area < _SAME_SHARE * outer.area
        and outer.contains(shape)
    }
    whole = {name: shape for name, shape in inside.items() if shape.is_valid}
    nested = within_others(list(whole.values()))
    return [name for name in inside if name not in {name for name, lies in zip(whole, nested, strict=True) if lies}]


def _thinned(ring: Points) -> Points:
    """Leave out points that hardly move the line; thousands of points are slow."""
    line = shapely.LineString(np.concatenate((ring, ring[:1]))).simplify(_HALF_ERROR_MM)
    slim: Points = shapely.get_coordinates(line)[:-1]
    return slim if len(slim) >= 3 else ring


def _area(ring: Points) -> float:
    return float(shapely.Polygon(ring).area) if len(ring) >= 3 else 0.0


def _refuse(file: str, rule: str, remedy: str, *, line: int | None = None) -> NoReturn:
    raise PictureError(Problem(file=file, line=line, rule=rule, remedy=remedy)) from None
