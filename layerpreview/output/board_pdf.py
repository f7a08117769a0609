"""The board as a PDF of A4 pages."""

from __future__ import annotations

from layerpreview.output.board_printed import GAP, Printed, PrintedOption
from layerpreview.output.typst_pdf import compile_pdf


def board_pdf(printed: Printed) -> bytes:
    """The board to print, with text that can be searched. Raises OutputError where typst is missing."""
    words = printed.words
    data = {
        **{name: getattr(printed, name) for name in ("title", "above", "choose", "answer", "foot")},
        "lang": str(words["lang"]).split("-")[0].lower(),  # all that is taken there
        "gap": GAP,
        "painter": words["print_painter"],
        "options": [_option(option, printed) for option in printed.options],
    }
    files = {_file(option, i): picture.data for option in printed.options for i, picture in enumerate(option.pictures)}
    return compile_pdf("board/board.typ", data, paper="A4", files=files)


def _option(option: PrintedOption, printed: Printed) -> dict[str, object]:
    return {
        **{name: getattr(option, name) for name in ("letter", "name", "lines", "figures", "code")},
        "named": printed.is_named(option),
        "first": option.first_width(alone=printed.alone),
        "beside": option.is_beside(alone=printed.alone),
        "small": option.small_height(alone=printed.alone),
        "read": printed.words["print_read"].format(code=option.grouped) if option.code else "",
        "pictures": [
            {"file": _file(option, i), "words": picture.words, "share": picture.width_px / picture.height_px}
            for i, picture in enumerate(option.pictures)
        ],
    }


def _file(option: PrintedOption, number: int) -> str:
    return f"{option.letter}{number}.jpg"
