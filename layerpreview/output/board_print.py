"""The board on paper: a sheet as a picture, and the same as a PDF."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.output.board import BoardPage
from layerpreview.output.board_data import Option, Picture
from layerpreview.output.caption import FAINT, INK, PAPER, fitted, font, wrapped
from layerpreview.output.files import write_text
from layerpreview.output.pictures import write_picture
from layerpreview.output.result import Paths, Result
from layerpreview.output.typst_pdf import compile_pdf

U8 = NDArray[np.uint8]

SHEET_PX = 1654
"""A4 across at 200 dots an inch."""
PAD_PX, TEXT_PX = 70, 26
_RULE = (217, 214, 208)


@dataclass(frozen=True, eq=False)
class Board:
    """A board as it was made: its digits, heading, the options' names, the page's size and the quality of its bases.

    `log`: where it is recorded when it is saved, None where it is not.
    """

    board: str
    title: str
    options: tuple[str, ...]
    size_bytes: int
    quality: int
    log: Path | None
    page: BoardPage = field(repr=False)
    drawn: tuple[Option, ...] = field(repr=False)
    words: Mapping[str, Any] = field(repr=False)


def board_names(*, pdf: bool) -> tuple[str, ...]:
    """The files of a board."""
    return ("board.html", "board.png", *(["board.pdf"] if pdf else []))


def board_result(
    board: Board,
    *,
    names: tuple[str, ...],
    inputs: tuple[Path, ...],
    recording: Callable[[Path], AbstractContextManager[object]],
) -> Result[Board]:
    """The board with its ways out; the table has a row for every option, light and place."""

    def sheet() -> U8:
        return board_sheet(board.drawn, title=board.title, words=board.words)

    def write(paths: Paths) -> None:
        write_text(paths["board.html"], board.page.html)
        write_picture(sheet(), paths["board.png"])
        if "board.pdf" in paths:
            paths["board.pdf"].write_bytes(board_pdf(board.drawn, title=board.title, words=board.words))

    size = f"{board.size_bytes / 1e6:.1f} MB"
    return Result(
        found=board,
        line=f"Board {board.board}, {len(board.options)} option{'s' if len(board.options) > 1 else ''}, {size}",
        document=lambda folder: _document(board, names, folder),
        rows=lambda: [row for option in board.drawn for row in _rows(option)],
        text=lambda: "\n".join(
            [board.title, *(line for each in board.drawn for line in _lines(each, board.words)), ""]
        ),
        names=names,
        write=write,
        picture=sheet,
        inputs=inputs,
        recording=recording,
    )


def _document(board: Board, names: tuple[str, ...], folder: Path | None) -> dict[str, object]:
    where = {} if folder is None else {"folder": folder, "files": names, "log": board.log}
    told = ("board", "size_bytes", "quality", "options")
    return {**where, **{key: getattr(board, key) for key in told}}


def _rows(option: Option) -> list[dict[str, object]]:
    return [
        {
            "option": option.letter,
            "name": option.scheme.name,
            "light": colour.light,
            "spot": colour.spot,
            **dict(zip("Lab", colour.lab, strict=True)),
            "srgb": colour.srgb,
        }
        for colour in option.figures.colours
    ]


def _lines(option: Option, words: Mapping[str, Any]) -> list[str]:
    return [f"{option.letter} {option.scheme.name}", *(f"  {line}" for line in coat_lines(option, words))]


def board_sheet(options: Sequence[Option], *, title: str, words: Mapping[str, Any]) -> U8:
    """All options below each other on one sheet of A4's width (rows, 1654, 3): pictures under each light, and words."""
    blocks = [_block(option, words) for option in options]
    head, foot = _head(title, words), _foot(words)
    return np.asarray(np.concatenate([head, *blocks, foot]))


def _head(title: str, words: Mapping[str, Any]) -> U8:
    image, draw = _paper(190)
    draw.text((PAD_PX, 56), words["eyebrow"], font=font(TEXT_PX - 2), fill=(122, 74, 38))
    large = font(48)
    draw.text((PAD_PX, 92), fitted(draw, title, large, SHEET_PX - 2 * PAD_PX), font=large, fill=INK)
    return np.asarray(image)


def _block(option: Option, words: Mapping[str, Any]) -> U8:
    """One option: its letter and name, the pictures in a row, what is sprayed."""
    pictures = [*option.pictures.values(), option.bare_picture][:4]
    columns = max(2, len(pictures))
    gap = 24
    across = (SHEET_PX - 2 * PAD_PX - gap * (columns - 1)) // columns
    tiles = [_tile(picture, across) for picture in pictures]
    tall = max(tile.height for tile in tiles)
    lines = _wrapped(coat_lines(option, words), SHEET_PX - 2 * PAD_PX)
    image, draw = _paper(96 + tall + 54 + 38 * len(lines) + 30)
    draw.line([(PAD_PX, 0), (SHEET_PX - PAD_PX, 0)], fill=_RULE, width=2)
    draw.ellipse((PAD_PX, 26, PAD_PX + 50, 76), fill=INK)
    draw.text((PAD_PX + 25, 51), option.letter, font=font(30), fill=PAPER, anchor="mm")
    name = font(34)
    draw.text(
        (PAD_PX + 68, 31), fitted(draw, option.scheme.name, name, SHEET_PX - 2 * PAD_PX - 70), font=name, fill=INK
    )
    for i, (tile, picture) in enumerate(zip(tiles, pictures, strict=True)):
        x = PAD_PX + i * (across + gap)
        image.paste(tile, (x, 96))
        label = font(TEXT_PX - 2)
        draw.text((x, 96 + tall + 10), fitted(draw, picture.words, label, across), font=label, fill=FAINT)
    for i, line in enumerate(lines):
        draw.text((PAD_PX, 96 + tall + 58 + 38 * i), line, font=font(TEXT_PX), fill=INK)
    return np.asarray(image)


def _foot(words: Mapping[str, Any]) -> U8:
    lines = _wrapped([f"{words['approximate_long']} {words['print_note']}"], SHEET_PX - 2 * PAD_PX)
    image, draw = _paper(50 + 36 * len(lines))
    draw.line([(PAD_PX, 0), (SHEET_PX - PAD_PX, 0)], fill=_RULE, width=2)
    for i, line in enumerate(lines):
        draw.text((PAD_PX, 20 + 36 * i), line, font=font(TEXT_PX - 2), fill=FAINT)
    return np.asarray(image)


def coat_lines(option: Option, words: Mapping[str, Any]) -> list[str]:
    """What is sprayed, a line a coat, and the clear."""
    lines = []
    for coat in option.limits.coats:
        times = words["one_coat"] if coat.coats == 1 else words["coats"].format(n=coat.coats)
        lines.append(f"{coat.label}, {coat.where}: {times}")
    return [*lines, words["clear"].format(finish=words[option.scheme.clear.finish])]


def board_pdf(options: Sequence[Option], *, title: str, words: Mapping[str, Any]) -> bytes:
    """The same as a PDF of A4 pages with text that can be searched. Raises OutputError where typst is missing."""
    shown = {option.letter: [*option.pictures.values(), option.bare_picture][:4] for option in options}
    names = {letter: [f"{letter}{i}.jpg" for i in range(len(pictures))] for letter, pictures in shown.items()}
    data = {
        "title": title,
        "eyebrow": words["eyebrow"],
        "lang": words["lang"],
        "foot": f"{words['approximate_long']} {words['print_note']}",
        "options": [
            {
                "letter": option.letter,
                "name": option.scheme.name,
                "pictures": [
                    {"file": name, "words": picture.words, "tall": picture.height_px > picture.width_px}
                    for name, picture in zip(names[option.letter], shown[option.letter], strict=True)
                ],
                "lines": coat_lines(option, words),
            }
            for option in options
        ],
    }
    files = {
        name: picture.data
        for letter, pictures in shown.items()
        for name, picture in zip(names[letter], pictures, strict=True)
    }
    return compile_pdf("board/board.typ", data, paper="A4", files=files)


def _tile(picture: Picture, width_px: int) -> Image.Image:
    with Image.open(io.BytesIO(picture.data)) as image:
        return image.resize((width_px, round(image.height * width_px / image.width)), Image.Resampling.LANCZOS)


def _wrapped(lines: Sequence[str], room_px: int) -> list[str]:
    face = font(TEXT_PX)
    return [part for line in lines for part in wrapped(line, face, room_px)]


def _paper(height_px: int) -> tuple[Image.Image, ImageDraw.ImageDraw]:
    image = Image.new("RGB", (SHEET_PX, height_px), PAPER)
    return image, ImageDraw.Draw(image)
