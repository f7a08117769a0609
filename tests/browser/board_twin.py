"""A board's picture without a browser: Python's renderer with what a page unpacks in place of what was packed."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import LIFELIKE
from layerpreview.film import FACETS, BodyLaw
from layerpreview.finish.look import Look, reaching_look
from layerpreview.finish.mirror import Mirror
from layerpreview.finish.solid import SolidOptics, solid_stack
from layerpreview.finish.view import Surroundings
from layerpreview.output.board_pack_kinds import numbers_of, texture_of_plan
from layerpreview.output.board_pack_planes import PackedFiles
from layerpreview.output.live import LivePicture
from layerpreview.output.png import screen_srgb8
from layerpreview.picture.lifelike import Lifelike, PlacedSolid, lifelike_of
from layerpreview.picture.solids import Skin
from layerpreview.scheme import Scheme
from layerpreview.surface.body import Body
from layerpreview.surface.lookup import Lookup
from layerpreview.surface.plate import Plate

from .live_truth import Setting, turned

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
Unpacked = Callable[[Mapping[str, Any]], F32 | None]
FALLS: dict[str, Callable[[F32], F32]] = {
    "linear": lambda u: 1.0 - u,
    "soft": lambda u: 1.0 - u * u * (3.0 - 2.0 * u),
    "fan": lambda u: (1.0 - u * u) ** 2,
}


def unpacked_by(data: Mapping[str, Any], files: PackedFiles) -> Unpacked:
    """The numbers (channels, depth, rows, cols) of a texture of a packed picture; None for a relief made again."""

    def found(told: Mapping[str, Any]) -> F32 | None:
        plan = data["packed"][told["hash"]]
        if plan["as"] == "relief":
            return None
        return texture_of_plan(plan, files).astype(np.float16).astype(np.float32)

    return found


def live_by(picture: LivePicture) -> Unpacked:
    """As `unpacked_by`, of the desk's own picture."""
    return lambda told: numbers_of(told, picture.textures[told["hash"]])


def drawn(
    scheme: Scheme,
    around: Surroundings,
    setting: Setting,
    data: Mapping[str, Any],
    unpacked: Unpacked,
    *,
    width_px: int,
) -> U8:
    """What the page shows of a picture, 8 bits."""
    scene = turned(lifelike_of(scheme, around, width_px=width_px), setting.yaw, setting.pitch)
    state = setting.state(scheme)
    solids = tuple(
        _solid(placed, told, data, unpacked, state) for placed, told in zip(scene.solids, data["solids"], strict=True)
    )
    levels = unpacked(data["mirror"]["levels"])[0]
    mirror = Mirror(
        tuple(replace(table, values=v[..., None]) for table, v in zip(scene.mirror.levels, levels, strict=True))
    )
    other = replace(scene, solids=solids, mirror=mirror)
    looks = _looks(scheme, scene, setting.light, data["most"])
    picture = np.concatenate([other.render_strip([looks], *strip)[0][0] for strip in other.strips()])
    return screen_srgb8(picture, rolled_from=LIFELIKE)


def _looks(scheme: Scheme, scene: Lifelike, light: str, most: list[float]) -> dict[str, Look]:
    return {
        skin.name: reaching_look(
            solid_stack(scheme, skin.base, placed.optics[skin.base]),
            light=light,
            observer_deg=scheme.observer_deg,
            tint_rgb=skin.tint_rgb,
            most=most,
        )
        for placed in scene.solids
        for skin in placed.solid.skins.values()
    }


def _solid(
    placed: PlacedSolid, told: Mapping[str, Any], data: Mapping[str, Any], unpacked: Unpacked, state: Mapping[str, Any]
) -> PlacedSolid:
    skins = {
        kind: _skin(skin, data["skins"][told["skins"][str(kind)]], unpacked, state)
        for kind, skin in placed.solid.skins.items()
    }
    optics = {}
    for kind, skin in placed.solid.skins.items():
        law = data["skins"][told["skins"][str(kind)]]["optics"]["metal"]
        own: SolidOptics = placed.optics[skin.base]
        if law and own.metal:
            numbers = np.moveaxis(unpacked(law["law"]), 0, -1).reshape(-1, FACETS * FACETS, 4)
            own = replace(own, metal=BodyLaw(np.ascontiguousarray(numbers), own.metal.denominator))
        optics[skin.base] = own
    solid = replace(placed.solid, skins=skins, body=_body(placed.solid.body, told["body"], unpacked))
    return replace(placed, solid=solid, optics=optics)


def _body(body: Body, told: Mapping[str, Any], unpacked: Unpacked) -> Body:
    if not isinstance(body, Plate):
        return body
    near, rest, slopes = (np.moveaxis(unpacked(told["lattices"][k])[:, 0], 0, -1) for k in ("near", "rest", "slopes"))
    other, own = copy.copy(body), body.lattices
    other._near = replace(own.near, values=np.ascontiguousarray(np.concatenate([near, rest[..., :1]], axis=-1)))
    other._slopes = replace(own.slopes, values=np.ascontiguousarray(slopes))
    other._around = replace(own.turns, values=np.ascontiguousarray(rest[..., 1:3]))
    return other


def _skin(skin: Skin, told: Mapping[str, Any], unpacked: Unpacked, state: Mapping[str, Any]) -> Skin:
    pixel = told["grid"]["pixel_mm"]

    def lookup(values: F32) -> Lookup:
        return Lookup(np.ascontiguousarray(values), pixel, 0.5 * pixel, 0.5 * pixel)

    channels = [v for group in told["groups"] for v in unpacked(group)[:, 0]]
    builds = np.stack([_build(layer, channels, state, i) for i, layer in enumerate(told["layers"])], axis=-1)
    kept = [channels[k] for k in told["kept"]]
    shape = builds.shape[:2]
    bare = skin.bare
    if told["bare"] and told["bare"]["texture"] and bare is not None:
        light = np.moveaxis(unpacked(told["bare"]["texture"])[: bare.values.shape[2], 0], 0, -1)
        bare = lookup(light)
    texture = skin.texture
    if texture is not None and (slopes := unpacked(told["surface"]["slopes"])) is not None:
        planes = np.concatenate([np.moveaxis(slopes[:, 0], 0, -1), texture.values[..., 2:]], axis=-1)
        texture = replace(texture, values=np.ascontiguousarray(planes))
    return replace(
        skin,
        texture=texture,
        builds=lookup(np.broadcast_to(builds, (*told_size(told), builds.shape[2]))),
        kept=lookup(np.stack(kept, axis=-1)) if kept else lookup(np.zeros((*shape, 0), np.float32)),
        bare=bare,
    )


def told_size(told: Mapping[str, Any]) -> tuple[int, int]:
    """Rows and columns of a skin's grid."""
    return told["grid"]["height"], told["grid"]["width"]


def _build(layer: Mapping[str, Any], channels: list[F32], state: Mapping[str, Any], i: int) -> F32:
    """As data/live/paint.js."""
    where, size = layer["where"], channels[0].shape if channels else (1, 1)
    build = np.full(size, where["number"], np.float32) if where["channel"] is None else channels[where["channel"]]
    build = build * np.float32(state["factors"][i])
    if layer["bursts"]:
        falls = sum(
            FALLS[burst["fall_off"]](np.clip(channels[burst["channel"]] / np.float32(burst["width_mm"]), 0.0, 1.0))
            for burst in layer["bursts"]
        )
        build = build * (falls + (1.0 - falls) * np.float32(layer["centre"]))
    if layer["pool"]:
        build = build * (
            1.0 + np.float32(_share(layer["pool"], state["coats"], i)) * channels[layer["pool"]["channel"]]
        )
    return np.asarray(build, dtype=np.float32)


def _share(pool: Mapping[str, Any], coats: list[int], i: int) -> float:
    """As `sharesOf` in data/live/film.js."""
    if not pool["share"]:
        return 1.0
    met = pool["share"]["first"]
    for layer, left in pool["share"]["kept"]:
        met *= left ** coats[layer]
    return sum(met * pool["share"]["own"] ** k for k in range(coats[i])) / coats[i] if coats[i] else 0.0
