"""The colour of a spot of a photo, to look for."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    JUST_SEEN_DE00,
    NOT_ACCEPTED_DE00,
    RGB_LIN_TO_XYZ,
    delta_e_2000,
    rgb_lin_to_hex,
    xyz_to_lab,
)
from layerpreview.errors import InputError, Problem
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import read_picture

F64 = NDArray[np.float64]

LEAST_PX = 3
MOST_PIXELS = 40_000
USUAL_SIZE = 0.02


@dataclass(frozen=True)
class SpotColour:
    """The mean colour of a spot, L*a*b* and on a screen; `spread_de00`: half of its pixels are further from it."""

    lab: tuple[float, float, float]
    srgb: str
    spread_de00: float
    pixels: int
    width_px: int
    height_px: int

    @property
    def words(self) -> str:
        """How even the spot is."""
        if self.spread_de00 < JUST_SEEN_DE00:
            return "one even colour"
        if self.spread_de00 < 2.0 * NOT_ACCEPTED_DE00:
            return "nearly one colour"
        return "a mean of unlike colours: a smaller spot, or one without glare, may be nearer to what is meant"


def colour_of(photo: Path, *, x: float, y: float, size: float = USUAL_SIZE) -> SpotColour:
    """The mean of a round spot of a photo, taken in light, not in numbers of the file.

    `x`, `y` [0..1]: its middle as shares of width and height; `size` [0.001..1]: its diameter as a share of the shorter
    side. Raises InputError (PictureError for what is no picture).
    """
    for name, value, low in (("x", x, 0.0), ("y", y, 0.0), ("size", size, 0.001)):
        if not low <= value <= 1.0:
            raise InputError(Problem(f"this lies between {low:g} and 1", field=name, value=f"{value:g}"))
    picture = read_picture(photo)
    high, wide = picture.pixels.shape[:2]
    radius = 0.5 * max(size * min(high, wide), LEAST_PX)
    left, right = (int(np.clip(x * wide + side * radius, 0, wide)) for side in (-1, 1))
    top, bottom = (int(np.clip(y * high + side * radius, 0, high)) for side in (-1, 1))
    left, top = min(left, wide - 1), min(top, high - 1)
    rows, cols = np.mgrid[top : max(bottom, top + 1), left : max(right, left + 1)]
    inside = np.hypot(cols + 0.5 - x * wide, rows + 0.5 - y * high) <= radius
    inside = inside if inside.any() else np.ones_like(inside)
    numbers = picture.pixels[rows[inside], cols[inside]]
    light = srgb_table(np.iinfo(numbers.dtype).max + 1)[numbers].reshape(len(numbers), -1).astype(np.float64)
    light = np.broadcast_to(light, (len(light), 3))
    mean = light.mean(axis=0)
    some = _lab(light[:: max(1, -(-len(light) // MOST_PIXELS))])
    lab = _lab(mean)
    spread = float(np.median(delta_e_2000(some, lab)))
    return SpotColour(
        (float(lab[0]), float(lab[1]), float(lab[2])), rgb_lin_to_hex(mean), spread, len(light), wide, high
    )


def _lab(rgb_lin: F64) -> F64:
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)
