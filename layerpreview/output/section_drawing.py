"""A section through the film, drawn to scale as SVG: patterns instead of colours, so that it prints in black."""

from __future__ import annotations

import math
from dataclasses import dataclass
from xml.sax.saxutils import escape

from layerpreview.job.sheet import MixSheet
from layerpreview.output.sheet_words import Words

WIDTH_MM, LABELS_MM, MARGIN_MM = 88.0, 44.0, 3.0
ACROSS, CELL_MM = 10.0, 3.0
"""Sizes along the surface are drawn ten times as large; the relief's hills are drawn 3 mm apart."""
TALLEST_MM = 42.0
_SCALES = (50, 100, 200, 250, 400, 500, 750, 1000, 1500, 2000, 3000, 5000)
_BASE_UM = 20.0
_POINTS = 121
_PATTERNS = {
    "base": '<path d="M0 3L3 0M-1 1L1 -1M2 4L4 2" stroke="#000" stroke-width="0.25"/>',
    "dye": '<path d="M0 0.75H3" stroke="#000" stroke-width="0.2"/>',
    "opaque": '<rect width="3" height="3" fill="#000"/>',
    "clear": '<circle cx="0.7" cy="0.7" r="0.18"/>',
    "ground": '<path d="M0 0L3 3M0 3L3 0" stroke="#000" stroke-width="0.25"/>',
}


@dataclass(frozen=True)
class Section:
    """The drawing, what it says in words, and its true width [mm]."""

    svg: str
    described: str
    width_mm: float


def section_svg(sheet: MixSheet) -> Section:
    """Draw the layers at the thickest place of one face, at their likely dry film over the likely relief."""
    relief = sheet.burial.relief_um.likely if sheet.burial else 0.0
    place = next(film for film in sheet.films_at if film.face == sheet.section_of)
    films = [(layer.name, layer.kind, layer.dry_um.likely) for layer in place.layers]
    height_um = _BASE_UM + relief + sum(um for _, _, um in films)
    scale = max([s for s in _SCALES if s * height_um / 1000.0 <= TALLEST_MM], default=_SCALES[0])
    per_um = scale / 1000.0
    x_mm = [(WIDTH_MM - LABELS_MM) * i / (_POINTS - 1) for i in range(_POINTS)]
    hills = [0.5 - 0.5 * math.cos(2.0 * math.pi * x / (ACROSS * CELL_MM)) for x in x_mm]
    surface = [_BASE_UM + relief * hill for hill in hills]
    tall_mm = height_um * per_um + 2 * MARGIN_MM
    shapes = [_layer([0.0] * _POINTS, surface, "ground", x_mm, per_um, tall_mm)]
    marks = [("base", 0.5 * _BASE_UM)]
    words = Words(sheet.units)
    for name, kind, um in films:
        below, mean = surface, sum(surface) / _POINTS
        if kind == "clear" and sheet.burial:
            shows = sheet.burial.shows_um.likely
            surface = [max(low, mean + um + shows * (hill - 0.5)) for low, hill in zip(below, hills, strict=True)]
        else:
            surface = [low + um for low in below]
        shapes.append(_layer(below, surface, kind, x_mm, per_um, tall_mm))
        marks.append((f"{name}: {words.film(um)}", 0.5 * (below[-1] + surface[-1])))
    sanded = ""
    if sheet.burial:
        level = min(surface) - sheet.burial.removed_um.likely
        y = tall_mm - MARGIN_MM - level * per_um
        sanded = (
            f'<path d="M0 {y:.2f}H{x_mm[-1]:.2f}" fill="none" stroke="#fff" stroke-width="1.4"/>'
            f'<path d="M0 {y:.2f}H{x_mm[-1]:.2f}" fill="none" stroke="#000" stroke-width="0.6" '
            'stroke-dasharray="3 1.5"/>'
        )
        marks.append(("sanded and polished", level))
    labels = _labels(marks, per_um, tall_mm, x_mm[-1])
    tall_mm = max(tall_mm, labels.bottom_mm + 8.0)
    described = (
        f"Section of {place.face}, {place.place}, where its film is thickest, dry: heights {scale} times as large, "
        f"lengths {ACROSS:g} times; from below: base, "
        + ", ".join(f"{name} {words.film(um)}" for name, _, um in films)
        + ("; dashed: the surface once sanded flat and polished." if sheet.burial else ".")
    )
    bar_um = next(um for um in ((50.8, 12.7) if words.us else (50.0, 10.0)) if um * per_um <= 40.0 or um < 20.0)
    patterns = "".join(
        f'<pattern id="p-{kind}" width="3" height="3" patternUnits="userSpaceOnUse"><rect width="3" height="3" '
        f'fill="#fff"/>{marks}</pattern>'
        for kind, marks in _PATTERNS.items()
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM:g}mm" height="{tall_mm:.2f}mm" '
        f'viewBox="0 0 {WIDTH_MM:g} {tall_mm:.2f}" role="img" aria-labelledby="section-t section-d" '
        'font-family="Libertinus Serif, sans-serif" font-size="3.2">'
        f'<title id="section-t">Section through the film</title><desc id="section-d">{escape(described)}</desc>'
        f"<defs>{patterns}</defs>{''.join(shapes)}{sanded}{labels.svg}"
        f'<path d="M{WIDTH_MM - 4:g} {tall_mm - 3:.2f}v{-bar_um * per_um:.2f}m-1.5 0h3m-3 {bar_um * per_um:.2f}h3" '
        'fill="none" stroke="#000" stroke-width="0.6"/>'
        f'<text x="{WIDTH_MM - 7:g}" y="{tall_mm - 3:.2f}" text-anchor="end">{words.film(bar_um)}</text></svg>'
    )
    return Section(svg, described, WIDTH_MM)


@dataclass(frozen=True)
class _Labels:
    svg: str
    bottom_mm: float


def _layer(below: list[float], above: list[float], kind: str, x_mm: list[float], per_um: float, tall_mm: float) -> str:
    there = [(x, tall_mm - MARGIN_MM - um * per_um) for x, um in zip(x_mm, below, strict=True)]
    back = [(x, tall_mm - MARGIN_MM - um * per_um) for x, um in zip(reversed(x_mm), reversed(above), strict=True)]
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in [*there, *back])
    return f'<polygon points="{points}" fill="url(#p-{kind})" stroke="#000" stroke-width="0.35"/>'


def _labels(marks: list[tuple[str, float]], per_um: float, tall_mm: float, x_mm: float) -> _Labels:
    """Names at the right, from the top down, pushed apart where layers are thin, each with a line to its layer."""
    parts, next_mm = [], 4.0
    for name, um in sorted(marks, key=lambda mark: -mark[1]):
        at_mm = tall_mm - MARGIN_MM - um * per_um
        y = max(at_mm + 1.1, next_mm)
        next_mm = y + 4.2
        short = name if len(name) <= 26 else f"{name[:11]}...{name[-12:]}"
        parts.append(
            f'<path d="M{x_mm:.2f} {at_mm:.2f}L{x_mm + 3.5:.2f} {y - 1.1:.2f}h1" fill="none" stroke="#000" '
            f'stroke-width="0.3"/><text x="{x_mm + 5.5:.2f}" y="{y:.2f}">{escape(short)}</text>'
        )
    return _Labels("".join(parts), next_mm)
