"""How much of each mix, paint, base coat and clear the job takes: the one sum behind figures, mix sheet and JSON."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from layerpreview.job.pot_life import Mixing, mixings_of
from layerpreview.job.products import Product
from layerpreview.job.sprayed import Sprayed
from layerpreview.scheme import Scheme
from layerpreview.spray import to_spray_mL
from layerpreview.told import Told


@dataclass(frozen=True)
class Needed:
    """One batch of the job [mL]: `needed_mL` = (on the part + past the edges) / transfer + what stays in the gun.

    `stages` are sprayed from it; `residue_mL` is left in cup and lines, once for each time the gun is filled with it.
    `fills`: whether it is filled for each of the stages. `mixings` share the batch where it has a pot life.
    """

    key: str
    kind: str
    title: str
    product: Product
    stages: tuple[Sprayed, ...]
    on_part_mL: Told
    past_edges_mL: Told
    residue_mL: float
    needed_mL: Told
    fills: tuple[bool, ...] = ()
    mixings: tuple[Mixing, ...] = ()


def needed_of(scheme: Scheme, stages: Sequence[Sprayed]) -> tuple[Needed, ...]:
    """Every batch in the order of first use, no two with the same title."""
    found = [_batch(scheme, stages, key) for key in dict.fromkeys(stage.key for stage in stages)]
    titles = Counter(batch.title for batch in found)
    return tuple(
        batch if titles[batch.title] == 1 or batch.kind == "dye" else replace(batch, title=_told_apart(batch))
        for batch in found
    )


def _told_apart(batch: Needed) -> str:
    """Title and what it is: two faces may have a base coat of one name, a paint may be called what the clear is."""
    kind, _, which = batch.key.partition(" ")
    own = {"paint": which, "base": "base coat", "base_of": f"base coat of {which}"}.get(kind, f"{kind} coat")
    return f"{batch.title} ({own})"


def stage_needed_mL(scheme: Scheme, stages: Sequence[Sprayed], index: int) -> Told:
    """The part of its batch that one stage takes [mL]: parts add up to it, residue is with the first of a run."""
    stage = stages[index]
    fills = int(_fills_gun(stages, index))
    return _needed_mL(scheme, stage.on_part_mL, stage.past_edges_mL, fills=fills)


def _needed_mL(scheme: Scheme, on_part_mL: Told, past_edges_mL: Told, *, fills: int) -> Told:
    """All a batch or a stage takes [mL], for a gun that is filled `fills` times."""
    gun = scheme.gun
    needed_mL = to_spray_mL(
        landed_mL=on_part_mL,
        past_edges_mL=past_edges_mL,
        transfer=gun.transfer,
        residue_mL=fills * gun.residue_mL.likely,
    )
    inputs = {"film": on_part_mL, "transfer": gun.transfer, "residue": gun.residue_mL, "past edges": past_edges_mL}
    return Told.from_inputs(needed_mL, "mL", **inputs)


def _fills_gun(stages: Sequence[Sprayed], index: int) -> bool:
    """Whether the gun holds another batch before this stage, or none: it is cleaned where a break outlasts a mixing."""
    key = stages[index].key
    if index == 0 or stages[index - 1].key != key:
        return True
    place = sum(stage.key == key for stage in stages[:index])
    mixings = mixings_of(stages, key)
    return any(mixing.after_a_break and mixing.serves[0].stage == place for mixing in mixings)


def _batch(scheme: Scheme, stages: Sequence[Sprayed], key: str) -> Needed:
    mine = tuple(stage for stage in stages if stage.key == key)
    fills = tuple(_fills_gun(stages, i) for i, stage in enumerate(stages) if stage.key == key)
    on_part = Told.total([stage.on_part_mL for stage in mine])
    past = Told.total([stage.past_edges_mL for stage in mine])
    return Needed(
        key=key,
        kind=mine[0].kind,
        title=" and ".join(dict.fromkeys(stage.title for stage in mine)),
        product=next((stage.product for stage in mine if stage.product.ratio), mine[0].product),
        stages=mine,
        on_part_mL=on_part,
        past_edges_mL=past,
        residue_mL=sum(fills) * scheme.gun.residue_mL.likely,
        needed_mL=_needed_mL(scheme, on_part, past, fills=sum(fills)),
        fills=fills,
        mixings=mixings_of(stages, key),
    )
