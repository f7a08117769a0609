"""What this tool wrote into a folder, so that it may be written anew there: a small list of names, sizes and hashes.

A file is ours while its bytes are those of the list, so a list that is old, torn or not written at all can only make a
file of ours count as somebody else's, never the other way round. Nothing on the list is ever taken for a path.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

WRITTEN_NAME = ".layerpreview-written.json"
"""Hidden where dots hide: a painter looks for pictures there, and may send the whole folder on."""
_KEY, _VERSION = "layerpreview_written", 1
_LONGEST_BYTES = 4_000_000  # some thirty thousand files; what is longer is none of ours


class Print(NamedTuple):
    """By what the bytes of a file are known again: SHA-256 in hex, and how many they are."""

    sha256: str
    size_bytes: int


def print_of(path: Path) -> Print:
    """The print of a file. Raises OSError where it cannot be read."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256")
        return Print(digest.hexdigest(), file.tell())


def written_into(folder: Path) -> dict[str, Print]:
    """What the list in `folder` says was written there, by name; nothing where there is no list that can be used."""
    path = folder / WRITTEN_NAME
    try:
        held = path.lstat()
        if not stat.S_ISREG(held.st_mode) or held.st_size > _LONGEST_BYTES:
            return {}
        raw = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(raw, dict) or raw.get(_KEY) != _VERSION or not isinstance(raw.get("files"), dict):
        return {}
    prints = {name: _read_print(one) for name, one in raw["files"].items()}
    return {name: one for name, one in prints.items() if one is not None}


def _read_print(raw: object) -> Print | None:
    if not isinstance(raw, dict):
        return None
    sha256, size = raw.get("sha256"), raw.get("bytes")
    if type(size) is int and isinstance(sha256, str) and re.fullmatch(r"[0-9a-f]{64}", sha256):
        return Print(sha256, size)
    return None


def is_as_written(path: Path, written: Print) -> bool:
    """Whether this is a file, and no link to one, with the very bytes that were written."""
    try:
        held = path.lstat()
        return stat.S_ISREG(held.st_mode) and held.st_size == written.size_bytes and print_of(path) == written
    except OSError:  # what cannot be read cannot be told to be ours
        return False


def note_written(folder: Path, new: Mapping[str, Print], *, forget: Iterable[str], work: Path) -> None:
    """Put the files `new` on the list of `folder` and take `forget` off it; `work`: a folder to write in beforehand.

    The results are in place by then. Where the list cannot be written they only need --force the next time.
    """
    gone = set(forget)
    with suppress(OSError):
        there = set(os.listdir(folder))
        known = written_into(folder)
        wanted = {name: one for name, one in known.items() if name in there and name not in gone} | dict(new)
        if wanted == known:
            return
        files = {name: {"bytes": one.size_bytes, "sha256": one.sha256} for name, one in sorted(wanted.items())}
        text = json.dumps({_KEY: _VERSION, "files": files}, indent=1)  # ASCII, whatever a name on an old list holds
        (work / WRITTEN_NAME).write_bytes(f"{text}\n".encode())
        os.replace(work / WRITTEN_NAME, folder / WRITTEN_NAME)
