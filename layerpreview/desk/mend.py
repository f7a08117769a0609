"""A touch-up, at the desk and on the shop's phone: where the damage is, how it is repaired, what that will look like.

GET mend: the job's faces, with the address of a flat picture of each. POST mend {places: [{face, x_mm, y_mm}], depth,
texture, hand, feather_mm, years, force}: a task whose result is what `_result` gives; its files are those that the
command writes. The damage is what lies inside the line from place to place, on the face of the first.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Hashable, Mapping
from pathlib import Path
from typing import Any
from urllib.parse import quote

from PIL import Image

from layerpreview.desk.apart import run_apart
from layerpreview.desk.asked import OPENING, looked_at, read_of, text_in
from layerpreview.desk.desk import Desk
from layerpreview.desk.give import files_told
from layerpreview.desk.guard import confined
from layerpreview.desk.jobs import Read
from layerpreview.desk.memory import give_back
from layerpreview.desk.mend_asked import KIND, Wanted, asked, command, shape_named
from layerpreview.desk.picture import FRAME_QUALITY
from layerpreview.desk.tasks import Task
from layerpreview.desk.tell import light_words, rounded
from layerpreview.errors import InputError, Problem
from layerpreview.output.pictures import small_pictures
from layerpreview.output.touch_up_result import AFTER, BEFORE, DIFFERENCE, SHEET, UNTOUCHED
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.scene import appearances_of, make_scene
from layerpreview.threads import Made
from layerpreview.workflows.places import Place, results_place

Words = Mapping[str, str]
Body = Mapping[str, Any]
Answer = tuple[int, Any]

PICTURES = {"sheet": SHEET, "untouched": UNTOUCHED, "before": BEFORE, "after": AFTER, "difference": DIFFERENCE}
TOLD = (
    *("face", "depth", "hand", "feather_mm", "smallest_feather_mm", "verdict", "advice", "steps", "mixes", "work"),
    *("cautions", "picture_px", "close_up_px"),
)
"""What the page is told of the command's document."""
FACE_PX = 1100
_faces: Made[bytes] = Made(4)


def get_mend(desk: Desk, words: Words) -> Answer:
    """The faces there are to touch."""
    job = looked_at(desk, words)
    read = read_of(job)
    faces = [_face(read, shape) for shape in read.shapes]
    told = {"opening": job.opening, "version": read.version, "name": read.scheme.name, "faces": faces}
    return 200, {**told, "units": read.scheme.shop.units}


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
    shape = shape_named(read, name)
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


def _own(desk: Desk, name: str) -> Task:
    task = desk.tasks.get(name)
    if task.kind != KIND:
        raise InputError(Problem("this is no longer kept", "start it again"))
    return task
