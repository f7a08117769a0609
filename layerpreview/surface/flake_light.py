"""How bright a metallic base looks: flakes as small mirrors under soft lamps, under a film with a flat face.

The film bends the light: a flake sees lamp and eye at their angles inside the film (n = 1.5), so that a tilt of
14 degrees sends light from 45 degrees straight up, not one of 22.5.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import FILM_INDEX, fresnel_reflectance
from layerpreview.surface.hashed_fields import F32, Lattice
from layerpreview.surface.relief import Relief

SKY = 0.085
"""Even light from all round, against a main lamp of 1: what the darkest facets still show (assumed)."""

ROOM = 0.12
"""What the lit walls about a lamp add to the width of its lobe (assumed): without them a mirror-like base would be
black but for a few glints, which nobody sees in a workshop."""

USUAL_SPREAD = 0.3
SHOULDER_FROM, SHOULDER_TO = 0.8, 1.08
"""Reflectance factors above the first number are bent towards the second: a facet that mirrors a lamp is several
times as bright as white, and no picture can show it (a choice, as in any photograph)."""


@dataclass(frozen=True)
class Lamp:
    """A soft round lamp far away: where it stands, how large it looks and how strong it is.

    from_deg: clockwise from the top of the picture [deg]. height_deg: above the panel, 0..90 [deg].
    size_deg: its diameter as the panel sees it [deg]. power: relative, the main lamp being 1.
    """

    from_deg: float
    height_deg: float
    size_deg: float
    power: float


def DEFAULT_LAMPS(from_deg: float = 315.0, height_deg: float = 50.0) -> tuple[Lamp, ...]:
    """A main lamp and two larger, weaker and lower ones from other sides, as in a workshop (assumed)."""
    return (
        Lamp(from_deg, height_deg, 20.0, 1.0),
        Lamp(from_deg + 125.0, height_deg * 0.8, 35.0, 0.28),
        Lamp(from_deg + 225.0, height_deg * 0.8, 35.0, 0.45),
    )


def _inside_film(from_deg: float, polar_deg: float) -> NDArray[np.float64]:
    """Unit vector (x right, y down, z out of the panel) towards a lamp or eye, after the film bent it."""
    turn, sine = np.radians(from_deg), np.sin(np.radians(polar_deg)) / FILM_INDEX
    return np.array([sine * np.sin(turn), -sine * np.cos(turn), np.sqrt(1 - sine * sine)])


def _let_through(polar_deg: float) -> float:
    """Unpolarised Fresnel transmission of the film's face at an angle in air, against that at 0 degrees."""
    slanting, straight = (
        1.0 - fresnel_reflectance(cosine, index_from=1.0, index_to=FILM_INDEX)
        for cosine in (np.cos(np.radians(polar_deg)), 1.0)
    )
    return float(slanting / straight)


def _sparkle(flake: F32, *, depth: float, phase: float) -> F32:
    """A multiplier of mean 1 with a heavy tail (Pareto, exponent 1/0.3): few flakes flash, most are dull."""
    chance = flake + np.float32(phase)
    chance -= np.floor(chance)
    # capped at the brightest flake in a few thousand
    np.minimum(chance, np.float32(0.9997), out=chance)
    np.subtract(np.float32(1), chance, out=chance)
    tail: F32 = np.exp(np.float32(-0.3) * np.log(chance))
    tail *= np.float32(0.7 * depth)
    tail += np.float32(1 - depth)
    return tail


def _shoulder(brightness: F32) -> F32:
    room = np.float32(SHOULDER_TO - SHOULDER_FROM)
    over = np.maximum(brightness - np.float32(SHOULDER_FROM), np.float32(0))
    over /= -room
    bent: F32 = np.minimum(brightness, np.float32(SHOULDER_FROM))
    bent -= np.expm1(over) * room
    return bent


def flake_brightness(
    relief: Relief,
    *,
    flake_spread: float,
    lamps: Sequence[Lamp],
    view_deg: float = 0.0,
    view_from_deg: float = 180.0,
) -> F32:
    """Relative reflectance factor (rows, cols) of the bare base under the lamps, linear, 0 to about 1.

    relief: the surface. flake_spread: Beckmann width of the flakes' tilt, 0.05..0.5. view_deg: of the eye from
    straight on, 0..90, in air [deg]; view_from_deg: on which side it then stands, clockwise from the picture's
    top [deg].

    Per lamp `power * (w0 / w) * exp(-tan^2(tilt) / w^2)`, tilt being the angle between the base's normal and the
    half-way vector of lamp and eye inside the film and `w^2 = flake_spread^2 + (lamp's half size / 2)^2`; times
    sparkle, plus the sky, times a constant of the kind of relief, times the face's transmission of lamp and eye.
    """
    eye = _inside_film(view_from_deg, view_deg)
    lobes = []
    for lamp in lamps:
        half = _inside_film(lamp.from_deg, 90 - lamp.height_deg) + eye
        half /= np.linalg.norm(half)
        width2 = flake_spread**2 + ROOM**2 + (np.radians(lamp.size_deg / 4) / FILM_INDEX) ** 2
        power = lamp.power * _let_through(90 - lamp.height_deg) * USUAL_SPREAD / np.sqrt(width2)
        lobes.append((half.astype(np.float32), np.float32(1 / width2), np.float32(power)))
    gain = np.float32(relief.gain * _let_through(view_deg) * eye[2] ** 2)
    depth = min(relief.sparkle * flake_spread / USUAL_SPREAD, 1.0)
    # a flake flashes only near its own angle: tilting by a few degrees lights up others
    phase = view_deg / 15.0
    out = np.empty_like(relief.slope_x)

    def block(rows: slice) -> None:
        slope_x, slope_y = relief.slope_x[rows], relief.slope_y[rows]
        length2 = slope_x * slope_x
        length2 += slope_y * slope_y
        length2 += np.float32(1)
        total = np.zeros_like(length2)
        for half, per_width2, power in lobes:
            cosine = half[2] - half[0] * slope_x
            cosine -= half[1] * slope_y
            # a facet turned away from the half-way vector stays dark
            np.maximum(cosine, np.float32(0.05), out=cosine)
            cosine *= cosine
            tan2 = np.divide(length2, cosine, out=cosine)
            tan2 -= np.float32(1)
            tan2 *= -per_width2
            lobe = np.exp(tan2, out=tan2)
            lobe *= power
            total += lobe
        total *= _sparkle(relief.flake[rows], depth=depth, phase=phase)
        total += np.float32(SKY)
        total *= gain
        out[rows] = _shoulder(total)

    rows, cols = out.shape
    Lattice(rows, cols, relief.step_mm).each_block(block)
    return out
