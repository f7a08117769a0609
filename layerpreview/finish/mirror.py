"""What the clear mirrors: the surroundings as seen in its face, for every way that it may lie.

The eye stands at z and the surroundings where they are, so what a face mirrors depends on its normal alone: one table
serves every edge and turn. A satin or matt face is a rough one (microfacets, Beckmann; `film.face`), which blurs it.
Values are light against a white card that lies level. What is around the lamps, a lit ceiling above a dark floor and
the dim room behind the viewer, is assumed; it brings what the even part of the surroundings does.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import FILM_INDEX, FILMS_REACH, direction, face_lobe, fresnel_reflectance, from_disc, on_disc
from layerpreview.finish.view import EVEN_LIGHT, SoftLamp, Surroundings
from layerpreview.surface.lookup import Lookup
from layerpreview.threads import passing

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

ROUGHNESS = {"gloss": 0.0, "satin": 0.15, "matt": 0.35}
"""Beckmann width [slope] of the clear's face (satin and matt assumed)."""
_SHARP, _BLURRED = 768, 128
BLURS = (0.0, 0.02, 0.06, 0.16, 0.4)
"""Turns of the normal within a pixel [rad] that have a table of their own."""
_SOFT_EDGE = 0.06
_CEILING, _WALL, _FLOOR, _BEHIND = 3.0, 0.6, 0.2, 0.5
_BACKDROP = 0.1
_HALF, _BAR = np.sqrt(np.pi) / 2.0, 0.07
"""Half the width of a window of a round lamp's area, and of its bars; the lamp's radius is 1."""
_LAMP_RAYS = 9


class Mirror:
    """The mirror image in a face: `at` is the light it adds; `levels` are ever softer tables of it, by BLURS."""

    def __init__(self, levels: tuple[Lookup, ...]) -> None:
        self.levels = levels

    def at(self, normal: F32, spread: F32) -> F32:
        """Light (P,) towards the eye, against a white card, for unit normals (3, P) that turn by `spread` (P,) [rad]
        within a pixel."""
        place = on_disc(normal)
        level = np.interp(spread, BLURS, np.arange(len(BLURS))).astype(np.float32)
        total = np.zeros(normal.shape[1], dtype=np.float32)
        for i, table in enumerate(self.levels):
            share = np.maximum(1.0 - np.abs(level - np.float32(i)), 0.0)
            here = np.flatnonzero(share)
            if here.size:
                total[here] += share[here] * table.at(*place[:, here])[:, 0]
        return total


@passing(8)
def mirror_of(around: Surroundings, finish: str, turned_deg: float = 0.0) -> Mirror:
    """What a clear of `finish` (a key of ROUGHNESS) mirrors of the surroundings, turned clockwise by `turned_deg`."""
    from scipy.ndimage import gaussian_filter

    roughness = ROUGHNESS[finish]
    count = _BLURRED if roughness else _SHARP
    axis = np.linspace(-FILMS_REACH, FILMS_REACH, count)
    normals = from_disc(np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2))
    mirrored = _sharp(normals, around, turned_deg) if not roughness else _rough(normals, roughness, around, turned_deg)
    table, step = mirrored.reshape(count, count), axis[1] - axis[0]
    softer = (gaussian_filter(table, 0.4 * blur / step, mode="nearest") for blur in BLURS)
    return Mirror(tuple(Lookup(soft.astype(np.float32)[..., None], step, axis[0], axis[0]) for soft in softer))


def _sharp(normals: F64, around: Surroundings, turned_deg: float) -> F64:
    """A smooth face: Fresnel's share of what lies in the mirror direction."""
    facing = np.maximum(normals[:, 2], 0.0)
    towards = 2.0 * facing[:, None] * normals
    towards[:, 2] -= 1.0
    share = fresnel_reflectance(facing, index_from=1.0, index_to=FILM_INDEX)
    return np.asarray(share * light_from(towards, around, turned_deg))


def _rough(normals: F64, roughness: float, around: Surroundings, turned_deg: float) -> F64:
    """The face's lobe summed over the room, drawn as its microfacets lie so that few directions do, and over the lamps,
    which are too small to be met by chance."""
    rings, spokes = 6, 16
    squared, share = np.polynomial.laguerre.laggauss(rings)
    along = np.stack([normals[:, 2], np.zeros(len(normals)), -normals[:, 0]], axis=-1)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = np.cross(normals, along)
    total = np.zeros(len(normals))
    for x, part in zip(squared, share / spokes, strict=True):
        slope, length = roughness * np.sqrt(x), np.sqrt(1.0 + roughness**2 * x)
        for angle in 2.0 * np.pi * np.arange(0.5, spokes) / spokes:
            half = (normals + slope * (np.cos(angle) * along + np.sin(angle) * across)) / length
            facing = np.maximum(half[:, 2], 1e-6)
            towards = 2.0 * facing[:, None] * half
            towards[:, 2] -= 1.0
            drawn = np.exp(-x) / (np.pi * roughness**2) * length**3 / (4.0 * facing)
            total += part * _sent(normals, towards, roughness) / drawn * _room_light(towards, around)
    for lamp in around.lamps:
        for towards, light in _lamp_rays(lamp, turned_deg):
            total += _share(lamp, around) * light * _sent(normals, towards[None, :], roughness)
    return total


def _sent(normals: F64, towards: F64, roughness: float) -> F64:
    """Radiance to the eye per radiance and solid angle from directions (P or 1, 3)."""
    mu_in, mu_out = (towards * normals).sum(axis=1), np.maximum(normals[:, 2], 1e-3)
    lobe = face_lobe(np.maximum(mu_in, 1e-3), mu_out, towards[:, 2], roughness=roughness)
    return np.where(mu_in > 0.0, lobe * mu_in, 0.0)


def light_from(towards: F64, around: Surroundings, turned_deg: float = 0.0) -> F64:
    """Light (P,) that comes from directions (P, 3) of length 1, against a white card that lies level."""
    total = _room_light(towards, around)
    for lamp in around.lamps:
        total = total + _share(lamp, around) * _lamp_light(towards, lamp, turned_deg)
    return total


def _share(source: SoftLamp, around: Surroundings) -> float:
    return source.power / (around.even + sum(lamp.power for lamp in around.lamps))


def _room_light(towards: F64, around: Surroundings) -> F64:
    """What comes from all round the lamps."""
    even = 1.0 - sum(_share(lamp, around) for lamp in around.lamps)
    light = even * _room(towards, around)
    if around.name == EVEN_LIGHT.name:
        return light
    # Behind the part there is the backdrop.
    before = _risen((towards[:, 2] + 0.15) / 0.25)
    return np.asarray(before * light + (1.0 - before) * _BACKDROP)


def _room(towards: F64, around: Surroundings) -> F64:
    """The even part as a room: its mean over the hemisphere before the part, weighted as a card gathers it, is 1."""
    if around.name == EVEN_LIGHT.name:
        return np.ones(len(towards))
    return np.asarray(_room_shape(towards) / _room_shape(_HEMISPHERE).mean())


def _room_shape(towards: F64) -> F64:
    """A ceiling that grows brighter upwards, a dark floor, the dim room behind the viewer, the wall behind the part."""
    up = np.clip(-towards[:, 1], -1.0, 1.0)
    height = np.where(up > 0.0, _WALL + (_CEILING - _WALL) * up * up, _WALL + (_WALL - _FLOOR) * up)
    return np.asarray(height * (1.0 - (1.0 - _BEHIND) * _risen((towards[:, 2] - 0.55) / 0.45)))


def _cosine_spread(count: int) -> F64:
    """Directions (count, 3) that come as often as a level card counts them (a spiral)."""
    share = (np.arange(count) + 0.5) / count
    turn = np.pi * (1.0 + 5.0**0.5) * np.arange(count)
    return direction(np.sqrt(1.0 - share), turn)


_HEMISPHERE = _cosine_spread(2000)


def _axes(lamp: SoftLamp, turned_deg: float) -> tuple[F64, F64, F64, float]:
    """Where a lamp stands, its sides' directions, and the tangent of its radius."""
    middle = direction(
        np.sin(np.radians(np.asarray(lamp.height_deg))), np.radians(np.asarray(lamp.from_deg + turned_deg - 90.0))
    )
    up = np.array([0.0, -1.0, 0.0]) + middle[1] * middle
    up /= np.linalg.norm(up)
    return middle, np.cross(up, middle), up, float(np.tan(np.radians(0.5 * max(lamp.size_deg, 0.5))))


def _lamp_light(towards: F64, lamp: SoftLamp, turned_deg: float) -> F64:
    """A lamp's light per share that it gives a level card: even over its shape, its edges a little soft."""
    middle, side, up, radius = _axes(lamp, turned_deg)
    ahead = towards @ middle
    scale = 1.0 / np.maximum(ahead, 1e-3) / radius
    x, y = (towards @ side) * scale, (towards @ up) * scale
    if lamp.window:
        shape = _inside(_HALF - np.abs(x)) * _inside(_HALF - np.abs(y))
        panes = (1.0 - _inside(_BAR - np.abs(x))) * (1.0 - _inside(_BAR - np.abs(y)))
        shape = shape * panes / (1.0 - _BAR / _HALF) ** 2
    else:
        shape = _inside(1.0 - np.hypot(x, y))
    solid_angle = np.pi * np.sin(np.arctan(radius)) ** 2
    return np.where(ahead > 0.0, shape * np.pi / (solid_angle * middle[2]), 0.0)


def _lamp_rays(lamp: SoftLamp, turned_deg: float) -> Iterator[tuple[F64, float]]:
    """Directions all over a lamp, each with its light times solid angle per share."""
    middle, side, up, radius = _axes(lamp, turned_deg)
    reach = 1.1 * radius
    step = 2.0 * reach / _LAMP_RAYS
    places = (np.arange(_LAMP_RAYS) + 0.5) * step - reach
    for x in places:
        for y in places:
            towards = middle + x * side + y * up
            length = float(np.linalg.norm(towards))
            towards /= length
            light = float(_lamp_light(towards[None, :], lamp, turned_deg)[0]) * step**2 / length**3
            if light > 0.0:
                yield towards, light


def _inside(distance: F64) -> F64:
    return _risen(distance / _SOFT_EDGE + 0.5)


def _risen(share: F64) -> F64:
    """0 below 0, 1 above 1, smooth between."""
    u = np.clip(share, 0.0, 1.0)
    return np.asarray(u * u * (3.0 - 2.0 * u))
