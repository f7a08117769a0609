"""A touch-up, at the desk and on the shop's phone: where the damage is, how it is repaired, what that will look like.

GET mend: the job's faces, with the address of a flat picture of each. POST mend {places: [{face, x_mm, y_mm}], depth,
texture, hand, feather_mm, years, force}: a task whose result is what `_result` gives; its files are those that the
command writes. The damage is what lies inside the line from place to place, on the face of the first.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
from PIL import Image

from layerpreview.answers.feather import LEAST_FEATHER_MM, MOST_FEATHER_MM
from layerpreview.answers.touch_up import DEPTHS, TEXTURES
from layerpreview.desk.apart import run_apart
from layerpreview.desk.asked import OPENING, looked_at, read_of, text_in
from layerpreview.desk.desk import Desk
from layerpreview.desk.found import from_here
from layerpreview.desk.give import files_told
from layerpreview.desk.guard import confined
from layerpreview.desk.jobs import Read
from layerpreview.desk.memory import give_back
from layerpreview.desk.picture import FRAME_QUALITY
from layerpreview.desk.tasks import Task
from layerpreview.desk.tell import light_words, rounded
from layerpreview.errors import InputError, PictureError, Problem, typed
from layerpreview.output.pictures import small_pictures
from layerpreview.output.touch_up_result import AFTER, BEFORE, DIFFERENCE, SHEET, UNTOUCHED
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.scene import appearances_of, make_scene
from layerpreview.spray.passes import HANDS
from layerpreview.surface.damage import LEAST_MM2, damage_of_ring
from layerpreview.threads import Made
from layerpreview.workflows.fade import MOST_YEARS
from layerpreview.workflows.places import Place, results_place

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]

KIND = "touch-up"
PICTURES = {"sheet": SHEET, "untouched": UNTOUCHED, "before": BEFORE, "after": AFTER, "difference": DIFFERENCE}
TOLD = (
    *("face", "depth", "hand", "feather_mm", "smallest_feather_mm", "verdict", "advice", "steps", "mixes", "work"),
    *("cautions", "picture_px", "close_up_px"),
)
"""What the page is told of the command's document."""
FACE_PX = 1100
MOST_CORNERS = 200
TOUCH_ROUND = "touch round the damage, corner after corner"
_faces: Made[bytes] = Made(4)


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


def get_mend(desk: Desk, words: Words) -> Answer:
    """The faces there are to touch."""
    job = looked_at(desk, words)
    read = read_of(job)
    faces = [_face(read, shape) for shape in read.shapes]
    told = {"opening": job.opening, "version": read.version, "name": read.scheme.name, "faces": faces}
    return 200, {**told, "units": read.scheme.shop.units, "feather_mm": [LEAST_FEATHER_MM, MOST_FEATHER_MM]}


def post_mend(desk: Desk, words: Words, body: Body) -> Answer:
    """See the repair."""
    job = looked_at(desk, body)
    read, force = read_of(job), body.get("force") is True
    wanted = asked(read, body)

    def work(task: Task) -> dict[str, Any]:
        return mend(task, job.path, wanted, force=force)

    kept = {name: body.get(name) for name in ("places", "depth", "texture", "hand", "feather_mm", "years")}
    task = desk.tasks.begin(KIND, read.version, work, command=command(job.path, wanted, force=force), asked=kept)
    return 202, task.told(job.version, whole=True)


def get_task(desk: Desk, words: Words) -> Answer:
    """For a phone: a touch-up's task with its result, and no other."""
    job = desk.job(words.get(OPENING))
    return 200, _own(desk, words.get("id", "")).told(job.version, whole=True)


def post_stop(desk: Desk, words: Words, body: Body) -> Answer:
    """For a phone: stop a touch-up, and nothing else."""
    job, task = desk.job(body.get(OPENING)), _own(desk, text_in(body, "id"))
    task.stop()
    return 200, task.told(job.version, whole=True)


_Get = Callable[[Desk, Words], Answer]
_Post = Callable[[Desk, Words, Body], Answer]
GET: dict[str, _Get] = {"mend": get_mend}
POST: dict[str, _Post] = {"mend": post_mend}
PHONE_GET: dict[str, _Get] = {**GET, "task": get_task}
PHONE_POST: dict[str, _Post] = {**POST, "stop": post_stop}


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


def mend(task: Task, scheme: Path, wanted: Wanted, *, force: bool) -> dict[str, Any]:
    """Make it, and tell what it says and where it lies."""
    place = results_place(scheme, KIND)
    task.say("trying feathers from narrow to wide, and drawing the best")
    given = {"scheme": str(scheme), "options": wanted.options(), "years": wanted.years, "force": force}
    made = run_apart(task, KIND, place.folder, given)
    return _result(scheme.parent, place, made, task.id)


def face_picture(desk: Desk, words: Words) -> bytes:
    """A face flat, as JPEG, filling its box; the first where none is named. Raises InputError for one there is not."""
    read = read_of(looked_at(desk, words))
    name = words.get("face") or read.shapes[0].face.name
    shape = _shape(read, name)
    key: Hashable = (read.version, read.shapes, read.stamps, name)
    return _faces.get(key, lambda: _drawn(read, shape))


def picture_file(desk: Desk, name: str) -> Path | None:
    """A picture of the last touch-up of the job, None for anything else."""
    if desk.path is None or name not in PICTURES.values():
        return None
    return confined(results_place(desk.path, KIND).folder, name)


def _result(job: Path, place: Place, made: Mapping[str, Any], name: str) -> dict[str, Any]:
    told = {key: made["told"][key] for key in TOLD}
    pictures = {key: f"/touch-up/{file}?of={quote(name)}" for key, file in PICTURES.items()}
    return {**told, **files_told(job, place, made["files"]), "pictures": pictures, "light_words": light_words()}


def _face(read: Read, shape: FaceShape) -> dict[str, Any]:
    name, outline = shape.face.name, shape.outline
    return {
        "name": name,
        "width_mm": rounded(outline.width_mm),
        "height_mm": rounded(outline.height_mm),
        "base_kind": read.scheme.base_for(name).kind,
        "picture": f"/face.jpg?face={quote(name)}&of={read.version}{read.files}",
    }


def _drawn(read: Read, shape: FaceShape) -> bytes:
    alone = read.scheme.model_copy(update={"faces": (shape.face,)})
    scene = make_scene(alone, width_px=FACE_PX, shapes=[shape])
    (pixels,) = small_pictures(scene, appearances_of(alone, scene, alone.lights[:1]))
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=FRAME_QUALITY)
    give_back()
    return out.getvalue()


def _shape(read: Read, name: object) -> FaceShape:
    found = next((shape for shape in read.shapes if shape.face.name == name), None)
    if found is None:
        raise InputError(Problem("the part has no such face", TOUCH_ROUND, field="face"))
    return found


def _corners(read: Read, places: object) -> tuple[str, tuple[tuple[float, float], ...]]:
    """The face of the first place, and all corners on it, which must enclose something there."""
    if not isinstance(places, list) or not 3 <= len(places) <= MOST_CORNERS or not all(map(_is_place, places)):
        raise InputError(Problem("three places or more are wanted", TOUCH_ROUND, field="damage"))
    shape = _shape(read, places[0]["face"])
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


def _own(desk: Desk, name: str) -> Task:
    task = desk.tasks.get(name)
    if task.kind != KIND:
        raise InputError(Problem("this is no longer kept", "start it again"))
    return task
