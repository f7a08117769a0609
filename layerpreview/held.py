"""What a file that somebody hands over holds: its bytes, its text and its JSON, within limits and nothing believed.

Everything raises InputError with one line about the file; who passes over what is damaged (a cache) suppresses that.
What the values mean is for the model of that kind of file to say.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from layerpreview.errors import InputError, Problem

DEEPEST = 60
"""Lists and tables inside each other: what is written here needs ten."""
MOST_VALUES = 2_000_000
"""Commas and brackets of a text: each may stand for a value, which takes some sixty bytes."""
LARGEST_WHOLE = 2**63
MOST_ELEMENTS = 400_000
_STEERING = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")
_ENTITY = re.compile(rb"<!\0?(?:E\0?N\0?T\0?I\0?T\0?Y|D\0?O\0?C\0?T\0?Y\0?P\0?E)", re.IGNORECASE)
_TOO_DEEP = "brackets are nested too deep"
_KINDS, _BLANKS = (b"{", b"[", b","), " \t\r\n"


def bytes_of(path: Path, *, what: str, most_bytes: int, remedy: str = "is this the right file?") -> bytes:
    """The bytes of a file that is `what` ("an agreement").

    Raises InputError for one that is not there, is no plain file, cannot be read or is longer than `most_bytes`.
    """
    shown = str(path)
    try:
        if not path.is_file():
            there = "this is a folder, or no plain file" if path.exists() else "there is no such file"
            raise InputError(Problem(there, "check the name and the folder", shown))
        with path.open("rb") as file:
            data = file.read(most_bytes + 1)
    except InputError:
        raise
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "its name cannot be used"
        raise InputError(Problem(f"this cannot be read: {why}", "check its name and who may read it", shown)) from None
    if len(data) > most_bytes:
        raise InputError(Problem(f"this is longer than {_size(most_bytes)}, too long for {what}", remedy, shown))
    return data


def text_of(data: bytes, file: str, *, remedy: str, usual: bool = False) -> str:
    """The text in some bytes, saved as UTF-8, with a mark at its beginning or not; line ends are let be.

    `usual`: as mail and instruments save it, too, with UTF-16 by its mark, and Windows' Western signs where it is no
    UTF-8. Raises InputError for what is no text, and for one that holds NUL.
    """
    wide = usual and data[:2] in (b"\xff\xfe", b"\xfe\xff")
    if b"\0" in data and not wide:
        raise InputError(Problem("this is not a text file", remedy, file))
    try:
        text = data.decode("utf-16", errors="replace") if wide else data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        if not usual:
            line = data.count(b"\n", 0, error.start) + 1
            raise InputError(Problem("this is not text saved as UTF-8", remedy, file, line)) from None
        text = data.decode("cp1252", errors="replace")
    if "\0" in text:
        raise InputError(Problem("this is not a text file", remedy, file))
    return text


def without_controls(text: str) -> str:
    """The text with blanks for signs that steer a terminal or turn the way of writing; tabs and line ends stay."""
    return _STEERING.sub(" ", text)


def check_xml(data: bytes, file: str, *, remedy: str) -> None:
    """Raises InputError for what is no XML text, declares entities, which could pull in other files or grow without end
    (XML 1.0, 4.2 and 4.4), or has far more elements than a file of readings."""
    if _ENTITY.search(data):
        raise InputError(Problem("it declares an entity, which could pull in other files", remedy, file))
    if data.count(b"<") > MOST_ELEMENTS:
        raise InputError(Problem("it has far too many elements", remedy, file))
    try:
        ElementTree.fromstring(data)
    except ElementTree.ParseError as error:
        raise InputError(Problem("this is no XML file, or not a whole one", remedy, file, error.position[0])) from None
    except (ValueError, LookupError):
        raise InputError(Problem("this is saved in a way that cannot be read", remedy, file)) from None


def json_in(data: bytes | str, file: str, *, remedy: str, line: int | None = None) -> Any:
    """The value in a JSON text (RFC 8259, saved as UTF-8), numbers finite and every key of an object there once.

    Raises InputError where it is none, is nested deeper than `DEEPEST`, or holds a number or sign that cannot be used.
    """
    try:
        return usable_json(data)
    except ValueError as error:
        raise InputError(Problem(why_unusable(error), remedy, file, line)) from None


def usable_json(data: bytes | str) -> Any:
    """The value in a JSON text, as `json_in`. Raises ValueError, whose words `why_unusable` gives."""
    text = (data.decode("utf-8-sig") if isinstance(data, bytes) else data).strip(_BLANKS)
    check_count(text)
    value, end, fault = first_json(text)
    if end < len(text):
        raise ValueError("more than one value")
    if fault:
        raise UnusableError(fault)
    return value


def first_json(text: str) -> tuple[Any, int, str]:
    """The value that a text begins with, where it ends, and why it cannot be used, else "".

    Raises ValueError where there is none.
    """
    twice: list[bool] = []

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            twice.append(True)
        return found

    try:
        value, end = json.JSONDecoder(object_pairs_hook=once).raw_decode(text)
    except RecursionError:
        raise UnusableError(_TOO_DEEP) from None
    return value, end, "a key is there twice" if twice else fault_of(value)


class UnusableError(ValueError):
    """A value that reads as JSON and cannot be used, with the reason in our own words."""


def why_unusable(error: ValueError) -> str:
    """The rule that a text breaks, never in the words of the library that found it."""
    return str(error) if isinstance(error, UnusableError) else "this is no JSON text, or only a part of one"


def check_count(text: str | bytes) -> None:
    """Raises UnusableError for a text with more values than any of ours: they take far more memory than the text."""
    signs: Iterable[Any] = _KINDS if isinstance(text, bytes) else [sign.decode() for sign in _KINDS]
    if sum(text.count(sign) for sign in signs) > MOST_VALUES:
        raise UnusableError("it holds far too many values")


def fault_of(value: object) -> str:
    """Why a value cannot be used: it is nested too deep, or holds a number or a text that is none; "" where it can."""
    layer, depth = [value], 0
    while layer:
        below: list[object] = []
        for one in layer:
            if isinstance(one, dict):
                below += one.keys()
                below += one.values()
            elif isinstance(one, list):
                below += one
            elif isinstance(one, str):
                if not one.isascii() and any("\ud800" <= sign <= "\udfff" for sign in one):
                    return "it holds half a sign, as a cut text does"
            elif isinstance(one, float) and not math.isfinite(one):
                return "it holds a number that is none, or too large"
            elif isinstance(one, int) and not -LARGEST_WHOLE <= one < LARGEST_WHOLE:
                return "it holds a number that is too large"
        layer, depth = below, depth + 1
        if depth > DEEPEST and layer:
            return _TOO_DEEP
    return ""


def shown(said: object, longest: int = 120) -> str:
    """A text from a file on one line, short and without signs that could steer a terminal; "" for what is no text."""
    if not isinstance(said, str):
        return ""
    if len(said) <= longest and said.isprintable():
        return said
    plain = " ".join("".join(sign if sign.isprintable() else " " for sign in said[: 4 * longest]).split())
    return plain if len(plain) <= longest else plain[: longest - 4] + " ..."


def _size(count: int) -> str:
    return f"{count / 1e6:g} MB" if count >= 100_000 else f"{count / 1e3:g} kB"
