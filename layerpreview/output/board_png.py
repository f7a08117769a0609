"""The board to print as one picture, all options below each other."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.output.board_data import Picture
from layerpreview.output.board_printed import GAP, Printed, PrintedOption
from layerpreview.output.caption import FAINT, INK, PAPER, fitted, font, wrapped

U8 = NDArray[np.uint8]

SHEET_PX = 1654
"""A4 across at 200 dots an inch."""
PAD_PX, TEXT_PX = 70, 26
ROOM_PX = SHEET_PX - 2 * PAD_PX
GAP_PX = round(GAP * ROOM_PX)
_RULE, WARM, WHITE = (217, 214, 208), (122, 74, 38), (255, 255, 255)


def sheet_of(printed: Printed) -> U8:
    """All options below each other on one sheet of A4's width (rows, 1654, 3): pictures first, the code, figures."""
    blocks = [_block(option, printed) for option in printed.options]
    return np.asarray(np.concatenate([_head(printed), *blocks, _foot(printed)]))


def _head(printed: Printed) -> U8:
    image, draw = _paper(230 if printed.answer else 190)
    small, large = font(TEXT_PX - 2), font(48)
    draw.text((PAD_PX, 56), fitted(draw, printed.above, small, ROOM_PX), font=small, fill=WARM)
    draw.text((PAD_PX, 92), fitted(draw, printed.title, large, ROOM_PX), font=large, fill=INK)
    draw.text((PAD_PX, 168), fitted(draw, printed.answer, small, ROOM_PX), font=small, fill=INK)
    return np.asarray(image)


def _block(option: PrintedOption, printed: Printed) -> U8:
    """One option: letter and name, pictures, what is sprayed, the code that takes it, and small the figures."""
    parts = [_name(option) if printed.is_named(option) else _rule(), _shown(option, alone=printed.alone)]
    if option.code:
        parts.append(_code(option, printed))
    small = [f"{printed.words['print_painter']}. {option.figures[0]}", *option.figures[1:]]
    parts.append(_written(small, size=TEXT_PX - 7, ink=FAINT))
    return np.asarray(np.concatenate(parts))


def _shown(option: PrintedOption, *, alone: bool) -> U8:
    """The first picture large, and beside it or below it the others and what is sprayed."""
    first = _captioned(option.pictures[0], round(ROOM_PX * option.first_width(alone=alone)))
    height = option.small_height(alone=alone) * ROOM_PX
    others = [_captioned(each, round(height * each.width_px / each.height_px)) for each in option.pictures[1:]]
    tallest = max((tile.height for tile in others), default=0)
    beside = option.is_beside(alone=alone)
    left = PAD_PX + (first.width + 2 * GAP_PX if beside else 0)
    lines = _wrapped(option.lines, SHEET_PX - PAD_PX - left, TEXT_PX)
    text_px = _line_px(TEXT_PX) * len(lines) + GAP_PX
    text_y, others_y = (0, text_px) if beside else (first.height + tallest + GAP_PX, first.height + GAP_PX // 2)
    image, draw = _paper(max(first.height, text_y + text_px, others_y + tallest))
    image.paste(first, (PAD_PX, 0))
    _text_at(draw, (left, text_y), lines, size=TEXT_PX, ink=INK)
    for tile in others:
        image.paste(tile, (left, others_y))
        left += tile.width + GAP_PX
    return np.asarray(image)


def _name(option: PrintedOption) -> U8:
    """The option's letter and name."""
    image, draw = _paper(96)
    draw.line([(PAD_PX, 0), (SHEET_PX - PAD_PX, 0)], fill=_RULE, width=2)
    draw.ellipse((PAD_PX, 26, PAD_PX + 50, 76), fill=INK)
    draw.text((PAD_PX + 25, 51), option.letter, font=font(30), fill=PAPER, anchor="mm")
    draw.text((PAD_PX + 68, 31), fitted(draw, option.name, font(34), ROOM_PX - 70), font=font(34), fill=INK)
    return np.asarray(image)


def _captioned(picture: Picture, width_px: int) -> Image.Image:
    """A picture with its words below."""
    size = TEXT_PX - 4
    lines = _wrapped([picture.words], width_px, size)
    with Image.open(io.BytesIO(picture.data)) as image:
        height_px = max(1, round(image.height * width_px / image.width))
        tile = image.resize((max(1, width_px), height_px), Image.Resampling.LANCZOS)
    whole = Image.new("RGB", (tile.width, tile.height + 16 + _line_px(size) * len(lines)), PAPER)
    whole.paste(tile, (0, 0))
    _text_at(ImageDraw.Draw(whole), (0, tile.height + 8), lines, size=size, ink=FAINT)
    return whole


def _code(option: PrintedOption, printed: Printed) -> U8:
    """How the client takes it: the code whole, as large as there is room for it, and in groups."""
    room, size = ROOM_PX - 2 * GAP_PX, TEXT_PX - 2
    large = 40
    while large > 14 and font(large).getlength(option.code) > room:
        large -= 2
    before = _wrapped([printed.choose], room, size)
    after = _wrapped([printed.words["print_read"].format(code=option.grouped)], room, size)
    lines = [*((line, size, FAINT) for line in before), (option.code, large, INK)]
    lines += [(line, size, FAINT) for line in after]
    heights = [_line_px(size) for _, size, _ in lines]
    image, draw = _paper(sum(heights) + 60)
    draw.rectangle((PAD_PX, 6, SHEET_PX - PAD_PX, image.height - 20), fill=WHITE, outline=_RULE, width=2)
    y = 20
    for (line, size, ink), height in zip(lines, heights, strict=True):
        draw.text((PAD_PX + GAP_PX, y), line, font=font(size), fill=ink)
        y += height
    return np.asarray(image)


def _foot(printed: Printed) -> U8:
    return np.asarray(np.concatenate([_rule(), _written([printed.foot], size=TEXT_PX - 2, ink=FAINT)]))


def _rule() -> U8:
    image, draw = _paper(20)
    draw.line([(PAD_PX, 0), (SHEET_PX - PAD_PX, 0)], fill=_RULE, width=2)
    return np.asarray(image)


def _written(lines: Sequence[str], *, size: int, ink: tuple[int, int, int]) -> U8:
    """Lines below each other, long ones wrapped."""
    shown = _wrapped(lines, ROOM_PX, size)
    image, draw = _paper(_line_px(size) * len(shown) + size)
    _text_at(draw, (PAD_PX, 0), shown, size=size, ink=ink)
    return np.asarray(image)


def _text_at(
    draw: ImageDraw.ImageDraw, place: tuple[int, int], lines: Sequence[str], *, size: int, ink: tuple[int, int, int]
) -> None:
    for i, line in enumerate(lines):
        draw.text((place[0], place[1] + _line_px(size) * i), line, font=font(size), fill=ink)


def _line_px(size: int) -> int:
    """From one line of text to the next."""
    return round(1.45 * size)


def _wrapped(lines: Sequence[str], room_px: int, size: int) -> list[str]:
    face = font(size)
    return [part for line in lines for part in wrapped(line, face, room_px)]


def _paper(height_px: int) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    image = Image.new("RGB", (SHEET_PX, height_px), PAPER)
    return image, ImageDraw.Draw(image)
