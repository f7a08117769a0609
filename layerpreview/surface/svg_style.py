"""What the style sheets of a drawing and its elements' own styles say that bears on outlines."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from layerpreview.surface.svg_file import Element

LENGTHS: Mapping[str, tuple[str, ...]] = {
    "rect": ("x", "y", "width", "height", "rx", "ry"),
    "circle": ("cx", "cy", "r"),
    "ellipse": ("cx", "cy", "rx", "ry"),
}
"""What each kind of shape says of its size and place."""
STYLED = ("display", "transform")
_KNOWN = {*STYLED, *(name for names in LENGTHS.values() for name in names)}
_COMMENT = re.compile(r"/\*.*?(?:\*/|\Z)", re.DOTALL)
Styles = Mapping[str, Mapping[str, str]]


def style_sheets(elements: Iterable[Element]) -> Styles:
    """Return what the drawing's style sheets say, by selector; rules inside @media are left out."""
    styles: dict[str, dict[str, str]] = {}
    for sheet in (element for element in elements if element.tag == "style"):
        selectors, depth = "", 0
        pieces = re.split(r"([{}])", _COMMENT.sub("", "".join(sheet.text)))
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


def with_style(element: Element, styles: Styles) -> Mapping[str, str]:
    """Return what an element says of itself, styles before attributes; the later of these selectors wins: all, tag, id,
    class, and its own style (CSS Cascade 4, 6)."""
    tag, given = element.tag, element.said
    if not styles and "style" not in given:
        return given
    classes = given.get("class", "").split()
    selectors = ["*", tag, f"#{given.get('id')}"]
    selectors += [name for each in classes for name in (f".{each}", f"{tag}.{each}")]
    said: dict[str, str] = {}
    for selector in selectors:
        said.update(styles.get(selector, {}))
    said.update(_declared(given.get("style", "")))
    bears = {name: value for name, value in said.items() if name in STYLED or name in LENGTHS.get(tag, ())}
    return {**given, **bears}


def _declared(text: str) -> dict[str, str]:
    """The `name: value` pairs of a style that may bear on an outline."""
    pairs = (pair.partition(":") for pair in text.split(";"))
    return {name.strip(): value.strip() for name, _, value in pairs if name.strip() in _KNOWN}
