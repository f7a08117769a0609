"""Photos of the frame that never were: windows of given linear colours, seen askew, unevenly lit, through a camera."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import gaussian_filter

from layerpreview.learn.read.frame import Box, grey_box, windows
from layerpreview.surface.marks import CORNERS_MM, FRAME_HEIGHT_MM, FRAME_WIDTH_MM, HOLE_MM, MARK_MM, placement_of
from layerpreview.surface.picture_file import PictureData

F64 = NDArray[np.float64]
MARGIN_MM, TABLE = 14.0, 0.35
SLANTED_PX = ((150.0, 160.0), (1060.0, 120.0), (1110.0, 745.0), (125.0, 720.0))


def frame_photo(
    colours: Mapping[tuple[str, int], F64],
    rng: np.random.Generator,
    *,
    grey: float | None = 0.18,
    corners_px: Any = SLANTED_PX,
    size_px: tuple[int, int] = (1280, 860),
    exposure: float = 0.8,
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0),
    power: float = 1.0,
    vignette: float = 0.25,
    noise: float = 0.01,
    texture: float = 0.15,
    paper: float = 0.86,
    quality: int | None = 90,
    fine: int = 1,
) -> PictureData:
    """A photo (8 bit, JPEG of `quality`) of a frame with `colours` by (row, column), linear sRGB of each window."""
    wide, high = size_px
    back = np.linalg.inv(placement_of(corners_px).matrix)
    y, x = np.mgrid[0 : high * fine, 0 : wide * fine]
    px = np.stack([(x + 0.5) / fine, (y + 0.5) / fine, np.ones_like(x, dtype=float)], axis=-1) @ back.T
    mm = px[..., :2] / px[..., 2:]
    light = np.full((*mm.shape[:2], 3), TABLE)
    sheet = _inside(
        mm, Box("paper", 0, -MARGIN_MM, -MARGIN_MM, FRAME_WIDTH_MM + 2 * MARGIN_MM, FRAME_HEIGHT_MM + 2 * MARGIN_MM)
    )
    light[sheet] = paper
    for number, (cx, cy) in enumerate(CORNERS_MM):
        light[_inside(mm, Box("mark", 0, cx - MARK_MM / 2, cy - MARK_MM / 2, MARK_MM, MARK_MM))] = 0.045
        if number == 0:
            light[np.hypot(mm[..., 0] - cx, mm[..., 1] - cy) < HOLE_MM / 2] = paper
    if grey is not None:
        light[_inside(mm, grey_box())] = grey
    speckle = np.exp(texture * gaussian_filter(rng.standard_normal(mm.shape[:2]), 2.0) / 0.14)
    speckle /= speckle.mean()
    for box in windows():
        colour = colours.get((box.what, box.column))
        if colour is not None:
            inside = _inside(mm, box)
            light[inside] = colour
            if box.what == "base":
                light[inside] *= speckle[inside][:, None]
    light = light.reshape(high, fine, wide, fine, 3).mean(axis=(1, 3))
    return camera(
        light, rng, exposure=exposure, cast=cast, power=power, vignette=vignette, noise=noise, quality=quality
    )


def camera(
    light: F64,
    rng: np.random.Generator,
    *,
    exposure: float,
    cast: tuple[float, float, float],
    power: float,
    vignette: float,
    noise: float,
    quality: int | None,
) -> PictureData:
    """Linear light to 8-bit codes: fall-off to one side and the corners, cast, noise, contrast over sRGB, JPEG."""
    high, wide = light.shape[:2]
    v, u = np.mgrid[0:high, 0:wide]
    u, v = u / wide * 2 - 1, v / high * 2 - 1
    fall = 1.0 - vignette * (0.5 * (u**2 + v**2) / 2 + 0.5 * (0.5 + 0.35 * u - 0.2 * v))
    seen = light * exposure * np.array(cast) * fall[..., None]
    seen = seen * (1.0 + noise * rng.standard_normal(seen.shape))
    seen = np.clip(np.sign(seen) * np.abs(seen) ** power, 0.0, 1.0)
    code = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * np.maximum(seen, 1e-9) ** (1 / 2.4) - 0.055)
    pixels = np.rint(255 * code).astype(np.uint8)
    if quality is not None:
        held = io.BytesIO()
        Image.fromarray(pixels).save(held, format="JPEG", quality=quality)
        pixels = np.asarray(Image.open(held))
    return PictureData(pixels, file="card.jpg")


def _inside(mm: F64, box: Box) -> NDArray[np.bool_]:
    x, y = mm[..., 0], mm[..., 1]
    return np.asarray((x >= box.left) & (x < box.left + box.width) & (y >= box.top) & (y < box.top + box.height))
