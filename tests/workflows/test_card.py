"""The frame prints at its true size, and what is printed is what the finder looks for."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from layerpreview.errors import InputError, OutputError
from layerpreview.learn.read.frame import find_card
from layerpreview.surface.marks import CORNERS_MM, FRAME_WIDTH_MM
from layerpreview.surface.picture_file import PictureData
from layerpreview.workflows.card import card_file

pytest.importorskip("typst")
pdfium = pytest.importorskip("pypdfium2")
PX_PER_POINT = 2.0


def page(path: Path) -> np.ndarray:  # type: ignore[type-arg]
    document = pdfium.PdfDocument(path)
    assert len(document) == 1
    return np.asarray(document[0].render(scale=PX_PER_POINT).to_pil().convert("RGB"))


@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_printed_frame_is_found_and_of_true_size(tmp_path: Path, paper: str) -> None:
    pixels = page(card_file(tmp_path, paper=paper).file)
    corners = find_card(PictureData(pixels, file="page")).to_px(CORNERS_MM)
    mm_per_px = 25.4 / 72 / PX_PER_POINT
    assert np.hypot(*(corners[1] - corners[0])) * mm_per_px == pytest.approx(FRAME_WIDTH_MM, abs=0.3)


def test_the_check_bar_is_100_mm(tmp_path: Path) -> None:
    pixels = page(card_file(tmp_path).file)
    right = pixels[: pixels.shape[0] // 10, pixels.shape[1] * 2 // 5 :]  # beside the title
    dark = (right.max(axis=2) < 60).sum(axis=1).max()
    assert dark * 25.4 / 72 / PX_PER_POINT == pytest.approx(100.0, abs=0.4)


def test_the_same_frame_is_the_same_bytes(tmp_path: Path) -> None:
    files = [card_file(tmp_path / name, coats=(0, 1, 2, 4)).file.read_bytes() for name in ("one", "two")]
    assert files[0] == files[1]


@pytest.mark.parametrize("coats", [(0, 1), (1, 2, 3), (0, 1, 1), tuple(range(9))])
def test_impossible_columns_are_refused(tmp_path: Path, coats: tuple[int, ...]) -> None:
    with pytest.raises(InputError, match="different numbers"):
        card_file(tmp_path, coats=coats)


def test_nothing_is_overwritten_unasked(tmp_path: Path) -> None:
    for _ in range(2):
        made = card_file(tmp_path)
    made.file.write_text("a card of one's own")
    with pytest.raises(OutputError, match="already there"):
        card_file(tmp_path)
    card_file(tmp_path, force=True)
