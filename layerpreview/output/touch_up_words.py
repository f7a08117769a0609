"""A repair in words: what shows, which feather hides it, what to mix, and the steps of the work with their cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layerpreview.answers.touch_up import BASE_MARGIN_MM, Step, TouchUp
from layerpreview.colour import JUST_SEEN_DE00
from layerpreview.job.cautions import (
    CAUTION_DUST,
    CAUTION_ISOCYANATE,
    CAUTION_LAST_WORD,
    CAUTION_SKIN,
    CAUTION_VAPOUR,
    CAUTION_WASTE,
    may_hold_isocyanate,
)
from layerpreview.job.local_mix import LocalMix
from layerpreview.scheme import Scheme
from layerpreview.told import Told

IN_DEPTH = {
    "clear": "into the clear, not through it",
    "dye": "through clear and dye to the base",
    "base": "through clear, dye and base",
}
IN_HAND = {"flat": "a perfect hand", "good": "a practised hand", "hurried": "a hurried hand"}
CLEAR_TOLD = (
    "A clear that ends in the middle of a face leaves an edge that dulls or lifts in time: clear the whole face again, "
    "up to its edges (common practice, no source)."
)
BLEND_TOLD = (
    "The clear is blended out on the face: its edge may show as a ring, more so on dark gloss, and may lift in time "
    "(common practice, no source)."
)


@dataclass(frozen=True)
class WorkStep:
    """One step of the repair: what to do, and titles of the cautions that belong to it."""

    number: int
    what: str
    todo: tuple[str, ...]
    cautions: tuple[str, ...]


def touch_up_lines(scheme: Scheme, found: TouchUp, mixes: Sequence[LocalMix], *, blend: bool) -> list[str]:
    """The whole answer, line by line."""
    lines = [
        *_what_lines(found),
        *_step_lines(found),
        *_feather_lines(found),
        *_texture_lines(scheme, found),
        *_fade_lines(found),
        "",
        *_mix_lines(mixes),
        "",
    ]
    steps = work_steps(scheme, found, mixes, blend=blend)
    for step in steps:
        told = f"{step.number}. {step.what}: {' '.join(step.todo)}"
        lines.append(told + (f" [{'; '.join(step.cautions)}]" if step.cautions else ""))
    lines += ["", *(f"{title}: {text}" for title, text in cautions_of(mixes)), ""]
    return [*lines, "Approximate: computed from the scheme; how a hand strays is assumed. Try the mix on a card first."]


def _what_lines(found: TouchUp) -> list[str]:
    damage = found.damage
    left, top, right, bottom = damage.shape.bounds
    x, y = damage.middle_mm
    return [
        f"Damage on {found.face}: {right - left:.0f} x {bottom - top:.0f} mm ({damage.area_mm2 / 100.0:.1f} cm2), its "
        f"middle {x:.0f} mm across and {y:.0f} mm down; sanded {IN_DEPTH[found.repair.depth]}.",
        f"Feather {found.feather_mm:g} mm: {found.area_mm2 / 100.0:.0f} cm2 are sprayed, by "
        f"{IN_HAND[found.repair.hand]}.",
    ]


def _step_lines(found: TouchUp) -> list[str]:
    if found.repair.depth == "clear":
        return ["No dye is taken off: the colour stays as it is. What can show is the clear's own edge and gloss."]
    lines = ["Repaired beside untouched (CIEDE2000; in brackets a tenth and nine tenths of the attempts):"]
    lines += [f"  {step.light}, {step.view}: {_step_words(step)}" for step in found.steps]
    by_cause = sorted(found.causes.items(), key=lambda item: -item[1])
    lines.append("Each cause alone: " + ", ".join(f"{name} {value:.1f}" for name, value in by_cause) + ".")
    lines.append(
        f"Along the feather it changes by at most {found.per_10_mm:.1f} over 10 mm. The limits are those of flat samples "
        "side by side; over a soft edge and a texture less is seen."
    )
    return lines


def _step_words(step: Step) -> str:
    de00 = step.de00
    where = "in the middle of it" if step.away_mm <= 0.0 else f"{step.away_mm:.0f} mm outside the damage"
    return f"{_figure(de00.likely)} ({de00.low:.1f} to {de00.high:.1f}), {step.verdict}; most {where}"


def _figure(de00: float) -> str:
    """One decimal, never rounded across the limit that a verdict goes by."""
    shown = f"{de00:.1f}"
    return f"under {shown}" if de00 < JUST_SEEN_DE00 <= float(shown) else shown


def _feather_lines(found: TouchUp) -> list[str]:
    if found.repair.depth == "clear":
        return []
    worst = found.worst
    if found.smallest_mm is not None:
        line = f"Smallest feather of which most who look see nothing: {found.smallest_mm:g} mm."
        if found.feather_mm < found.smallest_mm:
            line += f" At {found.feather_mm:g} mm it is {worst.de00.likely:.1f}: {worst.verdict}."
        lines = [line]
    else:
        near = min(found.worst_by_feather, key=lambda feather: found.worst_by_feather[feather])
        lines = [
            f"No feather from 10 to 60 mm hides it: {found.worst_by_feather[near]:.1f} at best ({near:g} mm). "
            f"{_redo_words(found)}"
        ]
    if near_edges := found.within_feather:
        told = " and ".join(f"{edge.words} ({edge.away_mm:.0f} mm away)" for edge in near_edges)
        lines.append(
            f"The feather would run over {told}: on that side sand and spray right up to it, without a feather."
        )
    return lines


def _redo_words(found: TouchUp) -> str:
    piece = found.piece
    return f"To be sure, do {found.face} anew up to {piece.words}: {piece.area_m2 * 1e4:.0f} cm2."


def _texture_lines(scheme: Scheme, found: TouchUp) -> list[str]:
    if found.repair.depth != "base":
        return []
    if scheme.base_for(found.face).kind == "wood":
        return ["The wood stays as it is; sand no deeper than its colour goes, and wet it to see scratches."]
    if found.texture_de00 is None:
        return ["The base has no texture of its own: lay it as it was, of the same paint."]
    if found.repair.texture == "flat":
        shown = f"A flat spot differs from places of the base's texture by {found.texture_de00:.1f} (half of them)"
        if found.texture_shows:
            return [f"{shown}: it will be seen. Make the texture again, or: {_redo_words(found)}"]
        return [f"{shown}: most would not see it."]
    return [
        f"The base's texture is made again, with other facets. Two places of it differ by {found.texture_de00:.1f} "
        "(half of them) anyway: a soft border gets lost in that, a hard line through facets does not."
    ]


def _fade_lines(found: TouchUp) -> list[str]:
    if not found.dye_left or found.repair.depth == "clear":
        return []
    left = ", ".join(f"{name} {100 * r.low:.0f} to {100 * r.high:.0f} %" for name, r in found.dye_left.items())
    return [
        f"The part is old (rough): beside the repair there is left of {left}. New dye is deeper than that. Mix the "
        "repair weaker by as much, on a card, until it agrees with the part in daylight; then it will fade on its own."
    ]


def _mix_lines(mixes: Sequence[LocalMix]) -> list[str]:
    lines = []
    for mix in mixes:
        dyes = ", ".join(dye.measured + _drops_words(dye.drops, dye.measured) + f" {dye.name}" for dye in mix.dyes)
        parts = ", ".join(f"{mL:g} mL {name}" for name, mL in mix.parts)
        lines.append(
            f"{mix.title}, {mix.coats}: takes {mix.needed_mL.likely:.1f} mL ({mix.needed_mL.low:.1f} to "
            f"{mix.needed_mL.high:.1f}; {mix.needed_mL.basis}); make {mix.make_mL:g} mL: "
            f"{', '.join(filter(None, (dyes, parts)))}."
        )
        lines += [f"  {warning}" for warning in mix.amounts.warnings]
    return lines


def _drops_words(drops: Told | None, measured: str) -> str:
    if drops is None or measured.endswith("drops"):
        return ""
    return f" (about {drops.likely:.0f} drops, {drops.low:.0f} to {drops.high:.0f})"


def work_steps(scheme: Scheme, found: TouchUp, mixes: Sequence[LocalMix], *, blend: bool) -> tuple[WorkStep, ...]:
    """The work in its order."""
    depth, feather = found.repair.depth, found.feather_mm
    steps = [
        ("Look", ("Wash it, free it of grease and wax; see by a raking lamp how deep it goes.",), ()),
        ("Mask", tuple(_mask_todo(found)), ()),
        ("Sand", tuple(_sand_todo(found)), (CAUTION_DUST[0],)),
    ]
    if depth == "base" and scheme.base_for(found.face).kind != "wood":
        again = "make its texture as it was made" if found.repair.texture == "again" else "leave it flat"
        todo = f"Lay the base anew to {BASE_MARGIN_MM:g} mm beyond the damage, thin at its edge; {again}; let it dry."
        steps.append(("Base", (todo,), (CAUTION_VAPOUR[0],)))
    for mix in (mix for mix in mixes if mix.amounts.kind in ("dye", "opaque")):
        todo = (
            f"Mix {mix.make_mL:g} mL as above, strain it, spray a card of the same base and hold it beside the part.",
            f"{mix.coats} with the small gun held close, each let go over the {feather:g} mm of the feather, from the "
            "middle outwards, the first the smallest. Stop when it agrees: a coat too many means sanding again.",
        )
        steps.append((f"Spray {mix.title}", todo, (CAUTION_VAPOUR[0], CAUTION_SKIN[0], *_isocyanate(mix))))
    clear = [mix for mix in mixes if mix.amounts.kind == "clear"]
    told = BLEND_TOLD if blend else CLEAR_TOLD
    steps.append(("Clear", (told, "First coat lighter, so that it does not draw the dye."), (CAUTION_VAPOUR[0], *(
        word for mix in clear for word in _isocyanate(mix)
    ))))  # fmt: skip
    steps.append(
        ("Level", ("When cured as its sheet says, level and bring to the gloss of the rest.",), (CAUTION_DUST[0],))
    )
    steps.append(("Clean up", ("Keep what is left of the dye mix, labelled, without catalyst.",), (CAUTION_WASTE[0],)))
    return tuple(WorkStep(number, *step) for number, step in enumerate(steps, 1))


def _mask_todo(found: TouchUp) -> list[str]:
    reach = found.feather_mm + found.repair.core_mm
    todo = [f"Cover all but the face; no tape line nearer than {reach:g} mm to the damage, which would leave an edge."]
    todo += [f"Tape {edge.words}: it lies within the feather." for edge in found.within_feather]
    return todo


def _sand_todo(found: TouchUp) -> list[str]:
    if found.repair.depth == "clear":
        return [
            "Sand the clear until the mark is gone; stop at the first trace of colour on the paper. Scuff the rest."
        ]
    core = f" and {found.repair.core_mm:g} mm beyond" if found.repair.core_mm else ""
    deep = IN_DEPTH[found.repair.depth]
    return [
        f"Inside the damage{core}: {deep}. From there thin the old coats out evenly, whole again after "
        f"{found.feather_mm:g} mm.",
        "Scuff the clear around it.",
    ]


def _isocyanate(mix: LocalMix) -> tuple[str, ...]:
    return (CAUTION_ISOCYANATE[0],) if any(may_hold_isocyanate(stage) for stage in mix.amounts.stages) else ()


def cautions_of(mixes: Sequence[LocalMix]) -> list[tuple[str, str]]:
    """The cautions of the whole repair, title and text, each once."""
    found = [CAUTION_DUST, CAUTION_VAPOUR, CAUTION_SKIN]
    if any(_isocyanate(mix) for mix in mixes):
        found.insert(0, CAUTION_ISOCYANATE)
    return [*found, CAUTION_WASTE, CAUTION_LAST_WORD]
