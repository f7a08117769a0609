"""Arrays that take long to make, kept in the user's cache folder from one run to the next by all that they depend on.

What is not there, not whole or made by another state of this program is made anew; where the folder cannot be written
to nothing is kept. The folder may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import io
import os
import tempfile
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.generic]

MOST_BYTES, MOST_BYTES_EACH = 192 * 2**20, 48 * 2**20
"""Of all arrays together, and of one file; those that were not read for the longest time go first."""
LEAST_S = 0.02
"""What is made sooner is as soon made again as read."""
_WORK, _WORK_LEFT_S = ".kept-", 3600.0


def kept_arrays(kind: str, key: Iterable[bytes | str], make: Callable[[], tuple[Array, ...]]) -> tuple[Array, ...]:
    """What `make` makes, of this run or an earlier one: the same numbers. `kind`: a word for the file's name."""
    path = _path(kind, key)
    found = _read(path)
    if found is not None:
        return found
    began = time.perf_counter()
    made = make()
    if path is not None and time.perf_counter() - began > LEAST_S:
        _write(path, made)
    return made


def cache_folder() -> Path | None:
    """The user's cache folder of this program, made if need be; None where there can be none."""
    from platformdirs import user_cache_path

    with suppress(OSError):
        return user_cache_path("layerpreview", ensure_exists=True)
    return None


@lru_cache(maxsize=1)
def program_state() -> str:
    """Another text for another state of this program: it may make other numbers."""
    home = Path(__file__).parent
    found = sorted(path for path in home.rglob("*") if path.suffix != ".pyc" and path.is_file())
    return repr([(str(path), state.st_size, state.st_mtime_ns) for path in found for state in [path.stat()]])


def write_whole(path: Path, data: bytes | memoryview) -> bool:
    """Write a file of the cache folder whole or not at all; whether it could be."""
    work = ""
    with suppress(OSError):
        handle, work = tempfile.mkstemp(prefix=_WORK, dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.replace(work, path)
        return True
    if work:
        with suppress(OSError):
            os.unlink(work)
    return False


def tidy(folder: Path, pattern: str, most_bytes: int) -> None:
    """Take away the files that were not used for the longest time, until the rest takes no more."""
    with suppress(OSError):
        files = sorted(((path.stat(), path) for path in folder.glob(pattern)), key=lambda one: -one[0].st_mtime_ns)
        together = 0
        for state, path in files:
            together += state.st_size
            if together > most_bytes:
                path.unlink()
        for path in folder.glob(f"{_WORK}*"):  # of a process that was killed while it wrote
            if time.time() - path.stat().st_mtime > _WORK_LEFT_S:
                path.unlink()


def _path(kind: str, key: Iterable[bytes | str]) -> Path | None:
    folder = cache_folder()
    if folder is None:
        return None
    told = hashlib.sha256(f"{program_state()} {np.__version__}".encode())
    for part in key:
        data = part.encode() if isinstance(part, str) else part
        told.update(len(data).to_bytes(8, "little") + data)
    return folder / f"made-{kind}-{told.hexdigest()[:24]}.npz"


def _read(path: Path | None) -> tuple[Array, ...] | None:
    # What a broken archive raises is not for us to list; a changed byte is found by the archive's own sums.
    with suppress(Exception):
        if path is not None and path.stat().st_size <= MOST_BYTES_EACH:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as held:
                found = tuple(held[f"arr_{i}"] for i in range(len(held.files)))
            os.utime(path)
            return found
    return None


def _write(path: Path, made: tuple[Array, ...]) -> None:
    if sum(array.nbytes for array in made) < MOST_BYTES_EACH - 2**16:
        out = io.BytesIO()
        np.savez(out, *made)
        if write_whole(path, out.getbuffer()):
            tidy(path.parent, "made-*.npz", MOST_BYTES)
