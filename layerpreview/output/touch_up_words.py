"""A repair in words: what shows, which feather hides it, what to mix, and the steps of the work with their cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layerpreview.answers.feather import LEAST_FEATHER_MM, MOST_FEATHER_MM
from layerpreview.answers.touch_up import BASE_MARGIN_MM, Step, TouchUp
from layerpreview.colour import JUST_SEEN_DE00, NOT_ACCEPTED_DE00
from layerpreview.job.cautions import (
    CAUTION_DUST,
    CAUTION_ISOCYANATE,
    CAUTION_LAST_WORD,
    CAUTION_SKIN,
    CAUTION_VAPOUR,
    CAUTION_WASTE,
    may_hold_isocyanate,
)
from layerpreview.job.local_mix import LocalDye, LocalMix, LocalWork
from layerpreview.job.sprayed import Sprayed
from layerpreview.output.sheet_words import FL_OZ_ML, minutes
from layerpreview.scheme import Scheme
from layerpreview.told import Basis
from layerpreview.units import shop_length

IN_DEPTH = {
    "clear": "into the clear, not through it",
    "dye": "through clear and dye to the base",
    "base": "through clear, dye and base",
}
IN_HAND = {"flat": "a perfect hand", "good": "a practised hand", "hurried": "a hurried hand"}
VERDICTS = {
    "not visible": "at least half of those who look will see nothing of the repair",
    "may be seen": "who looks closely may see the repair",
    "visible": "the repair will be seen",
}
SHORT = {
    "not visible": "Most will see nothing of it",
    "may be seen": "It may be seen by who looks closely",
    "visible": "The repair will be seen",
}
"""The same in the few words that are read first."""
COLOUR_STAYS = "The colour stays as it is"
CLEAR_TOLD = (
    "Scuff the whole face and clear all of it again, up to its edges: a clear that ends in the middle of a face leaves "
    "an edge that dulls or lifts in time (common practice, no source)."
)
BLEND_TOLD = (
    "Blend the clear out beyond the feather. Its edge may show as a ring, more so on dark gloss, and may lift in time "
    "(common practice, no source)."
)


@dataclass(frozen=True)
class WorkStep:
    """One step of the repair: what to do, and titles of the cautions that belong to it."""

    number: int
    what: str
    todo: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class Own:
    """Lengths, areas and volumes in the shop's own units; volumes to pour stay in mL, as on the mix sheet."""

    us: bool

    def mm(self, mm: float) -> str:
        """A length on the part [mm]."""
        return shop_length(mm, us=self.us)

    def area(self, mm2: float) -> str:
        """An area [mm2]."""
        return f"{mm2 / 645.16:.3g} sq in" if self.us else f"{mm2 / 100.0:.3g} cm2"

    def taken(self, mL: float, low: float, high: float) -> str:
        """What it takes [mL], with its range."""
        metric = f"{mL:.1f} mL ({low:.1f} to {high:.1f}"
        return f"{mL / FL_OZ_ML:.2g} fl oz = {metric}" if self.us else metric


def touch_up_lines(scheme: Scheme, found: TouchUp, work: LocalWork, *, blend: bool) -> list[str]:
    """The whole answer, line by line."""
    own = Own(scheme.shop.units == "US")
    told = [
        [verdict_line(scheme, found), *_what_lines(found, own)],
        [*_step_lines(found, own), *advice_lines(scheme, found)],
        ["To mix, from the small batch of each (approximate):", *_mix_lines(work.mixes, own)],
        ["The work:", *map(_work_line, work_steps(scheme, found, work, blend=blend))],
        [f"{title}: {text}" for title, text in cautions_of(work)],
        ["Approximate: computed from the scheme; how a hand strays is assumed. Try each mix on a card first."],
    ]
    return [line for part in told for line in ("", *part)][1:]


def seen_word(found: TouchUp) -> str:
    """One of `VERDICTS`, of colour and of texture."""
    return "visible" if found.texture_shows else found.worst.verdict


def short_verdict(found: TouchUp) -> str:
    """The answer in a few words."""
    return COLOUR_STAYS if found.repair.depth == "clear" else SHORT[seen_word(found)]


def verdict_line(scheme: Scheme, found: TouchUp) -> str:
    """The answer in one line."""
    worst, seen = found.worst, VERDICTS[seen_word(found)]
    if found.repair.depth == "clear":
        return "Verdict: the colour stays as it is, for no dye is taken off; only the clear's gloss and edge can show."
    under = f" (at worst {_figure(worst.de00.likely)} CIEDE2000: {worst.light}, {worst.view})"
    feather = Own(scheme.shop.units == "US").mm(found.feather_mm)
    return f"Verdict: {seen} with a feather of {feather}{under}."


def _what_lines(found: TouchUp, own: Own) -> list[str]:
    damage, repair = found.damage, found.repair
    left, top, right, bottom = damage.shape.bounds
    x, y = damage.middle_mm
    several = len(damage.shape.geoms)
    size = f"{f'{several} places in ' if several > 1 else ''}{own.mm(right - left)} by {own.mm(bottom - top)}"
    return [
        f"Damage on {found.face}: {size} ({own.area(damage.area_mm2)}), its middle {own.mm(x)} across and "
        f"{own.mm(y)} down; sanded {IN_DEPTH[repair.depth]}. With the feather {own.area(found.area_mm2)} are "
        f"worked on, by {IN_HAND[repair.hand]}."
    ]


def _step_lines(found: TouchUp, own: Own) -> list[str]:
    if found.repair.depth == "clear":
        return []
    lines = ["Repaired beside untouched (CIEDE2000 of the usual attempt; a tenth of all stay below the first figure in"]
    lines[0] += " brackets, a tenth exceed the second):"
    lines += [f"  {step.light}, {step.view}: {_step_words(step, own)}" for step in found.steps]
    by_cause = sorted(found.causes.items(), key=lambda item: -item[1])
    lines.append("Each cause alone: " + ", ".join(f"{name} {value:.1f}" for name, value in by_cause) + ".")
    lines.append(
        f"Along the feather it changes by at most {found.per_10_mm:.1f} over {own.mm(10.0)}. The limits are those of "
        "flat samples side by side: over a soft edge and a texture less is seen."
    )
    return lines


def _step_words(step: Step, own: Own) -> str:
    de00 = step.de00
    where = "in the middle of it" if step.away_mm <= 0.0 else f"{own.mm(step.away_mm)} outside the damage"
    return f"{_figure(de00.likely)} ({de00.low:.1f} to {de00.high:.1f}), {step.verdict}; most {where}"


def _figure(de00: float) -> str:
    """One decimal, never rounded across a limit that a verdict goes by.

    >>> _figure(0.796), _figure(1.83), _figure(0.4)
    ('under 0.8', 'over 1.8', '0.4')
    """
    shown = f"{de00:.1f}"
    if any(de00 < limit <= float(shown) for limit in (JUST_SEEN_DE00, NOT_ACCEPTED_DE00)):
        return f"under {shown}"
    return f"over {shown}" if float(shown) <= NOT_ACCEPTED_DE00 < de00 else shown


def advice_lines(scheme: Scheme, found: TouchUp) -> list[str]:
    """Which feather or which edge, what to do about the base's texture, and about dye that has faded."""
    own = Own(scheme.shop.units == "US")
    return [*_feather_lines(found, own), *_texture_lines(scheme, found, own), *_fade_lines(found)]


def _feather_lines(found: TouchUp, own: Own) -> list[str]:
    if found.repair.depth == "clear":
        return []
    if found.smallest_mm is not None:
        lines = [
            f"The smallest feather of which at least half of those who look see nothing: {own.mm(found.smallest_mm)}."
        ]
        if found.feather_mm < found.smallest_mm:
            lines[0] += f" {own.mm(found.feather_mm)} is too narrow for that."
    else:
        near = min(found.worst_by_feather, key=lambda feather: found.worst_by_feather[feather])
        best = found.worst_by_feather[near]
        sure = "To be sure, do" if best <= NOT_ACCEPTED_DE00 else "Rather do"
        lines = [
            f"No feather from {own.mm(LEAST_FEATHER_MM)} to {own.mm(MOST_FEATHER_MM)} hides it from half of those who "
            f"look: {_figure(best)} is left at best ({own.mm(near)}). {sure} {_redo_words(found, own)}."
        ]
    if near_edges := found.within_feather:
        told = " and ".join(f"{edge.words} ({own.mm(edge.away_mm)} away)" for edge in near_edges)
        lines.append(f"The feather runs over {told}: go right up to it there, and no further.")
    return lines


def _redo_words(found: TouchUp, own: Own) -> str:
    piece = found.piece
    return f"{found.face} anew up to {piece.words}, {own.area(1e6 * piece.area_m2)}: a difference ends at an edge there"


def _texture_lines(scheme: Scheme, found: TouchUp, own: Own) -> list[str]:
    if found.repair.depth != "base":
        return []
    if scheme.base_for(found.face).kind == "wood":
        return ["The wood stays as it is: sand no deeper than its colour goes, and wet it to see scratches."]
    if found.texture_de00 is None:
        return ["The base has no texture of its own: lay it as it was, of the same paint."]
    if found.repair.texture == "flat":
        shown = f"A flat spot differs from places of the base's texture by {found.texture_de00:.1f} (half of them)"
        if found.texture_shows:
            return [f"{shown}: it will be seen. Make the texture again, or do {_redo_words(found, own)}."]
        return [f"{shown}: most would not see it."]
    return [
        f"The base's texture is made again, with other facets. Two places of it differ by {found.texture_de00:.1f} "
        "(half of them) anyway: a soft border gets lost in that, a hard line through facets does not."
    ]


def _fade_lines(found: TouchUp) -> list[str]:
    if not found.dye_left or found.repair.depth == "clear":
        return []
    fading = found.fadings[0]
    unknown = [name for name, k_h in zip(fading.names, fading.k_h, strict=True) if k_h == 0.0]
    left = ", ".join(
        f"{name} {100 * r.likely:.0f} % ({100 * r.low:.0f} to {100 * r.high:.0f})" for name, r in found.dye_left.items()
    )
    return [
        f"The part is old: beside the repair there is left (rough) of {left}. New dye is deeper than that. Weaken the "
        f"mix on a card until it agrees with the part in daylight: {_figure(found.weakened_de00 or 0.0)} would be left "
        "by a perfect hand. From then on it fades at its own pace.",
        *([f"No light fastness is known of {', '.join(unknown)}: taken as not faded."] if unknown else []),
    ]


def _mix_lines(mixes: Sequence[LocalMix], own: Own) -> list[str]:
    dyed = any(mix.dyes for mix in mixes)
    lines = ["What was kept of the job's own mixes comes first: it is the same dye."] if dyed else []
    for mix in mixes:
        needed = mix.needed_mL
        parts = ", ".join(part_words(mix))
        lines.append(
            f"{mix.title}: make {mix.make_mL:g} mL = {parts}. It takes "
            f"{own.taken(needed.likely, needed.low, needed.high)}; {needed.basis})."
        )
        lines += [f"  {warning}" for warning in mix.warnings]
    return lines


def part_words(mix: LocalMix) -> list[str]:
    """What a small batch is poured from, in drops and mL."""
    return [*map(_dye_words, mix.dyes), *(f"{mL:.3g} mL {name}" for name, mL in mix.others_mL)]


def _dye_words(dye: LocalDye) -> str:
    if dye.g is not None:
        return f"{dye.g:g} g {dye.name}"
    drops = dye.drops
    if drops is not None and drops.weakest is Basis.COMPUTED:  # the scheme has it in drops
        return f"{drops.likely:.0f} drops {dye.name}"
    thinned = f" thinned 1 part in {dye.thinned} with carrier" if dye.thinned > 1 else ""
    ends = f", {drops.low:.0f} to {drops.high:.0f}" if drops and drops.low < drops.high else ""
    counted = f" (about {drops.likely:.0f} drops{ends})" if drops else ""
    return f"{dye.mL:.3g} mL {dye.name}{thinned}{counted}"


def _work_line(step: WorkStep) -> str:
    return f"{step.number}. {step.what}: {' '.join(step.todo)}" + (
        f" [see {', '.join(step.cautions)}]" if step.cautions else ""
    )


def work_steps(scheme: Scheme, found: TouchUp, work: LocalWork, *, blend: bool) -> tuple[WorkStep, ...]:
    """The work in its order."""
    own = Own(scheme.shop.units == "US")
    look = "Wash it, free it of grease and wax; see by a lamp from the side how deep it goes."
    steps: list[tuple[str, list[str], list[str]]] = [
        ("Look", [look], []),
        ("Mask", _mask_todo(found, own), []),
        ("Sand", _sand_todo(found, own), [CAUTION_DUST[0]]),
    ]
    steps += [_spray_step(scheme, found, stage, title, blend=blend) for stage, title in work.stages]
    steps.append(
        ("Level", ["When cured as its sheet says, bring the clear to the gloss of the rest."], [CAUTION_DUST[0]])
    )
    kept = ["Keep what is left of the dye mix, labelled, without catalyst."]
    dyed = any(mix.dyes for mix in work.mixes)
    steps.append(("Clean up", kept if dyed else ["Clean the gun as the product's sheet says."], [CAUTION_WASTE[0]]))
    return tuple(WorkStep(i, what, tuple(todo), tuple(told)) for i, (what, todo, told) in enumerate(steps, 1))


def _spray_step(
    scheme: Scheme, found: TouchUp, stage: Sprayed, title: str, *, blend: bool
) -> tuple[str, list[str], list[str]]:
    coats = f"{stage.coats} coat{'s' if stage.coats > 1 else ''}"
    cautions = [CAUTION_ISOCYANATE[0]] if may_hold_isocyanate(stage) else []
    cautions += [CAUTION_VAPOUR[0], CAUTION_SKIN[0]]
    own = Own(scheme.shop.units == "US")
    if stage.kind == "clear":
        todo = [BLEND_TOLD if blend else CLEAR_TOLD, f"{coats}, the first lighter so that it does not draw the dye."]
        if (pot := stage.product.pot_life_min) is not None:
            todo.append(f"Pot life {minutes(pot)}: mix one cup at a time, when it is needed.")
        return f"Clear, {title}", todo, cautions
    if stage.kind == "base":
        again = "make its texture as it was made" if found.repair.texture == "again" else "leave it flat"
        todo = [f"{coats} to {own.mm(BASE_MARGIN_MM)} beyond the damage, thin at its edge; {again}; let it dry."]
        return f"Base, {title}", todo, cautions
    todo = [
        "Spray a card of the same base first and hold it beside the part.",
        f"{coats} with the small gun held close, let go over the feather of {own.mm(found.feather_mm)}, the first the "
        "smallest and each a little further out.",
        "Stop when it agrees: a coat too many means sanding again.",
    ]
    if stage.bursts:
        todo.insert(1, "It is a burst: as deep as it lies beside the place, no deeper.")
    what = f"Spray {stage.title}" + ("" if stage.title == title else f" (from {title})")
    return what, todo, cautions


def _mask_todo(found: TouchUp, own: Own) -> list[str]:
    reach = found.feather_mm + found.repair.core_mm
    todo = [f"Cover all but {found.face}. No tape nearer than {own.mm(reach)} to the damage: it would leave an edge."]
    if edges := [edge.words for edge in found.within_feather]:
        todo.append(f"But mask at {' and at '.join(edges)}: the feather reaches so far.")
    return todo


def _sand_todo(found: TouchUp, own: Own) -> list[str]:
    if found.repair.depth == "clear":
        return ["Sand the clear until the mark is gone; stop at the first trace of colour on the paper."]
    core = f" and {own.mm(found.repair.core_mm)} beyond" if found.repair.core_mm else ""
    return [
        f"Inside the damage{core}: {IN_DEPTH[found.repair.depth]}. From there thin the old coats out evenly, whole "
        f"again after {own.mm(found.feather_mm)}.",
        "Scuff the clear around it.",
    ]


def cautions_of(work: LocalWork) -> list[tuple[str, str]]:
    """The cautions of the whole repair, title and text, each once."""
    found = [CAUTION_DUST, CAUTION_VAPOUR, CAUTION_SKIN]
    if any(may_hold_isocyanate(stage) for stage, _ in work.stages):
        found.insert(0, CAUTION_ISOCYANATE)
    return [*found, CAUTION_WASTE, CAUTION_LAST_WORD]
