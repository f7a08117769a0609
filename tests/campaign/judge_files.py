"""What is a fault in a file that was written: it cannot be read, says what cannot be, or runs what it should show."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
import zipfile
from collections.abc import Iterator
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

from PIL import Image

MOST_BYTES = 60 * 2**20
_MARKS = ("<img src=x onerror=zz>", "<script>zz()", "<zz>", "${zz}<")
_NOT_BELOW_0 = re.compile(r"(?:_mL|_ml|_g|_mm2|_um|_mg_m2|_min|coats)$")
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


def faults(name: str, data: bytes) -> Iterator[str]:
    """Every fault of one file."""
    if len(data) > MOST_BYTES:
        yield f"file of {len(data) / 2**20:.0f} MiB: {name}"
    try:
        yield from _whole(name, data)
    except Exception as error:  # whatever a general reader says of it
        yield f"unreadable {Path(name).suffix}: {name}: {type(error).__name__}: {error}"


def _whole(name: str, data: bytes) -> Iterator[str]:
    """Each fault of what a file holds; raises whatever a reader of its kind says of one that it cannot read."""
    ending = Path(name).suffix.lower()
    if ending == ".json":
        yield from as_json(name, data.decode("utf-8"))
        yield from sense(name, json.loads(data))
    elif ending == ".jsonl":
        # An empty line keeps the number of those after it: a record's log leaves out what another scheme's deeds say.
        for line in filter(None, data.decode("utf-8").splitlines()):
            yield from as_json(name, line)
    elif ending == ".toml":
        tomllib.loads(data.decode("utf-8"))
    elif ending == ".svg":
        ElementTree.fromstring(data)
    elif ending in (".html", ".htm"):
        yield from _page(name, data.decode("utf-8"))
    elif ending == ".csv":
        yield from _table(name, data.decode("utf-8-sig"))
    elif ending == ".pdf":
        if not (data.startswith(b"%PDF-") and data.rstrip().endswith(b"%%EOF")):
            yield f"no whole PDF: {name}"
    elif ending == ".zip":
        with zipfile.ZipFile(io.BytesIO(data)) as held:
            if bad := held.testzip():
                yield f"broken in {name}: {bad}"
            for each in held.infolist():
                if each.filename.startswith("/") or ".." in each.filename.split("/") or "\\" in each.filename:
                    yield f"a name that leaves the folder in {name}: {each.filename}"
                elif each.file_size < MOST_BYTES:
                    yield from faults(f"{name}/{each.filename}", held.read(each))
    elif ending in (".png", ".jpg", ".webp"):
        with Image.open(io.BytesIO(data)) as picture:
            picture.verify()
    elif ending == ".txt":
        data.decode("utf-8")


class _Reader(HTMLParser):
    """Remembers what a browser would run of the marks, or what does not belong into a page."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "zz" or any(key.startswith("on") for key, _ in attrs):
            self.bad.append(f"<{tag} {attrs}>"[:80])
        self.bad += [
            f"{key}={value}"[:80]
            for key, value in attrs
            if key in ("href", "src") and value and re.match(r"(?:javascript|https?|file):", value)
        ]


def _page(name: str, text: str) -> Iterator[str]:
    if found := [mark for mark in _MARKS if mark in text]:
        yield f"markup of a name in {name}: {found[0]}"
    reader = _Reader()
    reader.feed(text)
    if reader.bad:
        yield f"a page that runs or fetches: {name}: {reader.bad[0]}"
    for script in re.findall(r'<script[^>]*type="application/json"[^>]*>(.*?)</script>', text, re.S):
        yield from as_json(f"{name} (its data)", script)


def _table(name: str, text: str) -> Iterator[str]:
    rows = list(csv.reader(io.StringIO(text), delimiter=";" if ";" in text.split("\n", 1)[0] else ","))
    for row in rows:
        if bad := [cell for cell in row if cell[:1] in tuple("=+-@\t\r") and not _is_number(cell)]:
            yield f"a cell that a spreadsheet runs in {name}: {bad[0][:60]!r}"
            return


def _is_number(cell: str) -> bool:
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True


def as_json(name: str, text: str) -> Iterator[str]:
    """JSON that every reader takes: one value, no NaN and no Infinity."""

    def constant(word: str) -> None:
        raise ValueError(f"{word} in it")

    try:
        json.loads(text, parse_constant=constant)
    except ValueError as error:
        yield f"no JSON: {name}: {error}"


def sense(name: str, value: object, at: str = "") -> Iterator[str]:
    """What figures cannot be: a range that stands on its head, an amount below nothing."""
    if isinstance(value, dict):
        ends = [value.get(key) for key in ("low", "likely", "high")]
        known = [end for end in ends if isinstance(end, int | float) and not isinstance(end, bool)]
        if any(a > b + 1e-9 * abs(b) for a, b in pairwise(known)):
            yield f"range on its head in {name} at {at}: {known}"
        for key, held in value.items():
            if isinstance(held, int | float) and held < 0 and _NOT_BELOW_0.search(str(key)):
                yield f"below nothing in {name}: {at}.{key} = {held}"
            yield from sense(name, held, f"{at}.{key}"[-60:])
    elif isinstance(value, list):
        for each in value:
            yield from sense(name, each, at)
