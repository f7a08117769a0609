"""An SVG drawing before it is read: checks on what it holds, and what of it goes on to the reader.

The reader puts colours, fonts, styles and transforms through patterns whose time grows with the square or the cube of
their length, and takes what a group says about lengths for its shapes' own. So all that is left out or, for styles,
transforms and points, put into a form it reads in one pass.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn
from xml.etree import ElementTree

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.svg_path import NUMBER, path_fault, path_points, read_points

HREF = "{http://www.w3.org/1999/xlink}href"
_LEFT_OUT = ("", "text", "tspan", "style", "title", "desc", "image", "metadata", "script")
_BOX = ("x", "y", "width", "height")
_LENGTHS: Mapping[str, tuple[str, ...]] = {
    "rect": (*_BOX, "rx", "ry"),
    "circle": ("cx", "cy", "r"),
    "ellipse": ("cx", "cy", "rx", "ry"),
    "line": ("x1", "y1", "x2", "y2"),
}
_OTHERS: Mapping[str, tuple[str, ...]] = {
    "path": ("d",),
    "polygon": ("points",),
    "polyline": ("points",),
    "use": (*_BOX, "href", HREF),
    "svg": (*_BOX, "viewBox", "preserveAspectRatio"),
}
_STYLED = ("display", "transform")
_COMMENT = re.compile(r"/\*.*?(?:\*/|\Z)", re.DOTALL)
# A word is tried at its first letter alone and never cut short, so that no place is gone over twice.
_FUNCTION = re.compile(r"(?<![A-Za-z])([A-Za-z]++)\s*+\(([^()]*+)\)")
Styles = Mapping[str, Mapping[str, str]]


def clean(root: ElementTree.Element) -> None:
    """Leave in the drawing only what bears on its outlines.

    What a style says comes before attributes: the drawing's style sheets, then the element's own `style`.
    """
    styles = _style_sheets(root)
    for element in list(root.iter()):
        element[:] = [child for child in element if tag_of(child) not in _LEFT_OUT]
        element.text = element.tail = None
        said = {**element.attrib, **_style_of(element, styles)}
        kept = ("id", *_STYLED, *_LENGTHS.get(tag_of(element), ()), *_OTHERS.get(tag_of(element), ()))
        element.attrib.clear()
        element.attrib.update({name: said[name] for name in kept if name in said})
        if tag_of(element) == "path":
            element.attrib.setdefault("d", "")  # without one it is not drawn, but the reader fails
        if "transform" in said:
            element.set("transform", _plain_transform(said["transform"]))
        if "points" in element.attrib:
            element.set("points", " ".join(f"{x!r},{y!r}" for x, y in read_points(said["points"])))


def tag_of(element: ElementTree.Element) -> str:
    """The element's name without its namespace; empty for a comment and the like."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _style_sheets(root: ElementTree.Element) -> dict[str, dict[str, str]]:
    """What the drawing's style sheets say that bears on outlines, by selector; rules inside @media are left out."""
    styles: dict[str, dict[str, str]] = {}
    for sheet in (element for element in root.iter() if tag_of(element) == "style"):
        selectors, depth = "", 0
        pieces = re.split(r"([{}])", _COMMENT.sub("", sheet.text or ""))
        for text, brace in zip(pieces[::2], pieces[1::2], strict=False):
            if brace == "{":
                selectors = text.rpartition(";")[2] if depth == 0 else selectors
                depth += 1
                continue
            if depth == 1 and (said := _declared(text)):
                for selector in selectors.split(","):
                    styles.setdefault(selector.strip(), {}).update(said)
            depth = max(0, depth - 1)
    return styles


def _style_of(element: ElementTree.Element, styles: Styles) -> dict[str, str]:
    """What styles say about one element; the later of these selectors wins: all, tag, id, class, and its own style."""
    tag, classes = tag_of(element), element.get("class", "").split()
    selectors = ["*", tag, f"#{element.get('id')}"]
    selectors += [name for each in classes for name in (f".{each}", f"{tag}.{each}")]
    said: dict[str, str] = {}
    for selector in selectors:
        said.update(styles.get(selector, {}))
    said.update(_declared(element.get("style", "")))
    return {name: value for name, value in said.items() if name in _STYLED or name in _LENGTHS.get(tag, ())}


def _declared(text: str) -> dict[str, str]:
    """The `name: value` pairs of a style that may bear on an outline."""
    known = {*_STYLED, *(name for names in _LENGTHS.values() for name in names)}
    pairs = (pair.partition(":") for pair in text.split(";"))
    return {name.strip(): value.strip() for name, _, value in pairs if name.strip() in known}


def _plain_transform(text: str) -> str:
    return " ".join(f"{name}({' '.join(given.split())})" for name, given in _FUNCTION.findall(text))


LIMIT_BYTES = 20_000_000
LIMIT_ELEMENTS = 100_000
LIMIT_POINTS = 1_000_000  # of all lines, whether they are drawn or not
_MM_PER = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6, "q": 0.25}
_UNIT_MM = 25.4 / 96
_PLAIN = "save it as plain SVG in your drawing program"


@dataclass(frozen=True)
class CheckedDrawing:
    """A drawing that may be read: its text with the root's size set to its viewBox, so that lengths come in user units,
    and the millimetres per user unit in x and y (None for a drawing without a physical size)."""

    file: str
    text: str
    mm_per_unit: tuple[float, float] | None


def check_drawing(path: str | Path) -> CheckedDrawing:
    """Read and check the SVG file at `path`.

    Raises PictureError: no such file, empty, over 20 MB, not an SVG, an entity or another file referred to, `use` in a
    circle or multiplying beyond 100,000 elements or a million points, or a broken path (with its id and the place).
    """
    file = str(path)
    root = _root(file, _bytes(Path(path)))
    problems = [
        Problem(file=file, field=name, rule=f"broken: {fault}", remedy="redraw it, or save the drawing again")
        for name, fault in _faults(root)
    ]
    if problems:
        raise PictureError(problems)
    clean(root)
    _check_size(file, root)
    mm = _mm_per_unit(file, root)
    return CheckedDrawing(file, ElementTree.tostring(root, encoding="unicode"), mm)


def _bytes(path: Path) -> bytes:
    if path.is_dir():
        _refuse(str(path), "is a folder, not a drawing", "name the SVG file in it")
    try:
        if path.stat().st_size > LIMIT_BYTES:
            _refuse(
                str(path), f"larger than {LIMIT_BYTES // 1_000_000} MB", "keep only the outline and the openings in it"
            )
        data = path.read_bytes()
    except FileNotFoundError:
        _refuse(str(path), "no such file", "check the name and the folder it stands in")
    except (OSError, ValueError) as error:
        _refuse(str(path), f"cannot be opened ({getattr(error, 'strerror', None) or error})", "check its access rights")
    if not data.strip():
        _refuse(str(path), "the file is empty", "save the drawing again")
    if data[:2] == b"\x1f\x8b":
        _refuse(str(path), "a compressed drawing", _PLAIN)
    return data


def _root(file: str, data: bytes) -> ElementTree.Element:
    if b"<!ENTITY" in data or re.search(rb"<!\0?E\0?N\0?T\0?I\0?T\0?Y", data):
        _refuse(file, "it declares an entity, which could pull in other files", _PLAIN)
    try:
        root = ElementTree.fromstring(data)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        _refuse(file, f"not a whole SVG file ({error})", "save the drawing again as SVG")
    if tag_of(root) != "svg":
        _refuse(file, "not an SVG drawing", "save the drawing as SVG")
    return root


def _faults(root: ElementTree.Element) -> Iterator[tuple[str, str]]:
    """Every path and every list of points that is not whole: its name, and what is wrong with it."""
    for k, path in enumerate(_named(root, "path"), start=1):
        if fault := path_fault(path.get("d", "")):
            yield f"path {path.get('id') or k}", fault
    for tag in ("polygon", "polyline"):
        for k, line in enumerate(_named(root, tag), start=1):
            try:
                read_points(line.get("points", ""))
            except ValueError as fault:
                yield f"{tag} {line.get('id') or k}", str(fault)


@dataclass(frozen=True)
class _Size:
    """How much an element and all in it gives the reader to do, once every `use` is followed: elements, points of their
    lines, and characters of transforms, since it reads those of all groups again for each shape in them."""

    elements: int
    points: int
    transforms: int


def _check_size(file: str, root: ElementTree.Element) -> None:
    """Follow every `use`: it must stay in the file, must not reach itself, and must not multiply without end."""
    by_id = {element.get("id"): element for element in root.iter() if element.get("id")}
    sizes: dict[int, _Size] = {}
    under_way: set[int] = set()

    def size(element: ElementTree.Element) -> _Size:
        key = id(element)
        if key in sizes:
            return sizes[key]
        if key in under_way:
            _refuse(file, f"its `use` of {element.get('id')!r} reaches itself", "break the circle: " + _PLAIN)
        under_way.add(key)
        inner = [size(child) for child in element]
        if tag_of(element) == "use":
            href = element.get("href") or element.get(HREF) or ""
            if href and not href.startswith("#"):
                _refuse(file, f"it refers to another file ({href[:60]})", "put everything into one drawing: " + _PLAIN)
            target = by_id.get(href[1:])
            inner += [size(target)] if target is not None else []
        elements = 1 + sum(each.elements for each in inner)
        if element.get("display", "").lower() == "none":
            total = _Size(elements, 0, 0)
        else:
            points = _points(element) + sum(each.points for each in inner)
            characters = len(element.get("transform", "")) * elements + sum(each.transforms for each in inner)
            total = _Size(elements, points, characters)
        _check_limits(file, total)
        under_way.discard(key)
        sizes[key] = total
        return total

    try:
        size(root)
    except RecursionError:
        _refuse(file, "a drawing nested too deeply", "ungroup it and save it as plain SVG")


def _check_limits(file: str, size: _Size) -> None:
    if size.elements > LIMIT_ELEMENTS:
        _refuse(file, f"more than {LIMIT_ELEMENTS:,} elements", "keep only the outline and the openings in it")
    if size.points > LIMIT_POINTS:
        _refuse(file, f"more than {LIMIT_POINTS:,} points", "simplify the path in your drawing program")
    if size.transforms > LIMIT_BYTES:
        _refuse(file, "too many groups in groups, each with a transform", "ungroup it and save it as plain SVG")


def _points(element: ElementTree.Element) -> int:
    if tag_of(element) == "path":
        return path_points(element.get("d", ""))
    if tag_of(element) in ("polygon", "polyline"):
        return len(read_points(element.get("points", "")))
    return 0


def _mm_per_unit(file: str, root: ElementTree.Element) -> tuple[float, float] | None:
    """Take the scale from the root, and set the root's size to its viewBox."""
    width, height = _length_mm(root.get("width")), _length_mm(root.get("height"))
    box = [float(number) for number in re.findall(NUMBER, root.get("viewBox", ""))]
    if not all(map(math.isfinite, box)):
        _refuse(file, "its viewBox has a number too large to draw with", "save the drawing again")
    if len(box) != 4 or box[2] <= 0 or box[3] <= 0:
        root.attrib.pop("viewBox", None)
        return (_UNIT_MM, _UNIT_MM) if width or height else None
    root.set("width", f"{box[2]!r}")
    root.set("height", f"{box[3]!r}")
    fit = root.attrib.pop("preserveAspectRatio", "xMidYMid meet")
    sides = [mm / units for mm, units in ((width, box[2]), (height, box[3])) if mm]
    if not sides:
        return None
    if "none" in fit:
        return sides[0], sides[-1]
    scale = max(sides) if "slice" in fit else min(sides)
    return scale, scale


def _length_mm(text: str | None) -> float | None:
    """A length with a physical unit in mm; None for pixels, percentages and nothing."""
    found = re.fullmatch(rf"\s*({NUMBER})\s*([A-Za-z]+)\s*", text or "")
    if not found or found[2].lower() not in _MM_PER:
        return None
    mm = float(found[1]) * _MM_PER[found[2].lower()]
    return mm if 0 < mm < math.inf else None


def _named(root: ElementTree.Element, tag: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if tag_of(element) == tag]


def _refuse(file: str, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=file, rule=rule, remedy=remedy)) from None
