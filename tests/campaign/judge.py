"""What is a fault of ours: everything that the most trusted tools never do, whatever they are handed."""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

from PIL import Image

from .cases import Case
from .hostile import MARK

LONGEST_LINE, MOST_LINES = 400, 22
LONGEST_S, MOST_GIB = 60.0, 1.5
MAY_CHANGE = ("job-log.jsonl", ".layerpreview-written.json", "shop.toml")
"""Files of a job that commands add to."""
_PYTHON = re.compile(
    r"Traceback|not foreseen|could not convert|invalid literal|index out of range|NoneType|object has no|Input should"
    r"|\[Errno|unexpected keyword|must be real number|cannot convert float|<class '| at 0x[0-9a-f]{8,}|ValidationError"
)
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\x80-\x9f\u202a-\u202e\u2066-\u2069]")


@dataclass(frozen=True)
class Ran:
    """What a case did: its exit code, what it printed, the seconds and GiB it took, and files before and after."""

    code: object
    out: str
    err: str
    seconds: float
    gib: float
    before: Mapping[str, bytes]
    after: Mapping[str, bytes]
    folders: tuple[str, ...]
    """Folders that are empty now and were not there before."""


def faults(case: Case, ran: Ran) -> list[str]:
    """Every fault of a run, each as one line whose beginning tells the class."""
    return [*_said(case, ran), *_took(ran), *_left(case, ran), *_wrote(case, ran)]


def _said(case: Case, ran: Ran) -> Iterator[str]:
    if ran.code not in (0, 1, 2):
        yield f"exit {ran.code}: {ran.err.strip()[-300:]}"
    elif found := _PYTHON.search(ran.err):
        line = next(line for line in ran.err.splitlines() if found[0] in line)
        yield f"python's words ({found[0]}): {line[:200]}"
    if ran.code == 2 and not ran.err.strip():
        yield "exit 2 without a word"
    lines = ran.err.splitlines()
    if long := [line for line in lines if len(line) > LONGEST_LINE and line.startswith("error")]:
        yield f"line of {len(long[0])} signs: {long[0][:120]}"
    errors = [line for line in lines if line.startswith("error:")]
    if len(errors) > MOST_LINES:
        yield f"{len(errors)} error lines"
    for name, text in (("stdout", ran.out), ("stderr", ran.err)):
        if found := _CONTROL.search(text):
            yield f"control sign {found[0]!r} on {name}: {text[max(0, found.start() - 60) : found.end() + 20]!r}"
    if "--json" in case.words and ran.code == 0:
        yield from _as_json("stdout", ran.out)


def _took(ran: Ran) -> Iterator[str]:
    if ran.seconds > LONGEST_S:
        yield f"slow: {ran.seconds:.0f} s"
    if ran.gib > MOST_GIB:
        yield f"memory: {ran.gib:.2f} GiB"


def _left(case: Case, ran: Ran) -> Iterator[str]:
    new = sorted(set(ran.after) - set(ran.before))
    for name, data in ran.before.items():
        if name.rsplit("/", 1)[-1] in MAY_CHANGE and ran.code in (0, 1):
            continue
        if ran.after.get(name) != data and "--force" not in case.words:
            yield f"input changed: {name}"
    if ran.code == 2 and new:
        yield f"refused, yet wrote {new[:3]}"
    if stray := [name for name in ran.after if "/.layerpreview-" in f"/{name}" and not name.endswith("written.json")]:
        yield f"left behind: {stray[:3]}"
    if ran.folders:
        yield f"empty folders left: {ran.folders[:3]}"


def _wrote(case: Case, ran: Ran) -> Iterator[str]:
    for name in set(ran.after) - set(ran.before):
        data = ran.after[name]
        try:
            yield from _whole(name, data)
        except Exception as error:  # whatever a general reader says of it
            yield f"unreadable {Path(name).suffix}: {name}: {type(error).__name__}: {error}"


def _whole(name: str, data: bytes) -> Iterator[str]:
    ending = Path(name).suffix.lower()
    if ending == ".json":
        yield from _as_json(name, data.decode("utf-8"))
    elif ending == ".jsonl":
        for line in data.decode("utf-8").splitlines():
            yield from _as_json(name, line)
    elif ending == ".toml":
        tomllib.loads(data.decode("utf-8"))
    elif ending == ".svg":
        ElementTree.fromstring(data)
    elif ending == ".html":
        if MARK in data.decode("utf-8"):
            yield f"markup of a name in {name}"
    elif ending == ".csv":
        for row in csv.reader(io.StringIO(data.decode("utf-8-sig"))):
            if bad := [cell for cell in row if cell[:1] in tuple("=+-@\t\r") and not _is_number(cell)]:
                yield f"a cell that a spreadsheet runs in {name}: {bad[0][:60]!r}"
                return
    elif ending in (".png", ".jpg", ".webp"):
        with Image.open(io.BytesIO(data)) as picture:
            picture.verify()


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _as_json(name: str, text: str) -> Iterator[str]:
    def constant(word: str) -> None:
        raise ValueError(f"{word} in it")

    try:
        json.loads(text, parse_constant=constant)
    except ValueError as error:
        yield f"no JSON: {name}: {error}"
