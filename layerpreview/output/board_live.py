"""The live picture of an option as a board holds it: the desk's own data, its textures packed into few bytes.

`data/board/unpack.js` makes of them what the shader takes. Files are named by what they hold, so that options share
them; what comes from a seed (flakes, reliefs, wood) is not held at all but made again by the page, number by number.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from layerpreview.doing import each_of
from layerpreview.finish.view import Surroundings
from layerpreview.output.board_pack_picture import pack_picture
from layerpreview.output.board_pack_planes import PackedFiles
from layerpreview.output.live import live_picture
from layerpreview.scheme import Scheme

UNPACK_SCRIPTS = tuple(f"board/{name}.js" for name in ("unpack_fields", "unpack_relief", "unpack_wood", "unpack"))
"""The scripts of the page that unpack, in `data`, in the order they are loaded."""
LONGEST_PX = 1200
"""The longer side of the picture that the maps of a board are made for, where nothing else is asked for."""
LADDER = (1.0, 1.5, 2.3)
"""How much coarser everything seen is told, the finest first; what the last one shows is measured in tests."""
MOST_TOLD = 5


@dataclass(frozen=True)
class Asked:
    """An option of a board; `lights`, `most`: as `live_picture` takes them."""

    scheme: Scheme
    around: Surroundings
    lights: Sequence[str] | None = None
    most: Sequence[float] | None = None


@dataclass(frozen=True)
class Part:
    """What a piece of an option takes of the page: `what` it is, `size_bytes` as text, and `why` it is so much."""

    option: int
    what: str
    size_bytes: int
    why: str


@dataclass(frozen=True)
class PackedBoard:
    """The options' pictures, their files, and, where these are larger than they may be, the `parts` that take most."""

    pictures: tuple[dict[str, Any], ...]
    files: PackedFiles
    too_large: tuple[Part, ...]

    @property
    def size_bytes(self) -> int:
        """The files as text."""
        return text_bytes(self.files.size_bytes)


def packed_board(asked: Sequence[Asked], *, limit_bytes: int, longest_px: int = LONGEST_PX) -> PackedBoard:
    """The options of a board, as finely as all their files together, as text, stay below a limit.

    Never more coarsely than the last of LADDER: what is too large even so is told. Raises InputError and PictureError.
    """
    made = [
        live_picture(one.scheme, one.around, lights=one.lights, longest_px=longest_px, most=one.most)
        for one in each_of("making the live pictures", asked, len(asked))
    ]
    for coarser in LADDER:
        files = PackedFiles(coarser)
        packing = each_of("packing the live pictures", zip(asked, made, strict=True), len(asked))
        pictures = tuple(pack_picture(one.scheme, one.around, live, files) for one, live in packing)
        if text_bytes(files.size_bytes) <= limit_bytes:
            return PackedBoard(pictures, files, ())
    parts = [part for i, picture in enumerate(pictures) for part in parts_of(picture, files, option=i)]
    most = sorted(parts, key=lambda part: -part.size_bytes)[:MOST_TOLD]
    return PackedBoard(pictures, files, tuple(most))


def parts_of(picture: dict[str, Any], files: PackedFiles, *, option: int = 0) -> list[Part]:
    """What each piece of a picture takes, files that are named before counting no more."""
    named: set[str] = set()

    def part(what: str, told: Sequence[dict[str, Any]], why: str) -> Part:
        new = {name for one in told for name in _files_in(picture["packed"][one["hash"]])} - named
        named.update(new)
        return Part(option, what, text_bytes(sum(len(files.files[name]) for name in new)), why)

    found = [part("mirror image", [picture["mirror"]["levels"]], "the surroundings in a glossy clear")]
    for solid in picture["solids"]:
        front = picture["skins"][solid["skins"]["0"]]["name"]
        found.append(part(f"shape of {front}", list(solid["body"].get("lattices", {}).values()), "its outline"))
    for skin in picture["skins"]:
        name, surface = skin["name"], skin["surface"] or {}
        if skin["optics"]["metal"]:
            found.append(part(f"light of {name}", [skin["optics"]["metal"]["law"]], "its metal"))
        own = [surface[key] for key in ("slopes", "gain", "numbers") if key in surface]
        found.append(part(f"texture of {name}", own, "a relief from a picture, all of whose places are kept"))
        lights = [one["texture"] for one in (skin["bare"], skin["beside"]) if one and one["texture"]]
        found.append(part(f"base of {name}", lights, "a photo, all of whose places are kept"))
        found.append(part(f"coats on {name}", skin["groups"], "bursts, masks, hollows, and what is rubbed through"))
    return [one for one in found if one.size_bytes]


def texts_of(files: PackedFiles) -> dict[str, str]:
    """The files as the page holds them, base64 by name."""
    return {name: base64.b64encode(data).decode("ascii") for name, data in sorted(files.files.items())}


def text_bytes(size_bytes: int) -> int:
    """What bytes take as base64."""
    return -(-size_bytes // 3) * 4


def _files_in(plan: object) -> set[str]:
    if isinstance(plan, dict):
        own = {plan[key] for key in ("file", "seen") if key in plan}
        return own.union(*(_files_in(part) for part in plan.values()))
    return set().union(*(_files_in(part) for part in plan)) if isinstance(plan, list) else set()
