"""Laws that take seconds to solve, kept in the user's cache folder from one run to the next.

A file that is not there, not whole or of another version is solved anew; where the folder cannot be written to nothing
is kept. The folder may be deleted at any time.
"""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Mapping
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import BodyLaw, FacetLaw, Light, MetalBase, body_law, facet_law
from layerpreview.kept import cache_folder, write_whole

VERSION = 1
"""Of what a law holds: another one when a solver changes."""
MOST_BYTES = 64_000_000
MOST_FILES = 24
"""Of each kind: a body takes 9 MB, facets a third of one. Those that were not read for the longest time go."""
Held = Mapping[str, NDArray[np.generic]]
_solving, _solving_facets = Lock(), Lock()


def kept_body_law(base: MetalBase, light: Light) -> BodyLaw:
    """`film.body_law`, from the cache where it is there; the same numbers whether it was or not."""
    path = _path("law", f"{base!r} {light!r}")
    return _body_law(path) or _solved(base, light, path)


def _solved(base: MetalBase, light: Light, path: Path | None) -> BodyLaw:
    """One at a time: solving takes some 300 MB, and who waited may find it done."""
    with _solving:
        if (found := _body_law(path)) is not None:
            return found
        solved = body_law(base, light)
        numbers = _short(solved.numbers)
        _write(path, {"numbers": numbers, "denominator": np.array(solved.denominator)})
        return BodyLaw(numbers.astype(np.float32), solved.denominator)


def _body_law(path: Path | None) -> BodyLaw | None:
    held = _read(path, {"numbers": 3, "denominator": 1})
    if not held:
        return None
    u, v = (float(q) for q in held["denominator"])
    return BodyLaw(held["numbers"].astype(np.float32), (u, v))


def _short(numbers: NDArray[np.float32]) -> NDArray[np.float16]:
    """Half precision: a thousandth of each number, less than the law's own error; what is beyond it is its largest."""
    most = float(np.finfo(np.float16).max)
    return np.clip(numbers, -most, most).astype(np.float16)


@lru_cache(maxsize=8)
def kept_facet_law(base: MetalBase, light: Light, *, view_deg: float, view_azimuth_deg: float) -> FacetLaw:
    """`film.facet_law`, from the cache where it is there; the same numbers whether it was or not."""
    path = _path("facets", f"{base!r} {light!r} {float(view_deg)!r} {float(view_azimuth_deg)!r}")
    with _solving_facets:
        held = _read(path, {"numbers": 3, "denominator": 1, "error": 0})
        if held:
            u, v = (float(q) for q in held["denominator"])
            return FacetLaw(held["numbers"].astype(np.float32), (u, v), float(held["error"]))
        solved = facet_law(base, light, view_deg=view_deg, view_azimuth_deg=view_azimuth_deg)
        denominator, error = np.array(solved.denominator), np.array(solved.error)
        _write(path, {"numbers": solved.numbers, "denominator": denominator, "error": error})
        return solved


def _path(kind: str, depends_on: str) -> Path | None:
    folder, said = cache_folder(), f"{VERSION} {depends_on}"
    return None if folder is None else folder / f"{kind}-{hashlib.sha256(said.encode()).hexdigest()[:20]}.npz"


def _read(path: Path | None, axes: Mapping[str, int]) -> Held:
    """What a file holds: finite numbers of so many `axes`; nothing where it is not whole. It counts as used now."""
    # What is no archive numpy leaves open, were it not for the file. What a broken one raises is not for us to list.
    with suppress(Exception):
        if path is not None and path.stat().st_size <= MOST_BYTES:
            with path.open("rb") as file, np.load(file) as held:
                found = {name: held[name] for name in axes}
            numbers = all(found[n].ndim == axes[n] and bool(np.isfinite(found[n]).all()) for n in axes)
            if numbers and len(found["denominator"]) == 2:
                os.utime(path)
                return found
    return {}


def _write(path: Path | None, held: Held) -> None:
    if path is None:
        return
    out = io.BytesIO()
    np.savez(out, **held)  # type: ignore[arg-type]
    if write_whole(path, out.getbuffer()):
        kind = path.name.partition("-")[0]
        with suppress(OSError):
            for old in sorted(path.parent.glob(f"{kind}-*.npz"), key=os.path.getmtime)[:-MOST_FILES]:
                old.unlink()
