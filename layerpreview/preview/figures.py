"""Everything the figures table prints, from one scheme and its scene."""

from __future__ import annotations

from dataclasses import dataclass

from layerpreview.preview.amounts import CoatFigures, DyeFigures, Figure, coat_figures
from layerpreview.preview.face import mean_builds
from layerpreview.preview.flop import Flop
from layerpreview.preview.scene import Scene
from layerpreview.preview.spots import (
    ColourFigures,
    LightShift,
    field_flop,
    light_shifts,
    mean_bare,
    spot_colour,
    spot_colours,
)
from layerpreview.scheme import Scheme

__all__ = ["CoatFigures", "ColourFigures", "DyeFigures", "Figure", "Figures", "figures_of", "spot_colour"]


@dataclass(frozen=True)
class Figures:
    """Everything the table prints; `dataclasses.asdict` of it is the JSON."""

    scheme: str
    approximate: bool
    observer_deg: int
    faces: dict[str, float]
    coats: tuple[CoatFigures, ...]
    mixes: dict[str, Figure]
    colours: tuple[ColourFigures, ...]
    lights: tuple[LightShift, ...]
    flop: dict[str, Flop]
    notes: tuple[str, ...]


def figures_of(scheme: Scheme, scene: Scene) -> Figures:
    """The figures of a scheme, from the areas and bursts of a prepared scene."""
    builds = [mean_builds(face.picture.outline, scheme.coats) for face in scene.faces]
    areas = [face.picture.outline.area_m2 for face in scene.faces]
    coats = tuple(
        coat_figures(scheme, i, areas_m2=areas, builds=[of_face[i] for of_face in builds])
        for i in range(len(scheme.coats))
    )
    mixes: dict[str, Figure] = {}
    for figures in coats:
        if figures.dyes:
            mixes[figures.what] = _sum(mixes.get(figures.what), figures.mix_needed_mL, scheme.gun.residue_mL)
    bare = mean_bare(scene)
    colours = tuple(spot_colours(scheme, bare))
    return Figures(
        scheme=scheme.name,
        approximate=True,
        observer_deg=scheme.observer_deg,
        faces={face.name: face.picture.outline.area_m2 for face in scene.faces},
        coats=coats,
        mixes=mixes,
        colours=colours,
        lights=tuple(light_shifts(colours)),
        flop=field_flop(scheme, bare),
        notes=_notes(scheme),
    )


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
