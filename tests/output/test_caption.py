"""Captions and sheets: exists for a client's long name that runs over the scale bar or off the picture, a bar of the
wrong length, and tiles that do not show what their labels say."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.output.caption import (
    PAPER,
    caption,
    captions,
    drawable,
    font,
    labelled_sheet,
    scale_bar_mm,
    text_size_px,
)

LINES = ["Octave mandolin", "3 x honey; 2 x plum (burst); gloss clear", "light D65; approximate"]


def _inked(pixels: np.ndarray) -> np.ndarray:
    return (pixels != np.array(PAPER, dtype=np.uint8)).any(axis=2)


@pytest.mark.parametrize(
    ("width_mm", "bar"), [(320.0, 50.0), (64.0, 10.0), (3000.0, 500.0), (26_000.0, 5000.0), (4.0, 1.0), (499.0, 50.0)]
)
def test_bar_is_round_and_at_most_a_fifth(width_mm: float, bar: float) -> None:
    assert scale_bar_mm(width_mm=width_mm) == bar


@pytest.mark.parametrize("width_px", [400, 1600])
def test_bar_has_its_length(width_px: int) -> None:
    """Half a millimetre a pixel: the bar's dark row is as long as it says."""
    pixel_mm = 320.0 / width_px
    pixels = caption(LINES, width_px=width_px, pixel_mm=pixel_mm)
    right_third = _inked(pixels)[:, width_px * 2 // 3 :]
    longest = int(right_third.sum(axis=1).max())
    assert longest == pytest.approx(50.0 / pixel_mm, abs=4)


@pytest.mark.slow
@pytest.mark.parametrize("width_px", [64, 200, 1600])
@pytest.mark.parametrize("name", ["W" * 400, "word " * 200, "zwölf Wörter\nund ein Zeilenende " * 9, ""])
def test_long_names_stay_in_the_picture(width_px: int, name: str) -> None:
    pixels = caption([name, "second line", "third line"], width_px=width_px, pixel_mm=0.2)
    assert pixels.shape[1:] == (width_px, 3)
    assert pixels.dtype == np.uint8
    margin = max(1, text_size_px(width_px) // 3)
    inked = _inked(pixels)
    if width_px >= 200:
        assert not inked[:, :margin].any()
        assert not inked[:, -margin:].any()
    assert not inked[0].any()
    assert not inked[-1].any()


def test_a_long_name_does_not_run_into_the_bar() -> None:
    """Between the cut text and the bar's left end there is free paper all the way down."""
    width_px = 1200
    pixels = caption(["W" * 300, "W" * 300, "short"], width_px=width_px, pixel_mm=0.25)
    bar_left = width_px - text_size_px(width_px) - round(50.0 / 0.25)
    rows = slice(0, 3 * text_size_px(width_px))
    assert not _inked(pixels)[rows, bar_left - text_size_px(width_px) // 2 : bar_left - 2].any()


@pytest.mark.parametrize("width_px", [120, 200])
def test_in_a_narrow_picture_the_text_has_the_whole_width(width_px: int) -> None:
    """Below the bar and clear of it, in no more lines than the words need: not one under the other."""
    pixels = caption(["Panel", "word " * 12], width_px=width_px, pixel_mm=0.5)
    size = text_size_px(width_px)
    inked = _inked(pixels)
    top = size + 2 * round(1.5 * size)
    bar_rows = inked[:top]
    assert bar_rows.any()
    assert not bar_rows[:, : width_px // 6].any()
    assert not inked[top - 3 : top].any()
    assert pixels.shape[0] < 16 * size


def test_one_line_is_enough() -> None:
    assert (
        caption(["Test part"], width_px=300, pixel_mm=0.2).shape[0]
        < caption(LINES, width_px=300, pixel_mm=0.2).shape[0]
    )


def test_sheet_holds_every_tile_unchanged() -> None:
    rng = np.random.default_rng(2)
    tiles = [(f"tile {i}", rng.integers(0, 256, (40, 90, 3), dtype=np.uint8)) for i in range(5)]
    sheet = labelled_sheet(tiles, title="Title", note="A note. " * 30, columns=3)
    for _, pixels in tiles:
        corner = pixels[0, 0]
        places = np.argwhere((sheet == corner).all(axis=2))
        assert any(np.array_equal(sheet[y : y + 40, x : x + 90], pixels) for y, x in places)


def test_the_title_of_a_sheet_stands_above_its_tiles() -> None:
    tile = np.full((40, 90, 3), 90, dtype=np.uint8)
    sheet = labelled_sheet([("tile", tile)] * 3, title="Title", note="", columns=3)
    first = int(np.argwhere((sheet == 90).all(axis=2))[0, 0])
    inked = np.flatnonzero((sheet.astype(int).sum(axis=2) < 300).any(axis=1))
    assert inked[0] > 0
    assert inked[inked < first].size > 6


def test_the_same_letters_everywhere() -> None:
    assert font(13).getlength("25 mm") == font(13).getlength("25 mm") > 0.0


def test_captions_of_one_animation_are_of_one_height() -> None:
    """The words for a slanted view are longer and wrap onto another line; frames of unlike height cannot be saved."""
    texts = [["Panel", "light D65"], ["Panel", "light D65, seen 45 deg from straight on, mirror side, lamp at 45 deg"]]
    short, long = captions(texts, width_px=300, pixel_mm=1.0)
    assert caption(texts[0], width_px=300, pixel_mm=1.0).shape < caption(texts[1], width_px=300, pixel_mm=1.0).shape
    assert short.shape == long.shape


@pytest.mark.parametrize("letter", "éüßøÅłőŞ–µ½²×°’€™−ΩЖяế")
def test_every_letter_that_is_left_is_drawn(letter: str) -> None:
    """A letter that the font lacks is drawn as an empty box; one it is said to hold must not be."""
    assert drawable(letter) == letter
    assert bytes(font(20).getmask(letter)) != bytes(font(20).getmask("漆"))
