"""Laws that take seconds to solve, kept in the user's cache folder from one run to the next.

A file that is not there, not whole or of another version is solved anew; where the folder cannot be written to nothing
is kept. The folder may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from contextlib import suppress
from pathlib import Path
from threading import Lock
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import BodyLaw, Light, MetalBase, body_law

VERSION = 1
"""Of what a law holds: another one when the solver changes."""
MOST_FILES = 24
_solving = Lock()


def kept_body_law(base: MetalBase, light: Light) -> BodyLaw:
    """`film.body_law`, from the cache where it is there; the same numbers whether it was or not."""
    path = _path(base, light)
    found = None if path is None else _read(path)
    return _solved(base, light, path) if found is None else found


def _solved(base: MetalBase, light: Light, path: Path | None) -> BodyLaw:
    """One at a time: solving takes some 300 MB, and who waited may find it done."""
    with _solving:
        if path is not None and (found := _read(path)) is not None:
            return found
        solved = body_law(base, light)
        numbers = _short(solved.numbers)
        if path is not None:
            _write(path, numbers, solved.denominator)
        return BodyLaw(numbers.astype(np.float32), solved.denominator)


def _short(numbers: NDArray[np.float32]) -> NDArray[np.float16]:
    """Half precision: a thousandth of each number, less than the law's own error; what is beyond it is its largest."""
    most = float(np.finfo(np.float16).max)
    return np.clip(numbers, -most, most).astype(np.float16)


def _path(base: MetalBase, light: Light) -> Path | None:
    from platformdirs import user_cache_path

    said = f"{VERSION} {base!r} {light!r}"
    with suppress(OSError):
        return (
            user_cache_path("layerpreview", ensure_exists=True)
            / f"law-{hashlib.sha256(said.encode()).hexdigest()[:20]}.npz"
        )
    return None


def _read(path: Path) -> BodyLaw | None:
    # What is no archive numpy leaves open, were it not for the file. A broken one may claim a format that is not read.
    with (
        suppress(OSError, ValueError, KeyError, EOFError, BadZipFile, NotImplementedError),
        path.open("rb") as file,
        np.load(file) as held,
    ):
        u, v = (float(q) for q in held["denominator"])
        return BodyLaw(held["numbers"].astype(np.float32), (u, v))
    return None


def _write(path: Path, numbers: NDArray[np.float16], denominator: tuple[float, float]) -> None:
    work = ""
    with suppress(OSError):
        handle, work = tempfile.mkstemp(prefix=".law-", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            np.savez(file, numbers=numbers, denominator=np.array(denominator))
        os.replace(work, path)
        for old in sorted(path.parent.glob("law-*.npz"), key=os.path.getmtime)[:-MOST_FILES]:
            old.unlink()
        return
    if work:
        with suppress(OSError):
            os.unlink(work)
