"""What of an SVG drawing goes on to the SVG reader: its shapes, with nothing but what bears on their outlines.

The reader puts colours, fonts, styles and transforms through patterns whose time grows with the square or the cube of
their length, and takes what a group says about lengths for its shapes' own. So all that is left out or, for styles,
transforms and points, put into a form it reads in one pass.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from xml.etree import ElementTree

from layerpreview.surface.svg_path import read_points

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
