"""The frame must be found and read whichever way it lies, and refused in one line when it cannot be.

The mistakes these exist for: a card read upside down (steps in the wrong order), glare and the paper's shadow averaged
in, light fall-off taken for dye, and a clipped channel believed.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pytest

from layerpreview.errors import PictureError
from layerpreview.learn.read.frame import COLUMNS, Box, find_card, grey_box, mark_box, paper_boxes, windows
from layerpreview.learn.read.frame_read import CardPhoto, patch_means, read_card_photo
from layerpreview.surface.marks import CORNERS_MM, FRAME_HEIGHT_MM, FRAME_WIDTH_MM, placement_of
from layerpreview.surface.picture_file import PictureData

from .card_pictures import SLANTED_PX, frame_photo

# Every window its own colour, so that one read in another's place shows.
COLOURS = {
    (row, column): np.array([0.80 - 0.1 * column, 0.75 - 0.06 * column, 0.70 - 0.03 * column])
    * (1.0 if row == "white" else 0.6)
    for row in ("white", "base")
    for column in range(COLUMNS)
}


@lru_cache
def photo(**how: Any) -> PictureData:
    """Made once for all that look at it; who changes pixels takes a copy."""
    return frame_photo(COLOURS, np.random.default_rng(3), **how)


def colours_of(found: CardPhoto) -> dict[tuple[str, int], Any]:
    return {(patch.box.what, patch.box.column): patch.rgb_lin for patch in found.windows}


def turned(picture: PictureData, quarters: int) -> PictureData:
    return PictureData(np.ascontiguousarray(np.rot90(picture.pixels, quarters)), file="turned.jpg")


def test_the_layout_has_no_overlaps() -> None:
    boxes = [*windows(), grey_box(), *(mark_box(n) for n in range(4)), *paper_boxes()]
    for i, one in enumerate(boxes):
        assert one.left > -6
        assert one.left + one.width < FRAME_WIDTH_MM + 6
        assert one.top + one.height < FRAME_HEIGHT_MM + 6
        for other in boxes[i + 1 :]:
            apart = (
                one.left + one.width <= other.left
                or other.left + other.width <= one.left
                or one.top + one.height <= other.top
                or other.top + other.height <= one.top
            )
            assert apart, (one, other)


def edges(boxes: list[Box], what: str) -> tuple[list[float], list[float]]:
    """Left, right of every box of one row, from the left; and the row's top and bottom [mm]."""
    row = sorted((box for box in boxes if box.what == what), key=lambda box: box.column)
    tops = {(box.top, round(box.top + box.height, 6)) for box in row}
    (ends,) = tops
    return [round(x, 6) for box in row for x in (box.left, box.left + box.width)], list(ends)


def test_a_frame_that_was_printed_once_is_read_for_ever() -> None:
    """Every edge of the sheet as it was first printed [mm]: whoever has one in a drawer must not need another."""
    across = [6, 26, 30, 50, 54, 74, 78, 98, 102, 122, 126, 146, 150, 170]
    assert edges(windows(), "white") == (across, [12, 42])
    assert edges(windows(), "base") == (across, [48, 78])
    assert edges([grey_box()], "grey") == ([6, 68], [86, 108])
    marks = [mark_box(n).corners_mm() for n in range(4)]
    assert [mark[0].tolist() for mark in marks] == [[-5, -5], [171, -5], [171, 111], [-5, 111]]
    assert [mark[2].tolist() for mark in marks] == [[5, 5], [181, 5], [181, 121], [5, 121]]
    assert [(box.what, box.column) for box in (mark_box(2), grey_box())] == [("mark", 2), ("grey", 0)]


def test_the_paper_is_read_where_nothing_is_printed_or_cut() -> None:
    """Under and over each window, between the windows, and right of the grey card, each piece with paper around it:
    the lettering over the windows reaches down to 6 mm, and the edge of a cut throws its shadow for a millimetre or so
    (common practice, no source)."""
    pieces = [(box.left, box.top, box.left + box.width, box.top + box.height) for box in paper_boxes()]
    # 3 mm in from each side of its window; 2.1 mm over the white row, the middle of the 6 mm between the rows, 1.8 mm
    # under the base row.
    lanes = [(9.0 + 24 * n, 23.0 + 24 * n) for n in range(7)]
    expected = [(a, top, b, top + 2.4) for top in (7.5, 43.8, 79.8) for a, b in lanes]
    # The middle 2 of the 4 mm between two windows, 4 mm off their ends.
    expected += [(27.0 + 24 * n, top, 29.0 + 24 * n, top + 22.0) for top in (16.0, 52.0) for n in range(6)]
    # 8 mm right of the grey card, 6 mm apart, clear of the mark at 171 mm.
    expected += [(76.0, 90.0, 94.0, 104.0), (100.0, 90.0, 118.0, 104.0)]
    expected += [(124.0, 90.0, 142.0, 104.0), (148.0, 90.0, 166.0, 104.0)]
    np.testing.assert_allclose(sorted(pieces), sorted(expected), atol=1e-9)
    assert {box.what for box in paper_boxes()} == {"paper"}


def test_what_is_read_of_a_window_is_its_middle() -> None:
    """16 % are left off each edge: of 20 x 30 mm, 3.2 and 4.8 mm for shadow, overspray and a frame laid askew."""
    box = Box("base", 3, 40.0, 60.0, 20.0, 30.0).inside()
    assert (box.what, box.column) == ("base", 3)
    assert (box.left, box.top, box.width, box.height) == pytest.approx((43.2, 64.8, 13.6, 20.4))
    small = Box("grey", 0, 6.0, 86.0, 62.0, 22.0).inside(0.25)
    assert (small.left, small.top, small.width, small.height) == pytest.approx((21.5, 91.5, 31.0, 11.0))


def test_a_placement_takes_millimetres_to_the_corners_it_was_made_of() -> None:
    np.testing.assert_allclose(placement_of(SLANTED_PX).to_px(CORNERS_MM), SLANTED_PX, atol=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("quarters", range(4))
def test_the_card_is_found_and_put_upright(quarters: int) -> None:
    picture = turned(photo(), quarters)
    found = find_card(picture)
    said = {0: (), 2: ("the card lies upside down: put upright",)}.get(
        quarters, ("the card lies on its side: put upright",)
    )
    assert found.notes == said
    read = colours_of(read_card_photo(picture, found, grey_reflectance=0.18))
    for place, true in COLOURS.items():
        np.testing.assert_allclose(read[place], true, rtol=0.06, err_msg=str(place))


@pytest.mark.slow
def test_marks_are_found_to_a_pixel() -> None:
    np.testing.assert_allclose(find_card(photo()).to_px(CORNERS_MM), SLANTED_PX, atol=1.0)


@pytest.mark.slow
def test_corners_may_be_given_as_numbers() -> None:
    read = colours_of(read_card_photo(photo(), placement_of(SLANTED_PX), grey_reflectance=0.18))
    np.testing.assert_allclose(read["white", 4], COLOURS["white", 4], rtol=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("power", [0.88, 1.0, 1.15])
def test_a_grey_card_undoes_the_tone_curve(power: float) -> None:
    picture = photo(power=power, vignette=0.3)
    found = read_card_photo(picture, find_card(picture), grey_reflectance=0.18)
    assert found.tone_power == pytest.approx(power, abs=0.03)
    assert found.tone_known
    for place, true in COLOURS.items():
        np.testing.assert_allclose(colours_of(found)[place], true, rtol=0.07, err_msg=str(place))


@pytest.mark.slow
def test_without_a_grey_card_the_loss_of_trust_is_said() -> None:
    picture = photo(grey=None)
    found = read_card_photo(picture, find_card(picture))
    assert not found.tone_known
    assert any("trust the strength less" in note for note in found.notes)


@pytest.mark.slow
def test_a_coloured_light_is_balanced_on_the_paper_and_said() -> None:
    picture = photo(cast=(1.15, 1.0, 0.6), exposure=0.7)
    found = read_card_photo(picture, find_card(picture), grey_reflectance=0.18)
    assert any("light is coloured" in note for note in found.notes)
    np.testing.assert_allclose(colours_of(found)["white", 2], COLOURS["white", 2], rtol=0.06)


@pytest.mark.slow
def test_uneven_light_is_evened_out() -> None:
    even, uneven = (photo(vignette=amount, texture=0.0) for amount in (0.0, 0.5))
    reads = [colours_of(read_card_photo(p, find_card(p), grey_reflectance=0.18)) for p in (even, uneven)]
    for place in COLOURS:
        np.testing.assert_allclose(reads[1][place], reads[0][place], rtol=0.05)


@pytest.mark.slow
def test_glare_and_dirt_in_a_window_are_left_out() -> None:
    picture = photo(texture=0.0)
    clean = colours_of(read_card_photo(picture, find_card(picture), grey_reflectance=0.18))
    pixels = picture.pixels.copy()
    box = next(box for box in windows() if (box.what, box.column) == ("base", 3))
    middle = find_card(picture).to_px(box.inside(0.3).corners_mm()).mean(axis=0).astype(int)
    pixels[middle[1] - 12 : middle[1] + 12, middle[0] - 10 : middle[0] + 10] = 250  # a lamp's reflection
    dirty = PictureData(pixels, file="glare.jpg")
    read = colours_of(read_card_photo(dirty, find_card(dirty), grey_reflectance=0.18))
    np.testing.assert_allclose(read["base", 3], clean["base", 3], rtol=0.03)


@pytest.mark.slow
def test_an_overexposed_photo_is_refused() -> None:
    picture = photo(exposure=2.5)
    with pytest.raises(PictureError, match="overexposed"):
        read_card_photo(picture, placement_of(SLANTED_PX))


@pytest.mark.slow
def test_a_window_at_the_top_of_the_scale_is_not_trusted() -> None:
    bright = {**COLOURS, ("white", 1): np.array([1.4, 0.5, 0.4])}
    picture = frame_photo(bright, np.random.default_rng(3), exposure=0.9)
    found = read_card_photo(picture, find_card(picture), grey_reflectance=0.18)
    patch = next(p for p in found.windows if (p.box.what, p.box.column) == ("white", 1))
    assert patch.clipped.tolist() == [True, False, False]
    assert "column 1 over white: red overexposed, left out" in found.notes


@pytest.mark.slow
def test_a_window_at_the_bottom_of_the_scale_is_only_a_limit() -> None:
    dark = {**COLOURS, ("white", 6): np.array([0.4, 0.2, -0.05])}
    picture = frame_photo(dark, np.random.default_rng(3))
    found = read_card_photo(picture, find_card(picture), grey_reflectance=0.18)
    patch = next(p for p in found.windows if (p.box.what, p.box.column) == ("white", 6))
    assert patch.buried.tolist() == [False, False, True]


@pytest.mark.slow
def test_a_photo_without_the_frame_is_refused_in_one_line() -> None:
    noise = np.random.default_rng(1).integers(0, 255, (400, 600, 3)).astype(np.uint8)
    with pytest.raises(PictureError, match="corner squares were not found") as caught:
        find_card(PictureData(noise, file="noise.png"))
    assert "\n" not in str(caught.value)


@pytest.mark.slow
def test_a_hidden_corner_is_refused() -> None:
    picture = photo()
    pixels = picture.pixels.copy()
    pixels[60:220, 60:240] = 200
    with pytest.raises(PictureError, match="--corners"):
        find_card(PictureData(pixels, file="thumb.jpg"))


def test_a_frame_half_outside_the_picture_is_refused() -> None:
    picture = photo()
    outside = [(x + 700, y) for x, y in SLANTED_PX]
    with pytest.raises(PictureError, match="outside the picture"):
        read_card_photo(picture, placement_of(outside))


@pytest.mark.slow
def test_a_grey_card_that_is_none_is_refused() -> None:
    picture = photo(grey=0.8)
    with pytest.raises(PictureError, match="grey card reads"):
        read_card_photo(picture, find_card(picture), grey_reflectance=0.18)


@pytest.mark.parametrize(("share", "code"), [(0.10, 250), (0.25, 255), (0.20, 3)])
def test_what_lies_far_from_the_middle_is_no_part_of_the_mean(share: float, code: int) -> None:
    """Glare or dirt over a tenth to a quarter of an area: the mean is that of the rest, code 120 of 255, by
    IEC 61966-2-1 ((120/255 + 0.055) / 1.055)^2.4 = 0.1878."""
    rng = np.random.default_rng(2)
    pixels = (120 + rng.integers(-2, 3, (200, 300, 1))).astype(np.uint8).repeat(3, axis=2)
    pixels[: int(200 * share)] = code
    (patch,) = patch_means(PictureData(pixels, file="spot.png"), [(-60.0, -40.0, 420.0, 280.0)])  # 20 % is left off
    assert patch.rgb_lin == pytest.approx([0.1878] * 3, abs=0.0015)


def test_the_ends_of_what_belongs_to_an_area_count() -> None:
    """Evenly spread from code 90 to 150, nothing is far from the middle (3 x 1.4826 median deviations is 2.2 times the
    half range), so the mean is that of all: the mean of IEC 61966-2-1 over those codes."""
    codes = np.arange(90, 151, dtype=np.uint8)
    pixels = np.tile(codes, (64, 1)).repeat(5, axis=1)[..., None].repeat(3, axis=2)
    (patch,) = patch_means(PictureData(pixels, file="ramp.png"), [(-76.25, -16.0, 457.5, 96.0)])
    every = (((codes / 255.0) + 0.055) / 1.055) ** 2.4
    assert patch.rgb_lin == pytest.approx([every.mean()] * 3, rel=0.01)


@pytest.mark.slow
@pytest.mark.parametrize("number", [0, 3])
def test_a_shadow_on_one_piece_of_paper_is_left_out(number: int) -> None:
    picture = photo(texture=0.0)
    found = find_card(picture)
    clean = colours_of(read_card_photo(picture, found, grey_reflectance=0.18))
    box = paper_boxes()[number]
    pixels = picture.pixels.copy()
    left, top = found.to_px(box.corners_mm()).min(axis=0).astype(int)
    right, bottom = found.to_px(box.corners_mm()).max(axis=0).astype(int) + 1
    pixels[top:bottom, left:right] = (0.75 * pixels[top:bottom, left:right]).astype(np.uint8)
    shaded = PictureData(pixels, file="shadow.jpg")
    read = colours_of(read_card_photo(shaded, found, grey_reflectance=0.18))
    ratios = np.array([read[place] / clean[place] for place in COLOURS])
    # The balance is the mean of all pieces, the dark one among them: one factor for all windows and no slope.
    assert np.ptp(ratios) < 0.02
