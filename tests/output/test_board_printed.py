"""The board on paper is what a client has in hand when writing the answer: these tests exist for a code that is not
that of the pictures beside it, one that ran off the sheet, and a code where nobody recorded the board."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.output.board_code import Choice, read_code
from layerpreview.output.board_pdf import board_pdf
from layerpreview.output.board_png import PAD_PX, SHEET_PX, sheet_of
from layerpreview.output.board_printed import BESIDE, GAP, Printed, PrintedOption, in_words, printed
from layerpreview.output.board_result import Board, _is_drawable, board_result
from layerpreview.output.board_words import board_words_of, languages
from layerpreview.output.caption import PAPER
from layerpreview.output.joblog import read_lines
from layerpreview.output.result import Result
from layerpreview.scheme import shop_card
from layerpreview.workflows.board import board_file

from ..schemes import FULL

CARD = '[shop]\nname = "Our finishing shop"\nmail = "paint@shop.example"\nphone = "555 0100"\n'
NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Result[Board]:
    """One board, really drawn."""
    pytest.importorskip("typst", reason="the extra 'pdf' is not installed")
    folder = tmp_path_factory.mktemp("job")
    (folder / "scheme.toml").write_text(FULL + CARD, encoding="utf-8")
    return board_file([folder / "scheme.toml"], out=folder / "out", width_px=64, pdf=True, langs=["de"], now=NOW)


def on_paper(made: Result[Board], **how: Any) -> Printed:
    return printed(made.drawn, title="Test", words=made.words, **how)


def test_each_option_has_the_code_that_takes_it_as_shown(made: Result[Board]) -> None:
    code = Choice(made.board, "A", (3, 2, 2), (100, 100))
    assert f"  {code.code}\n" in made.text()
    (option,) = on_paper(made, board=made.board).options
    assert read_code(option.code) == read_code(option.grouped) == code


def test_the_day_is_that_of_the_log_and_the_card_that_of_the_shop(made: Result[Board]) -> None:
    (entry,) = read_lines(made.log).entries
    assert entry.values["time"] == "2026-05-04T12:00:00+00:00"
    text = made.text()
    assert f"Our finishing shop · 4. Mai 2026 · Muster {made.board}" in text
    assert text.endswith("Ihre Antwort geht an paint@shop.example, 555 0100\n")
    # what is sprayed is told in the client's words; the log keeps the painter's, so that codes are the same in both
    assert "honey, auf der ganzen Fläche: 3 Gänge" in text
    assert entry.values["options"][0]["coats"][0]["what"] == "honey, all over"


def test_a_sheet_whose_letters_we_do_not_have_is_in_english(made: Result[Board]) -> None:
    boards = {}
    for lang in ("en", "ja"):
        words = board_words_of([lang])[lang]
        drawn = (in_words(made.drawn[0], words),)
        one = replace(made.found, title=words["title_many"].format(n=1), drawn=drawn, words=words)
        boards[lang] = board_result(one, names=(), inputs=(), recording=lambda _: nullcontext())
    assert "honey, 全体に：3回塗り" in boards["ja"].text()
    assert "honey, all over: 3 coats" in boards["en"].text()
    english, japanese = (result.picture() for result in boards.values() if result.picture)
    assert np.array_equal(japanese, english)


@pytest.mark.parametrize("lang", sorted(set(languages()) - {"ja"}))
def test_the_sheet_speaks_every_other_language(lang: str) -> None:
    assert _is_drawable(board_words_of([lang])[lang])


def test_the_pdf_says_the_same(made: Result[Board]) -> None:
    pdfium = pytest.importorskip("pypdfium2")
    pages = pdfium.PdfDocument(made.folder / "board.pdf")
    text = "\n".join(page.get_textpage().get_text_bounded() for page in pages).replace("\u200b", "")
    (option,) = on_paper(made, board=made.board).options
    assert option.code in text
    assert option.grouped in text
    assert "Ihre Antwort geht an paint@shop.example, 555 0100" in text
    assert "Für die Werkstatt" in text


def test_the_same_board_on_the_same_day_is_the_same_bytes(made: Result[Board]) -> None:
    paper = printed(
        made.drawn, title=made.title, words=made.words, board=made.board, card=shop_card(made.drawn[0].scheme), time=NOW
    )
    assert board_pdf(paper) == (made.folder / "board.pdf").read_bytes()
    with Image.open(made.folder / "board.png") as image:
        assert np.array_equal(np.asarray(image), sheet_of(paper))


def test_without_a_log_there_is_no_code(made: Result[Board]) -> None:
    paper = on_paper(made, card=shop_card(made.drawn[0].scheme), time=NOW)
    assert [option.code + option.grouped for option in paper.options] == [""]
    assert (paper.choose, paper.answer) == ("", "")
    assert paper.above == "Farbmuster · Our finishing shop · 4. Mai 2026"
    assert len(sheet_of(paper)) < len(sheet_of(on_paper(made, board=made.board)))


class _Picture:
    words = "Finished"

    def __init__(self, width_px: int, height_px: int) -> None:
        self.width_px, self.height_px = width_px, height_px


def _option(*sizes: tuple[int, int]) -> PrintedOption:
    pictures = tuple(_Picture(*size) for size in sizes)
    return PrintedOption("A", "Part", pictures, ("honey: 3 coats",), ("film",), "", "")  # type: ignore[arg-type]


@pytest.mark.parametrize("sizes", [[(640, 340)] * 4, [(300, 640)] * 3, [(640, 90), (90, 640)], [(640, 640)]])
@pytest.mark.parametrize("alone", [True, False])
def test_pictures_stay_on_the_page(sizes: list[tuple[int, int]], alone: bool) -> None:
    option = _option(*sizes)
    first = option.first_width(alone=alone)
    assert 0.0 < first <= (1.0 if alone or sizes[0][0] > 2.4 * sizes[0][1] else BESIDE)
    small = option.small_height(alone=alone)
    across = sum(small * width / height for width, height in sizes[1:]) + GAP * max(0, len(sizes) - 2)
    assert across + (first + 2 * GAP if option.is_beside(alone=alone) else 0.0) <= 1.0 + 1e-9


def test_the_longest_code_stays_on_the_sheet(made: Result[Board]) -> None:
    long = Choice("MMMMM", "H", (60,) * 12, (200,) * 12)
    paper = on_paper(made, board=made.board)
    (option,) = paper.options
    wide = PrintedOption(**{**vars(option), "code": long.code, "grouped": long.grouped})
    sheet = sheet_of(type(paper)(**{**vars(paper), "options": (wide,)}))
    assert sheet.shape[1] == SHEET_PX
    assert np.all(sheet[:, SHEET_PX - PAD_PX + 5 :] == PAPER)  # nothing in the margin
