"""A scheme as data for the live lifelike picture: the page's shader draws of it what `picture.lifelike` renders.

What changes seldom (bodies, laws, mirror image, textures, maps) goes out as textures named by what they hold, so that a
page asks for each once; what is pulled (coats, strengths, widths) are numbers that the shader multiplies by.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from layerpreview.colour import LIFELIKE, WAVELENGTHS_NM
from layerpreview.finish.layers import absorptivity_on_grid, dyes_in, layer_of, turned_deg
from layerpreview.finish.look import reaching_look
from layerpreview.finish.stack import Stack
from layerpreview.finish.view import Surroundings
from layerpreview.output.board_looks import look_json, numbers, srgb_to_p3
from layerpreview.output.live_body import body_json, mirror_json, optics_of, surface_json
from layerpreview.output.live_kept import Data
from layerpreview.output.live_maps import SkinMaps, keep_channels
from layerpreview.output.live_textures import Texture, half
from layerpreview.picture.backdrop import DOWN, FALL_OFF, FAR, FAR_DARK, NEAR, NEAR_DARK, RIGHT, WALL_LIN
from layerpreview.picture.bare import FLAKE_TURN_DEG
from layerpreview.picture.faces import FaceShape, shapes_of
from layerpreview.picture.lifelike import SHADOW_PX, Pose, standing_of
from layerpreview.picture.maps import pixel_grid
from layerpreview.picture.solid_light import BARE_RGB_LIN, DARK_OVER_MM, LEAST_FACING, MOST_SAMPLES, SAMPLE_MM
from layerpreview.picture.solids import MOST_BUILD_POINTS, Faces, body_of, faces_together, photo_beside
from layerpreview.scheme import Base, DyeCoat, Scheme
from layerpreview.surface.body import BACK, FRONT, SIDE, Body
from layerpreview.threads import Made, thread_pool

LIVE_SCRIPTS = (
    *("film.js", "gl.js", "body.js", "light.js", "paint.js", "laid.js"),
    *("touch.js", "write.js", "pieces.js", "solid.js", "hand.js"),
)
"""The scripts of the picture, in `data/live`, in the order they are loaded."""
MOST_TIMES = 8.0
"""How often each layer may be pulled up where the caller does not say."""

_groups: Made[list[Faces]] = Made(4)
_bodies: Made[Body] = Made(6)
_besides: Made[tuple[Texture, float] | None] = Made(4)


@dataclass(frozen=True, eq=False)
class LivePicture:
    """`data`: what a page needs as JSON values; `textures`: the bytes of each texture that it names, by its hash."""

    data: dict[str, Any]
    textures: dict[str, Data]


def live_picture(
    scheme: Scheme,
    around: Surroundings,
    *,
    lights: Sequence[str] | None = None,
    longest_px: int = 1200,
    most: Sequence[float] | None = None,
) -> LivePicture:
    """Everything that the page's shader needs to draw the scheme's solids in their surroundings.

    `lights`: names of illuminants, else the scheme's; `longest_px`: the longer side of the picture that the maps are
    made for; `most` (layers,): up to how many times the build of each layer the wavelengths hold. What did not change
    since the last calls is not made again. Raises InputError and PictureError.
    """
    lights = scheme.lights if lights is None else tuple(lights)
    most = [MOST_TIMES] * len(scheme.coats) if most is None else list(most)
    textures: dict[str, Texture] = {}
    known = _known(scheme)
    groups = _groups.get(known, lambda: faces_together(shapes_of(scheme)))
    standing, turned = standing_of(scheme, groups), turned_deg(scheme.base)
    width_px = max(1, round(longest_px * min(1.0, standing.wide_mm / standing.tall_mm)))
    pixel_mm = standing.wide_mm / width_px
    even = around.light().even
    solids: list[dict[str, Any]] = []
    skins: list[dict[str, Any]] = []
    made_skins: list[SkinMaps] = []
    looks: dict[str, list[dict[str, Any]]] = {light: [] for light in lights}
    made_looks: dict[tuple[str, Base, object], dict[str, Any]] = {}
    told_body = partial(_body_told, scheme, groups, known)

    def beside_skins() -> None:
        """Kept by what they are of; whoever asks meanwhile waits for it."""
        mirror_json(around, scheme.clear.finish, turned, {})
        for i in range(len(groups)):
            told_body(i, {})

    pool = thread_pool(1)
    pool.submit(beside_skins)
    pool.shutdown(wait=False)
    for i, (group, middle, pose) in enumerate(zip(groups, standing.middles_mm, standing.poses, strict=True)):
        own = {}
        for kind, shape in ((FRONT, group.front), (BACK, group.back), (SIDE, group.side)):
            if shape is None:
                continue
            own[str(kind)] = len(skins)
            base = scheme.base_for(shape.face.name)
            optics = optics_of(base, around, turned)
            skin = _skin(scheme, shape, known, pixel_mm)
            made_skins.append(skin)
            size_mm = shape.outline.width_mm, shape.outline.height_mm
            skins.append(
                {
                    **skin.told(textures),
                    "solid": i,
                    "optics": optics.told(textures),
                    "surface": surface_json(base, size_mm, even, textures) if skin.textured else None,
                    "beside": _beside_json(scheme, group, known, pixel_mm, textures) if kind == FRONT else None,
                }
            )
            for light in lights:
                key = (light, base, skin.tint_rgb)
                if key not in made_looks:
                    stack = Stack(tuple(layer_of(scheme, coat) for coat in scheme.coats), *optics.films)
                    look = reaching_look(
                        stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=skin.tint_rgb, most=most
                    )
                    made_looks[key] = look_json(look, layers=len(scheme.coats))
                looks[light].append({"look": made_looks[key], "seats": skin.seat_colours(light)})
        solids.append(
            {"middle_mm": list(middle), "pose": _pose_json(pose), "skins": own, "body": told_body(i, textures)}
        )
    data = {
        "width_px": width_px,
        "height_px": round(standing.tall_mm / pixel_mm),
        "pixel_mm": pixel_mm,
        "around": around.name,
        "rolled_from": LIFELIKE,
        "flake_turn_deg": FLAKE_TURN_DEG,
        "sample_mm": SAMPLE_MM,
        "most_samples": MOST_SAMPLES,
        "least_facing": LEAST_FACING,
        "inside": {"rgb_lin": [float(v) for v in BARE_RGB_LIN], "dark_over_mm": DARK_OVER_MM},
        "wall": _wall_json(),
        "mirror": mirror_json(around, scheme.clear.finish, turned, textures),
        "p3": srgb_to_p3(),
        "coats": [coat.coats for coat in scheme.coats],
        "most": most,
        "dyes": _dyes_json(scheme),
        "solids": solids,
        "skins": skins,
        "lights": looks,
    }
    keep_channels(sum(len(skin.asked) for skin in made_skins))
    return LivePicture(data, {name: texture.data for name, texture in textures.items()})


def _dyes_json(scheme: Scheme) -> dict[str, Any]:
    """Of each layer its mix, and what each dye of it takes of the light [decadic absorbance of a cm, on the 5 nm grid],
    so that one dye can be pulled without the others."""
    found: list[dict[str, Any] | None] = []
    for coat in scheme.coats:
        if not isinstance(coat, DyeCoat):
            found.append(None)
            continue
        taken = {
            dye.name: numbers(dye.pure_g_per_L.likely * absorptivity_on_grid(scheme.dyes[dye.name]))
            for dye in dyes_in(scheme, scheme.mix_of(coat))
        }
        found.append({"mix": coat.mix, "absorbance": taken})
    step_nm = float(WAVELENGTHS_NM[1] - WAVELENGTHS_NM[0])
    return {"from_nm": float(WAVELENGTHS_NM[0]), "step_nm": step_nm, "layers": found}


def _known(scheme: Scheme) -> Hashable:
    """What the shapes of a scheme's faces and all pictures that they are read from depend on; made reliefs are not."""
    bases = {"": scheme.base, **scheme.bases_of}
    read = tuple((name, base) for name, base in sorted(bases.items()) if base.relief is None)
    stamps = tuple((path, *_stamp(path)) for path in scheme.inputs if path != scheme.file)
    return scheme.faces, tuple(sorted(bases)), read, stamps


def _stamp(path: Path) -> tuple[int, int]:
    """What tells that a file is another one than before."""
    try:
        state = path.stat()
    except (OSError, ValueError):
        return 0, 0
    return state.st_mtime_ns, state.st_size


def _body_told(
    scheme: Scheme, groups: Sequence[Faces], known: Hashable, i: int, textures: dict[str, Texture]
) -> dict[str, Any]:
    key = (known, scheme.form, i)
    return body_json(_bodies.get(key, partial(body_of, scheme.form, groups[i])), key, textures)


def _skin(scheme: Scheme, shape: FaceShape, known: Hashable, pixel_mm: float) -> SkinMaps:
    outline = shape.outline
    least = (outline.width_mm * outline.height_mm / MOST_BUILD_POINTS) ** 0.5
    return SkinMaps(scheme, shape, pixel_grid(outline, max(pixel_mm, least)), known)


def _beside_json(
    scheme: Scheme, group: Faces, known: Hashable, pixel_mm: float, textures: dict[str, Texture]
) -> dict[str, Any] | None:
    """The light of a photo round the side of a solid, and the size of what the texture holds."""

    def made() -> tuple[Texture, float] | None:
        beside = photo_beside(scheme, group, pixel_mm=pixel_mm)
        if beside is None:
            return None
        light = np.concatenate([beside.values, np.ones_like(beside.values[..., :1])], axis=-1)
        return half(light), beside.step_mm

    found = _besides.get((known, group.front.face.name, pixel_mm), made)
    if found is None:
        return None
    texture, step_mm = found
    textures[texture.name] = texture
    return {"texture": texture.told(), "size_mm": [texture.width * step_mm, texture.height * step_mm]}


def _pose_json(pose: Pose) -> dict[str, float]:
    return {"yaw_deg": pose.yaw_deg, "pitch_deg": pose.pitch_deg}


def _wall_json() -> dict[str, Any]:
    """The wall behind the part: see `picture.backdrop`."""
    return {
        "light": WALL_LIN,
        "fall_off": FALL_OFF,
        "moved": [RIGHT, DOWN],
        "near": NEAR,
        "far": FAR,
        "near_dark": NEAR_DARK,
        "far_dark": FAR_DARK,
        "shadow_px": SHADOW_PX,
    }
