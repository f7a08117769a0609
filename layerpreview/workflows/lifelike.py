"""The part as one would see it: a solid in its surroundings, standing still or turning; to show, not to measure."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from layerpreview.colour import LIFELIKE
from layerpreview.doing import each_of
from layerpreview.finish.view import Surroundings, surroundings_of
from layerpreview.output.caption import caption
from layerpreview.output.files import written_together
from layerpreview.output.pictures import rendered_small, write_shown
from layerpreview.picture.faces import FaceShape
from layerpreview.picture.lifelike import PLATE_POSE, Lifelike, lifelike_of, looks_of, posed
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.choices import coats_in_short, with_lights

USUAL_ROOM = "window"
TURN_FILE = "turn.webp"
FRAMES, FRAME_MS = 36, 110
SWING_DEG = 50.0
"""How far to either side a part without a back is turned."""
LARGEST_BYTES = 3_000_000
QUALITIES = (92, 85, 75, 60, 45, 30)


def lifelike_name(around: Surroundings) -> str:
    """The file that a lifelike picture is written to; a name of surroundings is no way to another folder."""
    return "lifelike_" + re.sub(r"[^\w-]+", "_", around.name) + ".png"


def write_lifelike(
    scheme: Scheme, around: Surroundings, path: Path, *, width_px: int, shapes: Sequence[FaceShape] | None = None
) -> float:
    """Write the lifelike picture under the scheme's first light; the share of the part that the screen cannot show."""
    scene = lifelike_of(scheme, around, width_px=width_px, shapes=shapes)
    lines = _caption_lines(scheme, scene, scheme.lights[0])
    return write_shown(scene, looks_of(scheme, scene, scheme.lights[0]), lines, path, rolled_from=LIFELIKE)


def _caption_lines(scheme: Scheme, scene: Lifelike, light: str) -> list[str]:
    said = [f"light {light}", f"surroundings: {scene.around.name}", "a white card is white", "approximate"]
    return [scheme.name, coats_in_short(scheme), "; ".join(said)]


@dataclass(frozen=True)
class Turning:
    """The animated picture, its size and how the part is turned in its frames, in order [deg]."""

    file: Path
    size_bytes: int
    views_deg: tuple[float, ...]


def turn_file(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    width_px: int = 480,
    light: str | None = None,
    around: str = USUAL_ROOM,
    frames: int = FRAMES,
) -> Turning:
    """Write `turn.webp`: the solid part turning, right round where it has a back, else to and fro.

    `frames` [2..120]. Of at most 3 MB where a lower quality can make it so. Raises InputError (SchemeError,
    PictureError) or OutputError; nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    room = surroundings_of(scheme, around, field="--around")
    with written_together(out, [TURN_FILE], force=force, inputs=scheme.inputs) as paths:
        scene = lifelike_of(scheme, room, width_px=width_px)
        angles = _angles(scene, frames)
        looks = looks_of(scheme, scene, scheme.lights[0])
        words = caption(_caption_lines(scheme, scene, scheme.lights[0]), width_px=width_px, pixel_mm=scene.pixel_mm)
        pictures = []
        for angle in each_of("turning the part", angles, len(angles)):
            shown = rendered_small(posed(scene, angle), looks, rolled_from=LIFELIKE)
            pictures.append(Image.fromarray(np.concatenate([shown, words])))
        paths[TURN_FILE].write_bytes(_animated(pictures))
    file = out / TURN_FILE
    return Turning(file, file.stat().st_size, tuple(angles))


def _angles(scene: Lifelike, frames: int) -> list[float]:
    start = PLATE_POSE.yaw_deg
    if any(placed.solid.all_round for placed in scene.solids):
        return [round(start + 360.0 * i / frames, 2) for i in range(frames)]
    return [round(SWING_DEG * float(np.sin(2.0 * np.pi * i / frames)), 2) for i in range(frames)]


def _animated(pictures: Sequence[Image.Image]) -> bytes:
    """WebP at the best quality that keeps it small enough to send."""
    for quality in QUALITIES:
        made = io.BytesIO()
        first, *more = pictures
        first.save(
            made, format="WEBP", save_all=True, append_images=more, duration=FRAME_MS, loop=0, quality=quality, method=2
        )
        if made.tell() <= LARGEST_BYTES:
            break
    return made.getvalue()
