"""Everything the figures table prints, from one scheme and its scene."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.preview.amounts import CoatFigures, DyeFigures, Figure, coat_figures
from layerpreview.preview.face import sprayed_areas_m2
from layerpreview.preview.flop import Flop
from layerpreview.preview.part import FaceShape
from layerpreview.preview.scene import Scene
from layerpreview.preview.spots import (
    ColourFigures,
    LightShift,
    flops,
    light_shifts,
    spot_colour,
    spot_colours,
    spots_of,
)
from layerpreview.scheme import Scheme

__all__ = ["CoatFigures", "ColourFigures", "DyeFigures", "Figure", "Figures", "figures_of", "spot_colour"]


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
    """Everything the table prints; `dataclasses.asdict` of it is the JSON."""

    scheme: str
    approximate: bool
    observer_deg: int
    faces: dict[str, float]
    zones: tuple[ZoneFigures, ...]
    coats: tuple[CoatFigures, ...]
    mixes: dict[str, Figure]
    colours: tuple[ColourFigures, ...]
    lights: tuple[LightShift, ...]
    flop: dict[str, Flop]
    notes: tuple[str, ...]


def figures_of(scheme: Scheme, scene: Scene) -> Figures:
    """The figures of a scheme, from the areas and bursts of a prepared scene."""
    shapes = [face.picture.shape for face in scene.faces]
    sprayed = [sprayed_areas_m2(scheme, shape) for shape in shapes]
    coats = tuple(
        coat_figures(
            scheme,
            i,
            area_m2=sum(shape.painted_m2(scheme, coat) for shape in shapes),
            sprayed_m2=sum(areas[i] for areas in sprayed),
        )
        for i, coat in enumerate(scheme.coats)
    )
    mixes: dict[str, Figure] = {}
    for figures in coats:
        if figures.dyes:
            mixes[figures.what] = _sum(mixes.get(figures.what), figures.mix_needed_mL, scheme.gun.residue_mL)
    spots = spots_of(scheme, scene)
    colours = tuple(spot_colours(scheme, spots))
    return Figures(
        scheme=scheme.name,
        approximate=True,
        observer_deg=scheme.observer_deg,
        faces={shape.face.name: shape.outline.area_m2 for shape in shapes},
        zones=tuple(_zone(shape, name) for shape in shapes for name in shape.regions),
        coats=coats,
        mixes=mixes,
        colours=colours,
        lights=tuple(light_shifts(colours)),
        flop=flops(scheme, spots),
        notes=_notes(scheme),
    )


def _zone(shape: FaceShape, name: str) -> ZoneFigures:
    region = shape.regions[name]
    hard = any(zone.name == name and zone.hard for zone in shape.face.zones)
    tape_mm = region.tape_length_mm if hard else 0.0
    return ZoneFigures(shape.face.name, name, region.area_m2, tape_mm, name in shape.masked)


def _sum(first: Figure | None, second: Figure, residue_mL: float) -> Figure:
    """What one mix needs for one more entry; what stays in cup and lines is in both and counts once."""
    if first is None:
        return second
    low, likely, high = (getattr(first, end) + getattr(second, end) - residue_mL for end in ("low", "likely", "high"))
    return Figure(low, likely, high, second.unit, second.basis)


def _notes(scheme: Scheme) -> tuple[str, ...]:
    notes = ["All figures are approximate."]
    generic = sorted(name for name, dye in scheme.dyes.items() if dye.kind == "generic")
    if generic:
        notes.append(f"Generic dyes ({', '.join(generic)}): they show the kind of colour; spray a card for your own.")
    return tuple(notes)
