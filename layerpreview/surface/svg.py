"""The lines of an SVG drawing: every shape that is drawn, with all transforms applied, in user units (SVG 2)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.svg_curves import Arc, Lines, Matrix, Subpath, whole_ellipse
from layerpreview.surface.svg_file import (
    LIMIT_DEPTH,
    LIMIT_ELEMENTS,
    ONLY_OUTLINE,
    PLAIN,
    UNGROUP,
    Element,
    Tree,
    read_tree,
    refuse,
)
from layerpreview.surface.svg_numbers import UNIT_MM, UNMOVED, box_fitted, length, length_mm, times, transform, view_box
from layerpreview.surface.svg_path import LARGEST, LIMIT_POINTS, TooManyPointsError, read_path, read_points
from layerpreview.surface.svg_style import LENGTHS, Styles, style_sheets, with_style

SIMPLIFY = "simplify the path in your drawing program"
_REDRAW = "redraw it, or save the drawing again"
_LINES = {"path": "d", "polygon": "points", "polyline": "points"}
_GROUPS = ("svg", "g", "a", "switch")
_ACROSS, _DOWN = ("x", "cx", "rx", "width"), ("y", "cy", "ry", "height")
_SIZES = ("width", "height", "r", "rx", "ry")
_Page = tuple[float | None, float | None]


@dataclass(frozen=True, eq=False)
class DrawnShape:
    """One shape as it is drawn: its id, the line of the file that says it, its lines, and the transform they get."""

    name: str
    line: int
    lines: list[Subpath]
    matrix: Matrix


@dataclass(frozen=True, eq=False)
class CheckedDrawing:
    """A drawing's shapes in user units, in the order in which they are drawn, and the millimetres per user unit in x
    and y (None for a drawing without a physical size)."""

    file: str
    shapes: list[DrawnShape]
    mm_per_unit: tuple[float, float] | None


def check_drawing(path: str | Path) -> CheckedDrawing:
    """Read the SVG file at `path`.

    Raises PictureError: as `svg_file.read_tree`; with a line for each element whose path, points, lengths or transform
    are broken; another file referred to; `use` in a circle or multiplying beyond 100,000 elements or 200,000 points.
    """
    tree = read_tree(path)
    reader = _Reader(tree)
    mm, matrix, page = _scale(tree)
    shapes = list(reader.drawn(tree.elements[0], matrix, page))
    if reader.problems:
        raise PictureError(reader.problems)
    return CheckedDrawing(tree.file, shapes, mm)


def _scale(tree: Tree) -> tuple[tuple[float, float] | None, Matrix, _Page]:
    """Millimetres per user unit, the root's own transform, and the size of its page in user units."""
    root = tree.elements[0]
    width, height = length_mm(root.said.get("width")), length_mm(root.said.get("height"))
    try:
        box = view_box(root.said.get("viewBox"))
    except ValueError as fault:
        refuse(tree.file, str(fault), "save the drawing again", line=root.line)
    if box is None:
        page = (_page_side(root, "width"), _page_side(root, "height"))
        return (UNIT_MM, UNIT_MM) if width or height else None, UNMOVED, page
    fit = root.said.get("preserveAspectRatio", "")
    sides = [mm / units for mm, units in ((width, box[2]), (height, box[3])) if mm]
    scale = max(sides, default=0.0) if "slice" in fit else min(sides, default=0.0)
    mm_per_unit = (sides[0], sides[-1]) if "none" in fit and sides else (scale, scale)
    if sides and not (min(mm_per_unit) > 1 / LARGEST and max(mm_per_unit) < LARGEST):
        rule = "its viewBox does not go with its width and height"
        refuse(tree.file, rule, "save the drawing again", line=root.line)
    return mm_per_unit if sides else None, UNMOVED, (box[2], box[3])


def _page_side(root: Element, name: str) -> float | None:
    try:
        return length(root.said[name], whole=None) if name in root.said else None
    except ValueError:
        return None


class _Reader:
    """Goes through the elements once, following every `use`; `problems` are of the elements that cannot be drawn."""

    def __init__(self, tree: Tree) -> None:
        self.problems: list[Problem] = []
        self._file = tree.file
        self._styles: Styles = style_sheets(tree.elements)
        self._by_id = {element.said["id"]: element for element in reversed(tree.elements) if element.said.get("id")}
        self._names: dict[int, str] = {}
        self._n_elements = self._n_points = 0
        self._under_way: list[Element] = []
        self._lines = self._lines_of(tree.elements)
        self._told: set[int] = set()

    def drawn(self, element: Element, matrix: Matrix, page: _Page, *, used: bool = False) -> Iterator[DrawnShape]:
        """Every shape that an element draws, itself or by what is in it."""
        self._n_elements += 1
        if self._n_elements > LIMIT_ELEMENTS:
            refuse(self._file, f"more than {LIMIT_ELEMENTS:,} elements", ONLY_OUTLINE, line=element.line)
        if len(self._under_way) > LIMIT_DEPTH:
            rule = f"a drawing nested too deeply: more than {LIMIT_DEPTH} groups"
            refuse(self._file, rule, UNGROUP, line=element.line)
        said = with_style(element, self._styles)
        if said.get("display", "").lower() == "none":
            return
        self._under_way.append(element)
        try:
            if "transform" in said:
                matrix = times(matrix, transform(said["transform"]))
            if element.tag in _GROUPS or (used and element.tag == "symbol"):
                inner, its_page = _framed(element, matrix, page) if self._framing(element) else (matrix, page)
                for child in element.children:
                    yield from self.drawn(child, inner, its_page)
            elif element.tag == "use":
                yield from self._used(element, said, matrix, page)
            elif lines := self._shape(element, said, page):
                self._count(element, lines)
                yield DrawnShape(element.said.get("id", ""), element.line, lines, matrix)
        except ValueError as fault:
            if isinstance(fault, PictureError):
                raise
            self._tell(element, str(fault))
        self._under_way.pop()

    def _framing(self, element: Element) -> bool:
        return element.tag in ("svg", "symbol") and len(self._under_way) > 1

    def _used(self, element: Element, said: Mapping[str, str], matrix: Matrix, page: _Page) -> Iterator[DrawnShape]:
        href = said.get("href", "").strip()
        if href and not href.startswith("#"):
            rule = f"it refers to another file ({href[:60]})"
            refuse(self._file, rule, "put everything into one drawing: " + PLAIN, line=element.line)
        target = self._by_id.get(href[1:])
        if target is None:
            return
        if target in self._under_way:
            rule = f"its `use` of {href[1:60]!r} reaches itself"
            refuse(self._file, rule, "break the circle: " + PLAIN, line=element.line)
        yield from self.drawn(target, _moved(matrix, said, page), page, used=True)

    def _shape(self, element: Element, said: Mapping[str, str], page: _Page) -> list[Subpath]:
        if element.tag in _LINES:
            return self._lines.get(id(element), [])
        if element.tag not in LENGTHS:
            return []
        size = {name: _length(said, name, page) for name in LENGTHS[element.tag]}
        if below := [name for name in _SIZES if size.get(name, 0.0) < 0]:
            raise ValueError(f"its {below[0]} is below zero")
        if element.tag == "rect":
            return _rectangle(size, said)
        rx = size["r"] if "r" in size else size["rx"]
        ry = size["r"] if "r" in size else size["ry"]
        if element.tag == "ellipse":
            rx, ry = (ry if _is_auto(said, "rx") else rx), (rx if _is_auto(said, "ry") else ry)
        return [whole_ellipse(complex(size["cx"], size["cy"]), rx, ry)] if rx > 0 and ry > 0 else []

    def _lines_of(self, elements: list[Element]) -> dict[int, list[Subpath]]:
        """The lines of every path and polygon, drawn or not, so that all that is broken is told at once."""
        found: dict[int, list[Subpath]] = {}
        seen: dict[str, int] = {}
        n_points = 0
        for element in elements:
            seen[element.tag] = seen.get(element.tag, 0) + 1
            self._names[id(element)] = f"{element.tag} {element.said.get('id') or seen[element.tag]}"
            if element.tag not in _LINES:
                continue
            text = element.said.get(_LINES[element.tag], "")
            if text.strip() == "none":  # as `d` may say (SVG 2, 9.3.2)
                continue
            try:
                found[id(element)] = read_path(text) if element.tag == "path" else _polygon(element.tag, text)
            except TooManyPointsError as fault:
                refuse(self._file, str(fault), SIMPLIFY, line=element.line, field=self._names[id(element)])
            except ValueError as fault:
                rule = f"broken: {fault}"
                self.problems.append(Problem(rule, _REDRAW, self._file, element.line, self._names[id(element)]))
            n_points += _size(found.get(id(element), []))
            if n_points > LIMIT_POINTS:
                refuse(self._file, str(TooManyPointsError()), SIMPLIFY, line=element.line)
        return found

    def _count(self, element: Element, lines: list[Subpath]) -> None:
        self._n_points += _size(lines)
        if self._n_points > LIMIT_POINTS:
            refuse(self._file, str(TooManyPointsError()), SIMPLIFY, line=element.line)

    def _tell(self, element: Element, fault: str) -> None:
        if id(element) not in self._told:  # once, however often it is used
            self._told.add(id(element))
            name = self._names[id(element)]
            self.problems.append(Problem(f"broken: {fault}", _REDRAW, self._file, element.line, name))


def _framed(element: Element, matrix: Matrix, page: _Page) -> tuple[Matrix, _Page]:
    """The transform and the page inside a drawing in the drawing."""
    said = element.said
    inner = _moved(matrix, said, page)
    width, height = (
        _length(said, name, page) if name in said else whole
        for name, whole in zip(("width", "height"), page, strict=True)
    )
    box = view_box(said.get("viewBox"))
    if box is None or width is None or height is None:
        return inner, (width, height) if box is None else (box[2], box[3])
    fitted, size = box_fitted(box, width, height, keep=said.get("preserveAspectRatio", ""))
    return times(inner, fitted), size


def _moved(matrix: Matrix, said: Mapping[str, str], page: _Page) -> Matrix:
    """The transform with its origin at what an element says of x and y."""
    if "x" not in said and "y" not in said:
        return matrix
    moved = UNMOVED.copy()
    moved[:, 2] = [_length(said, name, page) for name in ("x", "y")]
    return times(matrix, moved)


def _length(said: Mapping[str, str], name: str, page: _Page) -> float:
    text = said.get(name, "0")
    if text.strip().lower() == "auto":
        return 0.0
    wide, high = page
    whole = wide if name in _ACROSS else high if name in _DOWN else None
    if name == "r" and wide is not None and high is not None:
        whole = math.hypot(wide, high) / math.sqrt(2)  # SVG 2, 8.9
    try:
        return length(text, whole=whole)
    except ValueError as fault:
        raise ValueError(f"its {name}: {fault}") from None


def _is_auto(said: Mapping[str, str], name: str) -> bool:
    return said.get(name, "auto").strip().lower() == "auto"


def _rectangle(size: Mapping[str, float], said: Mapping[str, str]) -> list[Subpath]:
    """A rectangle, its corners rounded where it says so (SVG 2, 10.2)."""
    x, y, wide, high = (size[name] for name in ("x", "y", "width", "height"))
    if wide == 0 or high == 0:
        return []
    rx = size["ry"] if _is_auto(said, "rx") else size["rx"]
    ry = size["rx"] if _is_auto(said, "ry") else size["ry"]
    rx, ry = min(rx, wide / 2), min(ry, high / 2)
    corners = [(x + wide, y), (x + wide, y + high), (x, y + high), (x, y)]
    if rx == 0 or ry == 0:
        return [Subpath(complex(x, y), [Lines([complex(*corner) for corner in corners[:3]])], closed=True)]
    line = Subpath(complex(x + rx, y), [], closed=True)
    for k, (cx, cy) in enumerate(corners):
        ahead, aside = complex((-1, -1, 1, 1)[k] * rx, (1, -1, -1, 1)[k] * ry), 1j**k
        centre = complex(cx, cy) + ahead
        begin, end = aside * -1j, aside
        places = [complex(centre.real + way.real * rx, centre.imag + way.imag * ry) for way in (begin, end)]
        line.pieces.append(Lines([places[0]]))
        line.pieces.append(Arc(centre, complex(rx), complex(0, ry), (k - 1) * math.pi / 2, math.pi / 2, places[1]))
    return [line]


def _polygon(tag: str, text: str) -> list[Subpath]:
    places = [complex(x, y) for x, y in read_points(text)]
    return [Subpath(places[0], [Lines(places[1:])], closed=tag == "polygon")] if len(places) > 1 else []


def _size(lines: list[Subpath]) -> int:
    """How many points lines ask for, a curve or an arc counted once."""
    pieces = (piece for line in lines for piece in line.pieces)
    return len(lines) + sum(len(piece.places) if isinstance(piece, Lines) else 1 for piece in pieces)
