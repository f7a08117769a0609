"""All photos of a job side by side, as if taken in one light: each balanced by the white card in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, lab_to_xyz
from layerpreview.job.done import Box
from layerpreview.output.caption import FAINT, INK, PAPER, drawable, font, wrapped
from layerpreview.output.png import encode_srgb8
from layerpreview.surface.photo import srgb_table
from layerpreview.surface.picture_file import PictureData

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]

TILE_PX, CARD_PX = 300, 44
"""Side of a photo's piece, and height of the piece of its card below it."""
MOST_ACROSS = 6
_AROUND = 1.6  # the piece is that much wider than the touched spot
_CARD_LIGHT = 0.9  # a grey card is shown as what it is: its own share of white


@dataclass(frozen=True, eq=False)
class StripPhoto:
    """One photo: where its card lies, which reflects `white_reflectance`, what was touched, and what is told of it."""

    picture: PictureData
    white: Box
    white_reflectance: float
    spot: Box
    lines: tuple[str, ...]


def photo_strip(
    photos: Sequence[StripPhoto],
    *,
    title: str,
    notes: Sequence[str] = (),
    agreed: tuple[tuple[float, float, float], Sequence[str]] | None = None,
    others: Sequence[StripPhoto] = (),
) -> U8:
    """The strip, (rows, cols, 3): every photo's touched spot with what is around it, its card below, and its lines.

    `agreed`: the agreed colour as L*a*b* adapted to D65, with its lines, as a plain piece after them; then `others`.
    """
    tiles = [(_tile(photo), photo.lines) for photo in photos]
    if agreed is not None:
        tiles.append((_plain(agreed[0]), tuple(agreed[1])))
    tiles += [(_tile(photo), photo.lines) for photo in others]
    face, large, size = font(17), font(22), 17
    leading, gap = round(1.4 * size), 16
    across = min(MOST_ACROSS, len(tiles))
    width = max(gap + across * (TILE_PX + gap), 2 * TILE_PX)
    texts = [[part for line in lines for part in wrapped(line, face, TILE_PX)] for _, lines in tiles]
    below = [part for note in notes for part in wrapped(note, face, width - 2 * gap)]
    head = wrapped(title, large, width - 2 * gap)
    top, down = gap + 30 * len(head) + gap // 2, -(-len(tiles) // across)
    bands = [max(len(lines) for lines in texts[row * across : (row + 1) * across]) for row in range(down)]
    heights = [TILE_PX + CARD_PX + 6 + leading * count + gap for count in bands]
    paper = np.full((top + sum(heights) + leading * len(below) + gap, width, 3), PAPER, dtype=np.uint8)
    places = [(top + sum(heights[: i // across]), gap + (i % across) * (TILE_PX + gap)) for i in range(len(tiles))]
    for (y, x), (tile, _) in zip(places, tiles, strict=True):
        paper[y : y + len(tile), x : x + TILE_PX] = tile
    return _written(paper, places, texts, head=head, below=below, sizes=(size, leading, gap))


def _written(
    paper: U8,
    places: Sequence[tuple[int, int]],
    texts: Sequence[Sequence[str]],
    *,
    head: Sequence[str],
    below: Sequence[str],
    sizes: tuple[int, int, int],
) -> U8:
    """The sheet with its title, the lines under each piece, the first of them darker, and the notes at its foot."""
    size, leading, gap = sizes
    face = font(size)
    image = Image.fromarray(paper)
    draw = ImageDraw.Draw(image)
    for i, line in enumerate(head):
        draw.text((gap, gap + 30 * i), line, font=font(22), fill=INK)
    for (y, x), lines in zip(places, texts, strict=True):
        draw.rectangle((x - 1, y - 1, x + TILE_PX, y + TILE_PX + CARD_PX), outline=FAINT)  # a white card on white paper
        for i, line in enumerate(lines):
            at = (x, y + TILE_PX + CARD_PX + 6 + leading * i)
            draw.text(at, drawable(line), font=face, fill=INK if i == 0 else FAINT)
    for i, line in enumerate(below):
        draw.text((gap, image.height - gap - leading * (len(below) - i)), line, font=face, fill=FAINT)
    return np.asarray(image)


def _tile(photo: StripPhoto) -> U8:
    """The piece of a photo around what was touched, and a piece of its card, in the light that all share."""
    gain = photo.white_reflectance / np.maximum(_light(photo.picture, photo.white).mean(axis=(0, 1)), 1e-4)
    pieces = [(_around(photo), (TILE_PX, TILE_PX)), (photo.white, (TILE_PX, CARD_PX))]
    shown = [_scaled(_light(photo.picture, box) * gain.astype(np.float32), size) for box, size in pieces]
    return np.concatenate(shown)


def _plain(lab: tuple[float, float, float]) -> U8:
    rgb = lab_to_xyz(np.array(lab), white_xyz=DISPLAY_WHITE_XYZ) @ XYZ_TO_RGB_LIN.T
    rgb8 = encode_srgb8(np.clip(rgb, 0.0, 1.0).astype(np.float32)[None, None])
    card = encode_srgb8(np.full((1, 1, 3), _CARD_LIGHT, dtype=np.float32))
    tile = np.empty((TILE_PX + CARD_PX, TILE_PX, 3), dtype=np.uint8)
    tile[:TILE_PX], tile[TILE_PX:] = rgb8[0, 0], card[0, 0]
    return tile


def _around(photo: StripPhoto) -> Box:
    """A square around the spot, within the picture."""
    wide, high = photo.picture.width_px, photo.picture.height_px
    left, top, width, height = photo.spot
    side = min(_AROUND * max(width * wide, height * high), wide, high)
    x = min(max((left + width / 2) * wide - side / 2, 0.0), wide - side)
    y = min(max((top + height / 2) * high - side / 2, 0.0), high - side)
    return x / wide, y / high, side / wide, side / high


def _light(picture: PictureData, box: Box) -> F32:
    """Linear light (rows, cols, 3) of a place of a picture, at least one pixel of it."""
    left, top, width, height = box
    x, y = int(left * picture.width_px), int(top * picture.height_px)
    right, bottom = round((left + width) * picture.width_px), round((top + height) * picture.height_px)
    numbers = picture.pixels[y : max(y + 1, bottom), x : max(x + 1, right)]
    light = srgb_table(int(np.iinfo(numbers.dtype).max) + 1)[numbers]
    return np.asarray(light if light.ndim == 3 else np.repeat(light[:, :, None], 3, axis=2), dtype=np.float32)


def _scaled(light: F32, size: tuple[int, int]) -> U8:
    """Light in another size (columns, rows), averaged where it gets smaller, as 8-bit sRGB."""
    how = Image.Resampling.BOX if light.shape[0] >= size[1] else Image.Resampling.BICUBIC
    planes = [Image.fromarray(np.ascontiguousarray(light[..., k])) for k in range(3)]
    scaled = np.dstack([np.asarray(plane.resize(size, how)) for plane in planes])
    return encode_srgb8(np.clip(scaled, 0.0, 1.0).astype(np.float32))
