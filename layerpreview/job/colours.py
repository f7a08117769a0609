"""The colours of single places of a finish: under each light, with their range, and from face to flop; and where a
finish asks for more of a dye than the card it was learnt from ever held.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import delta_e_2000, display_matrix, rgb_lin_to_hex, spectrum_to_lab, xyz_weights
from layerpreview.film import diffuse_film
from layerpreview.finish.flop import Flop, flop_of
from layerpreview.finish.layers import End, absorptivity_on_grid, dyes_in, stack_of
from layerpreview.finish.stack import DyeLayer, OpaqueLayer, Stack
from layerpreview.finish.view import STRAIGHT_ON
from layerpreview.picture.spots import Spot, SpotKind
from layerpreview.scheme import Dye, DyeCoat, Scheme
from layerpreview.scheme.dyefile import GUESS_BEYOND


def beyond_tested(scheme: Scheme, spots: Sequence[Spot]) -> tuple[str, ...]:
    """A sentence for each learnt dye whose likely load, where there is most of it, is more or less than any tested."""
    found = []
    for name, dye in scheme.dyes.items():
        if dye.tested_to_mg_m2 is None:
            continue
        loads = [(load_at_mg_m2(scheme, spot, name), spot.name) for spot in spots]
        most, where = max(loads, default=(0.0, ""))
        if most > dye.tested_to_mg_m2 * 1.001:
            guess = ", a guess" if most > GUESS_BEYOND * dye.tested_to_mg_m2 else ""
            found.append(
                f"{name} was tested up to {dye.tested_to_mg_m2:.0f} mg/m2; at the {where} there are {most:.0f}: the "
                f"colour there goes beyond what the card showed{guess}."
            )
        elif dye.tested_from_mg_m2 is not None and 0.0 < most < dye.tested_from_mg_m2 * 0.999:
            guess = ", a guess" if most < dye.tested_from_mg_m2 / GUESS_BEYOND else ""
            found.append(
                f"{name} was tested from {dye.tested_from_mg_m2:.3g} mg/m2 on; at the {where}, where most of it lies, "
                f"there are {most:.3g}: paler than the card's lightest step{guess}."
            )
    return tuple(found)


def load_at_mg_m2(scheme: Scheme, spot: Spot, dye: str) -> float:
    """Load of one pure dye at a place, all coats together, at the likely film [mg/m2]."""
    total = 0.0
    for coat, build in zip(scheme.coats, spot.build, strict=True):
        if isinstance(coat, DyeCoat):
            for part in dyes_in(scheme, scheme.mix_of(coat)):
                if part.name == dye:
                    total += part.pure_g_per_L.likely * coat.film_um.likely * coat.coats * float(build)
    return total


F64 = NDArray[np.float64]

SWATCH_ABSORBANCE10, SWATCH_WHITE = 0.6, 0.9

Lab = tuple[float, float, float]


@dataclass(frozen=True)
class ColourFigures:
    """The colour of one place under one light: L*a*b* adapted to D65, and the swatch on a screen.

    `spot` names the place, `kind` says what it stands for, `place` is its name without the face's; `at_mm` across and
    down from the top left corner of the face's box; `build` of each coat there. `lab_thin` and `lab_full`: with film,
    drops and learnt dyes all at the thin or all at the full end of their ranges, `thin_de00` and `full_de00` from the
    likely colour (CIEDE2000).
    """

    light: str
    spot: str
    lab: Lab
    srgb: str
    on_screen: bool
    kind: SpotKind
    face: str
    place: str
    at_mm: tuple[float, float]
    build: tuple[float, ...]
    lab_thin: Lab
    lab_full: Lab
    thin_de00: float
    full_de00: float


@dataclass(frozen=True)
class LightShift:
    """How the colour of a place holds under another light (CIEDE2000, both adapted to D65).

    `from_first`: against the same place under the scheme's first light; `from_grey`: against a neutral grey of equal
    lightness under the same light. Solid-colour measures: standards for effect finishes ask for more (ISO 18314-4).
    """

    light: str
    spot: str
    from_first: float
    from_grey: float


def spot_colours(scheme: Scheme, spots: Sequence[Spot]) -> list[ColourFigures]:
    """Colour of every place under every light of the scheme."""
    ends: tuple[End, ...] = ("low", "likely", "high")
    bases = dict.fromkeys(spot.base for spot in spots)
    stacks = {base: [stack_of(scheme, base=base, end=end) for end in ends] for base in bases}
    found = []
    for light in scheme.lights:
        for spot in spots:
            thin, likely, full = (spot_spectrum(stack, spot.bare, spot.build) for stack in stacks[spot.base])
            labs = [spectrum_to_lab(s, light=light, observer_deg=scheme.observer_deg) for s in (thin, likely, full)]
            rgb = display_matrix(light, observer_deg=scheme.observer_deg) @ likely
            found.append(
                ColourFigures(
                    light=light,
                    spot=spot.name,
                    lab=_triple(labs[1]),
                    srgb=rgb_lin_to_hex(rgb),
                    on_screen=bool(np.all(rgb > -1e-3) and np.all(rgb < 1.005)),
                    kind=spot.kind,
                    face=spot.face,
                    place=spot.place,
                    at_mm=spot.at_mm,
                    build=tuple(float(build) for build in spot.build),
                    lab_thin=_triple(labs[0]),
                    lab_full=_triple(labs[2]),
                    thin_de00=float(delta_e_2000(labs[1], labs[0])),
                    full_de00=float(delta_e_2000(labs[1], labs[2])),
                )
            )
    return found


def spot_spectrum(stack: Stack, bare: F64, build: F64) -> F64:
    """Reflectance (81,) of one place: `bare` (81,) of the base, `build` (layers,). Full sum, no reduced wavelengths."""
    return np.asarray(stack.reflectance(bare[None, :], build[None, :])[0])


def built_up(stack: Stack, bare: F64, build: F64, *, light: str, observer_deg: int) -> list[tuple[str, Lab]]:
    """Swatch and L*a*b* (adapted to D65) of one place as it is sprayed: bare, then after each layer.

    `bare` (81,) of the base, `build` (layers,); the clear is on from the start, as in every picture.
    """
    stages = np.tril(np.ones((build.size + 1, build.size)), -1) * build
    spectra = stack.reflectance(np.repeat(bare[None], len(stages), axis=0), stages)
    labs = spectrum_to_lab(spectra, light=light, observer_deg=observer_deg)
    shown = spectra @ display_matrix(light, observer_deg=observer_deg).T
    return [(rgb_lin_to_hex(rgb), _triple(lab)) for rgb, lab in zip(shown, labs, strict=True)]


def dye_swatch(dye: Dye) -> str:
    """What a dye looks like over white where it takes most of the light that it takes best (absorbance 0.6)."""
    spectrum = absorptivity_on_grid(dye)
    absorbance10 = SWATCH_ABSORBANCE10 * spectrum / max(float(spectrum.max()), 1e-12)
    white = np.full_like(spectrum, SWATCH_WHITE)
    shown = diffuse_film(STRAIGHT_ON.light()).reflectance(absorbance10, white)
    return rgb_lin_to_hex(display_matrix("D65") @ shown)


def spot_lab(stack: Stack, bare: F64, build: F64, *, light: str, observer_deg: int) -> F64:
    """L*a*b* (3,) of one place under a light, adapted to D65."""
    return spectrum_to_lab(spot_spectrum(stack, bare, build), light=light, observer_deg=observer_deg)


def light_shifts(colours: Sequence[ColourFigures]) -> list[LightShift]:
    """How the colour of open fields, zones and hidden bursts holds from light to light."""
    found = []
    firsts: dict[str, ColourFigures] = {}
    for colour in colours:
        if colour.kind in (SpotKind.FIELD, SpotKind.ZONE, SpotKind.BURST):
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
        if spot.base.kind != "metal" or spot.kind not in (SpotKind.BASE, SpotKind.FIELD):
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
        found[spot.name] = flop_of(dye, cast, spot.base.metal, light=light, observer_deg=scheme.observer_deg)
    return found


def _triple(values: F64) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])
