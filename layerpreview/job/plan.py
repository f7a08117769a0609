"""The order of work: what to mask, and the stages with their coats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from layerpreview.colour import light_words
from layerpreview.job.batches import MixAmounts
from layerpreview.job.cautions import (
    CAUTION_DUST,
    CAUTION_ISOCYANATE,
    CAUTION_VAPOUR,
    CAUTION_VAPOUR_SHORT,
    CAUTION_WASTE,
    Caution,
    may_hold_isocyanate,
)
from layerpreview.job.products import Details
from layerpreview.job.sprayed import Sprayed
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Scheme
from layerpreview.units import Range

TAPE_SPARE = 1.15
"""Tape to cut for each length of edge: overlaps at corners and starts; common practice, no source."""

KEEP_OFF = "Keep off edges and peaks: the clear is thinnest there. Stop at the first trace of colour on the paper."
ALONG = "It goes on along with the stage before: the same paint, at other places. Lay nothing on wet paint."
FIRST_SPRAYED = 2
FACES_FIRST = ("side", "edge", "rim", "back", "rear", "inside")
FACES_LAST = ("front", "top")
WHY_ORDER = (
    "Sides first, then backs, fronts last: overspray settles on what was sprayed before it, and the face that people "
    "look at must not collect it."
)


@dataclass(frozen=True)
class Mask:
    """What is taped, covered or plugged; `stage` is the number of the stage before which it is done.

    `edge_mm`: length of its edge; `tape_mm`: what to cut for it, none for a hole, which is plugged, and for a soft
    edge, which no tape makes.
    """

    face: str
    what: str
    edge_mm: float
    tape_mm: float
    when: str
    stage: int
    hole: bool = False


@dataclass(frozen=True)
class Stage:
    """One step of the plan; `sprayed` where paint is applied, `faces` in their order.

    Times in [min], None: see the product's sheet.
    """

    number: int
    kind: str
    title: str
    todo: tuple[str, ...]
    ticks: tuple[str, ...]
    faces: tuple[str, ...] = ()
    flash_min: Range | None = None
    dry_min: Range | None = None
    sprayed: Sprayed | None = None
    cups: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()


def masks_of(scheme: Scheme, parts: Sequence[FaceShape], sprayed: Sequence[Sprayed]) -> tuple[Mask, ...]:
    """All that is masked: openings, masked zones, and zones bounded by a hard line that a coat is limited to.

    Coats over the same zone that follow each other share its tape; a hole through the part is plugged once.
    """
    found = []
    first = FIRST_SPRAYED + sum(1 for stage in sprayed if stage.kind == "base")
    for part in parts:
        face = part.face
        for name, ring in part.outline.openings.items():
            if name in face.through:
                continue
            length = float(shapely.LinearRing(ring).length)
            found.append(Mask(face.name, f"{name}: plug it", length, 0.0, "before the first coat", 1, hole=True))
        for zone in face.zones:
            length = part.regions[zone.name].tape_length_mm
            if zone.masked and zone.hard:
                found.append(_mask(face.name, f"{zone.name}: cover it", length, "before the first coat"))
            elif zone.masked:
                what = f"{zone.name}: hold a cover off it, its edge is soft over {zone.edge_mm:g} mm"
                found.append(Mask(face.name, what, length, 0.0, "before each coat", 1))
            if zone.masked:
                continue
            over = [i for i, coat in enumerate(scheme.coats) if zone.hard and zone.name in coat.zones]
            for i in (i for i in over if i - 1 not in over):
                when = f"before stage {first + i}, {scheme.coats[i].label}"
                what = f"{zone.name}: tape its line, cover the rest"
                found.append(_mask(face.name, what, length, when, first + i))
    return tuple(found)


def _mask(face: str, what: str, edge_mm: float, when: str, stage: int = 1) -> Mask:
    return Mask(face, what, edge_mm, TAPE_SPARE * edge_mm, when, stage)


def faces_covered(names: Sequence[str], sprayed: Sequence[Sprayed]) -> int:
    """How often a face is covered because a stage must not reach it; it stays covered until a stage goes over it."""
    count, covered = 0, set[str]()
    for stage in sprayed:
        off = set() if stage.along else set(names) - set(stage.faces)
        count += len(off - covered)
        covered = (covered | off) - set(stage.faces)
    return count


def faces_in_order(names: Sequence[str]) -> tuple[str, ...]:
    """Faces as they are sprayed: sides, then backs, then others, fronts last, each as written.

    >>> faces_in_order(["front", "head", "back", "left side"])
    ('left side', 'back', 'head', 'front')
    """

    def rank(name: str) -> int:
        first = [i for i, word in enumerate(FACES_FIRST) if word in name.lower()]
        return min(first, default=len(FACES_FIRST) + any(word in name.lower() for word in FACES_LAST))

    return tuple(sorted(names, key=rank))


def stages_of(
    scheme: Scheme,
    details: Details,
    sprayed: Sequence[Sprayed],
    mixes: Sequence[MixAmounts],
    masks: Sequence[Mask],
) -> list[Stage]:
    """The whole plan, in order."""
    plan = [_prepare(scheme)]
    by_key = {mix.key: mix for mix in mixes}
    for i, stage in enumerate(sprayed):
        grits, polish = sanding_of(scheme.clear.finish, details)
        level = grits if stage.kind == "clear" and not polish and stage.coats > 1 else ()
        number = len(plan) + 1
        before = _before(i, sprayed, [face.name for face in scheme.faces], [m for m in masks if m.stage == number])
        look = " and then ".join(map(light_words, scheme.lights))
        mix = by_key[stage.key]
        place = sum(other.key == stage.key for other in sprayed[:i])
        made = _made_ready(mix, place, along=stage.along)
        plan.append(_spray(number, stage, made, before, cups=_cups_of(mix, place), level=level, look=look))
    if scheme.clear.finish == "gloss":
        plan.append(_finish(len(plan) + 1, details))
    plan.append(_record(len(plan) + 1))
    return plan


def _before(i: int, sprayed: Sequence[Sprayed], faces: Sequence[str], masks: Sequence[Mask]) -> list[str]:
    """What is covered, uncovered and taped before a stage."""
    stage, todo = sprayed[i], list[str]()
    others = faces_in_order([face for face in faces if face not in stage.faces])
    if stage.along:
        bare = [face for face in faces_in_order(stage.faces) if face not in sprayed[i - 1].faces]
        todo += [ALONG, *([f"Uncover {', '.join(bare)}."] if bare else [])]
    elif others:
        todo.append(f"Cover what it must not reach: {', '.join(others)}.")
    if stage.could_follow is not None:
        todo.append(
            f"The same paint as stage {FIRST_SPRAYED + stage.could_follow}, and nothing in between reaches these "
            "places: you may spray it right after that one."
        )
    todo += [f"On {mask.face}, {mask.what}; take it off again when this zone is done." for mask in masks]
    return todo


def _prepare(scheme: Scheme) -> Stage:
    names = ", ".join(face.name for face in scheme.faces)
    todo = (
        "Read the sheet of every product: where it says otherwise, it is right.",
        f"Faces: {names}. Base sound, clean, free of grease; temperature and humidity as the products ask.",
        "Mask as listed. Press the tape's edge down with a nail; look along it against the light.",
        "Make witness cards of the same base, one a stage and one to keep: they are sprayed along with the part.",
        "Strain every mix into the gun. Spray a card with each mix before it goes on the part.",
    )
    return Stage(1, "prepare", "Prepare and mask", todo, ("masked", "cards ready", "gun tried on paper"))


def _made_ready(mix: MixAmounts, place: int, *, along: bool) -> str:
    """What to do about the paint of the stage that is at `place` among those of its mix."""
    begun = next((i for i, cup in enumerate(mix.cups, 1) if cup.serves[0].stage == place), None)
    goes_on = next((i for i, cup in enumerate(mix.cups, 1) if place in [s.stage for s in cup.serves[1:]]), None)
    if place == 0:
        if len(mix.batch.parts) == 1:
            return f"Have {mix.title} ready to spray, as its sheet says."
        return f"Mix cup 1 of {mix.title} by its table." if mix.cups else f"Mix {mix.title} by its table."
    if goes_on is not None or not mix.cups:
        cup = f", cup {goes_on}" if goes_on else ""
        return f"{mix.title}{cup} as mixed before{'.' if along else ': stir it again.'}"
    assert begun is not None
    return f"Mix cup {begun} of {mix.title} by its table: {mix.cups[begun - 1].why}."


def _cups_of(mix: MixAmounts, place: int) -> tuple[str, ...]:
    """The cups that serve one stage of a mix."""
    found = []
    for i, cup in enumerate(mix.cups, 1):
        coats = sum(s.coats for s in cup.serves if s.stage == place)
        if coats:
            of = "" if coats == cup.coats else f" of the {cup.coats} it serves"
            found.append(f"cup {i}: {float(cup.batch.batch_mL):g} mL for {coats} coat{'s' if coats > 1 else ''}{of}")
    return tuple(found)


def _spray(
    number: int,
    stage: Sprayed,
    made: str,
    before: Sequence[str],
    *,
    cups: tuple[str, ...],
    level: Sequence[int],
    look: str,
) -> Stage:
    faces = faces_in_order(stage.faces)
    todo = [*before, made]
    if len(faces) > 1:
        todo.append(f"Faces in this order: {', '.join(faces)}. {WHY_ORDER}")
    if stage.kind in ("dye", "opaque"):
        todo.append(f"After each coat hold the witness card beside the part under {look}. Stop when it is right.")
        if stage.kind == "dye":
            todo.append("A dye coat cannot be taken off again: when in doubt wait, look again dry, then spray.")
    if stage.kind == "clear":
        todo.append("First coat lighter, so that the dye below is not dissolved and drawn into the clear.")
    ticks = [f"coat {coat} of {stage.coats}" for coat in range(1, stage.coats + 1)]
    if stage.cut_back:
        ticks.append("cut back")
        share = f"{100 * stage.cut_back:g} %"
        todo.append(f"Once dry, rub it back until on average {share} of this coat is gone; compare with the picture.")
    ticks.append("witness card kept and labelled")
    if level:
        ticks[-2:-2] = [f"levelled, P{grit}" for grit in level]
        todo.append("Before the last coat: dry as its sheet says, level, clean. It is the finish: no sanding after it.")
        todo.append(KEEP_OFF)
    cautions = [Caution("spray", *(CAUTION_VAPOUR if number == FIRST_SPRAYED else CAUTION_VAPOUR_SHORT))]
    if may_hold_isocyanate(stage):
        cautions.insert(0, Caution("spray", *CAUTION_ISOCYANATE))
    if level or stage.cut_back:
        cautions.append(Caution("sand", *CAUTION_DUST))
    return Stage(
        number,
        stage.kind,
        f"{stage.title}: {stage.coats} coat{'s' if stage.coats > 1 else ''}",
        tuple(todo),
        tuple(ticks),
        faces=faces,
        flash_min=stage.product.flash_min,
        dry_min=stage.dry_min,
        sprayed=stage,
        cups=cups,
        cautions=tuple(cautions),
    )


def sanding_of(finish: str, details: Details) -> tuple[tuple[int, ...], bool]:
    """The grits in order and whether it is polished: only gloss is, other finishes stay as sprayed."""
    return (details.level_grits, True) if finish == "gloss" else (details.level_grits[:1], False)


def _finish(number: int, details: Details) -> Stage:
    names = [f"P{grit}" for grit in details.level_grits]
    todo = (
        "Wait until the clear is cured as its sheet says. Soft clear loads the paper and sinks back later.",
        f"Level on a block, {', then '.join(names)}: each grit removes the scratches of the one before."
        if names
        else "No sanding is planned.",
        KEEP_OFF,
        "Polish to gloss; keep the pad moving and cool.",
    )
    ticks = (*(f"sanded {name}" for name in names), "polished", "last card kept and labelled")
    return Stage(
        number, "sand", "Level, sand and polish", todo, ticks, cautions=(Caution("sand", *CAUTION_DUST),)
    )  # fmt: skip


def _record(number: int) -> Stage:
    todo = (
        "Take the tape off while the last coat is still soft enough not to tear, or score its edge first.",
        "Keep this sheet with the cards and, in labelled closed bottles, what is left of each dye mix without "
        "catalyst: for repairs.",
    )
    return Stage(
        number, "record", "Unmask, clean up, record", todo, ("unmasked", "waste dealt with", "cards and sheet filed"),
        cautions=(Caution("waste", *CAUTION_WASTE),),
    )  # fmt: skip
