"""A job begun from three photos of the part, the lamp at another side in each: its own relief as the base."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, PictureError, Problem
from layerpreview.surface.height_picture import directions_picture
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.photos_aligned import aligned, held_still
from layerpreview.surface.picture_file import PictureData, read_picture
from layerpreview.surface.three_lamps import MeasuredRelief, check_sides, measured_relief
from layerpreview.surface.trace import Traced, trace_mask

F32 = NDArray[np.float32]

MOST_PIXELS = 8_000_000
"""Larger photos are averaged over blocks first: what they tell is kept at 0.25 mm."""
BRIGHTEST = 8.0
"""The gain that the whitest number stands for in the picture of brightness."""


@dataclass(frozen=True, eq=False)
class LitPart:
    """A part measured from three photos: what was traced and on which of them, and the pictures of its box."""

    photo: Path
    picture: PictureData
    traced: Traced
    relief: MeasuredRelief
    width_mm: float
    directions: NDArray[np.uint8]
    brightness: NDArray[np.uint16]


def lit_part(photos: Sequence[Path], sides: Sequence[str], *, part_width_mm: float) -> LitPart:
    """Return outline, slopes and flake brightness of the part in three photos, `sides` saying where the lamp was.

    The photo that the others are laid on is traced. Raises InputError for photos or sides that do not fit, PictureError
    for what cannot be read, traced or laid on one another.
    """
    first = check_sides(sides, photos=len(photos))
    pictures = [read_picture(photo) for photo in photos]
    sizes = {(picture.width_px, picture.height_px) for picture in pictures}
    if len(sizes) > 1:
        value = ", ".join(f"{wide} x {high}" for wide, high in sorted(sizes))
        raise InputError(Problem("the photos must be of one size", "do not crop them", field="--photo", value=value))
    traced = trace_mask(pictures[first], part_width_mm=part_width_mm, inside="object")
    block = int(np.ceil(np.sqrt(pictures[first].width_px * pictures[first].height_px / MOST_PIXELS)))
    lights = [_light(picture, block) for picture in pictures]
    # Stripes, as of brushed silver, cannot be laid on each other: on a stand there is no need.
    if not held_still(lights, (traced.outline.outer / traced.pixel_mm + np.array(traced.corner_px)) / block - 0.5):
        lights = aligned(lights, sides)
    pixel_mm = traced.pixel_mm * block
    inside = _inside(traced, lights[0].shape, block)
    box = tuple(slice(int(v.min()), int(v.max()) + 1) for v in np.nonzero(inside))
    relief = measured_relief([light[box] for light in lights], sides, inside=inside[box])
    brightness = np.rint(np.clip(relief.gain / BRIGHTEST, 0.0, 1.0) * 65535).astype(np.uint16)
    return LitPart(
        photos[first],
        pictures[first],
        traced,
        relief,
        relief.gain.shape[1] * pixel_mm,
        directions_picture(relief.slope_x, relief.slope_y),
        brightness,
    )


def _light(picture: PictureData, block: int) -> F32:
    """Linear light (rows, cols) of a photo, averaged over blocks of pixels; of a colour photo its green."""
    numbers = picture.pixels if picture.pixels.ndim == 2 else picture.pixels[:, :, 1]
    light = srgb_table(int(np.iinfo(numbers.dtype).max) + 1)[numbers]
    rows, cols = (n // block for n in light.shape)
    blocks = light[: rows * block, : cols * block].reshape(rows, block, cols, block)
    return np.asarray(blocks.mean(axis=(1, 3)), dtype=np.float32)


def _inside(traced: Traced, shape: tuple[int, ...], block: int) -> NDArray[np.bool_]:
    """Which pixels (rows, cols) lie on the face, its openings left out."""
    from PIL import Image, ImageDraw

    mask = Image.new("1", (shape[1], shape[0]))
    pen = ImageDraw.Draw(mask)
    for ring, value in [(traced.outline.outer, 1), *((opening, 0) for opening in traced.outline.openings.values())]:
        points = (ring / traced.pixel_mm + np.array(traced.corner_px)) / block - 0.5
        pen.polygon([(float(x), float(y)) for x, y in points], fill=value)
    inside = np.asarray(mask)
    if not inside.any():
        raise PictureError(Problem("the part is too small in the photo", "come nearer"))
    return inside


def write_brightness(brightness: NDArray[np.uint16], path: Path) -> None:
    """Write a 16-bit grey PNG."""
    from PIL import Image

    picture: Any = Image.fromarray(brightness)
    picture.save(path, "PNG")
