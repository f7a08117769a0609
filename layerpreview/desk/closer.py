"""Closer to this: recipes for a wanted colour, and the chosen one written into the scheme.

POST reach {target: "#74561f" | "62, 12, 48" | {l, a, b}, coat: number of state.coats or null for the first of dye,
dyes: [names] | ["library"] or null for the scheme's own, reading: "mean" | "hue", within_de00, and the limits of
`reach` by name}: a task whose result is that of `told`, the best so far while it runs. POST take {task, index, base}:
the alternative of that number becomes the coat, in one change that undo takes back.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.readings import Readings
from layerpreview.answers.recipes import Alternative, Reached
from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    JUST_SEEN_DE00,
    XYZ_TO_RGB_LIN,
    delta_e_2000,
    lab_to_xyz,
    rgb_lin_to_hex,
    visibility,
)
from layerpreview.desk.found import from_here
from layerpreview.desk.jobs import OpenJob, Read
from layerpreview.desk.surveyed import surveyed
from layerpreview.desk.tasks import Task
from layerpreview.desk.tell import range_told
from layerpreview.errors import InputError, Problem, typed
from layerpreview.finish.texture import is_textured
from layerpreview.job.figures import otherwise_needed_mL
from layerpreview.output.reach_result import notes_of
from layerpreview.scheme import DyeCoat, Scheme, library_names
from layerpreview.scheme.edit import LARGEST_NUMBER, Change
from layerpreview.scheme.fields import FILM_WORDS_UM, film
from layerpreview.workflows.atlas_asked import atlas_beside
from layerpreview.workflows.choices import target_from
from layerpreview.workflows.reach import Sought, limits_from, seek

F64 = NDArray[np.float64]
Body = Mapping[str, Any]

OPTIONS = {
    "strongest_per_L": "--strongest",
    "most_coats": "--most-coats",
    "films_um": "--films",
    "most_film_um": "--most-film",
    "most_dyes": "--most-dyes",
}
LONGEST_TARGET, MOST_DYES = 80, 60
HOW_HERE = "type it as #c88a3a, or as 62, 12, 48 for L*, a*, b*"
FIRST_MIX = "colour"
"""What the mix is called where a scheme has none yet."""


def asked(scheme: Scheme, body: Body) -> tuple[str, Sought, list[str]]:
    """The colour, what is looked for, and the options of the command that does the same. Raises InputError."""
    target = body.get("target")
    if isinstance(target, Mapping):
        target = ", ".join(f"{_number(target, name):.2f}" for name in "lab")
    if not isinstance(target, str) or len(target) > LONGEST_TARGET or "@" in target:
        raise InputError(Problem("a colour is wanted", 'write "#c88a3a" or "62, 12, 48"', field="target"))
    dyes = body.get("dyes")
    if dyes is not None and not (isinstance(dyes, list) and len(dyes) <= MOST_DYES and all(map(_is_text, dyes))):
        raise InputError(Problem("a list of names is wanted", field="dyes"))
    at = next((i for i, coat in enumerate(scheme.coats) if isinstance(coat, DyeCoat)), None)
    at = at if body.get("coat") is None else int(_number(body, "coat"))
    limits = _limits(body)
    within = {} if body.get("within_de00") is None else {"within_de00": _number(body, "within_de00")}
    reading = body.get("reading") or body.get("for") or "mean"
    if not _is_text(reading):
        raise InputError(Problem("a text is wanted", field="reading"))
    sought = Sought(
        dyes=dyes,
        limits=limits_from(**limits),
        within_de00=within.get("within_de00", JUST_SEEN_DE00),
        coat=None if at is None else at + 1,
        reading=reading,
    )
    options = [
        *(["--coat", str(at + 1)] if at is not None else []),
        *(["--reading", reading] if reading != "mean" else []),
    ]
    options += [word for name in dyes or () for word in ("--dyes", name)]
    options += [word for name, value in limits.items() for word in (OPTIONS[name], f"{value}")]
    options += [word for value in within.values() for word in ("--within", f"{value:g}")]
    return target, sought, options


def _limits(body: Body) -> dict[str, Any]:
    """The painter's limits that are told, as `limits_from` takes them."""
    found: dict[str, Any] = {}
    for name in OPTIONS:
        if body.get(name) is None:
            continue
        if name == "films_um":
            if not _is_text(body[name]):
                raise InputError(Problem("a text is wanted", "write 20,40,65", field=name))
            found[name] = body[name]
        else:
            number = _number(body, name)
            found[name] = int(number) if name in ("most_coats", "most_dyes") else number
    return found


def command(job: OpenJob, target: str, options: Sequence[str]) -> str:
    """What is typed to the same end."""
    return " ".join(["layerpreview reach", *map(typed, (from_here(job.path), target, *options))])


def reach(task: Task, read: Read, target: str, sought: Sought) -> dict[str, Any]:
    """Look for it, and tell what is best so far again and again."""
    task.say("looking at the part")
    found = surveyed(read)
    try:
        target_from(target, read.scheme, found.spots)
    except InputError as error:
        raise InputError([Problem(problem.rule, HOW_HERE) for problem in error.problems]) from None
    result: dict[str, Any] = {}
    sought = replace(sought, atlas=atlas_beside(read.scheme.file), atlas_must=False)
    for best in seek(read.scheme, target, sought, parts=read.shapes, spots=found.spots):
        result = told(read, best, target, sought)
        task.say(f"searching: {best.nearest_de00:.1f} away so far", result)
    return {**result, "settled": True}


def told(read: Read, found: Reached, target: str, sought: Sought) -> dict[str, Any]:
    """What the page is told of the recipes found."""
    scheme, spot, readings = read.scheme, found.ground.spot, found.readings
    assert readings is not None
    at = None if sought.coat is None else sought.coat - 1
    return {
        "wanted": {"typed": target, "words": found.wanted, **_colour(readings.mean[0])},
        "textured": is_textured(spot.base),
        "light": scheme.lights[0],
        "coat": at,
        "mix": _mix(scheme, at),
        "place": spot.name,
        "reading": readings.chosen,
        "readings": _readings(readings),
        "settled": False,
        "reached": found.reached,
        "nearest_de00": round(found.nearest_de00, 2),
        "verdict": found.verdict,
        "alternatives": [_alternative(read, one, i, at, readings) for i, one in enumerate(found.alternatives)],
        "advice": list(found.advice),
        "notes": list(notes_of(found)),
    }


def _readings(readings: Readings) -> dict[str, Any]:
    base = _colour(readings.bare[0])
    return {
        "mean": {"words": "the mean colour of the part is this very colour", **_colour(readings.mean[0])},
        "hue": {
            "words": f"the same hue and depth over this base, which is itself L* {base['lab'][0]:.0f}",
            **_colour(readings.hue[0]),
            "base": base,
        },
    }


def _alternative(read: Read, one: Alternative, index: int, at: int | None, readings: Readings) -> dict[str, Any]:
    scheme, here = read.scheme, surveyed(read)
    word = _film_word(scheme, one.film_um)
    wet = scheme.film_of_word(word) if word else film(f"{one.film_um:g} um")
    volume = (
        None if at is None else otherwise_needed_mL(scheme, at, read.shapes, here.builds, coats=one.coats, film_um=wet)
    )
    first = np.array(one.lab[scheme.lights[0]])
    return {
        "index": index,
        "words": f"{_mix(scheme, at) or FIRST_MIX} {one.coats} coat{'' if one.coats == 1 else 's'}",
        "mix": _mix(scheme, at),
        "strengths": [
            {"dye": name, "amount": f"{value:g} {one.units[name]}", "value": value, "unit": one.units[name]}
            for name, value in one.strengths.items()
        ],
        "coats": one.coats,
        "film_um": one.film_um,
        "film_word": word,
        "total_film_um": one.total_film_um,
        "volume_mL": None if volume is None else range_told(volume),
        "colour": one.srgb,
        "lab": [round(v, 2) for v in one.lab[scheme.lights[0]]],
        "de00": round(one.worst_de00, 2),
        "de00_by": {light: round(value, 2) for light, value in one.de00.items()},
        "mean_de00": round(float(delta_e_2000(first, readings.mean[0])), 2),
        "stripes_de00": round(one.stripes_de00, 2),
        "stripes": visibility(one.stripes_de00),
        "best_at": list(one.best_at),
    }


def changes_of(text: str, scheme: Scheme, result: Mapping[str, Any], index: object) -> tuple[list[Change], str]:
    """The changes that make an alternative the coat it was found for, and what was done in words.

    A mix that other coats take, too, stays as it is: the coat gets one of its own with the same carrier.
    """
    at, one = result["coat"], _chosen(result, index)
    amounts = {part["dye"]: part["amount"] for part in one["strengths"]}
    wet = one["film_word"] or f"{one['film_um']:g} um"
    told = f"closer to {result['wanted']['typed']}: {one['words']}"
    new = [name for name in amounts if name not in scheme.dyes and name in library_names()]
    changes = [Change("set", ("dye", name), {"library": name}) for name in new]
    if at is None and not any(isinstance(coat, DyeCoat) for coat in scheme.coats):
        name = _free(scheme, FIRST_MIX)
        changes.append(Change("set", ("mix", name), {"dyes": amounts}))
        changes.append(Change("add", ("coat",), {"mix": name, "coats": one["coats"], "film": wet}))
        return changes, told
    coat = scheme.coats[at] if at is not None and at < len(scheme.coats) else None
    if not isinstance(coat, DyeCoat) or coat.mix != result["mix"]:
        raise InputError(Problem("the coats have changed since this was looked for", "look for it again"))
    if sum(isinstance(other, DyeCoat) and other.mix == coat.mix for other in scheme.coats) > 1:
        name = _free(scheme, coat.mix)
        written = tomllib.loads(text)["mix"][coat.mix]
        changes.append(Change("set", ("mix", name), {**written, "dyes": amounts}))
        changes.append(Change("set", ("coat", at, "mix"), name))
    else:
        changes.append(Change("set", ("mix", coat.mix, "dyes"), amounts))
    changes.append(Change("set", ("coat", at, "coats"), one["coats"]))
    changes.append(Change("set", ("coat", at, "film"), wet))
    return changes, told


def _free(scheme: Scheme, name: str) -> str:
    """A name like this that no mix has yet."""
    names = (name, *(f"{name} {n}" for n in range(2, len(scheme.mixes) + 3)))
    return next(free for free in names if free not in scheme.mixes)


def _chosen(result: Mapping[str, Any], index: object) -> Mapping[str, Any]:
    alternatives = result["alternatives"]
    if not isinstance(index, int) or not 0 <= index < len(alternatives):
        raise InputError(Problem("there is no such alternative", "look for it again"))
    found: Mapping[str, Any] = alternatives[index]
    return found


def _mix(scheme: Scheme, at: int | None) -> str | None:
    coat = None if at is None else scheme.coats[at]
    return coat.mix if isinstance(coat, DyeCoat) else None


def _film_word(scheme: Scheme, film_um: float) -> str | None:
    return next((word for word in FILM_WORDS_UM if scheme.film_of_word(word).likely == film_um), None)


def _colour(lab: F64) -> dict[str, Any]:
    rgb = lab_to_xyz(lab, white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    return {"colour": rgb_lin_to_hex(rgb), "lab": [round(float(value), 2) for value in lab]}


def _is_text(value: object) -> bool:
    return isinstance(value, str) and 0 < len(value) <= LONGEST_TARGET and value.isprintable()


def _number(body: Body, name: str) -> float:
    value = body.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= LARGEST_NUMBER:
        raise InputError(Problem("a number is wanted", field=name))
    return float(value)
