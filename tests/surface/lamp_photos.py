"""Photos of a made base, the lamp at another side in each: rendered, so that slopes and brightness are known."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import affine_transform, gaussian_filter

from layerpreview.film import SILVERS
from layerpreview.film.bases import MetalBase
from layerpreview.film.facet_law import facet_law
from layerpreview.film.slab import Lamp, Light
from layerpreview.surface.glints import sparkle_of
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.relief import make_relief

F32 = NDArray[np.float32]
law_of = lru_cache(maxsize=32)(facet_law)
"""Most scenes share their lights."""
AZIMUTH_DEG = {"right": 0.0, "bottom": 90.0, "left": 180.0, "top": 270.0}


@dataclass(frozen=True)
class Truth:
    slope_x: F32
    slope_y: F32
    gain: F32
    photos: tuple[F32, ...]


def lamp_photos(
    kind: str,
    *,
    sides: Sequence[str] = ("left", "top", "right"),
    heights_deg: Sequence[float] = (45.0, 45.0, 45.0),
    even: float = 0.1,
    silver: MetalBase = SILVERS["medium"],
    size_mm: tuple[float, float] = (110.0, 80.0),
    step_mm: float = 0.25,
    fall_off: float = 0.25,
    noise: float = 0.01,
    blur_px: float = 0.6,
    moved: Sequence[tuple[float, float, float]] = ((0, 0, 0),) * 3,
    jpeg: int | None = 92,
    shadow: int | None = None,
    glare: int | None = None,
    third: int | None = None,
    seed: int = 5,
    exposed: float = 0.985,
) -> Truth:
    """`moved`: shift right and down [px] and turn [deg] of each photo; `fall_off`: of log light from middle to edge;
    `exposed`: the share of the face that is not blown out; `shadow`, `glare`: the photo that has one; `third`: the
    photo whose left third lies in a hand's shadow of soft edge."""
    relief = make_relief(kind, width_mm=size_mm[0], height_mm=size_mm[1], seed=seed, step_mm=step_mm)
    rows, cols = relief.slope_x.shape
    random = np.random.default_rng(seed)
    patches = gaussian_filter(random.standard_normal((rows, cols)), 3.0 / step_mm)
    gain = np.exp(0.22 * patches / patches.std())
    gain = gain * sparkle_of(relief.flake, depth=relief.sparkle, phase=0.0)
    gain = np.asarray(gain / np.exp(np.log(gain).mean()), dtype=np.float32)
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float32)
    x, y = 2 * x / cols - 1, 2 * y / rows - 1
    photos = []
    for k, (side, height) in enumerate(zip(sides, heights_deg, strict=True)):
        azimuth = AZIMUTH_DEG[side]
        light = Light(even, (Lamp(90.0 - height, azimuth, 3.0, 1.0 - even),))
        seen = law_of(silver, light).at(relief.slope_x, relief.slope_y)[0] * gain
        towards = x * np.cos(np.radians(azimuth)) + y * np.sin(np.radians(azimuth))
        seen = seen * np.exp(fall_off * towards - 0.15 * (x * x + y * y))
        if shadow == k:
            seen[rows // 5 : rows // 2, cols // 5 : cols // 3] *= 0.12
        if glare == k:
            seen[rows // 2 : 2 * rows // 3, cols // 2 : 2 * cols // 3] += np.quantile(seen, 0.999)
        if third == k:
            seen = seen * (1 - 0.88 * gaussian_filter((x < -1 / 3).astype(np.float32), 1.0 / step_mm))
        seen = gaussian_filter(seen, blur_px)
        dx, dy, turn = moved[k]
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        turned = np.array([[c, s], [-s, c]])
        middle = np.array([rows - 1, cols - 1]) / 2
        seen = affine_transform(seen, turned, middle - turned @ (middle + np.array([dy, dx])), order=3, mode="nearest")
        seen = np.clip(seen / np.quantile(seen, exposed), 0, None)
        seen += noise * np.sqrt(0.002 + 0.2 * seen) * random.standard_normal(seen.shape)
        photos.append(_filed(np.clip(seen, 0, 1), jpeg))
    return Truth(relief.slope_x, relief.slope_y, gain, tuple(photos))


def _filed(light: F32, quality: int | None) -> F32:
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    if quality == -1:
        return light.astype(np.float32)
    pixels = np.rint(255 * coded).astype(np.uint8)
    if quality is not None:
        file = io.BytesIO()
        Image.fromarray(pixels).save(file, "JPEG", quality=quality)
        pixels = np.asarray(Image.open(file))
    return srgb_table(256)[pixels]
