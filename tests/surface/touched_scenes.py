"""Photos of a sprayed part beside a white card, rendered: texture, noise, falling light, tints, blur, and JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageFilter

from layerpreview.colour import encode_srgb
from layerpreview.surface.picture_file import PictureData

CARD, PAINT = (0.15, 0.27), (0.62, 0.5)
"""Touches on the card and on the paint."""


@dataclass(frozen=True)
class Photographed:
    """What is in front of the camera: reflectances, light and its tint, how it falls off and how sharp it is."""

    rgb: tuple[float, float, float] = (0.4, 0.2, 0.05)
    card: tuple[float, float, float] = (0.9, 0.9, 0.9)
    table: tuple[float, float, float] = (0.25, 0.22, 0.20)
    light: tuple[float, float, float] = (0.8, 0.8, 0.8)
    falls: float = 0.0
    texture: float = 0.25
    blotches: float = 0.0
    card_box: tuple[float, float, float, float] = (0.06, 0.12, 0.20, 0.30)
    print_on_card: bool = False
    width_px: int = 480
    blur_px: float = 0.0
    seed: int = 1


def taken(scene: Photographed) -> Image.Image:
    """The photo, 4:3, as 8-bit sRGB."""
    rng = np.random.default_rng(scene.seed)
    wide, high = scene.width_px, scene.width_px * 3 // 4
    y, x = np.mgrid[:high, :wide] / np.array([high, wide]).reshape(2, 1, 1)
    light = np.empty((high, wide, 3))
    light[:] = scene.table
    cell = max(1, wide // 120)
    facets = np.kron(rng.normal(size=(high // cell + 1, wide // cell + 1)), np.ones((cell, cell)))[:high, :wide]
    lively = np.exp(scene.texture * facets - scene.texture**2 / 2)
    lively *= np.exp(scene.blotches * np.sin(30 * x) * np.sin(26 * y))
    part = np.square((x - 0.62) / 0.33) + np.square((y - 0.5) / 0.44) < 1
    light[part] = (np.array(scene.rgb) * lively[..., None])[part]
    left, top, width, height = scene.card_box
    card = (x > left) & (x < left + width) & (y > top) & (y < top + height)
    light[card] = scene.card
    if scene.print_on_card:
        light[card & (y * 80 % 2 < 1)] *= 0.6
    light *= np.array(scene.light) * np.exp(scene.falls * (x - 0.5))[..., None]
    light *= 1.0 + rng.normal(0.0, 0.01, light.shape)
    image = Image.fromarray(np.uint8(np.rint(255 * encode_srgb(np.clip(light, 0.0, 1.0)))))
    return image.filter(ImageFilter.GaussianBlur(scene.blur_px)) if scene.blur_px else image


def jpeg(scene: Photographed, quality: int = 90) -> bytes:
    """The photo's file."""
    file = io.BytesIO()
    taken(scene).save(file, "JPEG", quality=quality)
    return file.getvalue()


def read(scene: Photographed) -> PictureData:
    """The photo as the reader gives it, through a JPEG."""
    return PictureData(np.asarray(Image.open(io.BytesIO(jpeg(scene)))), None, "photo.jpg")
