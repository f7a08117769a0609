"""The colour of single spots of a finish: base, open field and edge, under each light and from face to flop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
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
from layerpreview.preview.scene import Scene
from layerpreview.preview.stack import DyeLayer, OpaqueLayer, Stack
from layerpreview.scheme import Scheme

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

    `from_first`: against the same field under the scheme's first light; `from_grey`: against a neutral grey of equal
    lightness under the same light. Solid-colour measures: standards for effect finishes ask for more (ISO 18314-4).
    """

    light: str
    from_first: float
    from_grey: float


def open_field(scheme: Scheme) -> F64:
    """Build of each coat far from every edge, (layers,)."""
    return np.array([max((b.centre for b in coat.bursts), default=1.0) for coat in scheme.coats])


def light_shifts(colours: Sequence[ColourFigures]) -> list[LightShift]:
    fields = [colour for colour in colours if colour.spot == "field"]
    return [
        LightShift(
            light=colour.light,
            from_first=float(delta_e_2000(np.array(fields[0].lab), np.array(colour.lab))),
            from_grey=float(delta_e_2000(np.array([colour.lab[0], 0.0, 0.0]), np.array(colour.lab))),
        )
        for colour in fields
    ]


def field_flop(scheme: Scheme, bare: F64) -> dict[str, Flop]:
    """Base and open field at the aspecular angles; only metal has a flop, and only where no opaque coat covers it."""
    if scheme.base.kind != "metal":
        return {}
    field = open_field(scheme)
    stack = stack_of(scheme)
    if any(isinstance(layer, OpaqueLayer) and build > 0.01 for layer, build in zip(stack.layers, field, strict=True)):
        return {}
    dye = np.zeros_like(bare)
    for layer, build in zip(stack.layers, field, strict=True):
        if isinstance(layer, DyeLayer):
            dye += build * layer.absorbance10
    light = scheme.lights[0]
    weights = xyz_weights(light, observer_deg=scheme.observer_deg)
    cast = bare / float(weights[1] @ bare)
    base = MetalBase(flake_spread=scheme.base.flake_spread)
    return {
        spot: flop_of(load, cast, base, light=light, observer_deg=scheme.observer_deg)
        for spot, load in (("base", np.zeros_like(dye)), ("field", dye))
    }


def spot_colours(scheme: Scheme, bare: F64) -> list[ColourFigures]:
    """Base, open field (no burst) and edge (every burst full), of the mean base."""
    stack = stack_of(scheme)
    field = open_field(scheme)
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


def mean_bare(scene: Scene) -> F64:
    """Mean spectrum of the base over the painted area, from some two hundred rows all over it."""
    total, weight = np.zeros(3), 0.0
    step = max(1, scene.height_px // 200)
    for face in scene.faces:
        picture = face.picture
        tint = picture.bare.tint_rgb
        for y in range(step // 2, picture.grid.n_rows, step):
            strip = picture.rows(y, y + 1)
            sums = strip.bare @ strip.cover
            total += sums if tint is None else float(sums[0]) * np.asarray(tint)
            weight += float(strip.cover.sum())
    return np.asarray((total / max(weight, 1e-9)) @ rgb_basis())
