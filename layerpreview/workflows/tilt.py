"""The finish tilted to and fro, as one small animated picture to send."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image

from layerpreview.finish.view import View
from layerpreview.output.caption import captions
from layerpreview.output.files import written_together
from layerpreview.output.pictures import small_pictures
from layerpreview.picture.scene import appearances_of, make_scene, turned
from layerpreview.scheme import load_scheme
from layerpreview.workflows.choices import MARGIN, check_lamp, with_lights
from layerpreview.workflows.render import Shot, caption_lines

FRAME_MS = 120
QUALITY = 72


@dataclass(frozen=True)
class Tilted:
    """The animated picture, its size and its views in order [deg]."""

    file: Path
    size_bytes: int
    views_deg: tuple[float, ...]


def tilt_file(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    width_px: int = 480,
    light: str | None = None,
    lamp_deg: float | None = None,
    furthest_deg: float = 60.0,
    frames: int = 9,
) -> Tilted:
    """Write `tilt.webp`: the finish from straight on to `furthest_deg` and back, or through both sides under a lamp.

    `frames` [2..40] views one way; `lamp_deg` as in `View`. All frames share one exposure.
    Raises InputError (SchemeError, PictureError) or OutputError; nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    check_lamp(lamp_deg)
    start = 0.0 if lamp_deg is None else -furthest_deg
    angles = [float(angle) for angle in np.linspace(start, furthest_deg, frames)]
    lit = scheme.lights[0]
    scene = make_scene(scheme, width_px=width_px, margin=MARGIN)
    views = [View(round(angle, 1), lamp_deg) for angle in angles]
    texts = captions(
        [caption_lines(scheme, Shot(lit, view, False)) for view in views],
        width_px=scene.width_px,
        pixel_mm=scene.pixel_mm,
    )
    pictures = []
    for view, text in zip(views, texts, strict=True):
        seen = turned(scheme, scene, view)
        pixels = small_pictures(seen, appearances_of(scheme, seen, [lit], view=view))[0]
        pictures.append(Image.fromarray(np.concatenate([pixels, text])))
    to_and_fro = pictures + pictures[-2:0:-1]
    with written_together(out, ["tilt.webp"], force=force, inputs=scheme.inputs) as paths:
        to_and_fro[0].save(
            paths["tilt.webp"],
            format="WEBP",
            save_all=True,
            append_images=to_and_fro[1:],
            duration=FRAME_MS,
            loop=0,
            quality=QUALITY,
            method=4,
        )
    file = out / "tilt.webp"
    return Tilted(file, file.stat().st_size, tuple(angles))
