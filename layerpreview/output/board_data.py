"""What a board holds: its options with their limits, looks, maps and pictures; each stored once."""

from __future__ import annotations

import base64
import hashlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Appearance, Look, reaching_look, scaled_look, turned_look
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.job.figures import Figures, figures_of
from layerpreview.output.board_code import LETTERS
from layerpreview.output.board_looks import look_json
from layerpreview.output.board_maps import (
    FaceMaps,
    PackedSeats,
    base_maps,
    face_maps,
    pack_base,
    pack_builds,
    pack_cover,
    pack_seats,
    pack_soak,
    paths_by_gain,
)
from layerpreview.output.pictures import small_pictures
from layerpreview.picture.render import share_out_of_gamut
from layerpreview.picture.scene import SURROUND_LIN, Scene, make_scene, turned
from layerpreview.scheme import Base, DyeCoat, Scheme

U8 = NDArray[np.uint8]

TILT_DEG = (20.0, 40.0, 60.0)
TILT_SHARE, TILT_QUALITY = 0.5, 75
PICTURE_WIDTH_PX, PICTURE_QUALITY = 640, 82
RUNG_WIDTH_PX, RUNG_QUALITY = 160, 78
GAMUT_WIDTH_PX = 400
MOST_PIXELS = 3_600_000
"""Taller parts are stored smaller than asked: more than this neither fits the file nor a phone."""


@dataclass(frozen=True)
class CoatLimits:
    """One entry of the scheme's coats on the board: what it is called, and between which numbers it may move.

    `mix` is None for an opaque coat. `film` is the low and high film against the likely one.
    """

    label: str
    where: str
    mix: str | None
    coats: int
    fewest: int
    most: int
    film: tuple[float, float]


@dataclass(frozen=True)
class MixLimits:
    """One mix on the board: its strength may move between these percentages of the scheme's."""

    name: str
    weakest: int
    strongest: int


@dataclass(frozen=True)
class OptionLimits:
    """What the client may move in one option."""

    coats: tuple[CoatLimits, ...]
    mixes: tuple[MixLimits, ...]

    def most_build(self) -> list[float]:
        """The largest build of each layer against the scheme's own."""
        strongest = {mix.name: mix.strongest / 100.0 for mix in self.mixes}
        return [
            max(coat.most / coat.coats, 1e-3) * (strongest[coat.mix] * coat.film[1] if coat.mix else 1.0)
            for coat in self.coats
        ]


@dataclass(frozen=True, eq=False)
class Picture:
    """A rendered picture for people without live colour, as a JPEG."""

    words: str
    data: bytes
    width_px: int
    height_px: int

    @property
    def uri(self) -> str:
        """The picture as the page's template has it."""
        return data_uri(self.data)


@dataclass(frozen=True, eq=False)
class FaceOfOption:
    """One face at its place on the option's picture; `tilted` are its bases from the side, with the cover they fit.

    `kind` says which of an option's looks it has: faces with the same base share one.
    """

    name: str
    left_px: int
    top_px: int
    kind: int
    maps: FaceMaps
    seats: PackedSeats | None
    tilted: tuple[tuple[NDArray[np.float32], NDArray[np.float32] | None], ...]
    tilted_cover: NDArray[np.float32] | None


@dataclass(frozen=True, eq=False)
class Option:
    """One scheme on the board, ready to be packed.

    `looks` by light, then view, then kind of base; `pictures` by light; `ladders` by coat entry (only dyes).
    """

    letter: str
    scheme: Scheme
    limits: OptionLimits
    figures: Figures
    width_px: int
    height_px: int
    faces: tuple[FaceOfOption, ...]
    views_deg: tuple[float, ...]
    looks: dict[str, list[list[Look]]]
    pictures: dict[str, Picture]
    bare_picture: Picture
    ladders: dict[int, list[Picture]]
    out_of_gamut: dict[str, float]


def make_option(
    scheme: Scheme, limits: OptionLimits, *, number: int, lights: Sequence[str], width_px: int, words: Mapping[str, str]
) -> Option:
    """Render everything one option needs. `words`: of the page, for what is seen on the pictures."""
    scene = _fitting_scene(scheme, width_px)
    bases = list(dict.fromkeys(scheme.base_for(face.name) for face in scene.faces))
    kinds = [bases.index(scheme.base_for(face.name)) for face in scene.faces]
    views = [STRAIGHT_ON, *(View(deg) for deg in TILT_DEG)] if any(tilts(base) for base in bases) else [STRAIGHT_ON]
    tints = {kind: face.picture.bare.tint_rgb for kind, face in zip(kinds, scene.faces, strict=True)}
    looks = _looks(scheme, limits, lights, views, bases, tints)
    straight = {light: Appearance(light, tuple(looks[light][0][kind] for kind in kinds)) for light in lights}
    large = make_scene(scheme, width_px=PICTURE_WIDTH_PX, margin=0.03)
    nothing = _set(straight[lights[0]], [0.0] * len(limits.coats))
    shown = small_pictures(large, [nothing, *straight.values()])
    pictures = {
        light: _picture(words["finished_under"].format(light=words.get(f"light_{light}", light)), pixels)
        for light, pixels in zip(lights, shown[1:], strict=True)
    }
    return Option(
        letter=LETTERS[number],
        scheme=scheme,
        limits=limits,
        figures=figures_of(scheme, scene),
        width_px=scene.width_px,
        height_px=scene.height_px,
        faces=_faces(scheme, scene, kinds, views[1:], lights),
        views_deg=tuple(view.view_deg for view in views),
        looks=looks,
        pictures=pictures,
        bare_picture=_picture(words["bare"], shown[0]),
        ladders=_ladders(scheme, limits, straight[lights[0]], words),
        out_of_gamut=_out_of_gamut(scheme, straight),
    )


def tilts(base: Base) -> bool:
    """Whether a base looks different from the side: a relief does, a photo shows what it shows."""
    return base.kind == "metal" and (base.relief is not None or base.height_picture is not None)


def _fitting_scene(scheme: Scheme, width_px: int) -> Scene:
    small = make_scene(scheme, width_px=64)
    shape = small.height_px / small.width_px
    return make_scene(scheme, width_px=min(width_px, int((MOST_PIXELS / shape) ** 0.5)))


def _faces(
    scheme: Scheme, scene: Scene, kinds: Sequence[int], views: Sequence[View], lights: Sequence[str]
) -> tuple[FaceOfOption, ...]:
    """Every face with its maps, and from the side smaller: tilting is about what glints, not about detail."""
    small = make_scene(scheme, width_px=max(64, round(TILT_SHARE * scene.width_px))) if views else scene
    seen = [turned(scheme, small, view) for view in views]
    found = []
    for i, (face, kind) in enumerate(zip(scene.faces, kinds, strict=True)):
        tilting = bool(views) and tilts(scheme.base_for(face.name))
        found.append(
            FaceOfOption(
                name=face.name,
                left_px=face.left_px,
                top_px=face.top_px,
                kind=kind,
                maps=face_maps(scheme, face),
                seats=pack_seats(face, lights),
                tilted=tuple(base_maps(other.faces[i]) for other in seen) if tilting else (),
                tilted_cover=face_maps(scheme, small.faces[i]).cover if tilting else None,
            )
        )
    return tuple(found)


def _looks(
    scheme: Scheme,
    limits: OptionLimits,
    lights: Sequence[str],
    views: Sequence[View],
    bases: Sequence[Base],
    tints: Mapping[int, tuple[float, float, float] | None],
) -> dict[str, list[list[Look]]]:
    stacks = [[stack_of(scheme, view, base=base) for base in bases] for view in views]
    most, observer = limits.most_build(), scheme.observer_deg
    looks = {}
    for light in lights:
        straight = [
            reaching_look(stack, light=light, observer_deg=observer, tint_rgb=tints[kind], most=most)
            for kind, stack in enumerate(stacks[0])
        ]
        others = [[turned_look(look, stack) for look, stack in zip(straight, row, strict=True)] for row in stacks[1:]]
        looks[light] = [straight, *others]
    return looks


def _set(appearance: Appearance, factors: Sequence[float]) -> Appearance:
    """The part with the build of every layer multiplied."""
    return Appearance(appearance.light, tuple(scaled_look(look, factors) for look in appearance.looks))


def _ladders(
    scheme: Scheme, limits: OptionLimits, appearance: Appearance, words: Mapping[str, str]
) -> dict[int, list[Picture]]:
    """For every dye the part after 1, 2, 3 ... coats of it, all else as proposed."""
    scene = make_scene(scheme, width_px=RUNG_WIDTH_PX, margin=0.03)
    ladders = {}
    for i, coat in enumerate(limits.coats):
        if coat.mix is None or coat.fewest == coat.most:
            continue
        steps = list(range(max(coat.fewest, 1), coat.most + 1))
        shown = small_pictures(
            scene,
            [_set(appearance, [n / coat.coats if j == i else 1.0 for j in range(len(limits.coats))]) for n in steps],
        )
        ladders[i] = [
            _picture(words["one_coat"] if n == 1 else words["coats"].format(n=n), pixels, quality=RUNG_QUALITY)
            for n, pixels in zip(steps, shown, strict=True)
        ]
    return ladders


def _out_of_gamut(scheme: Scheme, appearances: Mapping[str, Appearance]) -> dict[str, float]:
    scene = make_scene(scheme, width_px=GAMUT_WIDTH_PX)
    pictures, cover = scene.render_strip(list(appearances.values()), 0, scene.height_px)
    return {light: share_out_of_gamut(rgb, cover) for light, rgb in zip(appearances, pictures, strict=True)}


def _picture(words: str, pixels: U8, *, quality: int = PICTURE_QUALITY) -> Picture:
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=quality, optimize=True, progressive=True)
    return Picture(words, out.getvalue(), pixels.shape[1], pixels.shape[0])


@dataclass
class Textures:
    """Picture files by content: what two options share is stored once."""

    files: dict[str, str] = field(default_factory=dict)

    def add(self, data: bytes) -> str:
        """Store a file and return its name."""
        name = hashlib.sha256(data).hexdigest()[:12]
        self.files.setdefault(name, data_uri(data))
        return name


def data_uri(data: bytes) -> str:
    """A picture file as the text of an address."""
    kind = "png" if data.startswith(b"\x89PNG") else "webp" if data.startswith(b"RIFF") else "jpeg"
    return f"data:image/{kind};base64,{base64.b64encode(data).decode('ascii')}"


def shared_covers(options: Sequence[Option]) -> dict[bytes, NDArray[np.float32]]:
    """For every base that is the same on several faces all that any of them shows, so that it is stored once."""
    covers: dict[bytes, NDArray[np.float32]] = {}
    for option in options:
        for face in option.faces:
            for bare, _, cover in _bases_of(face):
                key = _key(bare)
                covers[key] = np.maximum(covers[key], cover) if key in covers else cover
    return covers


def _bases_of(
    face: FaceOfOption,
) -> list[tuple[NDArray[np.float32], NDArray[np.float32] | None, NDArray[np.float32]]]:
    """A face's base and its paths straight on and then from the side, each with the cover it fits."""
    tilted = [(bare, path, face.tilted_cover) for bare, path in face.tilted if face.tilted_cover is not None]
    return [(face.maps.bare, face.maps.path, face.maps.cover), *tilted]


def _key(bare: NDArray[np.float32]) -> bytes:
    return hashlib.sha256(repr(bare.shape).encode() + bare.tobytes()).digest()


def views_json(
    face: FaceOfOption,
    views_deg: Sequence[float],
    textures: Textures,
    covers: Mapping[bytes, NDArray[np.float32]],
    *,
    quality: int,
) -> list[dict[str, Any]]:
    """The base of a face from each view; one that does not change with the view is named again."""
    entries: list[dict[str, Any]] = []
    for i, (bare, path, cover) in enumerate(_bases_of(face)):
        base = pack_base(bare, covers[_key(bare)], quality=TILT_QUALITY if i else quality)
        paths = None
        if path is not None:
            top = float(bare[0][cover > 0.0].max())
            paths = {"top": top, "by_gain": paths_by_gain(bare[0], path, cover)}
        entries.append({"texture": textures.add(base.data), "scale": base.scale, "paths": paths})
    return [{"deg": deg, **entries[i if len(entries) > 1 else 0]} for i, deg in enumerate(views_deg)]


def option_json(option: Option, textures: Textures) -> dict[str, Any]:
    """One option as the page's script reads it, all but its bases; its picture files go to `textures`."""
    layers = len(option.limits.coats)
    return {
        "letter": option.letter,
        "name": option.scheme.name,
        "width": option.width_px,
        "height": option.height_px,
        "surround": SURROUND_LIN,
        "views_deg": list(option.views_deg),
        "faces": [_face_json(face, textures) for face in option.faces],
        "looks": {
            light: [[look_json(look, layers=layers) for look in kinds] for kinds in views]
            for light, views in option.looks.items()
        },
        "coats": [asdict(coat) for coat in option.limits.coats],
        "mixes": [asdict(mix) for mix in option.limits.mixes],
    }


def _face_json(face: FaceOfOption, textures: Textures) -> dict[str, Any]:
    maps = face.maps
    builds = pack_builds(maps.builds, maps.cover)
    soak: dict[str, Any] | None = None
    if maps.soak is not None:
        packed = pack_soak(maps.soak.most, maps.cover)
        texture, shares = textures.add(packed.data), list(maps.soak.shares)
        soak = {"texture": texture, "low": packed.low, "high": packed.high, "shares": shares}
        soak["pools"] = maps.soak.pools and [pool and asdict(pool) for pool in maps.soak.pools]
    seats = None
    if face.seats is not None:
        colours = {light: textures.add(data) for light, data in face.seats.colours.items()}
        seats = {"share": textures.add(face.seats.share), "colours": colours}
    return {
        "name": face.name,
        "left": face.left_px,
        "top": face.top_px,
        "width": maps.cover.shape[1],
        "height": maps.cover.shape[0],
        "kind": face.kind,
        "cover": textures.add(pack_cover(maps.cover)),
        "soak": soak,
        "seats": seats,
        "builds": {
            "texture": textures.add(builds.data),
            "places": [list(place) for place in builds.places],
            "of_layer": list(builds.of_layer),
            "constant": list(builds.constant),
        },
    }


def film_ends(scheme: Scheme, index: int) -> tuple[float, float]:
    """Low and high film of a dye coat against the likely one; an opaque coat hides by its nominal build."""
    coat = scheme.coats[index]
    if not isinstance(coat, DyeCoat):
        return (1.0, 1.0)
    film = coat.film_um
    return (film.low / film.likely, film.high / film.likely)
