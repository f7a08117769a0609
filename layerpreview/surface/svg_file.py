"""An SVG file as a tree of the elements that bear on outlines, each with its line; capped before anything is built.

The file is read in one pass (XML 1.0), nothing outside of it is ever fetched, and a declared entity is refused.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import NoReturn
from xml.parsers import expat

from layerpreview.errors import PictureError, Problem

LIMIT_BYTES = 20_000_000
LIMIT_ELEMENTS = 100_000  # in the file, and again as drawn, each `use` followed
LIMIT_DEPTH = 200  # of groups in groups, each `use` followed
PLAIN = "save it as plain SVG in your drawing program"
ONLY_OUTLINE = "keep only the outline and the openings in it"
UNGROUP = "ungroup it and save it as plain SVG"
_NAMESPACE_END = "}"


@dataclass(eq=False, slots=True)
class Element:
    """One element: its name without its namespace, what it says of itself, and the line it begins in."""

    tag: str
    said: dict[str, str]
    line: int
    children: list[Element] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    """Of a style sheet alone."""


@dataclass(frozen=True, eq=False)
class Tree:
    """A drawing's elements in the order of the file, the root first."""

    file: str
    elements: list[Element]


def refuse(file: str, rule: str, remedy: str, *, line: int | None = None, field: str = "") -> NoReturn:
    """Raise the one line that says what is wrong with a drawing."""
    raise PictureError(Problem(file=file, line=line, field=field, rule=rule, remedy=remedy)) from None


def read_tree(path: str | Path) -> Tree:
    """Return the tree of the SVG file at `path`.

    Raises PictureError in one line: no such file, a folder, empty, over 20 MB, compressed, not whole, not an SVG, an
    entity declared, more than 100,000 elements, or groups nested more than 200 deep.
    """
    file = str(path)
    builder = _Builder(file)
    try:
        builder.parser.Parse(_bytes(Path(path)), True)
    except PictureError:
        raise
    except expat.ExpatError as error:
        refuse(file, "not a whole SVG file: it is broken here", "save the drawing again as SVG", line=error.lineno)
    except (ValueError, LookupError):  # of an encoding that is not known
        refuse(file, "not a whole SVG file: its encoding is not known here", "save it as SVG in UTF-8")
    return Tree(file, builder.elements)


class _Builder:
    def __init__(self, file: str) -> None:
        self.elements: list[Element] = []
        self._file = file
        self._open: list[Element] = []
        self.parser = parser = expat.ParserCreate(namespace_separator=_NAMESPACE_END)
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._text
        parser.EntityDeclHandler = self._entity

    def _start(self, name: str, said: dict[str, str]) -> None:
        line = self.parser.CurrentLineNumber
        tag = name.rpartition(_NAMESPACE_END)[2]
        if not self._open and tag != "svg":
            refuse(self._file, "not an SVG drawing", "save the drawing as SVG")
        if len(self.elements) >= LIMIT_ELEMENTS:
            refuse(self._file, f"more than {LIMIT_ELEMENTS:,} elements", ONLY_OUTLINE, line=line)
        if len(self._open) >= LIMIT_DEPTH:
            refuse(self._file, f"a drawing nested too deeply: more than {LIMIT_DEPTH} groups", UNGROUP, line=line)
        element = Element(tag, {key.rpartition(_NAMESPACE_END)[2]: value for key, value in said.items()}, line)
        if self._open:
            self._open[-1].children.append(element)
        self._open.append(element)
        self.elements.append(element)

    def _end(self, _: str) -> None:
        self._open.pop()

    def _text(self, text: str) -> None:
        if self._open[-1].tag == "style":
            self._open[-1].text.append(text)

    def _entity(self, *_: object) -> None:
        rule = "it declares an entity, which could pull in other files"
        refuse(self._file, rule, PLAIN, line=self.parser.CurrentLineNumber)


def _bytes(path: Path) -> bytes:
    file = str(path)
    if path.is_dir():
        refuse(file, "is a folder, not a drawing", "name the SVG file in it")
    try:
        if path.exists() and not path.is_file():
            refuse(file, "is not a plain file", "name the SVG file")
        if path.stat().st_size > LIMIT_BYTES:
            refuse(file, f"larger than {LIMIT_BYTES // 1_000_000} MB", ONLY_OUTLINE)
        data = path.read_bytes()
    except PictureError:
        raise
    except FileNotFoundError:
        refuse(file, "no such file", "check the name and the folder it stands in")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "no such name"
        refuse(file, f"cannot be opened ({reason})", "check its access rights")
    if not data.strip():
        refuse(file, "the file is empty", "save the drawing again")
    if data[:2] == b"\x1f\x8b":
        refuse(file, "a compressed drawing", PLAIN)
    return data
