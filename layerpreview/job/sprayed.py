"""What is sprayed in each stage of the plan: where, how much lands, how much is aimed past the edges, and how much of
each mix, paint, base coat and clear the job takes: the one sum behind figures, mix sheet and JSON.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import shapely

from layerpreview.job.products import Details, PlainCoats, Product
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme
from layerpreview.scheme.part import WHOLE_FACE
from layerpreview.spray import landed_mL, to_spray_mL
from layerpreview.surface.outline import Outline
from layerpreview.told import Basis, Rest, Told, summed
from layerpreview.units import Range

EDGE_OVERRUN_MM = Range(10.0, 25.0, 50.0)
"""How far strokes run past an edge before the trigger is let go: common practice, no source."""
SPRAY_MIN_PER_M2 = Range(4.0, 8.0, 15.0)
SPRAY_MIN_PER_FACE = Range(1.0, 2.0, 4.0)
"""Time to spray one coat [min], by area and by face: common practice, no source."""


@dataclass(frozen=True)
class Sprayed:
    """One stage's paint: over `zone` ("face": all), as bursts from edges, each gone at a width [mm], on `faces`.

    `area_m2` is counted at full build, amounts of ready mix [mL] before anything is lost; `past_edges_mL` is aimed past
    the edges and into masked openings.
    """

    key: str
    kind: str
    title: str
    zone: str
    bursts: tuple[tuple[str, float], ...]
    faces: tuple[str, ...]
    coats: int
    film_um: Told
    area_m2: float
    on_part_mL: Told
    past_edges_mL: Told
    product: Product
    coats_basis: Basis = Basis.STATED
    cut_back: float = 0.0
    also_in_json: ClassVar = ("film_basis",)

    @property
    def film_basis(self) -> str:
        """What the wet film rests on, in words."""
        return self.film_um.basis


def sprayed_stages(
    scheme: Scheme, details: Details, parts: Sequence[FaceShape], builds: Sequence[Sequence[float]]
) -> tuple[Sprayed, ...]:
    """Every stage in the order it is sprayed; `builds[face][coat]` is the mean build over the face's painted area."""
    found = []
    own = {part.face.name for part in parts if part.face.name in scheme.bases_of} - set(scheme.coated_alike)
    others = [part for part in parts if part.face.name not in own]
    if details.base and others:
        zone = " and ".join(part.face.name for part in others) if own else WHOLE_FACE
        found.append(_plain("base", "base coat", details.base, others, zone))
    for name, coats in details.bases_of.items():
        mine = [part for part in parts if part.face.name == name]
        found.append(_plain(f"base_of {name}", f"base coat of {name}", coats, mine, name))
    paints: dict[str, list[Product]] = {}
    for i, coat in enumerate(scheme.coats):
        stage = _coat(scheme, details, coat, parts, [of_face[i] for of_face in builds])
        key = f"mix {coat.mix}" if isinstance(coat, DyeCoat) else _paint_key(coat.colour, stage.product, paints)
        found.append(replace(stage, key=key))
    found.append(_plain("clear", "clear coat", details.clear, parts, WHOLE_FACE))
    return tuple(found)


def _paint_key(colour: str, product: Product, known: dict[str, list[Product]]) -> str:
    """The batch an opaque coat comes from: paint of one colour is one batch, unless what is stated of it differs."""
    batches = known.setdefault(colour, [])
    at = next((i for i, other in enumerate(batches) if _same_paint(product, other)), len(batches))
    if at == len(batches):
        batches.append(product)
    elif product.ratio:
        batches[at] = product
    return f"paint {colour}" + (f" {at + 1}" if at else "")


def _same_paint(one: Product, other: Product) -> bool:
    """Whether nothing that is stated of two paints tells them apart; drying times are the stage's, not the paint's."""
    names = ("ratio", "densities_g_per_mL", "solids", "pot_life_min", "isocyanate", "prices")
    pairs = [(getattr(one, name), getattr(other, name)) for name in names]
    return all(a == b or a in (None, {}) or b in (None, {}) for a, b in pairs)


def minutes_per_coat(area_m2: float, n_faces: int) -> Range:
    """Time at the gun for one coat [min]."""
    return summed([SPRAY_MIN_PER_M2.scaled(area_m2), SPRAY_MIN_PER_FACE.scaled(n_faces)])


def _plain(key: str, title: str, coats: PlainCoats, parts: Sequence[FaceShape], zone: str) -> Sprayed:
    kind = "clear" if key == "clear" else "base"
    area = sum(part.outline.area_m2 for part in parts)
    past = _past_edges_m2([(part.outline, (), 1.0) for part in parts])
    film = coats.film_um.scaled(coats.coats)
    return Sprayed(
        key=key,
        kind=kind,
        title=coats.product.name or title,
        zone=zone,
        bursts=(),
        faces=tuple(part.face.name for part in parts),
        coats=coats.coats,
        film_um=coats.film_um,
        area_m2=area,
        on_part_mL=_on_part_mL(coats.film_um, coats.coats, area),
        past_edges_mL=_past_edges_mL(past, film),
        product=coats.product,
        coats_basis=coats.coats_basis,
    )


def _coat(
    scheme: Scheme,
    details: Details,
    coat: DyeCoat | OpaqueCoat,
    parts: Sequence[FaceShape],
    builds: Sequence[float],
) -> Sprayed:
    area = math.fsum(part.outline.area_m2 * build for part, build in zip(parts, builds, strict=True))
    reached = [
        (part.outline, tuple(burst.source for burst in part.bursts_of(scheme, coat)), min(1.0, build))
        for part, build in zip(parts, builds, strict=True)
        if build > 0.0
    ]
    film = coat.film_um.scaled(coat.coats)
    dye = isinstance(coat, DyeCoat)
    label = coat.label
    return Sprayed(
        key=label,
        kind="dye" if dye else "opaque",
        title=label,
        zone=coat.zone,
        bursts=tuple((burst.source, burst.width_mm) for burst in coat.bursts),
        faces=tuple(part.face.name for part, build in zip(parts, builds, strict=True) if build > 0.0),
        coats=coat.coats,
        film_um=coat.film_um,
        area_m2=area,
        on_part_mL=_on_part_mL(coat.film_um, coat.coats, area),
        past_edges_mL=_past_edges_mL(_past_edges_m2(reached), film),
        product=(details.mixes if dye else details.paints).get(label, Product()),
        cut_back=coat.cut_back,
    )


def _on_part_mL(film_um: Told, coats: int, area_m2: float) -> Told:
    return Told.from_inputs(landed_mL(area_m2=area_m2, wet_film_um=film_um, coats=coats), "mL", film=film_um)


def _past_edges_mL(past_edges_m2: Range, film_um: Told) -> Told:
    strokes = Rest(Basis.ASSUMED)
    return Told.from_inputs(past_edges_m2.times(film_um), "mL", film=film_um, strokes_past_edges=strokes)


def _past_edges_m2(reached: Sequence[tuple[Outline, tuple[str, ...], float]]) -> Range:
    """Area beside the part that gets paint [m2]: strokes run past outer edges and into openings, which are masked.

    A coat without bursts runs past the outer edge as far as it covers the face; a burst past the edges it starts from.
    """
    parts = []
    for outline, sources, build in reached:
        openings_mm = {name: float(shapely.LinearRing(ring).length) for name, ring in outline.openings.items()}
        outer_mm = outline.edge_length_mm - sum(openings_mm.values())
        if not sources:
            parts.append(EDGE_OVERRUN_MM.scaled(build * outer_mm * 1e-6))
            hole_m2 = build * (_filled_m2(outline) - outline.area_m2)
            parts.append(Range.point(max(hole_m2, 0.0)))
            continue
        edge_mm = 0.0
        for source in dict.fromkeys(sources):
            edge_mm += outer_mm if source == "outline" else 0.0
            edge_mm += sum(openings_mm.values()) if source == "openings" else openings_mm.get(source, 0.0)
        parts.append(EDGE_OVERRUN_MM.scaled(edge_mm * 1e-6))
    return summed(parts)


def _filled_m2(outline: Outline) -> float:
    return float(shapely.Polygon(outline.outer).area) * 1e-6


@dataclass(frozen=True)
class Needed:
    """One batch of the job [mL]: `needed_mL` = (on the part + past the edges) / transfer + what stays in the gun.

    `stages` are sprayed from it; `residue_mL` is left in cup and lines, once for each time the gun is filled with it.
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
    return _needed_mL(scheme, stage.on_part_mL, stage.past_edges_mL, fills=int(_fills_gun(stages, index)))


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
    """Whether the gun holds another batch, or none, before this stage."""
    return index == 0 or stages[index - 1].key != stages[index].key


def _batch(scheme: Scheme, stages: Sequence[Sprayed], key: str) -> Needed:
    mine = tuple(stage for stage in stages if stage.key == key)
    fills = sum(_fills_gun(stages, i) for i, stage in enumerate(stages) if stage.key == key)
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
        residue_mL=fills * scheme.gun.residue_mL.likely,
        needed_mL=_needed_mL(scheme, on_part, past, fills=fills),
    )
