"""Everything the figures table prints, from one scheme and its scene; each with its range and grounds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.finish.flop import Flop
from layerpreview.finish.layers import DyeInMix, End, absorbance10_per_um, dye_rests_on, dyes_in
from layerpreview.job.colours import ColourFigures, LightShift, beyond_tested, flops, light_shifts, spot_colours
from layerpreview.job.needed import needed_of, stage_needed_mL
from layerpreview.job.products import details_of
from layerpreview.job.sprayed import Sprayed, sprayed_stages, stages_surveyed
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.scene import Scene
from layerpreview.picture.spots import Spot, spots_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Coat, DyeCoat, OpaqueCoat, Scheme
from layerpreview.spray import dry_film_um
from layerpreview.told import Basis, Rest, Told, merged
from layerpreview.units import Range

_OUTER: tuple[End, End] = ("low", "high")


@dataclass(frozen=True)
class DyeFigures:
    """One dye of a mix: how strong, what one coat leaves per area, and what the batch needs."""

    name: str
    kind: str
    strength: str
    pure_g_per_L: Told
    load_per_coat_mg_m2: Told
    as_sold_per_coat: Told
    needed: Told
    needed_drops: Told | None


@dataclass(frozen=True)
class CoatFigures:
    """One entry of the scheme's coats. `mix_needed_mL` includes what misses the part and what stays in the cup."""

    order: int
    what: str
    coats: int
    where: str
    mean_build: float
    area_m2: float
    wet_um_per_coat: Told
    dry_um_all_coats: Told | None
    peak_absorbance10: Told | None
    peak_nm: float | None
    hidden_at_edge: float | None
    mix_landed_mL: Told
    mix_needed_mL: Told
    dyes: tuple[DyeFigures, ...]


def coat_figures(scheme: Scheme, index: int, *, area_m2: float, on_part_mL: Told, needed_mL: Told) -> CoatFigures:
    """Figures of the coat at `index` over `area_m2` [m2], of which `on_part_mL` lands and `needed_mL` is mixed [mL]."""
    coat = scheme.coats[index]
    full_mL = area_m2 * coat.coats * coat.film_um.likely
    build = on_part_mL.likely / full_mL if full_mL > 0.0 else 0.0
    peak, peak_nm, dry = None, None, None
    dyes: tuple[DyeFigures, ...] = ()
    if isinstance(coat, DyeCoat):
        mix = scheme.mix_of(coat)
        per_um = absorbance10_per_um(scheme, mix)
        at = int(np.argmax(per_um))
        weak, strong = (absorbance10_per_um(scheme, mix, end) for end in _OUTER)
        per_um_at_peak = Range(float(weak[at]), float(per_um[at]), float(strong[at]))
        peak = Told.from_inputs(
            per_um_at_peak.times(coat.film_um).scaled(coat.coats),
            "absorbance (decadic, one straight pass)",
            film=coat.film_um,
            dyes=_dyes(scheme, coat),
        )
        peak_nm = float(WAVELENGTHS_NM[at])
        dyes = tuple(_dye(scheme, coat, part, needed_mL) for part in dyes_in(scheme, mix))
        if mix.solids is not None:
            films = zip(_ends(coat.film_um), _ends(mix.solids), strict=True)
            thin = Range(*(dry_film_um(wet_film_um=wet, solids=solids) for wet, solids in films))
            dry = Told.from_inputs(thin.scaled(coat.coats), "um", film=coat.film_um, solids=Rest(Basis.STATED))
    return CoatFigures(
        order=index + 1,
        what=coat.label,
        coats=coat.coats,
        where=_where(coat),
        mean_build=build,
        area_m2=area_m2,
        wet_um_per_coat=coat.film_um,
        dry_um_all_coats=dry,
        peak_absorbance10=peak,
        peak_nm=peak_nm,
        hidden_at_edge=1.0 - 10.0 ** (-coat.hiding * coat.coats) if isinstance(coat, OpaqueCoat) else None,
        mix_landed_mL=on_part_mL,
        mix_needed_mL=needed_mL,
        dyes=dyes,
    )


def _ends(value: Range) -> tuple[float, float, float]:
    return value.low, value.likely, value.high


def _dyes(scheme: Scheme, coat: DyeCoat) -> Told:
    """What the absorption of a coat's dyes rests on."""
    return Told.of(1.0, "", *merged([dye_rests_on(scheme.dyes[name])] for name in scheme.mix_of(coat).strengths))


def _where(coat: Coat) -> str:
    place = "whole part" if coat.everywhere else coat.zone
    if not coat.bursts:
        return place
    rings = " and ".join(f"burst {burst.width_mm:g} mm from {burst.source}" for burst in coat.bursts)
    return rings if coat.everywhere else f"{rings}, on {place}"


def _dye(scheme: Scheme, coat: DyeCoat, part: DyeInMix, mix_needed_mL: Told) -> DyeFigures:
    """Figures of one dye. 1 g/L over 1 um is 1 mg/m2; 1 mL/L over 1 um is 0.001 mL/m2."""
    film_um = coat.film_um.called("film")
    needed = part.as_sold_per_L.times(mix_needed_mL, "g" if part.powder else "mL").scaled(0.001)
    return DyeFigures(
        name=part.name,
        kind=scheme.dyes[part.name].kind,
        strength=part.strength.written or f"{part.strength.amount:g} {part.strength.unit}",
        pure_g_per_L=part.pure_g_per_L,
        load_per_coat_mg_m2=part.pure_g_per_L.times(film_um, "mg/m2"),
        as_sold_per_coat=part.as_sold_per_L.times(film_um, "g/m2" if part.powder else "mL/m2").scaled(0.001),
        needed=needed,
        needed_drops=None if part.powder else _drops(part, mix_needed_mL, needed),
    )


def _drops(part: DyeInMix, mix_needed_mL: Told, needed_mL: Told) -> Told:
    """The same in whole drops; of a dye that is counted, not measured, how large a drop is does not matter."""
    if part.strength.unit == "drops/L":
        return mix_needed_mL.scaled(part.strength.amount / 1000.0, "drops")
    return needed_mL.times(part.drops_per_mL.called("drops"), "drops")


__all__ = ["CoatFigures", "ColourFigures", "DyeFigures", "Figures", "LightShift", "figures_of"]


@dataclass(frozen=True)
class ZoneFigures:
    """A zone of a face: its area [m2], the tape its border takes [mm], and whether it is taped off from all paint."""

    face: str
    name: str
    area_m2: float
    tape_mm: float
    masked: bool


@dataclass(frozen=True)
class Figures:
    """Everything the table prints; its fields are the JSON.

    `cautions` say where a dye is trusted beyond what was tested of it.
    `mixes` by the name of the dye mix, `paints` by title for all else that is sprayed: what the job takes of each, the
    same figures as on the mix sheet.
    """

    scheme: str
    approximate: bool
    observer_deg: int
    faces: dict[str, float]
    zones: tuple[ZoneFigures, ...]
    coats: tuple[CoatFigures, ...]
    mixes: dict[str, Told]
    paints: dict[str, Told]
    colours: tuple[ColourFigures, ...]
    lights: tuple[LightShift, ...]
    flop: dict[str, Flop]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]


def figures_of(
    scheme: Scheme, scene: Scene, surveys: Sequence[Survey] | None = None, spots: Sequence[Spot] | None = None
) -> Figures:
    """The figures of a scheme, from the areas and bursts of a prepared scene.

    `surveys`: of its faces, `spots`: its places, where they were made already.
    """
    shapes = [face.picture.shape for face in scene.faces]
    surveys = surveys or [Survey(scheme, shape) for shape in shapes]
    stages = stages_surveyed(scheme, details_of(scheme), shapes, surveys)
    batches = needed_of(scheme, stages)
    spots = spots or spots_of(scheme, scene, surveys)
    colours = tuple(spot_colours(scheme, spots))
    return Figures(
        scheme=scheme.name,
        approximate=True,
        observer_deg=scheme.observer_deg,
        faces={shape.face.name: shape.outline.area_m2 for shape in shapes},
        zones=tuple(_zone(shape, name) for shape in shapes for name in shape.regions),
        coats=tuple(_coats(scheme, shapes, stages)),
        mixes={b.title: b.needed_mL for b in batches if b.kind == "dye"},
        paints={b.title: b.needed_mL for b in batches if b.kind != "dye"},
        colours=colours,
        lights=tuple(light_shifts(colours)),
        flop=flops(scheme, spots),
        cautions=beyond_tested(scheme, spots),
        notes=_notes(scheme),
    )


def otherwise_needed_mL(
    scheme: Scheme,
    index: int,
    shapes: Sequence[FaceShape],
    builds: Sequence[Sequence[float]],
    *,
    coats: int,
    film_um: Told,
) -> Told:
    """All that the coat entry `index` would take [mL] in other coats of another wet film [um], losses included.

    `builds[face][coat]`: as in `sprayed_stages`.
    """
    coat = scheme.coats[index].model_copy(update={"coats": coats, "film_um": film_um})
    changed = scheme.model_copy(update={"coats": (*scheme.coats[:index], coat, *scheme.coats[index + 1 :])})
    stages = sprayed_stages(changed, details_of(changed), shapes, builds)
    first = sum(stage.kind == "base" for stage in stages)
    return stage_needed_mL(changed, stages, first + index)


def _coats(scheme: Scheme, shapes: list[FaceShape], stages: tuple[Sprayed, ...]) -> list[CoatFigures]:
    first = sum(stage.kind == "base" for stage in stages)
    return [
        coat_figures(
            scheme,
            i,
            area_m2=sum(shape.painted_m2(scheme, coat) for shape in shapes),
            on_part_mL=stages[first + i].on_part_mL,
            needed_mL=stage_needed_mL(scheme, stages, first + i),
        )
        for i, coat in enumerate(scheme.coats)
    ]


def _zone(shape: FaceShape, name: str) -> ZoneFigures:
    region = shape.regions[name]
    hard = any(zone.name == name and zone.hard for zone in shape.face.zones)
    tape_mm = region.tape_length_mm if hard else 0.0
    return ZoneFigures(shape.face.name, name, region.area_m2, tape_mm, name in shape.masked)


def _notes(scheme: Scheme) -> tuple[str, ...]:
    notes = ["All figures are approximate."]
    generic = sorted(name for name, dye in scheme.dyes.items() if dye.kind == "generic")
    if generic:
        notes.append(f"Generic dyes ({', '.join(generic)}): they show the kind of colour; spray a card for your own.")
    return tuple(notes)
