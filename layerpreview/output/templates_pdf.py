"""Outlines and burst lines at true scale over as many pages as they take, to cut out or to lay under tape."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from layerpreview.output.sheet_words import BAR_MM, Words
from layerpreview.output.typst_pdf import SIZES_MM, compile_pdf, shortened
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Burst, Coat, Scheme
from layerpreview.scheme.part import NEAR_CENTRE, NEAR_OPENINGS, NEAR_OUTLINE
from layerpreview.spray import HALF_BUILD_AT

MARGIN_MM, HEAD_MM = 12.0, 38.0
OVERLAP_MM = 10.0
SHORTEST_MM = 0.1  # a shorter line is a dot under the pen
_DASHES = {"edge": "", "gone": "6 2", "half": "2 2", "tape": "8 2 1 2"}


@dataclass(frozen=True)
class Line:
    """One line of a template [mm]: an "edge", a zone's "tape" line, or where a burst is down to "half" or "gone"."""

    kind: str
    label: str
    shape: shapely.MultiLineString


def template_pdf(scheme: Scheme, parts: Sequence[FaceShape], *, paper: str = "A4", units: str = "metric") -> bytes:
    """Every face at true scale on A4 or Letter; pages overlap by 10 mm and carry crosses to lay over each other.

    Raises OutputError where typst is missing, InputError for another paper.
    """
    pages: list[dict[str, object]] = []
    for part in parts:
        face = part.face
        lines = lines_of(scheme, part, Words(units))
        tiles = list(tiles_of(lines, paper=paper))
        key = [f"{number}: {line.label}" for number, line in enumerate(lines, 1)]
        pages.append({"face": face.name, "key": key, "names": ", ".join(name for name, _ in tiles)})
        pages += [
            {"face": face.name, "tile": name, "svg": _tile_svg(lines, box), "about": _about(face.name, name)}
            for name, box in tiles
        ]
    data = {
        "title": f"{scheme.name}: templates",
        "running": shortened(scheme.name),
        "bar_mm": BAR_MM,
        "bar_text": f"{BAR_MM} mm: if not, print again at 100 %",
        "pages": pages,
        "overlap": f"Columns A, B, ... to the right, rows 1, 2, ... down. Lay crosses over crosses: pages overlap by "
        f"{OVERLAP_MM:g} mm. Numbers stand beside their lines.",
    }
    return compile_pdf("templates.typ", data, paper=paper)


def lines_of(scheme: Scheme, part: FaceShape, words: Words) -> list[Line]:
    """The face's edges, and inside it the borders of its zones and the lines at which each burst is half and gone.

    A burst's lines are drawn where its coat goes: within the zones it names, outside those that are taped off.
    """
    outline = part.outline
    found: list[tuple[str, str, BaseGeometry]] = [("edge", "solid: edges and openings", outline.polygon.boundary)]
    for zone in part.face.zones:
        border = part.regions[zone.name].whole.boundary.intersection(outline.polygon)
        how = "tape" if zone.hard else f"soft over {words.length(zone.edge_mm)}"
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
    lines = [Line(kind, label, _only_lines(shape)) for kind, label, shape in found]
    return [line for line in lines if not line.shape.is_empty]


def _sprayed(scheme: Scheme, part: FaceShape, coat: Coat) -> BaseGeometry:
    """Where a coat goes on the face."""
    names = part.zones_of(scheme, coat)
    over: BaseGeometry = part.outline.polygon
    if names is not None:
        over = shapely.union_all([part.regions[name].shape for name in names])
    return over.difference(shapely.union_all([part.regions[name].shape for name in part.masked]))


def _only_lines(shape: BaseGeometry) -> shapely.MultiLineString:
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


def tiles_of(lines: Sequence[Line], *, paper: str) -> Iterator[tuple[str, tuple[float, float, float, float]]]:
    """The pages that hold any line: a name such as B2 (column, row) and the part of the face they show [mm]."""
    width, height = SIZES_MM.get(paper, SIZES_MM["A4"])
    across, down = width - 2 * MARGIN_MM, height - MARGIN_MM - HEAD_MM
    x0, y0, x1, y1 = shapely.union_all([line.shape for line in lines]).bounds
    step_x, step_y = across - OVERLAP_MM, down - OVERLAP_MM
    columns = max(1, math.ceil((x1 - x0 - OVERLAP_MM) / step_x))
    rows = max(1, math.ceil((y1 - y0 - OVERLAP_MM) / step_y))
    left = x0 - 0.5 * (columns * step_x + OVERLAP_MM - (x1 - x0))
    top = y0 - 0.5 * (rows * step_y + OVERLAP_MM - (y1 - y0))
    for row in range(rows):
        for column in range(columns):
            x, y = left + column * step_x, top + row * step_y
            box = (x, y, x + across, y + down)
            if not all(_on_page(line, box).is_empty for line in lines):
                yield f"{_letters(column)}{row + 1}", box


def _about(face: str, tile: str) -> str:
    return f"Template of {face}, page {tile} (columns A, B, ... to the right, rows 1, 2, ... down), at true size"


def _letters(n: int) -> str:
    return (_letters(n // 26 - 1) if n >= 26 else "") + chr(ord("A") + n % 26)


def _on_page(line: Line, box: tuple[float, float, float, float]) -> shapely.MultiLineString:
    """What of a line falls on one page, cut at its border."""
    return _only_lines(line.shape.intersection(shapely.box(*box)))


def _tile_svg(lines: Sequence[Line], box: tuple[float, float, float, float]) -> str:
    """The lines that fall on one page, cut at its border, with a cross in the middle of each corner's overlap."""
    x0, y0, x1, y1 = box
    parts = []
    for number, line in enumerate(lines, 1):
        cut = _on_page(line, box)
        dash = f' stroke-dasharray="{_DASHES[line.kind]}"' if _DASHES[line.kind] else ""
        width = 0.6 if line.kind == "edge" else 0.4
        for path in _paths(cut, x0, y0):
            parts.append(f'<path d="{path}" fill="none" stroke="#000" stroke-width="{width}"{dash}/>')
        if not cut.is_empty:
            at = _along(cut, 0.25 + 0.07 * (number % 8))
            parts.append(
                f'<circle cx="{at.x - x0:.2f}" cy="{at.y - y0:.2f}" r="2.6" fill="#fff" stroke="#000" '
                f'stroke-width="0.2"/><text x="{at.x - x0:.2f}" y="{at.y - y0 + 1.2:.2f}" font-size="3.6" '
                f'text-anchor="middle" font-family="Libertinus Serif, sans-serif">{number}</text>'
            )
    half = 0.5 * OVERLAP_MM
    for x in (half, x1 - x0 - half):
        for y in (half, y1 - y0 - half):
            parts.append(f'<path d="M{x - 4:g} {y:g}h8M{x:g} {y - 4:g}v8" stroke="#000" stroke-width="0.25"/>')
    size = f"{x1 - x0:g} {y1 - y0:g}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{x1 - x0:g}mm" height="{y1 - y0:g}mm" viewBox="0 0 {size}">'
        f'<rect width="{x1 - x0:g}" height="{y1 - y0:g}" fill="none" stroke="#999" stroke-width="0.15"/>'
        f"{''.join(parts)}</svg>"
    )


def _along(lines: shapely.MultiLineString, share: float) -> shapely.Point:
    """The point at a share of the way along the longest piece of a line."""
    longest = max(lines.geoms, key=lambda line: line.length)
    return shapely.Point(shapely.line_interpolate_point(longest, share, normalized=True))


def _paths(lines: shapely.MultiLineString, x0: float, y0: float) -> Iterator[str]:
    for line in lines.geoms:
        yield "M" + "L".join(f"{x - x0:.2f} {y - y0:.2f}" for x, y in line.coords)
