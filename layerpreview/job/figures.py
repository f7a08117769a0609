"""Everything the figures table prints, from one scheme and its scene."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.finish.flop import Flop
from layerpreview.job.amounts import needed_of, stage_needed_mL
from layerpreview.job.coat_figures import CoatFigures, DyeFigures, coat_figures
from layerpreview.job.colours import ColourFigures, LightShift, flops, light_shifts, spot_colours
from layerpreview.job.products import details_of
from layerpreview.job.sprayed import Sprayed, sprayed_stages
from layerpreview.job.tested import beyond_tested
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.scene import Scene
from layerpreview.picture.spots import spots_of
from layerpreview.picture.survey import Survey
from layerpreview.scheme import Scheme
from layerpreview.told import Told

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


def figures_of(scheme: Scheme, scene: Scene) -> Figures:
    """The figures of a scheme, from the areas and bursts of a prepared scene."""
    shapes = [face.picture.shape for face in scene.faces]
    surveys = [Survey(scheme, shape) for shape in shapes]
    stages = sprayed_stages(scheme, details_of(scheme), shapes, [survey.mean_builds for survey in surveys])
    batches = needed_of(scheme, stages)
    spots = spots_of(scheme, scene, surveys)
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
