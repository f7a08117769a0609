"""What is sprayed in each stage of the plan: where, how much lands, how much is aimed past the edges."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
import shapely

from layerpreview.job.products import Details, PlainCoats, Product
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.survey import Survey
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme
from layerpreview.scheme.part import WHOLE_FACE
from layerpreview.spray import landed_mL
from layerpreview.surface.outline import Outline
from layerpreview.told import Basis, Rest, Told, summed
from layerpreview.units import Range

LEAST_BUILD = 0.02
"""Less of a coat is overspray, not film."""
EDGE_OVERRUN_MM = Range(10.0, 25.0, 50.0)
"""How far strokes run past an edge before the trigger is let go: common practice, no source."""
SPRAY_MIN_PER_M2 = Range(4.0, 8.0, 15.0)
SPRAY_MIN_PER_FACE = Range(1.0, 2.0, 4.0)
"""Time to spray one coat [min], by area and by face: common practice, no source."""


@dataclass(frozen=True)
class Sprayed:
    """One stage's paint: over `zone` ("face": all), as bursts from edges, each gone at a width [mm], on `faces`.

    `area_m2` is counted at full build, amounts of ready mix [mL] before anything is lost; `past_edges_mL` is aimed past
    the edges and into masked openings. `along`: the same paint as the stage before, at places that do not meet its
    own, so that both are sprayed in one go. `could_follow`: the stage [from 0] of the same paint that it could go along
    with, since nothing that is sprayed in between reaches its places. `dry_min` [min] before the next stage, nothing
    where that is sprayed along; None: see the product's sheet.
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
    along: bool = False
    could_follow: int | None = None
    dry_min: Range | None = None
    also_in_json: ClassVar = ("film_basis",)

    @property
    def film_basis(self) -> str:
        """What the wet film rests on, in words."""
        return self.film_um.basis


def stages_surveyed(
    scheme: Scheme, details: Details, parts: Sequence[FaceShape], surveys: Sequence[Survey]
) -> tuple[Sprayed, ...]:
    """As `sprayed_stages`, from the surveys of the faces: they tell which coats meet."""
    builds = [survey.mean_builds for survey in surveys]
    return sprayed_stages(scheme, details, parts, builds, meets=lambda one, other: _meet(surveys, one, other))


def sprayed_stages(
    scheme: Scheme,
    details: Details,
    parts: Sequence[FaceShape],
    builds: Sequence[Sequence[float]],
    *,
    meets: Callable[[int, int], bool] = lambda one, other: True,
) -> tuple[Sprayed, ...]:
    """Every stage in the order it is sprayed; `builds[face][coat]` is the mean build over the face's painted area.

    `meets`: whether two coats lie over one another anywhere.
    """
    found = []
    own = {part.face.name for part in parts if part.face.name in scheme.bases_of} - set(scheme.coated_alike)
    others = [part for part in parts if part.face.name not in own]
    if details.base and others:
        zone = " and ".join(part.face.name for part in others) if own else WHOLE_FACE
        found.append(_plain("base", "base coat", details.base, others, zone))
    for name, coats in details.bases_of.items():
        mine = [part for part in parts if part.face.name == name]
        stage = _plain(f"base_of {name}", f"base coat of {name}", coats, mine, name)
        same = next((other for other in found if _same_base(scheme, stage, other)), None)
        found.append(replace(stage, key=same.key) if same else stage)
    paints: dict[str, list[Product]] = {}
    for i, coat in enumerate(scheme.coats):
        stage = _coat(scheme, details, coat, parts, [of_face[i] for of_face in builds])
        key = f"mix {coat.mix}" if isinstance(coat, DyeCoat) else _paint_key(coat.colour, stage.product, paints)
        found.append(replace(stage, key=key))
    found.append(_plain("clear", "clear coat", details.clear, parts, WHOLE_FACE))
    return _in_goes(scheme, found, meets)


def _in_goes(scheme: Scheme, stages: Sequence[Sprayed], meets: Callable[[int, int], bool]) -> tuple[Sprayed, ...]:
    """The stages with what is sprayed along with the stage before, and what could be along with an earlier one.

    Nothing dries between what goes along. Nothing is taped while paint is wet: a stage that tapes a line does not.
    """
    first = sum(stage.kind == "base" for stage in stages)
    lines = {zone.name for face in scheme.faces for zone in face.zones if zone.hard and not zone.masked}

    def apart(i: int, others: Iterable[int]) -> bool:
        if stages[i].kind == "base":
            return True
        taped = bool(lines.intersection(scheme.coats[i - first].zones))
        return not taped and not any(meets(other - first, i - first) for other in others)

    found: list[Sprayed] = []
    goes: list[int] = []
    for i, stage in enumerate(stages):
        along = i > 0 and stages[i - 1].key == stage.key and apart(i, goes)
        goes = [*goes, i] if along else [i]
        dry = stage.product.dry_min
        if along:
            found[-1] = replace(found[-1], dry_min=Range.point(0.0))
            dry = longest([stages[at].product.dry_min for at in goes])
        earlier = next((j for j in range(i - 2, first - 1, -1) if stages[j].key == stage.key), None)
        if along or earlier is None or not apart(i, range(earlier, i)):
            earlier = None
        found.append(replace(stage, along=along, could_follow=earlier, dry_min=dry))
    return tuple(found)


def longest(minutes: Sequence[Range | None]) -> Range | None:
    """The slowest of all [min]; None where one of them is not stated."""
    known = [each for each in minutes if each is not None]
    if len(known) < len(minutes):
        return None
    return Range(max(m.low for m in known), max(m.likely for m in known), max(m.high for m in known))


def _meet(surveys: Sequence[Survey], one: int, other: int) -> bool:
    """Whether two coats lie over one another anywhere."""
    return any(bool(np.any(survey.builds[[one, other]].min(axis=0) > LEAST_BUILD)) for survey in surveys)


def _paint_key(colour: str, product: Product, known: dict[str, list[Product]]) -> str:
    """The batch an opaque coat comes from: paint of one colour is one batch, unless what is stated of it differs."""
    batches = known.setdefault(colour, [])
    at = next((i for i, other in enumerate(batches) if _same_paint(product, other)), len(batches))
    if at == len(batches):
        batches.append(product)
    elif product.ratio:
        batches[at] = product
    return f"paint {colour}" + (f" {at + 1}" if at else "")


def _same_base(scheme: Scheme, one: Sprayed, other: Sprayed) -> bool:
    """Whether two base coats are one product: of one name, over bases that look alike."""
    bases = [scheme.base_for(stage.faces[0]) for stage in (one, other) if stage.faces]
    alike = len({(base.kind, base.colour, base.silver) for base in bases}) == 1
    named = one.product.name and one.product.name == other.product.name
    return bool(named) and len(bases) == 2 and alike and _same_paint(one.product, other.product)


def _same_paint(one: Product, other: Product) -> bool:
    """Whether nothing that is stated of two paints tells them apart; drying times are the stage's, not the paint's."""
    names = ("ratio", "densities_g_per_mL", "solids", "pot_life_min", "isocyanate", "prices")
    pairs = [(getattr(one, name), getattr(other, name)) for name in names]
    return all(a == b or a in (None, {}) or b in (None, {}) for a, b in pairs)


def minutes_per_coat(stage: Sprayed) -> Range:
    """Time at the gun for one coat of a stage [min], by its area and the faces that it goes over."""
    return summed([SPRAY_MIN_PER_M2.scaled(stage.area_m2), SPRAY_MIN_PER_FACE.scaled(len(stage.faces))])


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
