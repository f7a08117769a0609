"""How much a repair takes: the scheme's own mixes for a small place, as drops and mL, from a small gun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from layerpreview.finish.layers import DyeInMix, dyes_in
from layerpreview.job.batches import MixAmounts, mix_amounts
from layerpreview.job.products import Details
from layerpreview.job.sprayed import Sprayed, sprayed_stages
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Scheme
from layerpreview.spray.batch import STEPS_TO_MEASURE, Part, Tools, rounded
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

SMALL_GUN_RESIDUE_ML = Range(1.0, 2.0, 4.0)
"""What stays in the cup and channels of a small gun: common practice, no source."""
_HARDLY_M2 = 1e-7
_NONE_PAST_ML = Told.of(0.0, "mL")
"""A feather ends on the part."""
_THINNED = (1, 10, 100)


@dataclass(frozen=True)
class LocalDye:
    """One dye in a batch: `mL` [mL], or `g` of a powder, and about how many `drops` that is.

    `thinned`: how often it is thinned with carrier before it is measured, since it would be too little; 1 for as sold.
    """

    name: str
    mL: float
    g: float | None
    drops: Told | None
    thinned: int = 1


@dataclass(frozen=True)
class LocalMix:
    """One batch of a repair: what it takes [mL], what to make of it, its dyes and all else [mL] in order."""

    title: str
    needed_mL: Told
    make_mL: float
    dyes: tuple[LocalDye, ...]
    others_mL: tuple[tuple[str, float], ...]
    warnings: tuple[str, ...]
    amounts: MixAmounts


@dataclass(frozen=True)
class LocalWork:
    """All that is sprayed: the batches, and the `stages` in order with the title of the batch of each."""

    mixes: tuple[LocalMix, ...]
    stages: tuple[tuple[Sprayed, str], ...]


def local_work(
    scheme: Scheme,
    details: Details,
    shape: FaceShape,
    *,
    coats_m2: Sequence[float],
    base_m2: float,
    clear_m2: float | None,
) -> LocalWork:
    """Every batch that a repair takes: its coats over `coats_m2` at full build each [m2], `base_m2` of base coat.

    `clear_m2`: what is cleared again, None for the whole face. The base coat and the coats come from a small gun, whose
    residue is assumed; the clear comes from the scheme's own. Raises InputError for amounts that cannot be made.
    """
    builds = [area / shape.outline.area_m2 for area in coats_m2]
    stages = sprayed_stages(scheme, details, [shape], [builds])
    fine = [_of_area(stage, base_m2) if stage.kind == "base" else stage for stage in stages if stage.kind != "clear"]
    local = [replace(stage, past_edges_mL=_NONE_PAST_ML) for stage in fine if stage.area_m2 > _HARDLY_M2]
    clear = [stage if clear_m2 is None else _of_area(stage, clear_m2) for stage in stages if stage.kind == "clear"]
    # A batch that is stated is that of the whole job.
    details = replace(details, batch_mL={})
    small = scheme.gun.model_copy(update={"stated_residue_mL": SMALL_GUN_RESIDUE_ML.likely})
    by_small_gun = mix_amounts(scheme.model_copy(update={"gun": small}), details, local)
    mixes = (
        *(_local(scheme, made, _by_small_gun(made), details.tools) for made in by_small_gun),
        *(_local(scheme, made, made.needed_mL, details.tools) for made in mix_amounts(scheme, details, clear)),
    )
    titles = {mix.amounts.key: mix.title for mix in mixes}
    return LocalWork(mixes, tuple((stage, titles[stage.key]) for stage in (*local, *clear)))


def _of_area(stage: Sprayed, area_m2: float) -> Sprayed:
    """The stage over another area [m2], which it leaves nowhere."""
    share = area_m2 / max(stage.area_m2, 1e-12)
    return replace(stage, area_m2=area_m2, on_part_mL=stage.on_part_mL.scaled(share), past_edges_mL=_NONE_PAST_ML)


def _local(scheme: Scheme, amounts: MixAmounts, needed_mL: Told, tools: Tools) -> LocalMix:
    held = {part.name: part for part in dyes_in(scheme, scheme.mixes[amounts.title])} if amounts.kind == "dye" else {}
    dyes, more_mL = [], 0.0
    for part in amounts.batch.parts:
        if part.name not in held:
            continue
        dye = _dye(part, held[part.name], tools)
        dyes.append(dye)
        more_mL += dye.mL - float(part.mL)
    # What a dye was thinned with is carrier that is in it already.
    others = tuple(
        (part.name, float(part.mL) - (more_mL if part.kind == "carrier" else 0.0))
        for part in amounts.batch.parts
        if part.name not in held
    )
    thinned = tuple(f"{dye.name}:" for dye in dyes if dye.thinned > 1)
    return LocalMix(
        title=amounts.title,
        needed_mL=needed_mL,
        make_mL=float(amounts.make_mL),
        dyes=tuple(dyes),
        others_mL=others,
        warnings=tuple(warning for warning in amounts.warnings if not (thinned and warning.startswith(thinned))),
        amounts=amounts,
    )


def _dye(part: Part, held: DyeInMix, tools: Tools) -> LocalDye:
    """How one dye is measured out: as sold, or thinned ten or a hundred times where it would be too little."""
    if part.kind == "powder":
        return LocalDye(part.name, 0.0, float(part.g or 0), None)
    if part.drops is not None or part.exact_mL is None:
        counted = Told.of(part.drops or 0, "drops", Rest(Basis.COMPUTED))
        return LocalDye(part.name, float(part.mL), None, counted)
    least = STEPS_TO_MEASURE * tools.small_syringe_mL
    thinned = next((times for times in _THINNED if times * part.exact_mL >= least), _THINNED[-1])
    mL = float(part.mL) if thinned == 1 else float(rounded(thinned * part.exact_mL, tools.small_syringe_mL))
    return LocalDye(part.name, mL, None, held.drops_per_mL.scaled(mL, "drops"), thinned)


def _by_small_gun(amounts: MixAmounts) -> Told:
    """What a batch takes [mL], with the range of what stays in a small gun."""
    needed, residue = amounts.needed_mL, SMALL_GUN_RESIDUE_ML
    fills = amounts.residue_mL / residue.likely
    low, high = (end + fills * (left - residue.likely) for end, left in zip(_ends(needed), _ends(residue), strict=True))
    own = Rest(Basis.ASSUMED, "small gun", "residue")
    rests = (own if rest.about == "residue" else rest for rest in needed.rests_on)
    return Told.of(Range(max(low, 0.0), needed.likely, high), "mL", *rests)


def _ends(value: Range) -> tuple[float, float]:
    return value.low, value.high
