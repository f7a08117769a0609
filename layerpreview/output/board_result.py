"""A board as it was made, with its ways out."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.output.board import BoardPage
from layerpreview.output.board_data import Option
from layerpreview.output.board_pdf import board_pdf
from layerpreview.output.board_png import sheet_of
from layerpreview.output.board_printed import Printed, in_words, printed
from layerpreview.output.board_words import board_words
from layerpreview.output.caption import drawable
from layerpreview.output.files import write_text
from layerpreview.output.pictures import write_picture
from layerpreview.output.result import Paths, Result
from layerpreview.scheme import ShopCard

U8 = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Board:
    """A board as it was made: its digits, heading, the options' names, the page's size and quality [%].

    `log`: where it is recorded when it is saved, None where it is not. `moving`: what the client may move, a line an
    option. `card` and `time` are printed.
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
    card: ShopCard = field(default_factory=ShopCard)
    time: datetime | None = None
    moving: tuple[str, ...] = ()


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

    paper = _paper_of(board)

    def sheet() -> U8:
        return sheet_of(paper if _is_drawable(board.words) else _paper_of(_in_english(board)))

    def write(paths: Paths) -> None:
        write_text(paths["board.html"], board.page.html)
        write_picture(sheet(), paths["board.png"])
        if "board.pdf" in paths:
            paths["board.pdf"].write_bytes(board_pdf(paper))

    size = f"{board.size_bytes / 1e6:.1f} MB"
    return Result(
        found=board,
        line=f"Board {board.board}, {len(board.options)} option{'s' if len(board.options) > 1 else ''}, {size}",
        document=lambda folder: _document(board, names, folder),
        rows=lambda: [row for option in board.drawn for row in _rows(option)],
        text=lambda: _text(paper),
        names=names,
        write=write,
        picture=sheet,
        inputs=inputs,
        recording=recording,
    )


def _paper_of(board: Board) -> Printed:
    return printed(
        board.drawn,
        title=board.title,
        words=board.words,
        board=board.board if board.log else "",
        card=board.card,
        time=board.time,
    )


def _is_drawable(words: Mapping[str, Any]) -> bool:
    """Whether the shipped font has the letters of a language; a PDF asks this computer's fonts, too."""
    return all(drawable(text) == unicodedata.normalize("NFC", text) for text in words.values() if isinstance(text, str))


def _in_english(board: Board) -> Board:
    """The board in English; a heading of the painter's own stays."""
    words, many = board_words(), len(board.drawn)
    is_ours = board.title == board.words["title_many"].format(n=many)
    return replace(
        board,
        title=words["title_many"].format(n=many) if is_ours else board.title,
        drawn=tuple(in_words(option, words) for option in board.drawn),
        words=words,
    )


def _document(board: Board, names: tuple[str, ...], folder: Path | None) -> dict[str, object]:
    where = {} if folder is None else {"folder": folder, "files": names, "log": board.log}
    told = ("board", "size_bytes", "quality", "options", "moving")
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


def _text(printed: Printed) -> str:
    """The board without its pictures."""
    lines = [printed.title, printed.above]
    for option in printed.options:
        lines += ["", f"{option.letter} {option.name}", *(f"  {line}" for line in option.lines)]
        lines += [f"  {option.code}"] if option.code else []
    return "\n".join([*lines, *([printed.answer] if printed.answer else []), ""])
