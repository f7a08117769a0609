"""The light of places on a solid: what the film over its base sends to the eye, and what the clear mirrors over it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import BodyLaw
from layerpreview.finish.engine import Engine
from layerpreview.finish.look import Look
from layerpreview.finish.mirror import Mirror
from layerpreview.finish.solid import SolidOptics
from layerpreview.picture.solids import Skin, Solid
from layerpreview.scheme import Base
from layerpreview.surface.body import BARE, FRONT, SIDE, Met
from layerpreview.surface.lookup import Lookup

F32 = NDArray[np.float32]

SAMPLE_MM, MOST_SAMPLES = 0.4, 3
"""Facets are looked at this closely within a pixel, up to so many times across it."""
BARE_RGB_LIN = np.array([0.10, 0.062, 0.035], dtype=np.float32)
"""Unfinished wood inside an opening or a shell (assumed), darker the deeper it lies."""
DARK_OVER_MM = 18.0
LEAST_FACING = 0.12
LEAST_GAIN = np.float32(1e-5)


@dataclass(frozen=True, eq=False)
class Facing:
    normal: F32
    across: F32
    down: F32


class Spots:
    """Some of the places that rays met, as the room sees them."""

    def __init__(self, met: Met, facing: Facing, here: NDArray[np.intp], *, pixel_mm: float) -> None:
        self.x_mm, self.y_mm, self.depth_mm = met.x_mm[here], met.y_mm[here], met.depth_mm[here]
        self.at_x_mm, self.at_y_mm = met.at_x_mm[here], met.at_y_mm[here]
        self.normal, self.across, self.down = (v[:, here] for v in (facing.normal, facing.across, facing.down))
        self.pixel_mm = pixel_mm
        self.spread = met.bend_per_mm[here] * (
            np.float32(pixel_mm) / np.maximum(self.normal[2], np.float32(LEAST_FACING))
        )

    def samples(self) -> list[tuple[F32, F32]]:
        """How far from each spot [mm] the face is looked at within its pixel."""
        count = min(MOST_SAMPLES, max(1, math.ceil(self.pixel_mm / SAMPLE_MM)))
        if count == 1:
            return [(np.zeros_like(self.x_mm), np.zeros_like(self.y_mm))]
        steep_x, steep_y = self.normal[:2] / np.maximum(self.normal[2], np.float32(LEAST_FACING))
        found = []
        for i in range(count * count):
            right, below = (np.float32(((k + 0.5) / count - 0.5) * self.pixel_mm) for k in (i % count, i // count))
            rise = -(steep_x * right + steep_y * below)
            x, y = (right * way[0] + below * way[1] + rise * way[2] for way in (self.across, self.down))
            found.append((np.asarray(x), np.asarray(y)))
        return found


def solid_light(
    spots: Spots,
    kind: int,
    solid: Solid,
    optics: Mapping[Base, SolidOptics],
    looks: Sequence[Mapping[str, Look]],
    mirror: Mirror,
) -> list[F32]:
    """Linear RGB (3, P) of spots of one `kind` (see `surface.body`) under each light, by the looks of the skins' names.

    A side or a back that no face describes goes on as the front is.
    """
    own = kind in solid.skins
    skin = solid.skins[kind] if own else solid.skins[FRONT]
    base = optics[skin.base]
    if kind == BARE:
        shade = base.face.at(spots.normal)[0] * np.exp(spots.depth_mm * np.float32(-1.0 / DARK_OVER_MM))
        return [np.asarray(BARE_RGB_LIN[:, None] * shade)] * len(looks)
    # What was masked has no clear on it, either.
    coated = 1.0 - skin.kept.at(spots.x_mm, spots.y_mm).sum(axis=1) if own else np.float32(1.0)
    mirrored = coated * mirror.at(_clear_face(spots, skin), spots.spread)
    seen = _skin_light(spots, skin, base, [look[skin.name] for look in looks], own=own, kind=kind)
    return [rgb + mirrored for rgb in seen]


def _skin_light(
    spots: Spots, skin: Skin, optics: SolidOptics, looks: Sequence[Look], *, own: bool, kind: int
) -> list[F32]:
    """Linear RGB (3, P) of spots under each look, without what the clear mirrors.

    `own`: whether the skin is that of the spots' `kind`, or the front's in its place.
    """
    x, y = (spots.x_mm, spots.y_mm) if own else (spots.at_x_mm, spots.at_y_mm)
    builds = np.ascontiguousarray(skin.builds.at(x, y).T)
    bare_at, bare_x, bare_y = skin.bare, x, y
    if kind == SIDE and not own and skin.beside is not None:
        bare_at, bare_x, bare_y = skin.beside, spots.x_mm, spots.y_mm
    face = optics.face.at(spots.normal)
    face[1:] /= face[0]
    path = None
    if optics.metal is None:
        bare = _straight_on(bare_at, bare_x, bare_y)
    else:
        if skin.texture is None:
            numbers = optics.metal.at(spots.normal, spots.normal)
            # A photo has its own highlights: it is shaded as the body lies, and no more.
            photo = skin.base.picture is not None
            gain = optics.shade(spots.normal) if photo else numbers[0] / np.float32(optics.level)
            bare = _straight_on(bare_at, bare_x, bare_y) * gain
        else:
            if kind == SIDE and not own:
                x, y = _folded(spots.x_mm, skin.size_mm[0]), spots.y_mm
            numbers = _facets(spots, skin.texture, optics.metal, x, y)
            bare = numbers[:1]
        path = numbers[1:] / np.maximum(numbers[0], LEAST_GAIN)
    bare = np.ascontiguousarray(np.maximum(bare, LEAST_GAIN))
    seen = [Engine(look).pixels(bare, builds, path, face) for look in looks]
    if not own:
        return seen
    kept, shade = skin.kept.at(x, y).T, optics.shade(spots.normal)
    return [skin.seats.over(rgb, kept, look.light, shade) for rgb, look in zip(seen, looks, strict=True)]


def _straight_on(bare: Lookup | None, x_mm: F32, y_mm: F32) -> F32:
    """What a photo, wood or a colour shows straight on in even light, (1 or 3, P)."""
    assert bare is not None
    return bare.at(x_mm, y_mm).T


def _clear_face(spots: Spots, skin: Skin) -> F32:
    """The normals (3, P) of the clear's own face, with what is left over in it of the relief below."""
    if skin.texture is None or not skin.clear_lean:
        return spots.normal
    slope_x, slope_y, *_ = skin.texture.at(spots.x_mm, spots.y_mm).T * np.float32(skin.clear_lean)
    face = spots.normal - slope_x * spots.across - slope_y * spots.down
    return np.asarray(face / np.sqrt((face * face).sum(axis=0)))


def _facets(spots: Spots, texture: Lookup, metal: BodyLaw, x_mm: F32, y_mm: F32) -> F32:
    """The law's numbers (4, P) of textured metal, the mean of all that is looked at in a pixel."""
    samples = spots.samples()
    total = np.zeros((4, x_mm.size), dtype=np.float32)
    for right, below in samples:
        slope_x, slope_y, *sparkle = texture.at(x_mm + right, y_mm + below).T
        facet = spots.normal - slope_x * spots.across - slope_y * spots.down
        facet /= np.sqrt((facet * facet).sum(axis=0))
        seen = metal.at(spots.normal, facet)
        for light in sparkle:
            seen = seen * light
        total += seen
    return total / np.float32(len(samples))


def _folded(x_mm: F32, width_mm: float) -> F32:
    """Places on a texture that goes on mirrored beyond its width."""
    wide = np.float32(width_mm)
    return np.asarray(wide - np.abs(np.mod(x_mm, 2 * wide) - wide), dtype=np.float32)
