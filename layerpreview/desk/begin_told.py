"""What the page says of a photo, read, and what it is told of the part in it: rings in pixels of the photo."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from layerpreview.desk.begin import Traced
from layerpreview.desk.page_words import page_words
from layerpreview.errors import InputError, Problem
from layerpreview.surface.bent import Pull
from layerpreview.surface.outline import Points
from layerpreview.workflows.photo_options import PhotoOptions
from layerpreview.workflows.photo_words import sure_line
from layerpreview.workflows.photographed import Photographed

MOST_POINTS = 600
MOST_PULLS = 200
_SLIM_PX = 0.4
_FARTHEST_PX = 100_000.0
LONGEST_WORD = 200


def options_asked(body: Mapping[str, Any]) -> PhotoOptions:
    """What is known of a photo, as it would be typed after `layerpreview start`. Raises InputError.

    `at`, `background`: [x, y] shares of the photo; `marks`: {"from", "to": such points, "length": text}; `part_width`,
    `depth`, `paper`, `kind`, `back`: text.
    """
    marks = body.get("marks")
    if marks is not None:
        if not isinstance(marks, dict):
            raise _not_understood("marks")
        ends = f"{_share(marks.get('from'), 'marks')},{_share(marks.get('to'), 'marks')}"
        marks = f"{ends} = {_word(marks, 'length') or ''}"
    points = {name: None if body.get(name) is None else _share(body[name], name) for name in ("at", "background")}
    turn_deg = body.get("turn_deg", 0.0)
    if not _is_number(turn_deg) or abs(turn_deg) > 360.0:
        raise _not_understood("turn_deg")
    return PhotoOptions(
        part_width=_word(body, "part_width"),
        paper=_word(body, "paper"),
        marks=marks,
        at=points["at"],
        background=points["background"],
        turn_deg=float(turn_deg),
        kind=_word(body, "kind") or "metal",
        depth=_word(body, "depth"),
        back="mirrored" if body.get("back") is True else None,
    )


def one_of(body: Mapping[str, Any], name: str, known: Collection[str]) -> str | None:
    """The word that is asked for where it is one of `known`; None for anything else, of whatever type."""
    value = body.get(name)
    return value if isinstance(value, str) and value in known else None


def pulls_asked(body: Mapping[str, Any]) -> list[Pull]:
    """Where the line was pulled: [x, y, to the right, down, reach] each, in pixels of the photo. Raises InputError."""
    asked = body.get("pulls", [])
    if not isinstance(asked, list) or len(asked) > MOST_PULLS:
        raise _not_understood("pulls")
    for one in asked:
        good = isinstance(one, list) and len(one) == 5 and all(map(_is_number, one))
        if not good or not all(abs(value) < _FARTHEST_PX for value in one) or one[4] < 1.0:
            raise _not_understood("pulls")
    return [Pull(*map(float, one)) for one in asked]


def keep_asked(body: Mapping[str, Any], traced: Traced) -> list[bool]:
    """Which openings are kept; where nothing is said of them, those that were found to be some."""
    asked = body.get("keep")
    if asked is None:
        return [one.open for one in traced.openings]
    if not isinstance(asked, list) or not all(isinstance(one, bool) for one in asked):
        raise _not_understood("keep")
    return asked


def told(traced: Traced, seen: Photographed, *, command: str) -> dict[str, Any]:
    """All the page shows of a part in a photo; `seen` is it as it is mended now."""
    sure, outline = seen.sureness, seen.part.outline
    size = {"width_mm": round(outline.width_mm, 1), "height_mm": round(outline.height_mm, 1)}
    return {
        "width_px": seen.picture.width_px,
        "height_px": seen.picture.height_px,
        "outer": _ring(traced.found.traced.rings_px()[0]),
        "openings": [{"ring": _ring(one.ring), "open": one.open} for one in traced.openings],
        "beside": [_ring(ring) for ring in seen.beside],
        "verdict": sure.verdict,
        "against": [page_words(line, Path()) for line in sure.against],
        "figures": sure_line("part", sure).rpartition("\n")[2].strip(),
        "known": traced.known,
        "size": size if traced.known else None,
        "mm_per_px": seen.part.square.mm_per_px if traced.known else None,
        "scale": page_words(seen.scale, Path()) if traced.known else None,
        "notes": [page_words(line, Path()) for line in seen.notes],
        "command": command,
    }


def _ring(ring: Points) -> list[list[float]]:
    line = shapely.LinearRing(ring)
    slim = shapely.get_coordinates(line.simplify(_SLIM_PX))[:-1]
    step = max(1, math.ceil(len(slim) / MOST_POINTS))
    found: list[list[float]] = np.round(slim[::step], 1).tolist()
    return found


def _share(point: object, name: str) -> str:
    """A point [x, y] as shares 0..1 as it is typed: "40%,55%"."""
    if not (isinstance(point, list) and len(point) == 2 and all(_is_number(v) and 0 <= v <= 1 for v in point)):
        raise _not_understood(name)
    return ",".join(f"{100 * float(value):.2f}%" for value in point)


def _word(body: Mapping[str, Any], name: str) -> str | None:
    value = body.get(name)
    if value is None or value == "":
        return None
    if not isinstance(value, str) or len(value) > LONGEST_WORD:
        raise _not_understood(name)
    return value


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _not_understood(name: str) -> InputError:
    return InputError(Problem("this is not what the desk understands", "load the page again", field=name))
