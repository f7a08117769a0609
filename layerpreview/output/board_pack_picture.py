"""One live picture into packed files: of which kind each texture is, and what of it the page makes again."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.doing import each_of
from layerpreview.finish.texture import Strewn, step_mm, strewn_of
from layerpreview.finish.view import Surroundings
from layerpreview.output.board_pack_kinds import (
    Soaks,
    body_plans,
    group_plans,
    law_plan,
    light_plan,
    mirror_plan,
    numbers_of,
    plain_plan,
    slope_plan,
)
from layerpreview.output.board_pack_planes import PackedFiles, Plan
from layerpreview.output.live import LivePicture
from layerpreview.picture.bare import grain_on
from layerpreview.scheme import Base, Scheme
from layerpreview.surface.hashed_fields import Lattice
from layerpreview.surface.relief_kinds import KINDS
from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]

_WHOLE = 0xFFFFFFFF


def pack_picture(scheme: Scheme, around: Surroundings, made: LivePicture, files: PackedFiles) -> dict[str, Any]:
    """The picture's JSON values; `packed` tells by a texture's hash how it is packed, `files` holds the bytes."""
    packer = _Packer(scheme, around.light().even, made, files)
    packer.mirror()
    solids, skins = made.data["solids"], made.data["skins"]
    for solid in each_of("edges", solids, len(solids)):
        packer.body(solid["body"])
    for skin in each_of("faces", skins, len(skins)):
        packer.skin(skin)
    for name, data in made.textures.items():
        if name not in files.plans:
            files.plans[name] = plain_plan(data, files)
    return {**made.data, "packed": {name: files.plans[name] for name in sorted(made.textures)}}


@dataclass
class _Packer:
    """Packs the textures of one picture, each once for all pictures of a board."""

    scheme: Scheme
    even: float
    made: LivePicture
    files: PackedFiles

    def __post_init__(self) -> None:
        self._channels: list[tuple[F32, Plan]] = []

    def mirror(self) -> None:
        levels = self.made.data["mirror"]["levels"]
        if self._missing(levels):
            self._keep(levels, mirror_plan(self._numbers(levels), self.files))

    def body(self, body: dict[str, Any]) -> None:
        lattices = body.get("lattices", {})
        if any(self._missing(told) for told in lattices.values()):
            plans = body_plans(body, {name: self._numbers(told) for name, told in lattices.items()}, self.files)
            for name, told in lattices.items():
                self._keep(told, plans[name])

    def skin(self, skin: dict[str, Any]) -> None:
        if skin["optics"]["metal"]:
            law = skin["optics"]["metal"]["law"]
            if self._missing(law):
                self._keep(law, law_plan(self._numbers(law), self.files))
        if skin["surface"]:
            self._surface(skin)
        soaks = self._wood(skin)
        for light in (skin["bare"], skin["beside"]):
            if light and light["texture"] and self._missing(light["texture"]):
                self._keep(light["texture"], light_plan(self._numbers(light["texture"]), self.files))
        groups = [self._numbers(told) for told in skin["groups"]]
        plans = group_plans(skin, groups, self._channels, self.files, soaks)
        for told, plan in zip(skin["groups"], plans, strict=True):
            self._keep(told, plan)

    def _wood(self, skin: dict[str, Any]) -> Soaks | None:
        """Wood that comes from a seed; its light is kept, and what it takes is given."""
        base = self.scheme.base_for(skin["name"])
        if base.grain is None or not skin["bare"] or not skin["bare"]["texture"]:
            return None
        grid, (wide_mm, high_mm) = skin["grid"], skin["size_mm"]
        step = step_mm(wide_mm, high_mm)
        lattice = Lattice.covering(wide_mm, high_mm, step)
        made = {
            "as": "grain",
            "n": 1,
            "figure": base.grain,
            "seed": base.grain_options.seed & _WHOLE,
            "step_mm": step,
            "lattice": [lattice.rows, lattice.cols],
            "pixel_mm": grid["pixel_mm"],
            "size": [grid["height"], grid["width"]],
        }
        parts: list[Plan] = [{**made, "part": part} for part in range(3)]
        none = {"as": "number", "n": 1, "size": made["size"], "number": 0.0}
        self._keep(skin["bare"]["texture"], {"as": "planes", "channels": [[plan] for plan in (*parts, none)]})
        if not base.soak or not skin["groups"]:
            return None
        openness = grain_on(base, (wide_mm, high_mm), PixelGrid(grid["pixel_mm"], *made["size"]))[1]
        return Soaks(openness.rows(0, grid["height"]), {**made, "part": 3}, base.soak)

    def _surface(self, skin: dict[str, Any]) -> None:
        surface, base = skin["surface"], self.scheme.base_for(skin["name"])
        slopes = surface["slopes"]
        if self._missing(slopes):
            made = _relief_told(base, slopes, surface["step_mm"])
            self._keep(slopes, made or slope_plan(self._numbers(slopes), self.files))
        if "gain" in surface and self._missing(surface["gain"]):
            self._keep(surface["gain"], slope_plan(self._numbers(surface["gain"]), self.files))
        if "numbers" in surface and self._missing(surface["numbers"]):
            parts = strewn_of(base, *surface["size_mm"], even=self.even)
            told = [_strewn_told(part) for part in parts]
            numbers = surface["numbers"]
            self._keep(numbers, {"as": "strewn", "size": _size(numbers), "step_mm": surface["step_mm"], "parts": told})

    def _missing(self, told: dict[str, Any]) -> bool:
        return told["hash"] not in self.files.plans

    def _keep(self, told: dict[str, Any], plan: Plan) -> None:
        self.files.plans.setdefault(told["hash"], plan)

    def _numbers(self, told: dict[str, Any]) -> F32:
        return numbers_of(told, self.made.textures[told["hash"]])


def _size(told: dict[str, Any]) -> list[int]:
    return [told["height"], told["width"]]


def _relief_told(base: Base, slopes: dict[str, Any], step_mm: float) -> Plan | None:
    """By what the page makes a relief again; None for a user's own."""
    if base.relief is None:
        return None
    options = base.relief_options
    return {
        "as": "relief",
        "kind": base.relief,
        "cell_mm": KINDS[base.relief].cell_mm if options.cell_mm is None else options.cell_mm,
        "seed": options.seed & _WHOLE,
        "strength": options.height,
        "step_mm": step_mm,
        "size": _size(slopes),
    }


def _strewn_told(part: Strewn | None) -> dict[str, Any] | None:
    return None if part is None else {"cell_mm": part.cell_mm, "seed": part.seed & _WHOLE, "salt": part.salt}
