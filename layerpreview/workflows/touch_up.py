"""A damaged place: what its repair will look like, which feather hides it, what to mix and how to go about it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from layerpreview.answers.as_made import as_made
from layerpreview.answers.fade import Exposure, Fading, fadings_of, unfaded, with_middle
from layerpreview.answers.feather import LEAST_FEATHER_MM, MOST_FEATHER_MM
from layerpreview.answers.mended import base_gains
from layerpreview.answers.touch_up import DEPTHS, TEXTURES, Depth, Repair, Texture, TouchUp, touch_up_of
from layerpreview.doing import doing
from layerpreview.errors import InputError, NoAnswerError, PictureError, Problem
from layerpreview.job.done import Done
from layerpreview.job.local_mix import local_work
from layerpreview.job.products import details_of
from layerpreview.output.diary_entries import done_of
from layerpreview.output.files import written_together
from layerpreview.output.job_entries import entries_of
from layerpreview.output.joblog import log_of, read_lines
from layerpreview.output.result import Result
from layerpreview.output.touch_up_result import TOUCH_UP_NAMES, touch_up_result
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import mean_bare
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.passes import HANDS
from layerpreview.surface.damage import Damage, damage_of_mask, damage_of_ring
from layerpreview.surface.picture_file import read_picture
from layerpreview.units import Range, UnitError, parse_number, parse_quantity
from layerpreview.workflows.choices import MARGIN, with_lights
from layerpreview.workflows.fade import steps_known

CLEARS = ("face", "blend")
HOW = 'write its corners in their order, across and down from the top left of the face: "120,80 150,82 148,110 mm"'
USUAL_PX, WIDE, MOST_WIDER = 1200, 1.5, 2.5
"""Width of the face's picture, more where it is wider than high, so that a close-up shows something."""
MOST_CORNERS = 1000
"""More are no place that anyone types; a brushed picture has room for any line."""


def touch_up(
    scheme: Scheme,
    *,
    face: str | None = None,
    damage_mm: Sequence[tuple[float, float]] | None = None,
    mask: str | Path | None = None,
    depth: Depth = "dye",
    texture: Texture = "again",
    feather_mm: float | None = None,
    hand: str = "good",
    clear: str = "face",
    exposure: Exposure | None = None,
    steps: Mapping[str, Range] | None = None,
    lights: Sequence[str] | None = None,
    width_px: int | None = None,
) -> Result[TouchUp]:
    """See a repair of the damage within `damage_mm` (corners x, y [mm]) or brushed on a `mask` picture.

    face : the damaged one, the first where none is named; depth : how deep it is sanded, "clear", "dye" or "base";
    texture : of the base laid anew, "again" or "flat"; feather_mm : 10 to 60 [mm], else the smallest that hides it;
    hand : "flat" (perfect), "good" or "hurried"; clear : over the whole "face", or a "blend".
    exposure, steps : light that the part has had, and light fastness by dye, as for `fade` (rough).
    width_px : of the face's picture [px].
    Raises InputError, PictureError, and NoAnswerError where the scheme has no coats.
    """
    return _touched_up(
        with_lights(scheme, lights),
        face=face,
        damage_mm=damage_mm,
        mask=None if mask is None else Path(mask),
        repair=Repair(depth, texture, hand, feather_mm),
        clear=clear,
        exposure=exposure,
        steps=steps,
        width_px=width_px,
    )


def touch_up_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    face: str | None = None,
    damage: str | None = None,
    mask: Path | None = None,
    depth: str = "dye",
    texture: str = "again",
    feather: str | None = None,
    hand: str = "good",
    clear: str = "face",
    exposure: Exposure | None = None,
    steps: Mapping[str, Range] | None = None,
    lights: Sequence[str] | None = None,
    width_px: int | None = None,
) -> Result[TouchUp]:
    """Write pictures of the place before, after and their difference, the figures and the steps of the work.

    As `touch_up`, with amounts as they are typed; what the job's diary says was poured, read and counted comes before
    the scheme.
    Raises SchemeError and OutputError, too; nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), lights)
    log = log_of(scheme_path.parent)
    scheme = with_diary(scheme, done_of(entries_of(read_lines(log), scheme_path, log), log))
    repair, corners = _typed_repair(depth, texture, hand, feather, damage)
    inputs = (*scheme.inputs, *([mask] if mask else []))
    with written_together(out, TOUCH_UP_NAMES, force=force, inputs=inputs) as paths:
        made = _touched_up(
            scheme,
            face=face,
            damage_mm=corners,
            mask=mask,
            repair=repair,
            clear=clear,
            exposure=exposure,
            steps=steps,
            width_px=width_px,
        )
        return made.written(paths, out)


def corners_from(text: str) -> list[tuple[float, float]]:
    """The corners of a damaged place [mm] as they are typed, pairs of across and down, the unit at the end.

    Raises InputError.

    >>> corners_from("1,2 3,2 2,4 in")[0]
    (25.4, 50.8)
    """
    *pairs, unit = text.split() or [""]
    try:
        named = parse_quantity(f"1 {unit}", "length")
        found = [(parse_number(x), parse_number(y)) for x, y in (pair.split(",") for pair in pairs)]
        corners = [(x * named, y * named) for x, y in found]
    except (UnitError, ValueError):
        raise InputError(
            Problem("these are no corners with a unit", HOW, field="--damage", value=f'"{text}"')
        ) from None
    if not 3 <= len(corners) <= MOST_CORNERS:
        rule = f"a place has 3 to {MOST_CORNERS} corners"
        raise InputError(Problem(rule, HOW, field="--damage", value=f'"{text}"'))
    return corners


def with_diary(scheme: Scheme, done: Done) -> Scheme:
    """The scheme as it was sprayed: strengths that were poured, films that were read, coats that were counted.

    An entry of which the diary tells no coat stays as planned.
    """
    made = as_made(scheme, done).scheme
    coats = [
        now if now.coats else now.model_copy(update={"coats": was.coats})
        for was, now in zip(scheme.coats, made.coats, strict=True)
    ]
    return made.model_copy(update={"coats": tuple(coats)})


def _typed_repair(
    depth: str, texture: str, hand: str, feather: str | None, damage: str | None
) -> tuple[Repair, list[tuple[float, float]] | None]:
    """All that is typed, with every problem at once."""
    problems: list[Problem] = []
    corners, feather_mm = None, None
    if damage is not None:
        try:
            corners = corners_from(damage)
        except InputError as error:
            problems += error.problems
    if feather is not None:
        try:
            feather_mm = parse_quantity(feather, "length")
        except UnitError as error:
            problems.append(Problem(str(error), 'write for example "30 mm"', field="--feather", value=f'"{feather}"'))
    repair = Repair(depth, texture, hand, feather_mm)  # type: ignore[arg-type]
    problems += _problems(repair)
    if problems:
        raise InputError(problems)
    return repair, corners


def _problems(repair: Repair) -> list[Problem]:
    found = [
        Problem("no such word", f"use one of {', '.join(known)}", field=field, value=repr(value))
        for field, value, known in (
            ("depth", repair.depth, DEPTHS),
            ("texture", repair.texture, TEXTURES),
            ("hand", repair.hand, tuple(HANDS)),
        )
        if value not in known
    ]
    if repair.feather_mm is not None and not LEAST_FEATHER_MM <= repair.feather_mm <= MOST_FEATHER_MM:
        rule = f"a feather is {LEAST_FEATHER_MM:g} to {MOST_FEATHER_MM:g} mm wide"
        found.append(Problem(rule, field="feather", value=f"{repair.feather_mm:g} mm"))
    return found


def _touched_up(
    scheme: Scheme,
    *,
    face: str | None,
    damage_mm: Sequence[tuple[float, float]] | None,
    mask: Path | None,
    repair: Repair,
    clear: str,
    exposure: Exposure | None,
    steps: Mapping[str, Range] | None,
    width_px: int | None,
) -> Result[TouchUp]:
    problems = _problems(repair)
    if clear not in CLEARS:
        problems.append(Problem("no such word", f"use one of {', '.join(CLEARS)}", field="clear", value=repr(clear)))
    if (damage_mm is None) == (mask is None):
        rule = "one thing that says where the damage is is wanted: corners, or a brushed picture"
        problems.append(Problem(rule, HOW, field="damage"))
    names = [each.name for each in scheme.faces]
    if face is not None and face not in names:
        problems.append(Problem("no such face", f"its faces are: {', '.join(names)}", field="face", value=repr(face)))
    if problems:
        raise InputError(problems)
    if not scheme.coats:
        raise NoAnswerError(f"{scheme.name}: it has no coats of colour, so there is nothing to touch up but the clear")
    shape = next(each for each in shapes_of(scheme) if face in (None, each.face.name))
    damage = _damage(shape, damage_mm, mask)
    alone = scheme.model_copy(update={"faces": (shape.face,)})
    usual_px = USUAL_PX * float(np.clip(shape.outline.width_mm / shape.outline.height_mm / WIDE, 1.0, MOST_WIDER))
    scene = make_scene(alone, width_px=width_px or round(usual_px), margin=MARGIN, shapes=[shape])
    survey = Survey(alone, shape)
    doing("trying feathers, old dye and new")
    fadings = _fadings(scheme, exposure, steps or {})
    gains = base_gains(scene.faces[0].picture)
    found = touch_up_of(alone, survey, mean_bare(scene.faces[0]), gains, damage, repair, fadings)
    grown_mm2 = float(damage.shape.buffer(repair.core_mm).intersection(shape.outline.polygon).area)
    work = local_work(
        alone,
        details_of(alone),
        shape,
        coats_m2=found.coats_m2,
        base_m2=1e-6 * grown_mm2 if repair.depth == "base" else 0.0,
        clear_m2=None if clear == "face" else 1e-6 * found.area_mm2,
    )
    made = touch_up_result(alone, scene, found, work, blend=clear == "blend")
    return replace(made, inputs=(*scheme.inputs, *([mask] if mask else [])))


def _fadings(scheme: Scheme, exposure: Exposure | None, steps: Mapping[str, Range]) -> tuple[Fading, ...]:
    if exposure is None:
        return (unfaded(scheme),)
    return with_middle(fadings_of(scheme, steps_known(scheme, steps), exposure))


def _damage(shape: FaceShape, damage_mm: Sequence[tuple[float, float]] | None, mask: Path | None) -> Damage:
    if mask is not None:
        return damage_of_mask(shape.outline, read_picture(mask))
    try:
        return damage_of_ring(shape.outline, np.asarray(damage_mm, dtype=np.float64).reshape(-1, 2))
    except PictureError as error:
        raise InputError([replace(problem, remedy=HOW) for problem in error.problems]) from None
