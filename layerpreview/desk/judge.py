"""What to judge by: how evenly a hand lays it, how pale or deep it may come out, and what a screen cannot show.

GET evenness {hand: "flat" | "good" | "hurried", known}: figures, and for every face two maps of one byte a point, row
by row, as base64: `film`, 0 beside the part, 1 to 255 for `low` to `high` times the dye that is meant there; `shown`,
0 beside the part or where an opaque coat or none is on top, 1 to 255 for 0 to `most_de00` (CIEDE2000 to the mean
colour); and `laid`, what the live picture lays over the part (`output.live_laid`). `sign` tells all that it depends
on: where that is `known` the answer is {same: true}, and nothing is made.
POST twins {}: a task whose result has a pale, a likely and a deep twin, each with `factors` of the coats' builds.
GET gamut {light}: the share of the part outside the screen's colours.
"""

from __future__ import annotations

import base64
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.evenness import Part, dye_build, local_de00
from layerpreview.answers.gun import GunSet, gun_set
from layerpreview.answers.hand import Laying, laid_by, part_for
from layerpreview.answers.tolerance import RUNS, Tolerance, dyed_among
from layerpreview.answers.twins import Twin, twins_of
from layerpreview.colour import JUST_SEEN_DE00, LIGHT_NAMES, NOT_ACCEPTED_DE00, visibility
from layerpreview.desk.jobs import Read
from layerpreview.desk.picture import textures
from layerpreview.desk.steps import version_of
from layerpreview.desk.surveyed import surveyed
from layerpreview.desk.tasks import Task
from layerpreview.errors import InputError, Problem, typed
from layerpreview.output.evenness_result import MAP_RANGE, NOTE, hand_words, stripes_words
from layerpreview.output.live_kept import Data
from layerpreview.output.live_laid import laid_face
from layerpreview.output.live_textures import Texture
from layerpreview.output.tolerance_result import tolerance_lines
from layerpreview.picture.render import render
from layerpreview.picture.scene import make_scene
from layerpreview.spray.passes import HANDS
from layerpreview.threads import Made
from layerpreview.workflows.choices import MARGIN

F32 = NDArray[np.float32]

MOST_DE00 = 2.0 * NOT_ACCEPTED_DE00
WIDTH_PX = 560
GAMUT_PX = 320
SEED = 7
_parts: Made[tuple[Part, GunSet]] = Made(1)
_maps: Made[tuple[dict[str, Any], dict[str, Data]]] = Made(3)
_gamut: Made[float] = Made(8)


def evenness(read: Read, hand: str, known: str = "") -> dict[str, Any]:
    """How evenly a hand lays the part; nothing is made where that is `known`.

    Raises InputError for no such hand, and PictureError.
    """
    if hand not in HANDS:
        raise InputError(Problem("no such hand", f"use one of {', '.join(HANDS)}", field="hand", value=hand))
    sign = _sign(read)
    if known == sign:
        return {"hand": hand, "sign": sign, "same": True}
    found, files = _maps.get((sign, hand), lambda: _told(read, hand, *_parts.get(sign, lambda: _part(read))))
    textures.add(files)
    return {**found, "hand": hand, "sign": sign, "same": False}


def _sign(read: Read) -> str:
    """Eight signs for what it depends on how evenly a hand lays the part: not on names, prices, times or the clear's
    coats, so that such changes leave it as it is."""
    scheme = read.scheme
    bases = scheme.base, sorted(scheme.bases_of.items()), scheme.coated_alike, scheme.clear.finish
    coats = scheme.coats, sorted(scheme.mixes.items()), sorted(scheme.dyes.items()), scheme.gun
    return version_of(repr((scheme.faces, bases, coats, scheme.lights[0], scheme.observer_deg, read.stamps)))


def _part(read: Read) -> tuple[Part, GunSet]:
    gun = gun_set(read.scheme, read.shapes[0].outline)
    scene = make_scene(read.scheme, width_px=WIDTH_PX, margin=MARGIN, shapes=read.shapes)
    return part_for(read.scheme, gun, width_mm=scene.width_px * scene.pixel_mm), gun


def _told(read: Read, hand: str, part: Part, gun: GunSet) -> tuple[dict[str, Any], dict[str, Data]]:
    """What the page is told, and the textures that it names."""
    laying = laid_by(part, gun, hand)
    stripes, shown = laying.stripes, stripes_words(laying.stripes.stripes_de00)
    words = hand_words(hand)
    faces = [_face(read, laying, i) for i in range(len(laying.faces))]
    told = {
        "hands": [{"name": name, "words": hand_words(name)} for name in HANDS],
        "light": read.scheme.lights[0],
        "stripes_de00": round(stripes.stripes_de00, 3),
        "typical_de00": round(stripes.typical_de00, 3),
        "share_just_seen": round(stripes.share_just_seen, 4),
        "verdict": stripes.verdict,
        "words": f"{words[0].upper()}{words[1:]}: stripes {shown} dE00 ({stripes.verdict})",
        "gun": gun.words,
        "notes": [*gun.notes, NOTE],
        "low": 1.0 - MAP_RANGE,
        "high": 1.0 + MAP_RANGE,
        "most_de00": MOST_DE00,
        "steps": _steps(),
        "faces": [face for face, _ in faces],
    }
    return told, {made.name: made.data for _, made in faces}


def _steps() -> list[dict[str, Any]]:
    """From which CIEDE2000 on it is how visible, in the words that every verdict is told in."""
    limits = 0.0, JUST_SEEN_DE00, NOT_ACCEPTED_DE00
    return [{"from_de00": limit, "words": visibility(limit + 0.01)} for limit in limits]


def _face(read: Read, laying: Laying, number: int) -> tuple[dict[str, Any], Texture]:
    face, grid = laying.faces[number], laying.faces[number].grid
    build = dye_build(read.scheme, face)
    de, judged = local_de00(face, laying.part.looks[number]), laying.part.counts[number]
    laid, made = laid_face(face, de, judged)
    told = {
        "name": face.name,
        "cols": grid.n_cols,
        "rows": grid.n_rows,
        "pixel_mm": round(grid.pixel_mm, 4),
        "at_mm": [round(grid.left_mm, 3), round(grid.top_mm, 3)],
        "film": coded(build, low=1.0 - MAP_RANGE, high=1.0 + MAP_RANGE, where=face.inside),
        "shown": coded(de, low=0.0, high=MOST_DE00, where=judged),
        "laid": laid,
    }
    return told, made


def coded(values: F32, *, low: float, high: float, where: NDArray[np.bool_]) -> str:
    """Values (P,) as bytes in base64: 1 for `low` and less to 255 for `high` and more, 0 not `where` (P,)."""
    code = np.rint(1.0 + 254.0 * np.clip((values - low) / (high - low), 0.0, 1.0))
    return base64.b64encode(np.where(where, code, 0).astype(np.uint8).tobytes()).decode("ascii")


def twins(task: Task, read: Read) -> dict[str, Any]:
    """A pale, a likely and a deep twin, at the place that stands for the finish. Raises NoAnswerError for no dye."""
    task.say("looking at the part")
    scheme = read.scheme
    spot = dyed_among(scheme, surveyed(read).spots, nothing="there is nothing to be unsure of")[0]
    task.say("trying it many times")
    found = twins_of(scheme, spot, within_de00=NOT_ACCEPTED_DE00, runs=RUNS, seed=SEED)
    said = tolerance_lines(scheme, Tolerance(scheme.lights[0], RUNS, SEED, (found.spread,), found.parts))
    return {
        "light": scheme.lights[0],
        "face": spot.face,
        "place": spot.name,
        "at_mm": [round(mm, 1) for mm in spot.at_mm],
        "pale": _twin(found.pale, "one in twenty comes out paler still"),
        "likely": _twin(found.likely, "as planned"),
        "deep": _twin(found.deep, "one in twenty comes out deeper still"),
        "share_within": round(found.spread.share_within, 4),
        "within_de00": found.spread.within_de00,
        "words": said[0],
        "notes": said[1:],
        "matters": [
            {"name": share.source.name, "share": round(share.variance_share, 3), "words": share.source.basis}
            for share in found.spread.shares
        ],
    }


def twins_command(scheme: str) -> str:
    """What is typed to the same end."""
    return f"layerpreview tolerance {typed(scheme)}"


def _twin(twin: Twin, words: str) -> dict[str, Any]:
    return {
        "factors": [round(factor, 4) for factor in twin.factors],
        "lab": [round(value, 2) for value in twin.lab],
        "colour": twin.srgb,
        "de00": round(twin.de00, 2),
        "words": words,
    }


def gamut(read: Read, light: str) -> dict[str, Any]:
    """The share of the part that a screen cannot show, flat and in even light. Raises InputError for no such light."""
    if light not in LIGHT_NAMES:
        raise InputError(Problem("no such light", f"use one of {', '.join(LIGHT_NAMES)}", field="light", value=light))

    def make() -> float:
        return render(read.scheme, light=light, width_px=GAMUT_PX).out_of_gamut

    share = _gamut.get((read.version, read.shapes, read.stamps, light), make)
    return {"light": light, "share": round(share, 5), "words": _gamut_words(share)}


def _gamut_words(share: float) -> str:
    if share < 0.0005:
        return "the screen can show every colour of the part"
    return f"{100.0 * share:.1f} % of the part is outside the screen's colours: it is shown duller than it will be"
