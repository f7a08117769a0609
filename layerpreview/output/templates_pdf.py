"""Templates at true scale over as few pages as they take, to trace, to cut out or to lay under tape."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import shapely

from layerpreview.output.sheet_words import Words
from layerpreview.output.template_lines import Line, lines_of, only_lines
from layerpreview.output.typst_pdf import SIZES_MM, compile_pdf, shortened
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Scheme

MARGIN_MM, TITLE_MM, KEY_LINE_MM = 12.0, 19.0, 3.7
OVERLAP_MM = 10.0
SLACK_MM = 1.0  # a drawing as high as its page would go to the next one
BAR_MM, BAR_US_MM = 100, 101.6
KEY_LETTERS = {False: 68, True: 96}
"""What of a key's line fits half of an upright page, and half of one on its side."""
CROSSES_AT = (0.2, 0.5, 0.8)
_DASHES = {"edge": "", "gone": "6 2", "half": "2 2", "tape": "8 2 1 2"}
Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Tile:
    """One page: its name, such as B2 (column, row), the part of the face it shows [mm], and the pages beside it.

    `beside` holds names by side: "left", "right", "up", "down".
    """

    name: str
    box: Box
    beside: Mapping[str, str]


@dataclass(frozen=True)
class Layout:
    """The pages of a face: whether they lie on their side, how high their head is [mm], and what each shows."""

    flipped: bool
    head_mm: float
    tiles: tuple[Tile, ...]


def template_pdf(scheme: Scheme, parts: Sequence[FaceShape], *, paper: str = "A4", units: str = "metric") -> bytes:
    """The lines that coats need, face by face, at true scale on A4 or Letter; a face without such lines has no page.

    Pages that belong together overlap, with crosses to lay over each other and the name of the page beside.
    Raises OutputError where typst is missing, InputError for another paper.
    """
    pages: list[dict[str, object]] = []
    for part in parts:
        if not (lines := lines_of(scheme, part, Words(units))):
            continue
        layout = layout_of(lines, paper=paper)
        for tile in layout.tiles:
            one = len(layout.tiles) == 1
            pages.append(
                {
                    "title": shortened(part.face.name, 28) + ("" if one else f", page {tile.name}"),
                    "about": _about(part.face.name, tile, layout),
                    "join": "" if one else _join(layout, Words(units)),
                    "key": [f"{number}: {label}" for number, label in enumerate(_labels(lines), 1)],
                    "flipped": layout.flipped,
                    "head_mm": layout.head_mm,
                    "svg": _tile_svg(lines, tile),
                }
            )
    us = units == "US"
    bar = "4 in" if us else f"{BAR_MM} mm"
    data = {
        "title": f"{scheme.name}: templates",
        "running": shortened(scheme.name),
        "bar_mm": BAR_US_MM if us else BAR_MM,
        "bar_text": f"{bar} long: if not, print again at 100 %",
        "nothing": "No coat of this scheme has a line to trace: no burst, no zone.",
        "pages": pages,
    }
    return compile_pdf("templates.typ", data, paper=paper)


def layout_of(lines: Sequence[Line], *, paper: str) -> Layout:
    """The fewest pages that hold all lines, upright where that takes no more of them than on their side."""
    upright, flipped = (_laid(lines, paper, on_side) for on_side in (False, True))
    return flipped if len(flipped.tiles) < len(upright.tiles) else upright


def _laid(lines: Sequence[Line], paper: str, flipped: bool) -> Layout:
    width, height = SIZES_MM.get(paper, SIZES_MM["A4"])
    if flipped:
        width, height = height, width
    rows = [math.ceil((len(label) + 4) / KEY_LETTERS[flipped]) for label in _labels(lines)]
    half = math.ceil(len(rows) / 2)
    head = TITLE_MM + KEY_LINE_MM * (max(sum(rows[:half]), sum(rows[half:])) + 1)
    boxes = dict(_boxes(lines, width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - head - SLACK_MM))
    names = {place: f"{_letters(place[0])}{place[1] + 1}" for place in boxes}
    ways = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}
    tiles = []
    for (column, row), box in boxes.items():
        beside = {way: names.get((column + across, row + down), "") for way, (across, down) in ways.items()}
        tiles.append(Tile(names[column, row], box, {way: name for way, name in beside.items() if name}))
    return Layout(flipped, head, tuple(tiles))


def _labels(lines: Sequence[Line]) -> list[str]:
    """What the key says of each line, in two of its lines at most."""
    return [shortened(line.label, 2 * KEY_LETTERS[False] - 12) for line in lines]


def _boxes(lines: Sequence[Line], across: float, down: float) -> Iterator[tuple[tuple[int, int], Box]]:
    """The pages, by column and row, that hold any line, row by row; the drawing lies in their middle."""
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
                yield (column, row), box


def _join(layout: Layout, words: Words) -> str:
    names = ", ".join(tile.name for tile in layout.tiles)
    return f"Pages {names}: lay cross over cross, they overlap by {words.length(OVERLAP_MM)}."


def _about(face: str, tile: Tile, layout: Layout) -> str:
    if len(layout.tiles) == 1:
        return f"Template of {face} at true size"
    beside = "".join(f"; {way}: page {name}" for way, name in tile.beside.items())
    return f"Template of {face} at true size, page {tile.name}{beside}"


def _letters(n: int) -> str:
    return (_letters(n // 26 - 1) if n >= 26 else "") + chr(ord("A") + n % 26)


def _on_page(line: Line, box: Box) -> shapely.MultiLineString:
    """What of a line falls on one page, cut at its border."""
    return only_lines(line.shape.intersection(shapely.box(*box)))


def _tile_svg(lines: Sequence[Line], tile: Tile) -> str:
    """The lines that fall on one page, cut at its border, and marks where another page is laid over it."""
    x0, y0, x1, y1 = tile.box
    wide, high = x1 - x0, y1 - y0
    parts = []
    for number, line in enumerate(lines, 1):
        cut = _on_page(line, tile.box)
        dash = f' stroke-dasharray="{_DASHES[line.kind]}"' if _DASHES[line.kind] else ""
        width = 0.6 if line.kind == "edge" else 0.4
        for path in _paths(cut, x0, y0):
            parts.append(f'<path d="{path}" fill="none" stroke="#000" stroke-width="{width}"{dash}/>')
        if not cut.is_empty:
            at = _along(cut, 0.25 + 0.07 * (number % 8))
            parts.append(
                f'<circle cx="{at.x - x0:.2f}" cy="{at.y - y0:.2f}" r="2.6" fill="#fff" stroke="#000" '
                f'stroke-width="0.2"/>' + _text(at.x - x0, at.y - y0 + 1.2, str(number), size=3.6)
            )
    for way, name in tile.beside.items():
        parts += _seam(way, name, wide, high)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}">'
        f'<rect width="{wide:g}" height="{high:g}" fill="none" stroke="#999" stroke-width="0.15"/>'
        f"{''.join(parts)}</svg>"
    )


def _seam(way: str, name: str, wide: float, high: float) -> Iterator[str]:
    """Crosses in the middle of the overlap with another page, and that page's name with an arrow to it."""
    half = 0.5 * OVERLAP_MM
    upright = way in ("left", "right")
    far = half if way in ("left", "up") else (wide if upright else high) - half
    for share in CROSSES_AT:
        x, y = (far, share * high) if upright else (share * wide, far)
        yield f'<path d="M{x - 4:.2f} {y:.2f}h8M{x:.2f} {y - 4:.2f}v8" stroke="#000" stroke-width="0.25"/>'
    x, y = (far, 0.35 * high) if upright else (0.35 * wide, far)
    turn = {"right": 0, "down": 90, "left": 180, "up": 270}[way]
    yield (
        f'<rect x="{x - 4.5:.2f}" y="{y - 4.5:.2f}" width="9" height="9" fill="#fff" stroke="#000" '
        'stroke-width="0.15"/>'
        f'<path d="M-1.8 -1.4L1.8 0L-1.8 1.4z" transform="translate({x:.2f} {y + 2.2:.2f}) rotate({turn})"/>'
        + _text(x, y - 0.6, name, size=3.8)
    )


def _text(x: float, y: float, words: str, *, size: float) -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:g}" text-anchor="middle" '
        f'font-family="Libertinus Serif, sans-serif">{words}</text>'
    )


def _along(lines: shapely.MultiLineString, share: float) -> shapely.Point:
    """The point at a share of the way along the longest piece of a line."""
    longest = max(lines.geoms, key=lambda line: line.length)
    return shapely.Point(shapely.line_interpolate_point(longest, share, normalized=True))


def _paths(lines: shapely.MultiLineString, x0: float, y0: float) -> Iterator[str]:
    for line in lines.geoms:
        yield "M" + "L".join(f"{x - x0:.2f} {y - y0:.2f}" for x, y in line.coords)
