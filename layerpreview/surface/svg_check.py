"""Checks on an SVG file before it is drawn: what it may hold, whether its paths are whole, how large it is."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn
from xml.etree import ElementTree

from layerpreview.errors import PictureError, Problem

LIMIT_BYTES = 20_000_000
LIMIT_ELEMENTS = 100_000
_MM_PER = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72, "pc": 25.4 / 6, "q": 0.25}
_UNIT_MM = 25.4 / 96
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_GAP = r"[\s,]*"
_ARC = _GAP.join([_NUMBER] * 3 + ["[01]"] * 2 + [_NUMBER] * 2)
_ARGUMENTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "Z": 0}
_HREF = "{http://www.w3.org/1999/xlink}href"
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
    circle or multiplying beyond 100,000 elements, or a broken path (with its id and the place).
    """
    file = str(path)
    root = _root(file, _bytes(Path(path)))
    _check_use(file, root)
    problems = [
        Problem(
            file=file,
            field=f"path {element.get('id') or k}",
            rule=f"broken: {fault}",
            remedy="redraw that path, or save the drawing again",
        )
        for k, element in enumerate(_named(root, "path"), start=1)
        if (fault := path_fault(element.get("d", "")))
    ]
    if problems:
        raise PictureError(problems)
    mm = _mm_per_unit(root)
    return CheckedDrawing(file, ElementTree.tostring(root, encoding="unicode"), mm)


def path_fault(d: str) -> str:
    """Return what is wrong with the path data `d`, or an empty text (SVG 2, 9.3: commands and their numbers)."""
    d = d.strip()
    if not d:
        return ""
    if d[0] not in "Mm":
        return f"it starts with {d[:8]!r}, not with M"
    pieces = re.split(r"([A-DF-Za-df-z])", d)
    for command, numbers in zip(pieces[1::2], pieces[2::2], strict=True):
        place = f"{command}{numbers}"[:24].strip()
        if command in "Aa":
            if not re.fullmatch(rf"{_GAP}{_ARC}(?:{_GAP}{_ARC})*{_GAP}", numbers):
                return f"an arc without its 7 numbers at {place!r}"
            continue
        wanted = _ARGUMENTS.get(command.upper())
        if wanted is None:
            return f"unknown command at {place!r}"
        found = re.findall(_NUMBER, numbers)
        if re.sub(_NUMBER, "", numbers).strip(" \t\r\n\f,"):
            return f"not a number at {place!r}"
        if len(found) != 0 if wanted == 0 else (not found or len(found) % wanted):
            return f"{len(found)} numbers where {command} takes {wanted} at a time, at {place!r}"
    return ""


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
    if _tag(root) != "svg":
        _refuse(file, "not an SVG drawing", "save the drawing as SVG")
    return root


def _check_use(file: str, root: ElementTree.Element) -> None:
    """Follow every `use`: it must stay in the file, must not reach itself, and must not multiply without end."""
    by_id = {element.get("id"): element for element in root.iter() if element.get("id")}
    sizes: dict[int, int] = {}
    under_way: set[int] = set()

    def size(element: ElementTree.Element) -> int:
        key = id(element)
        if key in sizes:
            return sizes[key]
        if key in under_way:
            _refuse(file, f"its `use` of {element.get('id')!r} reaches itself", "break the circle: " + _PLAIN)
        under_way.add(key)
        total = 1 + sum(size(child) for child in element)
        if _tag(element) == "use":
            href = element.get("href") or element.get(_HREF) or ""
            if href and not href.startswith("#"):
                _refuse(file, f"it refers to another file ({href[:60]})", "put everything into one drawing: " + _PLAIN)
            target = by_id.get(href[1:])
            total += size(target) if target is not None else 0
        if total > LIMIT_ELEMENTS:
            _refuse(file, f"more than {LIMIT_ELEMENTS:,} elements", "keep only the outline and the openings in it")
        under_way.discard(key)
        sizes[key] = total
        return total

    try:
        size(root)
    except RecursionError:
        _refuse(file, "a drawing nested too deeply", "ungroup it and save it as plain SVG")


def _mm_per_unit(root: ElementTree.Element) -> tuple[float, float] | None:
    """Take the scale from the root, and set the root's size to its viewBox."""
    width, height = _length_mm(root.get("width")), _length_mm(root.get("height"))
    box = [float(number) for number in re.findall(_NUMBER, root.get("viewBox", ""))]
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
    found = re.fullmatch(rf"\s*({_NUMBER})\s*([A-Za-z]+)\s*", text or "")
    if not found or found[2].lower() not in _MM_PER:
        return None
    mm = float(found[1]) * _MM_PER[found[2].lower()]
    return mm if mm > 0 else None


def _named(root: ElementTree.Element, tag: str) -> list[ElementTree.Element]:
    return [element for element in root.iter() if _tag(element) == tag]


def _tag(element: ElementTree.Element) -> str:
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def _refuse(file: str, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=file, rule=rule, remedy=remedy)) from None
