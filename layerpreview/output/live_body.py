"""The bodies of the live picture and what light does on them: lattices, laws, mirror image and textures."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import FACETS, FACETS_REACH, FILMS, FILMS_REACH, DiffuseFilm, Film
from layerpreview.finish.mirror import BLURS, mirror_of
from layerpreview.finish.solid import solid_films, solid_optics
from layerpreview.finish.texture import flashes_of, step_mm, texture_of
from layerpreview.finish.view import Surroundings
from layerpreview.output.board_looks import numbers
from layerpreview.output.live_textures import Texture, half, kept_texture, shares
from layerpreview.scheme import Base
from layerpreview.surface.body import ARRIVED_MM, MOST_STEPS, STRIDE, Body
from layerpreview.surface.glints import DULL, FLASHING, RAREST_FLAKE, SPARKLE_MEAN, SPARKLE_TAIL
from layerpreview.surface.plate import OPENING_RADIUS_MM, Plate
from layerpreview.surface.shell import Shell
from layerpreview.threads import Made

F32 = NDArray[np.float32]
_MOST_RING_POINTS = 400

_bodies: Made[tuple[dict[str, Texture], float]] = Made(6)
_optics: Made[Optics] = Made(6)
_mirrors: Made[Texture] = Made(3)
_surfaces: Made[tuple[dict[str, Texture], dict[str, Any]]] = Made(3)


def body_json(body: Body, known: Hashable, textures: dict[str, Texture]) -> dict[str, Any]:
    """A body as the shader meets it, kept by what is `known` of it; its lattices go to `textures`."""
    told: dict[str, Any] = {
        "width_mm": body.width_mm,
        "height_mm": body.height_mm,
        "depth_mm": body.depth_mm,
        "box_mm": [list(corner) for corner in body.box_mm],
        "steps": MOST_STEPS,
        "stride": STRIDE,
        "arrived_mm": ARRIVED_MM,
    }
    if isinstance(body, Shell):
        return {**told, "kind": "shell", "wall_mm": body.wall_mm, "edge_mm": body.edge_mm}
    assert isinstance(body, Plate)
    lattices, ring_mm = _bodies.get(known, lambda: _plate_textures(body))
    textures.update({texture.name: texture for texture in lattices.values()})
    near, outer = body.lattices.near, body.outline.outer
    return {
        **told,
        "kind": "plate",
        "edge_mm": body.edge_mm,
        "opening_edge_mm": min(OPENING_RADIUS_MM, body.edge_mm),
        "bellies_mm": [float(belly) for belly in body.bellies_mm],
        "steepest": body.steepest,
        "ring_mm": ring_mm,
        "ring": numbers(outer[:: max(1, len(outer) // _MOST_RING_POINTS)]),
        "step_mm": near.step_mm,
        "left_mm": near.left_mm,
        "top_mm": near.top_mm,
        "lattices": {name: texture.told() for name, texture in lattices.items()},
    }


def _plate_textures(body: Plate) -> tuple[dict[str, Texture], float]:
    lattices = body.lattices
    near, turns = lattices.near.values, lattices.turns.values
    rest = np.concatenate([near[..., 4:], turns, np.zeros_like(near[..., :1])], axis=-1)
    found = {"near": half(near[..., :4]), "rest": half(rest), "slopes": half(lattices.slopes.values)}
    return found, lattices.ring_mm


@dataclass(frozen=True, eq=False)
class Optics:
    """What is kept of `finish.solid.SolidOptics`: its `numbers` as JSON values, a metal's `law` as a texture, and its
    `films`."""

    numbers: dict[str, Any]
    law: Texture | None
    films: tuple[Film, DiffuseFilm]

    def told(self, textures: dict[str, Texture]) -> dict[str, Any]:
        """As JSON values; the texture goes to `textures`."""
        if self.law is None:
            return {**self.numbers, "metal": None}
        textures[self.law.name] = self.law
        return {**self.numbers, "metal": {"law": self.law.told(), "facets": FACETS, "facets_reach": FACETS_REACH}}


def optics_of(base: Base, around: Surroundings, turned_deg: float) -> Optics:
    """The optics of a base; its law is solved, told and let go again."""

    def made() -> Optics:
        optics = solid_optics(base, around, turned_deg=turned_deg)
        told = {
            "face": numbers(optics.face.numbers),
            "films": FILMS,
            "films_reach": FILMS_REACH,
            "ahead": numbers(optics.face.at(np.array([[0.0], [0.0], [1.0]], dtype=np.float32))[:, 0]),
            "level": optics.level,
        }
        law = None if optics.metal is None else half(optics.metal.numbers.reshape(-1, FACETS, FACETS, 4))
        return Optics(told, law, solid_films(base, optics))

    return _optics.get((base, around, turned_deg), made)


def mirror_json(around: Surroundings, finish: str, turned_deg: float, textures: dict[str, Texture]) -> dict[str, Any]:
    """What the clear mirrors, by how softly."""

    key = around, finish, turned_deg

    def made() -> Texture:
        return half(np.stack([table.values for table in mirror_of(*key).levels]))

    found = _mirrors.get(key, lambda: kept_texture("mirror", key, made))
    textures[found.name] = found
    return {"levels": found.told(), "reach": FILMS_REACH, "blurs": list(BLURS)}


def surface_json(base: Base, size_mm: tuple[float, float], even: float, textures: dict[str, Texture]) -> dict[str, Any]:
    """The texture of a metal on a face: how its facets lean, and what flashes on it under lamps."""
    made, told = _surfaces.get((base, size_mm, even), lambda: _surface(base, size_mm, even))
    textures.update({texture.name: texture for texture in made.values()})
    return {**told, **{name: texture.told() for name, texture in made.items()}}


def _surface(base: Base, size_mm: tuple[float, float], even: float) -> tuple[dict[str, Texture], dict[str, Any]]:
    relief, flashes = texture_of(base, *size_mm), flashes_of(base, *size_mm, even=even)
    made = {"slopes": half(np.stack([relief.slope_x, relief.slope_y], axis=-1))}
    told: dict[str, Any] = {"step_mm": step_mm(*size_mm), "size_mm": list(size_mm), "flashes": None}
    if flashes is None:
        return made, told
    light = flashes.light(0.0)
    size, share, cell, depth = flashes.glitter_told
    filled = (size / cell) ** 2
    often = min(1.0, share / filled) if share else 0.0
    told["flashes"] = {
        "scale": 1.0 / float(light.mean(dtype=np.float64)),
        "flake": None
        if flashes.flake is None
        else {"depth": flashes.depth, "rarest": RAREST_FLAKE, "tail": SPARKLE_TAIL, "mean": SPARKLE_MEAN},
        "glitter": None
        if flashes.glitter is None
        else {"often": often, "depth": depth * min(filled, share / often), "flashing": FLASHING, "dull": DULL},
    }
    none = np.zeros_like(relief.slope_x)
    made["numbers"] = shares(np.stack([none if n is None else n for n in (flashes.flake, flashes.glitter)], axis=-1))
    if flashes.gain is not None:
        made["gain"] = half(flashes.gain[..., None])
        told["gain_top"] = float(flashes.gain.max())
    return made, told
