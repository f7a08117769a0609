"""How much a repair takes: the scheme's own mixes for a small place, as drops and mL, from a small gun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from layerpreview.finish.layers import dyes_in
from layerpreview.job.batches import MixAmounts, mix_amounts
from layerpreview.job.products import Details
from layerpreview.job.sprayed import Sprayed, sprayed_stages
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Scheme
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

SMALL_GUN_RESIDUE_ML = Range(1.0, 2.0, 4.0)
"""What stays in the cup and channels of a small gun: common practice, no source."""
_HARDLY_M2 = 1e-7
_NONE_PAST_ML = Told.of(0.0, "mL", Rest(Basis.ASSUMED, "the feather ends on the part"))


@dataclass(frozen=True)
class LocalDye:
    """One dye in a batch: as it is measured out, and about how many drops that is."""

    name: str
    measured: str
    drops: Told | None


@dataclass(frozen=True)
class LocalMix:
    """One batch of a repair: what it takes [mL], what to make of it, and how much of each dye goes into that."""

    title: str
    coats: str
    needed_mL: Told
    make_mL: float
    dyes: tuple[LocalDye, ...]
    parts: tuple[tuple[str, float], ...]
    amounts: MixAmounts


def local_mixes(
    scheme: Scheme,
    details: Details,
    shape: FaceShape,
    *,
    coats_m2: Sequence[float],
    base_m2: float,
    clear_m2: float | None,
) -> tuple[LocalMix, ...]:
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
    with_small_gun = scheme.model_copy(
        update={"gun": scheme.gun.model_copy(update={"stated_residue_mL": SMALL_GUN_RESIDUE_ML.likely})}
    )
    return (
        *(_local(scheme, made, _by_small_gun(made)) for made in mix_amounts(with_small_gun, details, local)),
        *(_local(scheme, made, made.needed_mL) for made in mix_amounts(scheme, details, clear)),
    )


def _of_area(stage: Sprayed, area_m2: float) -> Sprayed:
    """The stage over another area [m2], which it leaves nowhere."""
    share = area_m2 / max(stage.area_m2, 1e-12)
    return replace(stage, area_m2=area_m2, on_part_mL=stage.on_part_mL.scaled(share), past_edges_mL=_NONE_PAST_ML)


def _local(scheme: Scheme, amounts: MixAmounts, needed_mL: Told) -> LocalMix:
    batch = amounts.batch
    held = {part.name: part for part in dyes_in(scheme, scheme.mixes[amounts.title])} if amounts.kind == "dye" else {}
    dyes = []
    for part in batch.parts:
        if part.name not in held:
            continue
        if part.kind == "powder":
            dyes.append(LocalDye(part.name, f"{float(part.g or 0):g} g", None))
        elif part.drops is not None:
            dyes.append(LocalDye(part.name, f"{part.drops} drops", Told.of(part.drops, "drops", Rest(Basis.COMPUTED))))
        else:
            drops = held[part.name].drops_per_mL.scaled(float(part.mL), "drops")
            dyes.append(LocalDye(part.name, f"{float(part.mL):g} mL", drops))
    others = tuple((part.name, float(part.mL)) for part in batch.parts if part.name not in held)
    return LocalMix(
        title=amounts.title,
        coats=", ".join(f"{stage.coats} coat{'s' if stage.coats > 1 else ''}" for stage in amounts.stages),
        needed_mL=needed_mL,
        make_mL=float(amounts.make_mL),
        dyes=tuple(dyes),
        parts=others,
        amounts=amounts,
    )


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
