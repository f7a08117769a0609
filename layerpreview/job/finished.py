"""The places of a part as they came out and as they were agreed: spectra, and L*a*b* under every light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import LIGHT_NAMES, delta_e_2000, display_matrix, rgb_lin_to_hex, spectrum_to_lab
from layerpreview.finish.layers import End, stack_of
from layerpreview.job.colours import spot_spectrum
from layerpreview.picture.spots import Spot
from layerpreview.scheme import Scheme

F64 = NDArray[np.float64]
Lab = tuple[float, float, float]

USUAL_LIGHTS = ("D65", "A", "LED-B3")
"""Daylight, lamp light and a white LED: what a finish is looked at under, and what shows metamers."""


@dataclass(frozen=True, eq=False)
class FinishedPlace:
    """A place: its base with nothing on it, the finish as made (likely, and at the thin and the full end of films and
    dyes) and as agreed, each (81,); the share of every coat's full build. `lab`, `lab_agreed` by light, adapted to D65.

    `agreed` is None where the agreed scheme has no such place.
    """

    name: str
    face: str
    kind: str
    at_mm: tuple[float, float]
    share: tuple[float, ...]
    bare: F64
    made: F64
    thin: F64
    full: F64
    agreed: F64 | None
    lab: dict[str, Lab]
    lab_agreed: dict[str, Lab]
    srgb: dict[str, str]

    def de00(self, light: str) -> float | None:
        """From agreed to made (CIEDE2000)."""
        if light not in self.lab_agreed:
            return None
        return float(delta_e_2000(np.array(self.lab_agreed[light]), np.array(self.lab[light])))


def three_lights(scheme: Scheme) -> tuple[str, ...]:
    """The scheme's lights, filled up to three."""
    assert set(USUAL_LIGHTS) <= set(LIGHT_NAMES)
    found = list(dict.fromkeys(scheme.lights))
    for light in USUAL_LIGHTS:
        if len(found) < 3 and light not in found:
            found.append(light)
    return tuple(found)


def finished(
    scheme: Scheme, spots: Sequence[Spot], agreed: Scheme, agreed_spots: Sequence[Spot], *, lights: Sequence[str]
) -> list[FinishedPlace]:
    """Every place of `scheme`, which is the one as made, beside the same place of `agreed`."""
    ends: tuple[End, ...] = ("low", "likely", "high")
    stacks = {spot.base: [stack_of(scheme, base=spot.base, end=end) for end in ends] for spot in spots}
    others = {spot.name: spot for spot in agreed_spots}
    found = []
    for spot in spots:
        thin, made, full = (spot_spectrum(stack, spot.bare, spot.build) for stack in stacks[spot.base])
        other = others.get(spot.name)
        asked = None if other is None else spot_spectrum(stack_of(agreed, base=other.base), other.bare, other.build)
        observer = scheme.observer_deg
        found.append(
            FinishedPlace(
                name=spot.name,
                face=spot.face,
                kind=str(spot.kind),
                at_mm=spot.at_mm,
                share=tuple(float(build) for build in spot.build),
                bare=spot.bare,
                made=made,
                thin=thin,
                full=full,
                agreed=asked,
                lab={light: _lab(made, light, observer) for light in lights},
                lab_agreed={} if asked is None else {light: _lab(asked, light, observer) for light in lights},
                srgb={light: rgb_lin_to_hex(display_matrix(light, observer_deg=observer) @ made) for light in lights},
            )
        )
    return found


def _lab(spectrum: F64, light: str, observer_deg: int) -> Lab:
    lightness, a, b = spectrum_to_lab(spectrum, light=light, observer_deg=observer_deg)
    return float(lightness), float(a), float(b)
