"""Dyes to choose from, a dye learnt from its card, and a colour picked from a photo.

GET dyes: {own, library}, own first; each with `add`, the place and value of the change ("set") that brings it into the
scheme. POST fit {card: id of what was handed over, name, strength, ...}: a task whose result has the dye's file, its
picture and words. POST colour-of {photo: id, x, y, size}: the mean colour of a spot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from layerpreview.colour import display_matrix, rgb_lin_to_hex
from layerpreview.desk.apart import run_apart
from layerpreview.desk.found import from_here
from layerpreview.desk.give import files_told
from layerpreview.desk.jobs import Read
from layerpreview.desk.spot import bares_of
from layerpreview.desk.tasks import Task
from layerpreview.desk.tell import source_told, swatch
from layerpreview.desk.uploads import Upload
from layerpreview.errors import InputError, LayerPreviewError, Problem, typed
from layerpreview.finish.layers import base_film
from layerpreview.finish.patches import per_mg_m2
from layerpreview.output.files import file_stem
from layerpreview.scheme import Dye, Scheme, library_names, load_dye, load_library_dye
from layerpreview.spray import load_mg_m2
from layerpreview.workflows.colour_of import USUAL_SIZE, colour_of
from layerpreview.workflows.fit_options import FitOptions
from layerpreview.workflows.places import dye_place

Body = Mapping[str, Any]

USUAL_G_PER_L, USUAL_FILM_UM = 0.8, 80.0
"""Pure dye of a mix of middling strength, 20 mL/L of what is sold at 40 g/L, and two medium coats of it (assumed)."""
MOST_FILES = 60
ENDING = ".dye.toml"
TEXTS = ("name", "strength", "film", "concentrate", "light", "observer", "base", "flake_spread", "geometry", "sprayed")
COMMAND = {name: f"--{name.replace('_', '-')}" for name in TEXTS}
LONGEST_TEXT = 120


def dyes_told(read: Read, folder: Path) -> dict[str, Any]:
    """All dyes there are for a job: its scheme's, other dye files of its folder, and the library's."""
    scheme = read.scheme
    own = [_dye(read, name, dye, used=True, to=None) for name, dye in scheme.dyes.items()]
    known = {path.resolve() for path in scheme.inputs}
    unread = []
    for path in sorted(folder.glob(f"*{ENDING}"))[:MOST_FILES]:
        if path.resolve() in known or path.name.startswith("."):
            continue
        try:
            dye = load_dye(path)
        except LayerPreviewError as error:
            unread.append(f"{path.name}: {str(error).splitlines()[0].partition(': ')[2]}")
            continue
        own.append(_dye(read, _free(scheme, dye.name), dye, used=False, to={"file": path.name}))
    library = [
        _dye(read, _free(scheme, name), load_library_dye(name), used=False, to={"library": name})
        for name in library_names()
    ]
    return {"own": own, "library": library, "problems": unread}


def _dye(read: Read, key: str, dye: Dye, *, used: bool, to: dict[str, str] | None) -> dict[str, Any]:
    strength = USUAL_G_PER_L if dye.concentrate_g_per_L is None else 1000.0 * USUAL_G_PER_L / dye.concentrate_g_per_L
    return {
        "name": key,
        "shown": dye.name,
        **source_told(dye),
        "used": used,
        "file": None if to is None else to.get("file"),
        "swatch": swatch(dye),
        "over_base": _over_base(read, dye),
        "strength": f"{strength:.3g} {'g/L' if dye.concentrate_g_per_L is None else 'mL/L'}",
        "add": None if to is None else {"at": ["dye", key], "to": to},
    }


def _over_base(read: Read, dye: Dye) -> str:
    """A middling load of it over the first face's base, in even light."""
    scheme, face = read.scheme, read.shapes[0].face.name
    load = np.array([[load_mg_m2(dye_g_per_L=USUAL_G_PER_L, wet_film_um=USUAL_FILM_UM)]])
    spectrum = base_film(scheme.base_for(face)).reflectance(load @ per_mg_m2([dye]), bares_of(read)[face])
    return rgb_lin_to_hex(display_matrix(scheme.lights[0], observer_deg=scheme.observer_deg) @ spectrum[0])


def _free(scheme: Scheme, name: str) -> str:
    names = (name, *(f"{name} {n}" for n in range(2, len(scheme.dyes) + 3)))
    return next(free for free in names if free not in scheme.dyes)


def spot_colour(upload: Upload, body: Body) -> dict[str, Any]:
    """The colour of a spot of a photo that was handed over. Raises InputError and PictureError."""
    x, y, size = (_number(body, name) for name in ("x", "y", "size"))
    found = colour_of(upload.path, x=x or 0.0, y=y or 0.0, size=USUAL_SIZE if size is None else size)
    return {
        "colour": found.srgb,
        "lab": [round(value, 2) for value in found.lab],
        "spread_de00": round(found.spread_de00, 2),
        "words": found.words,
        "pixels": found.pixels,
        "width_px": found.width_px,
        "height_px": found.height_px,
    }


def fit_asked(body: Body) -> dict[str, Any]:
    """What is said of a card, by the names of `FitOptions`. Raises InputError."""
    found: dict[str, Any] = {}
    for name in TEXTS:
        value = body.get(name)
        if value is None or value == "":
            continue
        if not isinstance(value, str) or len(value) > LONGEST_TEXT or not value.isprintable():
            raise InputError(Problem("a text is wanted", field=name))
        found[name] = value
    if (grey := _number(body, "grey")) is not None:
        found["grey"] = grey
    return found


def fit_command(upload: Upload, scheme: Path, said: Body, *, force: bool) -> str:
    """What is typed to the same end."""
    words = ["layerpreview", "fit", upload.name, "--for", from_here(scheme)]
    words += [word for name, value in said.items() for word in (COMMAND.get(name, "--grey"), f"{value}")]
    return " ".join(map(typed, [*words, *(["--force"] if force else [])]))


def fit(task: Task, scheme: Path, upload: Upload, said: Body, *, force: bool) -> dict[str, Any]:
    """Learn the dye and tell what was found; its file lies in the job's folder then."""
    task.say("learning the dye")
    place = dye_place(Path(upload.name), scheme)
    suffix = Path(upload.name).suffix or upload.path.suffix
    called = file_stem(Path(upload.name).stem, otherwise="card") + suffix.lower()
    asked = {"card": str(upload.path), "called": called, "options": dict(said), "force": force}
    made = run_apart(task, "fit", place.folder, asked)
    told = files_told(scheme.parent, place, made["files"])
    name = replace(FitOptions(), **said).name
    picture = next(file["address"] for file in told["files"] if file["name"] == made["picture"])
    add = {"at": ["dye", name], "to": {"file": made["dye_file"]}}
    return {"name": name, "dye_file": made["dye_file"], "lines": made["lines"], **told, "picture": picture, "add": add}


def _number(body: Body, name: str) -> float | None:
    value = body.get(name)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= 1e6:
        raise InputError(Problem("a number is wanted", field=name))
    return float(value)
