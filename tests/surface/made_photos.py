"""Photos of a silver base made from the project's own reliefs, whose texture without the day's light is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from layerpreview.colour import encode_srgb
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.relief import make_relief

F64 = np.ndarray


@dataclass(frozen=True)
class MadePhoto:
    """`picture`, what its light would be under even light (`texture`, rows by cols), and where glare and card lie."""

    picture: PictureData
    texture: F64
    light: F64
    glare: F64
    card_px: tuple[int, int, int, int] | None


def silver_texture(kind: str, width_mm: float, height_mm: float, *, pixel_mm: float, seed: int = 3) -> F64:
    """Light of a silver relief under one lamp and a grey room: 0.1 to 0.6, mean about a third."""
    relief = make_relief(
        kind, width_mm=width_mm, height_mm=height_mm, seed=seed, cell_mm=None, strength=1.0, step_mm=pixel_mm
    )
    lobe = np.exp(-((relief.slope_x - 0.12) ** 2 + (relief.slope_y - 0.08) ** 2) / 0.12)
    return 0.1 + 0.5 * lobe.astype(np.float64)


def made_photo(
    kind: str,
    *,
    width_mm: float = 300.0,
    height_mm: float = 220.0,
    pixel_mm: float = 0.3,
    fall_off: float = 0.6,
    reflection: float = 1.0,
    glare_mm: tuple[float, ...] = (),
    card: bool = False,
    seed: int = 3,
) -> MadePhoto:
    """A photo of `kind`: light falls off by `fall_off` (natural log) across, a soft reflection adds up to `reflection`
    times the light, spots of `glare_mm` are blown out with a haze around them, a white card lies in a corner."""
    texture = silver_texture(kind, width_mm, height_mm, pixel_mm=pixel_mm, seed=seed)
    rows, cols = texture.shape
    y, x = np.mgrid[:rows, :cols] * pixel_mm
    centre = (x - 0.62 * width_mm) ** 2 + ((y - 0.4 * height_mm) * 1.3) ** 2
    light = np.exp(-fall_off * (x + 0.4 * y) / width_mm) * (
        1.0 + reflection * np.exp(-centre / (2 * (0.17 * width_mm) ** 2))
    )
    shown = texture * light * 0.6
    glare = np.zeros(texture.shape, np.bool_)
    for k, size_mm in enumerate(glare_mm):
        away = np.hypot(x - (0.25 + 0.3 * k) * width_mm, 1.4 * (y - (0.6 - 0.25 * k) * height_mm))
        glare |= away < size_mm / 2
        shown = shown + 2.5 / (1.0 + np.exp((away - size_mm / 2) / (0.06 * size_mm)))
    card_px = None
    if card:
        wide, high = int(70 / pixel_mm), int(45 / pixel_mm)
        shown[-high:, :wide] = 0.82 * light[-high:, :wide] / light[-1, 0]
        card_px = (wide // 4, rows - high + high // 4, wide // 2, high // 2)
    rng = np.random.default_rng(seed)
    shown = ndimage.gaussian_filter(shown, 0.6) * (1.0 + 0.015 * rng.standard_normal(shown.shape))
    cast = np.array([1.0, 0.97, 0.9])
    codes = np.rint(255 * encode_srgb(np.clip(shown[:, :, None] * cast, 0.0, 1.0))).astype(np.uint8)
    return MadePhoto(PictureData(codes, file="base.jpg"), texture, light, glare, card_px)
