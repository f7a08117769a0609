"""The colour of single spots of a finish: base, open field and edge, under each light and from face to flop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.colour import (
    delta_e_2000,
    display_matrix,
    rgb_basis,
    rgb_lin_to_hex,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.film import MetalBase
from layerpreview.preview.flop import Flop, flop_of
from layerpreview.preview.paint import stack_of
from layerpreview.preview.part import FaceShape
from layerpreview.preview.scene import PlacedFace, Scene
from layerpreview.preview.stack import DyeLayer, OpaqueLayer, Stack
from layerpreview.scheme import Base, Scheme
from layerpreview.surface.distance import coverage

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class ColourFigures:
    """The colour of one spot under one light: L*a*b* against that light's white, and the swatch on a screen."""

    light: str
    spot: str
    lab: tuple[float, float, float]
    srgb: str
    on_screen: bool


@dataclass(frozen=True)
class LightShift:
    """How the open field's colour holds under another light (CIEDE2000, each light against its own white).

    `spot`: which field; `from_first`: against the same field under the scheme's first light; `from_grey`: against a
    neutral grey of equal lightness under the same light. Solid-colour measures: standards for effect finishes ask for
    more (ISO 18314-4).
    """

    light: str
    spot: str
    from_first: float
    from_grey: float


@dataclass(frozen=True, eq=False)
class Spot:
    """One place to give the colour of: its name, its base, the base's mean spectrum `bare` (81,), `build` (layers,)."""

    name: str
    base: Base
    bare: F64
    build: F64


def spots_of(scheme: Scheme, scene: Scene) -> list[Spot]:
    """Per face its base, the open field away from bursts, each zone, and each edge where bursts are full.

    The outline's is called "edge", that of an opening "hole edge" and so on: a ring round a hole is not on the outline.

    Faces that look the same are told once; with one face the names carry no face.
    """
    spots: list[Spot] = []
    for face in scene.faces:
        shape, base = face.picture.shape, scheme.base_for(face.name)
        bare = mean_bare(face)
        before = "" if len(scene.faces) == 1 else f"{face.name}, "
        builds = {"base": np.zeros(len(scheme.coats)), "field": _build_at(scheme, shape, _middle(shape))}
        for name, region in shape.regions.items():
            if name not in shape.masked:
                key = f"zone {name}" if name in ("base", "field", "edge") else name
                builds[key] = _build_at(scheme, shape, region.shape.representative_point())
        over_all = [coat for coat in scheme.coats if shape.zones_of(scheme, coat) is None]
        sources = dict.fromkeys(burst.source for coat in over_all for burst in shape.bursts_of(scheme, coat))
        for source in sorted(sources, key="outline".__ne__):
            builds["edge" if source == "outline" else f"{source} edge"] = _build_at_edge(scheme, shape, source)
        spots += [Spot(before + name, base, bare, build) for name, build in builds.items()]
    return spots


def _middle(shape: FaceShape) -> shapely.Point:
    """The point of a face that is furthest from every edge, outside masked zones."""
    masks = [shape.regions[name].shape for name in shape.masked]
    painted: Any = shape.outline.polygon.difference(shapely.union_all(masks))
    if painted.is_empty:
        painted = shape.outline.polygon
    return shapely.Point(shapely.maximum_inscribed_circle(painted, tolerance=1.0).coords[0])


def _build_at(scheme: Scheme, shape: FaceShape, point: shapely.Point) -> F64:
    """Build of every coat at a point far from the edges its bursts start at."""
    build = np.zeros(len(scheme.coats))
    for i, coat in enumerate(scheme.coats):
        names = shape.zones_of(scheme, coat)
        if names is None or any(shape.regions[name].shape.contains(point) for name in names):
            bursts = shape.bursts_of(scheme, coat)
            build[i] = max((burst.centre for burst in bursts), default=1.0) * (1.0 - coat.cut_back)
    return build


def _build_at_edge(scheme: Scheme, shape: FaceShape, source: str) -> F64:
    """Build of every coat that goes over the whole face, at an edge: bursts from there are full, others far away."""
    build = np.zeros(len(scheme.coats))
    for i, coat in enumerate(scheme.coats):
        if shape.zones_of(scheme, coat) is not None:
            continue
        bursts = shape.bursts_of(scheme, coat)
        from_here = {source, "openings"} if source in shape.outline.openings else {source}
        full = not bursts or any(burst.source in from_here for burst in bursts)
        build[i] = (1.0 if full else max(burst.centre for burst in bursts)) * (1.0 - coat.cut_back)
    return build


def light_shifts(colours: Sequence[ColourFigures]) -> list[LightShift]:
    """How each open field's colour holds from light to light."""
    found = []
    firsts: dict[str, ColourFigures] = {}
    for colour in colours:
        if colour.spot.endswith("field"):
            first = firsts.setdefault(colour.spot, colour)
            lab, grey = np.array(colour.lab), np.array([colour.lab[0], 0.0, 0.0])
            found.append(
                LightShift(
                    light=colour.light,
                    spot=colour.spot,
                    from_first=float(delta_e_2000(np.array(first.lab), lab)),
                    from_grey=float(delta_e_2000(grey, lab)),
                )
            )
    return found


def flops(scheme: Scheme, spots: Sequence[Spot]) -> dict[str, Flop]:
    """Bases and open fields at the aspecular angles; only metal has a flop, and only where no opaque coat covers it."""
    light = scheme.lights[0]
    luminance = xyz_weights(light, observer_deg=scheme.observer_deg)[1]
    found = {}
    for spot in spots:
        if spot.base.kind != "metal" or not spot.name.endswith(("base", "field")):
            continue
        layers = list(zip(stack_of(scheme, base=spot.base).layers, spot.build, strict=True))
        if any(isinstance(layer, OpaqueLayer) and build > 0.01 for layer, build in layers):
            continue
        dye = np.zeros_like(spot.bare)
        for layer, build in layers:
            if isinstance(layer, DyeLayer):
                dye += build * layer.absorbance10
        shown = float(luminance @ spot.bare)
        if shown < 1e-6:
            continue  # a black base has no colour of its own to go on
        cast = spot.bare / shown
        metal = MetalBase(flake_spread=spot.base.flake_spread)
        found[spot.name] = flop_of(dye, cast, metal, light=light, observer_deg=scheme.observer_deg)
    return found


def spot_colours(scheme: Scheme, spots: Sequence[Spot]) -> list[ColourFigures]:
    """Colour of every spot under every light of the scheme."""
    return [
        spot_colour(
            stack_of(scheme, base=spot.base),
            spot.bare,
            spot.build,
            light=light,
            observer_deg=scheme.observer_deg,
            spot=spot.name,
        )
        for light in scheme.lights
        for spot in spots
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


def mean_bare(face: PlacedFace) -> F64:
    """Mean spectrum of a face's base over the painted area, from some two hundred rows all over it."""
    total, weight = np.zeros(3), 0.0
    picture = face.picture
    tint = picture.bare.tint_rgb
    step = max(1, picture.grid.n_rows // 200)
    for y in range(step // 2, picture.grid.n_rows, step):
        light = np.maximum(picture.bare.source.rows(y, y + 1)[0], 0.0)
        cover = coverage(picture.maps.edge.rows(y, y + 1)[0], picture.grid.pixel_mm)
        total += cover @ light if tint is None else float(cover @ light) * np.asarray(tint)
        weight += float(cover.sum())
    return np.asarray((total / max(weight, 1e-9)) @ rgb_basis())
