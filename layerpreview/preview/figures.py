"""The dye-load figures: what each coat puts down, what to mix, the colour it makes; each with its basis and range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    WAVELENGTHS_NM,
    display_matrix,
    rgb_basis,
    rgb_lin_to_hex,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.preview.face import mean_builds
from layerpreview.preview.paint import DyeInMix, absorbance10_per_um, dyes_in, stack_of
from layerpreview.preview.scene import Scene
from layerpreview.preview.stack import Stack
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme
from layerpreview.spray import dry_film_um, volume_to_spray
from layerpreview.units import Range

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Figure:
    """One number with its range, unit and basis: "stated", "table (...)", "assumed (...)", "measured (...)"."""

    low: float
    likely: float
    high: float
    unit: str
    basis: str

    @classmethod
    def of(cls, value: Range, unit: str, basis: str) -> Figure:
        return cls(value.low, value.likely, value.high, unit, basis)


@dataclass(frozen=True)
class DyeFigures:
    """One dye of a mix: how strong, what one coat leaves per area, and what the batch needs."""

    name: str
    kind: str
    strength: str
    pure_g_per_L: Figure
    load_per_coat_mg_m2: Figure
    as_sold_per_coat: Figure
    needed: Figure
    needed_drops: Figure | None


@dataclass(frozen=True)
class CoatFigures:
    """One entry of the scheme's coats. `mix_needed_mL` includes what misses the part and what stays in the cup."""

    order: int
    what: str
    coats: int
    where: str
    mean_build: float
    area_m2: float
    wet_um_per_coat: Figure
    dry_um_all_coats: Figure | None
    peak_absorbance10: Figure | None
    peak_nm: float | None
    hidden_at_edge: float | None
    mix_landed_mL: Figure
    mix_needed_mL: Figure
    dyes: tuple[DyeFigures, ...]


@dataclass(frozen=True)
class ColourFigures:
    """The colour of one spot under one light: L*a*b* against that light's white, and the swatch on a screen."""

    light: str
    spot: str
    lab: tuple[float, float, float]
    srgb: str
    on_screen: bool


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
    notes: tuple[str, ...]


def figures_of(scheme: Scheme, scene: Scene) -> Figures:
    """The figures of a scheme, from the areas and bursts of a prepared scene."""
    builds = [mean_builds(face.picture.outline, scheme.coats) for face in scene.faces]
    coats = tuple(_coat(scheme, scene, i, [of_face[i] for of_face in builds]) for i in range(len(scheme.coats)))
    mixes: dict[str, Figure] = {}
    for figures in coats:
        if figures.dyes:
            mixes[figures.what] = _sum(mixes.get(figures.what), figures.mix_needed_mL)
    return Figures(
        scheme=scheme.name,
        approximate=True,
        observer_deg=scheme.observer_deg,
        faces={face.name: face.picture.outline.area_m2 for face in scene.faces},
        coats=coats,
        mixes=mixes,
        colours=tuple(_colours(scheme, scene)),
        notes=_notes(scheme),
    )


def _sum(first: Figure | None, second: Figure) -> Figure:
    if first is None:
        return second
    low, likely, high = first.low + second.low, first.likely + second.likely, first.high + second.high
    return Figure(low, likely, high, second.unit, second.basis)


def _coat(scheme: Scheme, scene: Scene, index: int, builds: Sequence[float]) -> CoatFigures:
    coat = scheme.coats[index]
    areas = [face.picture.outline.area_m2 for face in scene.faces]
    area = sum(areas)
    build = float(np.average(builds, weights=areas))
    volume = volume_to_spray(
        area_m2=area,
        wet_film_um=coat.film_um,
        coats=coat.coats,
        transfer=scheme.gun.transfer,
        residue_mL=scheme.gun.residue_mL,
        mean_build=build,
    )
    needed = Figure.of(
        volume.needed_mL,
        "mL",
        f"film {coat.film_basis}, transfer {scheme.gun.transfer_basis}, residue {scheme.gun.residue_basis}",
    )
    peak, peak_nm, dry = None, None, None
    dyes: tuple[DyeFigures, ...] = ()
    if isinstance(coat, DyeCoat):
        mix = scheme.mix_of(coat)
        per_um = absorbance10_per_um(scheme, mix)
        at = int(np.argmax(per_um))
        peak = Figure.of(
            coat.film_um.scaled(float(per_um[at]) * coat.coats),
            "absorbance (decadic, one straight pass)",
            f"film {coat.film_basis}, dyes {_kinds(scheme, coat)}",
        )
        peak_nm = float(WAVELENGTHS_NM[at])
        dyes = tuple(_dye(scheme, coat, part, volume.needed_mL) for part in dyes_in(scheme, mix))
        if mix.solids is not None:
            thin = Range(*(dry_film_um(wet_film_um=w, solids=mix.solids) for w in _ends(coat.film_um)))
            dry = Figure.of(thin.scaled(coat.coats), "um", f"film {coat.film_basis}, solids stated")
    return CoatFigures(
        order=index + 1,
        what=coat.mix if isinstance(coat, DyeCoat) else f"opaque {coat.colour}",
        coats=coat.coats,
        where=_where(coat),
        mean_build=build,
        area_m2=area,
        wet_um_per_coat=Figure.of(coat.film_um, "um", coat.film_basis),
        dry_um_all_coats=dry,
        peak_absorbance10=peak,
        peak_nm=peak_nm,
        hidden_at_edge=1.0 - 10.0 ** (-coat.hiding * coat.coats) if isinstance(coat, OpaqueCoat) else None,
        mix_landed_mL=Figure.of(volume.landed_mL, "mL", f"film {coat.film_basis}"),
        mix_needed_mL=needed,
        dyes=dyes,
    )


def _ends(value: Range) -> tuple[float, float, float]:
    return value.low, value.likely, value.high


def _kinds(scheme: Scheme, coat: DyeCoat) -> str:
    return ", ".join(sorted({scheme.dyes[name].kind for name in scheme.mix_of(coat).strengths}))


def _where(coat: DyeCoat | OpaqueCoat) -> str:
    if not coat.bursts:
        return "whole face" if coat.zone == "face" else coat.zone
    return " and ".join(f"burst {burst.width_mm:g} mm from {burst.source}" for burst in coat.bursts)


def _dye(scheme: Scheme, coat: DyeCoat, part: DyeInMix, needed_mL: Range) -> DyeFigures:
    """Figures of one dye. 1 g/L over 1 um is 1 mg/m2; 1 mL/L over 1 um is 0.001 mL/m2."""
    kind = scheme.dyes[part.name].kind
    strength_basis = "stated" if part.strength.unit != "drops/L" else f"drops {part.drops_basis}"
    film_basis = f"film {coat.film_basis}"
    sold = part.as_sold_per_L.times(needed_mL).scaled(0.001)
    drops = None
    if not part.powder:
        count = Range(
            sold.low * part.drops_per_mL.low, sold.likely * part.drops_per_mL.likely, sold.high * part.drops_per_mL.high
        )
        drops = Figure.of(count, "drops", part.drops_basis)
    return DyeFigures(
        name=part.name,
        kind=kind,
        strength=part.strength.written or f"{part.strength.amount:g} {part.strength.unit}",
        pure_g_per_L=Figure.of(part.pure_g_per_L, "g/L", f"{strength_basis}; concentrate {_concentrate(kind)}"),
        load_per_coat_mg_m2=Figure.of(part.pure_g_per_L.times(coat.film_um), "mg/m2", film_basis),
        as_sold_per_coat=Figure.of(
            part.as_sold_per_L.times(coat.film_um).scaled(0.001), "g/m2" if part.powder else "mL/m2", film_basis
        ),
        needed=Figure.of(sold, "g" if part.powder else "mL", f"{film_basis}, transfer {scheme.gun.transfer_basis}"),
        needed_drops=drops,
    )


def _concentrate(kind: str) -> str:
    return {"generic": "assumed (generic dye)", "fitted": "measured (fitted)", "table": "table"}.get(kind, "stated")


def _colours(scheme: Scheme, scene: Scene) -> list[ColourFigures]:
    """Base, open field (no burst) and edge (every burst full), of the mean base over the faces' middles."""
    bare = _mean_bare(scene)
    stack = stack_of(scheme)
    field = np.array([max((b.centre for b in coat.bursts), default=1.0) for coat in scheme.coats])
    edge = np.ones(len(scheme.coats))
    spots = [("base", np.zeros(len(scheme.coats))), ("field", field)]
    if any(coat.bursts for coat in scheme.coats):
        spots.append(("edge", edge))
    return [
        spot_colour(stack, bare, build, light=light, observer_deg=scheme.observer_deg, spot=spot)
        for light in scheme.lights
        for spot, build in spots
    ]


def spot_colour(stack: Stack, bare: F64, build: F64, *, light: str, observer_deg: int, spot: str) -> ColourFigures:
    """Colour of one spot: `bare` (81,) spectrum of the base, `build` (layers,). Full sum, no reduced wavelengths."""
    spectrum = stack.reflectance(bare[None, :], build[None, :])[0]
    white = white_xyz(light, observer_deg=observer_deg)
    xyz = xyz_weights(light, observer_deg=observer_deg) @ spectrum
    rgb = display_matrix(light, observer_deg=observer_deg) @ spectrum
    lab = xyz_to_lab(xyz, white_xyz=white)
    return ColourFigures(
        light=light,
        spot=spot,
        lab=(float(lab[0]), float(lab[1]), float(lab[2])),
        srgb=rgb_lin_to_hex(np.clip(rgb, 0.0, 1.0)),
        on_screen=bool(np.all(rgb > -1e-3) and np.all(rgb < 1.005)),
    )


def _mean_bare(scene: Scene) -> F64:
    """Mean spectrum of the base over the painted area, from every eighth band of rows."""
    total, weight = np.zeros(3), 0.0
    for face in scene.faces:
        picture = face.picture
        tint = picture.bare.tint_rgb
        for y0 in range(0, picture.grid.n_rows, 64):
            strip = picture.rows(y0, min(y0 + 8, picture.grid.n_rows))
            sums = strip.bare @ strip.cover
            total += sums if tint is None else float(sums[0]) * np.asarray(tint)
            weight += float(strip.cover.sum())
    return np.asarray((total / max(weight, 1e-9)) @ rgb_basis())


def _notes(scheme: Scheme) -> tuple[str, ...]:
    notes = ["All figures are approximate."]
    generic = sorted(name for name, dye in scheme.dyes.items() if dye.kind == "generic")
    if generic:
        notes.append(f"Generic dyes ({', '.join(generic)}): they show the kind of colour; spray a card for your own.")
    return tuple(notes)
