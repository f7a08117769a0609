"""Live pictures in the user's cache folder: their textures lie there instead of in memory, and a job that was seen
before is there at once.

What is not there, not whole or made by another version of this program is made anew; where the folder cannot be written
to, textures stay in memory and nothing is kept. The folder may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import json
import mmap
import os
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path

from layerpreview.held import usable_json
from layerpreview.kept import cache_folder, program_state, tidy, write_whole

Data = bytes | mmap.mmap
"""The bytes of a texture, in memory or in a file."""
MOST_BYTES = 256 * 2**20
"""What all kept pictures may take together; those that were not looked at for the longest time go first."""


def laid_down(name: str, data: bytes) -> Data:
    """The bytes of a texture as they lie in the folder under a name that tells its content, or as they are."""
    path = _path(f"texture-{name}")
    if path is None:
        return data
    return _mapped(path, len(data)) or (write_whole(path, data) and _mapped(path, len(data))) or data


def in_file(name: str, size: int) -> Data | None:
    """The bytes of a texture that was laid down before; None where they are not there, or not whole."""
    path = _path(f"texture-{name}")
    return None if path is None else _mapped(path, size)


def read_once(data: Data) -> bytes:
    """All bytes of a texture; those in a file take no memory afterwards."""
    found = data[:]
    if isinstance(data, mmap.mmap) and sys.platform != "win32" and hasattr(mmap, "MADV_DONTNEED"):
        data.madvise(mmap.MADV_DONTNEED)
    return found


def kept_picture(key: str) -> tuple[bytes, dict[str, Data]] | None:
    """What was kept of a picture by `keep_picture`: its JSON and its textures; None where any of it is missing."""
    textures: dict[str, Data] = {}
    with suppress(ValueError, TypeError, AttributeError):
        head, told = (kept("picture", key) or b"").split(b"\n", 1)
        for name, size in usable_json(head).items():
            found = in_file(name, size)
            if found is None:
                return None
            textures[name] = found
        return told, textures
    return None


def keep_picture(key: str, told: bytes, textures: Mapping[str, Data]) -> None:
    """Keep a picture by all that it depends on; not one whose textures could not be laid down."""
    if all(isinstance(data, mmap.mmap) for data in textures.values()):
        head = json.dumps({name: len(data) for name, data in textures.items()}).encode()
        keep("picture", key, head + b"\n" + told)


def kept(kind: str, key: str) -> bytes | None:
    """What this very program kept of a `kind` (a word) by a key."""
    path = _path(_name(kind, key))
    with suppress(OSError):
        if path is not None:
            os.utime(path)
            return path.read_bytes()
    return None


def keep(kind: str, key: str, data: bytes) -> None:
    """Keep `data` by all that it depends on."""
    path = _path(_name(kind, key))
    if path is not None:
        write_whole(path, data)
        tidy(path.parent, "live-*", MOST_BYTES)


def kept_whole(kind: str, key: str, make: Callable[[], bytes]) -> bytes:
    """What `make` makes, from one run to the next; what is damaged is made anew."""
    sum_, _, data = (kept(kind, key) or b"").partition(b"\n")
    if sum_ == _sum(data):
        return data
    data = make()
    keep(kind, key, _sum(data) + b"\n" + data)
    return data


def _sum(data: bytes) -> bytes:
    return hashlib.sha256(data).hexdigest().encode()


def _name(kind: str, key: str) -> str:
    return f"{kind}-{hashlib.sha256((key + program_state()).encode()).hexdigest()[:24]}"


def _path(name: str) -> Path | None:
    folder = cache_folder()
    return None if folder is None else folder / f"live-{name}"


def _mapped(path: Path, size: int) -> mmap.mmap | None:
    """A file of this size, looked into only where it is read; it counts as used now."""
    with suppress(OSError, ValueError), path.open("rb") as file:
        if os.fstat(file.fileno()).st_size == size:
            os.utime(path)
            return mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    return None
