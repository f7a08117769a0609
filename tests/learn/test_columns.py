"""Columns as they are typed, said and read: exists for a strength taken for coats, and a window read where there is
paper."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.learn.card.model import photo_eye
from layerpreview.learn.card.setting import CardSetting, card_of_photo
from layerpreview.learn.fit.one_card import fit_dye
from layerpreview.learn.read.columns import Column, in_steps, read_columns
from layerpreview.learn.read.frame import find_card
from layerpreview.learn.read.frame_read import read_card_photo

from .card_pictures import frame_photo
from .simulated import METAL, WHITE, random_truth


@pytest.mark.parametrize(
    ("column", "typed", "words"),
    [
        (Column(0), "0", "bare"),
        (Column(1), "1", "one coat"),
        (Column(6), "6", "6 coats"),
        (Column(1, 0.25), "1x0.25", "one coat at 0.25 of the strength"),
        (Column(1, 3, "white"), "1x3 white", "one coat at 3 times the strength over white"),
        (Column(4, 2, "base"), "4x2 base", "4 coats at 2 times the strength over the base"),
    ],
)
def test_a_column_is_said_and_typed_as_it_is_sprayed(column: Column, typed: str, words: str) -> None:
    assert (column.typed, column.words) == (typed, words)
    assert read_columns(f"0, {typed}") == (Column(0), column)


def test_a_load_is_coats_times_strength() -> None:
    assert Column(4, 0.5).load == 2.0
    assert [Column(2, 1, background).over("white") for background in ("", "white", "base")] == [True, True, False]


@pytest.mark.parametrize("text", ["", "one", "1,,2", "2x", "x3", "1x3 silver", "61", "1x101", "1x0.001", "-1", "nan"])
def test_what_is_no_column_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="numbers with commas between are wanted"):
        read_columns(text)


def test_only_one_mix_is_sprayed_in_steps() -> None:
    assert in_steps(read_columns("0,2 white,1"))
    assert in_steps(read_columns("0,2x3 white,1x3"))
    assert not in_steps(read_columns("0,2x3,1"))


@pytest.mark.slow
def test_a_photo_of_other_strengths_and_single_windows_is_read_as_said() -> None:
    """The paper that stands where a window is not must not be taken for one, nor 3 times the strength for one coat."""
    truth = random_truth(np.random.default_rng(5))
    columns = read_columns("0,1x0.5 white,1x3,2 base")
    eye = photo_eye("D50")
    colours = {
        (what, i): eye.take @ film.reflectance(column.load * truth.absorbance10, bare)
        for i, column in enumerate(columns)
        for what, film, bare in (("white", WHITE, truth.white), ("base", METAL, truth.metal))
        if column.over(what)
    }
    picture = frame_photo(colours, np.random.default_rng(3), power=1.05)
    photo = read_card_photo(picture, find_card(picture), grey_reflectance=0.18)
    card = card_of_photo(photo, CardSetting(light="D50"), columns)
    assert {(window.ground, window.load) for window in card.windows} == {
        ("white", 0.0),
        ("base", 0.0),
        ("white", 0.5),
        ("white", 3.0),
        ("base", 3.0),
        ("base", 2.0),
    }
    assert not card.masked
    found = fit_dye(card)
    peak = int(np.argmax(truth.absorbance10))
    assert found.absorbance10[peak] == pytest.approx(truth.absorbance10[peak], rel=0.15)
    assert found.misfit < 1.5
