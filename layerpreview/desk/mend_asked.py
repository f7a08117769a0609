"""What is asked of a touch-up, read from the page's words: where the damage is and how it is repaired, and the command
that does the same."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from layerpreview.answers.feather import LEAST_FEATHER_MM, MOST_FEATHER_MM
from layerpreview.answers.touch_up import DEPTHS, TEXTURES
from layerpreview.desk.found import from_here
from layerpreview.desk.jobs import Read
from layerpreview.errors import InputError, PictureError, Problem, typed
from layerpreview.picture.faces import FaceShape
from layerpreview.spray.passes import HANDS
from layerpreview.surface.damage import LEAST_MM2, damage_of_ring
from layerpreview.workflows.fade import MOST_YEARS

Body = Mapping[str, Any]

KIND = "touch-up"
MOST_CORNERS = 200
TOUCH_ROUND = "touch round the damage, corner after corner"


@dataclass(frozen=True)
class Wanted:
    """What is asked for: corners [mm] on a face and how it is repaired, in the words of the workflow."""

    face: str
    corners_mm: tuple[tuple[float, float], ...]
    depth: str
    texture: str
    hand: str
    feather_mm: float | None
    years: float

    def options(self) -> dict[str, Any]:
        """As the workflow takes them."""
        feather = None if self.feather_mm is None else f"{self.feather_mm:g} mm"
        damage = " ".join(f"{x:.1f},{y:.1f}" for x, y in self.corners_mm) + " mm"
        told = {"face": self.face, "damage": damage, "depth": self.depth, "texture": self.texture, "hand": self.hand}
        return {**told, "feather": feather}


def asked(read: Read, body: Body) -> Wanted:
    """What is wanted of the repair. Raises InputError with one line for each thing that cannot be used."""
    problems: list[Problem] = []
    for name, words, known in (
        ("depth", "sanded through", DEPTHS),
        ("texture", "texture of the base", TEXTURES),
        ("hand", "hand", tuple(HANDS)),
    ):
        if body.get(name) not in known:
            problems.append(Problem("choose one of those that are there", field=words))
    feather_mm, years = body.get("feather_mm"), body.get("years", 0)
    if feather_mm is not None and not _between(feather_mm, LEAST_FEATHER_MM, MOST_FEATHER_MM):
        rule = f"a width from {LEAST_FEATHER_MM:g} to {MOST_FEATHER_MM:g} mm is wanted"
        problems.append(Problem(rule, field="feather"))
    if not _between(years, 0.0, MOST_YEARS):
        problems.append(Problem(f"a number from 0 to {MOST_YEARS:g} is wanted", field="years in a room"))
    elif years and not any(dye.light_fastness for dye in read.scheme.dyes.values()):
        remedy = "write light_fastness = 4 or so to a dye of the scheme (its sheet has it), or leave the years at 0"
        problems.append(Problem("of no dye is known how it stands light", remedy, field="years in a room"))
    try:
        face, corners_mm = _corners(read, body.get("places"))
    except InputError as error:
        problems += error.problems
    if problems:
        raise InputError(problems)
    feather_mm = None if feather_mm is None else float(feather_mm)
    return Wanted(face, corners_mm, body["depth"], body["texture"], body["hand"], feather_mm, float(years))


def command(scheme: Path, wanted: Wanted, *, force: bool) -> str:
    """What is typed to the same end."""
    options = {f"--{name}": value for name, value in wanted.options().items() if value is not None}
    if wanted.depth != "base":
        del options["--texture"]
    if wanted.years > 0:
        options["--years-room"] = f"{wanted.years:g}"
    words = ["layerpreview", KIND, from_here(scheme), *(word for option in options.items() for word in option)]
    return " ".join(map(typed, [*words, *(["--force"] if force else [])]))


def shape_named(read: Read, name: object) -> FaceShape:
    """The shape of a face. Raises InputError for one there is not."""
    found = next((shape for shape in read.shapes if shape.face.name == name), None)
    if found is None:
        raise InputError(Problem("the part has no such face", TOUCH_ROUND, field="face"))
    return found


def _corners(read: Read, places: object) -> tuple[str, tuple[tuple[float, float], ...]]:
    """The face of the first place, and all corners on it, which must enclose something there."""
    if not isinstance(places, list) or not 3 <= len(places) <= MOST_CORNERS or not all(map(_is_place, places)):
        raise InputError(Problem("three places or more are wanted", TOUCH_ROUND, field="damage"))
    shape = shape_named(read, places[0]["face"])
    name, outline = shape.face.name, shape.outline
    if any(place["face"] != name for place in places):
        raise InputError(Problem(f"all places must lie on one face, {name}", "take back the others", field="damage"))
    ring = np.array([[place["x_mm"], place["y_mm"]] for place in places], dtype=np.float64)
    if outline.wraps and np.abs(np.diff(ring[:, 0], append=ring[0, 0])).max() > 0.5 * outline.width_mm:
        rule = "the line crosses the seam, where the drawing of the shell begins and ends"
        raise InputError(Problem(rule, "give it in two halves, one after the other", field="damage"))
    try:
        damage_of_ring(outline, ring)
    except PictureError:
        rule = "the line crosses itself or has nothing inside"
        raise InputError(Problem(rule, f"begin again, and {TOUCH_ROUND}", field="damage")) from None
    except InputError:
        rule = f"what lies inside the line is off the face, or smaller than {LEAST_MM2:g} mm2"
        raise InputError(Problem(rule, "touch it closer up", field="damage")) from None
    return name, tuple((float(x), float(y)) for x, y in ring)


def _is_place(place: object) -> bool:
    return isinstance(place, dict) and all(_between(place.get(name), -1e5, 1e5) for name in ("x_mm", "y_mm"))


def _between(value: object, low: float, high: float) -> bool:
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return is_number and math.isfinite(value) and low <= value <= high  # type: ignore[arg-type,operator]
