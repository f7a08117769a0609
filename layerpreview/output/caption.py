"""The strip of text under a picture, with its scale bar, and labels on tiles."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from io import BytesIO

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

U8 = NDArray[np.uint8]

PAPER, INK, FAINT = (246, 245, 243), (28, 28, 30), (96, 96, 100)
_HELD = ((0x20, 0x7E), (0xA0, 0x24F), (0x370, 0x45F), (0x1E00, 0x1EFF), (0x2010, 0x2026), (0x2030, 0x203A))
"""Letters in the shipped font: Latin with its accents, Greek, Cyrillic, and the usual signs."""
_HELD_SIGNS = "€™−"
_NICE_MM = (1, 2, 5, 10, 20, 25, 50, 100, 150, 200, 300, 500, 1000, 2000, 5000)

_LEAST_ROOM = 16
"""Beside the bar, in sizes of the text: less would break every line after two or three words."""


def scale_bar_mm(*, width_mm: float) -> float:
    """A round length of at most a fifth of the picture's width [mm]."""
    return float(max([mm for mm in _NICE_MM if mm <= 0.2 * width_mm], default=_NICE_MM[0]))


def text_size_px(width_px: int) -> int:
    """Size of caption text that stays readable when the picture is shown on one screen."""
    return max(11, round(width_px / 62))


def caption(lines: Sequence[str], *, width_px: int, pixel_mm: float) -> U8:
    """A strip (rows, width_px, 3) with `lines`, the first one larger, and a bar of known length at the right.

    `pixel_mm` [mm]: size of the picture's pixel on the part. A title that is too long is cut with an ellipsis, other
    lines are wrapped.
    """
    size = text_size_px(width_px)
    large, small = font(round(size * 1.25)), font(size)
    pad, leading = size, round(size * 1.5)
    bar_mm = scale_bar_mm(width_mm=width_px * pixel_mm)
    bar_px = round(bar_mm / pixel_mm)
    label = f"{bar_mm:g} mm ({bar_mm / 25.4:.3g} in)"
    if small.getlength(label) > width_px - 2 * pad:
        label = f"{bar_mm:g} mm"
    room, top = width_px - pad * 3 - max(bar_px, round(small.getlength(label))), pad
    if room < _LEAST_ROOM * size:  # the bar has its place above the text, then
        room, top = width_px - pad * 2, pad + 2 * leading
    small_lines = [part for line in lines[1:] for part in wrapped(line, small, room)]
    title_height = round(leading * 1.2)
    image = Image.new("RGB", (width_px, top + title_height + leading * len(small_lines) + pad), PAPER)
    draw = ImageDraw.Draw(image)
    draw.text((pad, top), fitted(draw, lines[0], large, room), font=large, fill=INK)
    for i, line in enumerate(small_lines):
        draw.text((pad, top + title_height + leading * i), line, font=small, fill=FAINT)
    right, base = width_px - pad, pad + round(size * 0.9)
    draw.line([(right - bar_px, base), (right, base)], fill=INK, width=max(2, size // 7))
    for end in (right - bar_px, right):
        draw.line([(end, base - size // 3), (end, base + size // 3)], fill=INK, width=max(2, size // 7))
    draw.text((right, base + size // 2), label, font=small, fill=FAINT, anchor="ra")
    return np.asarray(image)


def captions(texts: Sequence[Sequence[str]], *, width_px: int, pixel_mm: float) -> list[U8]:
    """A caption for each of `texts`, all as high as the highest: frames of one animation must be of one size."""
    strips = [caption(lines, width_px=width_px, pixel_mm=pixel_mm) for lines in texts]
    rows = max(len(strip) for strip in strips)
    paper = np.asarray(PAPER, dtype=np.uint8)
    return [np.concatenate([strip, np.tile(paper, (rows - len(strip), width_px, 1))]) for strip in strips]


def fitted(draw: ImageDraw.ImageDraw, text: str, face: ImageFont.FreeTypeFont, room_px: float) -> str:
    """The text, or as much of it as fits with an ellipsis."""
    text = " ".join(drawable(text).split())
    if draw.textlength(text, font=face) <= room_px:
        return text
    while text and draw.textlength(text + "...", font=face) > room_px:
        text = text[:-1]
    return text + "..."


def wrapped(text: str, face: ImageFont.FreeTypeFont, room_px: float) -> list[str]:
    """The text in lines that fit; a single word that is too long is left whole."""
    lines: list[str] = []
    for word in drawable(text).split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and face.getlength(longer) <= room_px:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def drawable(text: str) -> str:
    """The text in letters that the font holds; what it does not hold becomes a question mark.

    >>> drawable("Café – für Jörg, 3 µm, 漆")
    'Café – für Jörg, 3 µm, ?'
    """
    whole = unicodedata.normalize("NFC", text)
    return "".join(c if c in _HELD_SIGNS or any(a <= ord(c) <= b for a, b in _HELD) else "?" for c in whole)


def font(size_px: int) -> ImageFont.FreeTypeFont:
    """The shipped font: the same letters on every system."""
    return ImageFont.truetype(BytesIO(_letters()), size_px)


@lru_cache(maxsize=1)
def _letters() -> bytes:
    return (resources.files("layerpreview") / "data" / "letters.ttf").read_bytes()


def labelled_sheet(tiles: Sequence[tuple[str, U8]], *, title: str, note: str, columns: int) -> U8:
    """Tiles (rows, cols, 3) of one size in a grid, each over its label, under a title and over a note."""
    rows_px, cols_px, _ = tiles[0][1].shape
    size = text_size_px(cols_px * columns)
    face, pad, band = font(size), size, round(size * 2.2)
    down = -(-len(tiles) // columns)
    width = columns * cols_px + (columns + 1) * pad
    top = round(size * 3.2)
    notes = wrapped(note, face, width - 2 * pad)
    leading = round(size * 1.4)
    image = Image.new("RGB", (width, top + down * (rows_px + band) + leading * len(notes) + pad), PAPER)
    draw = ImageDraw.Draw(image)
    large = font(round(size * 1.25))
    draw.text((pad, pad), fitted(draw, title, large, width - 2 * pad), font=large, fill=INK)
    for i, (label, pixels) in enumerate(tiles):
        x, y = pad + (i % columns) * (cols_px + pad), top + (i // columns) * (rows_px + band)
        image.paste(Image.fromarray(pixels), (x, y))
        draw.text((x, y + rows_px + size // 3), fitted(draw, label, face, cols_px), font=face, fill=INK)
    for i, line in enumerate(notes):
        draw.text((pad, image.height - pad - leading * (len(notes) - i)), line, font=face, fill=FAINT)
    return np.asarray(image)
