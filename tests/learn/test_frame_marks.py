"""The marks are found, and nothing else is taken for them: plain pictures, all sizes and shares worked by hand.

The mistakes these exist for: a place told a pixel off, a hole that is a speck of dust, the wrong four of five spots,
and a crash where one line should be said.
"""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.errors import PictureError
from layerpreview.learn.read.frame import find_card, mark_box
from layerpreview.surface.marks import CORNERS_MM, placement_of
from layerpreview.surface.plane import Placement

from .plain_frames import F64, INK, PAPER, fill, outlines, picture, spots

# 352 x 232 px: the frame at 2 px a millimetre, its marks 20 px a side.
FOUR = [(45.0, 45.0), (397.0, 45.0), (397.0, 277.0), (45.0, 277.0)]
# The frame fills its own 176 x 116 mm with marks of 100 mm2: this share of the picture where it just fits.
SHARE = 100 / (176 * 116)


def found(pixels: np.ndarray) -> F64:  # type: ignore[type-arg]
    return find_card(picture(pixels)).to_px(CORNERS_MM)


def is_found(pixels: np.ndarray) -> bool:  # type: ignore[type-arg]
    try:
        find_card(picture(pixels))
    except PictureError as error:
        return "corner squares were not found" not in str(error)
    return True


@pytest.mark.parametrize("depth", ["uint8", "uint16", "colour"])
def test_marks_are_told_to_a_hundredth_of_a_pixel(depth: str) -> None:
    """The middle of pixels 35 to 54 is 45.0 where a pixel reaches from its number to the next."""
    pixels = spots(FOUR)
    if depth == "uint16":
        pixels = pixels.astype(np.uint16) * 257  # type: ignore[assignment]
    if depth == "colour":
        pixels = pixels[..., None].repeat(3, axis=2)
    np.testing.assert_allclose(found(pixels), FOUR, atol=0.01)


@pytest.mark.parametrize("size", [(2201, 600), (640, 2203)])
def test_marks_in_a_large_photo_are_told_as_well(size: tuple[int, int]) -> None:
    """A photo of 2200 px or more is looked at in boxes of two by two; the pixels that fill no box move nothing.

    Its fine grain (every second pixel of every second row of a mark is white, as in a coarse print) is averaged there:
    of 200 and three times 20 the mean is 65, a third of the paper.
    """
    x, y = size[0] - 480, size[1] - 340
    middles = [(x + 1.5 * a, y + 1.5 * b) for a, b in ((0, 0), (240, 0), (240, 160), (0, 160))]
    pixels = spots(middles, wide=24, high=24, holed=(), size=size)
    grain = np.full_like(pixels, 255)
    grain[1::2, 1::2] = 200
    pixels = np.where((grain == 200) & (pixels == INK), PAPER, pixels)
    fill(pixels, *middles[0], 8, 8, PAPER)
    np.testing.assert_allclose(found(pixels), middles, atol=0.01)


def test_a_photo_of_less_than_2200_px_is_looked_at_whole() -> None:
    """Boxes of two by two would move the middle of a mark of 15 px by a quarter of one."""
    middles = [(1700.5, 61.5), (1940.5, 61.5), (1940.5, 219.5), (1700.5, 219.5)]
    pixels = spots(middles, wide=15, high=15, hole=(7, 7), size=(2199, 301))
    np.testing.assert_allclose(found(pixels), middles, atol=0.01)


@pytest.mark.parametrize(
    ("first", "words"),
    [
        (0, ()),
        (1, ("the card lies on its side: put upright",)),
        (2, ("the card lies upside down: put upright",)),
        (3, ("the card lies on its side: put upright",)),
    ],
)
def test_the_mark_with_the_hole_comes_first_and_how_it_lay_is_said(first: int, words: tuple[str, ...]) -> None:
    middles = FOUR if first % 2 == 0 else [(60.0, 30.0), (292.0, 30.0), (292.0, 382.0), (60.0, 382.0)]
    size = (440, 320) if first % 2 == 0 else (340, 420)
    placement = find_card(picture(spots(middles, holed=(first,), size=size)))
    assert placement.notes == words
    np.testing.assert_allclose(placement.to_px(CORNERS_MM), middles[first:] + middles[:first], atol=0.01)


@pytest.mark.parametrize(("ink", "dark"), [(80, True), (88, False)])
def test_a_mark_is_darker_than_42_percent_of_the_paper(ink: int, dark: bool) -> None:
    """In sRGB code, of paper at 200: 84. Common practice has no figure; a printed mark is far below it."""
    assert is_found(spots(FOUR, ink=ink)) is dark


def test_a_saturated_dye_is_no_ink() -> None:
    """Blue is dark in red and green: only what is dark in all three is a mark."""
    pixels = spots(FOUR)[..., None].repeat(3, axis=2)
    pixels[..., 2] = PAPER
    assert not is_found(pixels)


@pytest.mark.parametrize(("hole", "counts"), [((37, 2), True), ((61, 1), False)])
def test_a_speck_is_no_hole(hole: tuple[int, int], counts: bool) -> None:
    """The hole of 4 mm is 12.6 % of its mark of 10 mm; 4.6 % is one printed badly, 3.8 % is a speck of dust."""
    square = [(80.0, 80.0), (784.0, 80.0), (784.0, 544.0), (80.0, 544.0)]
    pixels = spots(square, wide=40, high=40, holed=(), size=(880, 640))
    area = hole[0] * hole[1]
    pixels.reshape(-1)  # one run of pixels inside the mark, row by row
    for n in range(area):
        pixels[64 + n // 32, 64 + n % 32] = PAPER
    assert area / 1600 == pytest.approx(0.046 if counts else 0.038, abs=3e-4)
    assert is_found(pixels) is counts


@pytest.mark.parametrize("holed", [(), (0, 2), (0, 1, 2, 3)])
def test_just_one_mark_has_a_hole(holed: tuple[int, ...]) -> None:
    assert not is_found(spots(FOUR, holed=holed))


@pytest.mark.parametrize(("size", "large_enough"), [((760, 475), True), ((840, 540), False)])
def test_a_frame_that_is_tiny_in_the_picture_is_not_looked_for(size: tuple[int, int], large_enough: bool) -> None:
    """At 1 px a millimetre a mark is 100 px: 5.7 % of what it takes up in a picture it fills, and 4.5 %."""
    share = 100 / (SHARE * size[0] * size[1])
    assert share == pytest.approx(0.0565 if large_enough else 0.045, abs=5e-4)
    middles = [(100.0, 100.0), (276.0, 100.0), (276.0, 216.0), (100.0, 216.0)]
    assert is_found(spots(middles, wide=10, high=10, hole=(4, 4), size=size)) is large_enough


@pytest.mark.parametrize(("bite", "whole"), [(8, True), (12, False)])
def test_a_mark_is_a_whole_square(bite: int, whole: bool) -> None:
    """From a square of 24 px a smaller one is cut at a corner, and its hull loses half of that: 94 % full, and 86 %.
    At nine in ten the line is drawn (assumed)."""
    pixels = spots(FOUR, wide=24, high=24, hole=(9, 9))
    x, y = FOUR[2]
    fill(pixels, x + 12 - bite / 2, y + 12 - bite / 2, bite, bite, PAPER)
    assert is_found(pixels) is whole


@pytest.mark.parametrize(("slim", "square"), [(0.68, True), (0.55, False)])
def test_a_bar_is_no_mark(slim: float, square: bool) -> None:
    """As large as a mark, but with sides of 1 to 0.55; foreshortened marks of 1 to 0.68 are still taken."""
    assert is_found(spots(FOUR, wide=20 * slim**0.5, high=20 / slim**0.5, hole=(6, 6))) is square


@pytest.mark.parametrize(("squeezed", "alike"), [(0.66, True), (0.58, False), (1 / 0.66, True), (1 / 0.58, False)])
def test_spots_of_other_proportions_are_no_frame(squeezed: float, alike: bool) -> None:
    """The frame is 176 to 116: seen from the side it may be e^0.5 = 1.65 times narrower or wider, no more."""
    wide, high = (352 * squeezed, 232.0) if squeezed < 1 else (352.0, 232.0 / squeezed)
    middles = [(45 + round(a * wide), 45 + round(b * high)) for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))]
    side = 20 * min(squeezed, 1 / squeezed) ** 0.5  # of the area that such a frame's marks would have
    assert is_found(spots(middles, wide=side, high=side, hole=(6, 6))) is alike


@pytest.mark.parametrize(("times", "alike"), [(1.44, True), (1.60, False), (1 / 1.44, True), (1 / 1.60, False)])
@pytest.mark.parametrize("which", [0, 3])
def test_one_mark_of_another_size_is_none(times: float, alike: bool, which: int) -> None:
    """A mark may be e^0.4 = 1.49 times as large, or as small, as its place says: blur, shadow, an edge cut badly."""
    sides = np.full(4, 40.0)
    sides[which] *= times**0.5
    middles = [(2 * x, 2 * y) for x, y in FOUR]
    assert is_found(spots(middles, wide=sides, high=sides, hole=(16, 16), size=(880, 640))) is alike


def seen(corners: F64, *, times: float, size: tuple[int, int]) -> np.ndarray:  # type: ignore[type-arg]
    """The four marks in perspective, every one `times` as large as it should be."""
    placement = placement_of(corners.tolist())
    shapes = [mark_box(n).corners_mm() for n in range(4)]
    grown = [placement.to_px(mm.mean(axis=0) + times**0.5 * (mm - mm.mean(axis=0))) for mm in shapes]
    hole = placement.to_px(0.4 * shapes[0])
    return outlines(grown, hole=hole, size=size)


SLANTED = np.array([[62.0, 70.0], [430.0, 112.0], [418.0, 286.0], [50.0, 330.0]])


def test_in_perspective_the_marks_are_as_large_as_their_places_say() -> None:
    """From the left the near marks are twice as large as the far ones, and each still fits its own place."""
    placement = placement_of(SLANTED.tolist())
    near, far = (np.prod(np.ptp(placement.to_px(mark_box(n).corners_mm()), axis=0)) for n in (0, 1))
    assert near > 1.8 * far
    np.testing.assert_allclose(found(seen(SLANTED, times=1.0, size=(480, 400))), SLANTED, atol=0.6)
    assert is_found(seen(SLANTED, times=1.4, size=(480, 400)))
    assert not is_found(seen(SLANTED, times=1.65, size=(480, 400)))


@pytest.mark.parametrize("degrees", [40, 130, 220, 310])
def test_a_card_that_lies_aslant_is_read_from_its_hole_on(degrees: float) -> None:
    turn = np.array([[np.cos(a := np.radians(degrees)), np.sin(a)], [-np.sin(a), np.cos(a)]])
    corners = (CORNERS_MM - CORNERS_MM.mean(axis=0)) * 2.0 @ turn + 235.0
    np.testing.assert_allclose(found(seen(corners, times=1.0, size=(470, 470))), corners, atol=0.3)


@pytest.mark.parametrize(("times", "small_enough"), [(1.28, True), (1.46, False)])
def test_a_spot_twice_as_large_as_a_mark_can_be_is_none(times: float, small_enough: bool) -> None:
    """A steep view has its near marks 1.41 times as large as where the frame just fills the picture; blurred or cut
    badly they may be 1.8 times, not 2.06."""
    steep = [(60.0, 44.0), (740.0, 160.0), (740.0, 400.0), (60.0, 516.0)]
    areas = []
    for number in range(4):
        x, y = placement_of(steep).to_px(mark_box(number).corners_mm()).T
        areas.append(0.5 * abs((x[2] - x[0]) * (y[3] - y[1]) - (x[3] - x[1]) * (y[2] - y[0])))
    assert areas[0] / (SHARE * 800 * 560) == pytest.approx(1.41, abs=0.01)
    sides = np.sqrt(times * np.array(areas))
    assert is_found(spots(steep, wide=sides, high=sides, hole=(22, 22), size=(800, 560))) is small_enough


def test_in_a_deep_shadow_paper_is_still_paper() -> None:
    """Around the marks at the right the paper, at code 70 to 78, is as dark as a mark may be at the left (84)."""
    share = np.linspace(1.0, 0.3, 440)
    np.testing.assert_allclose(found((spots(FOUR) * share).astype(np.uint8)), FOUR, atol=0.6)


@pytest.mark.parametrize("decoy", [19, 21, 22])
@pytest.mark.parametrize("near", range(4))
def test_of_five_spots_those_that_fit_best_are_the_frame(decoy: int, near: int) -> None:
    """A fifth spot near a corner, a little larger or smaller than a mark, would do for one; the true fits better."""
    x, y = FOUR[near]
    middle = (x + (30 if x < 200 else -30), y + (-1 if y > 200 else 1))
    marks = spots([*FOUR, middle], wide=[20] * 4 + [decoy], high=[20] * 4 + [decoy], holed=(0,))
    np.testing.assert_allclose(found(marks), FOUR, atol=0.01)
    hidden = marks.copy()
    if near:
        fill(hidden, x, y, 20, 20, PAPER)
        assert is_found(hidden)


def test_of_many_spots_the_largest_24_are_looked_at() -> None:
    """Thirty squares and no hole among them; with the frame beside 25 small ones it is found."""
    many = [(30.0 + 40 * (n % 6), 30.0 + 40 * (n // 6)) for n in range(30)]
    with pytest.raises(PictureError, match=r"\(24 spots looked like one\)"):
        find_card(picture(spots(many, holed=())))
    few = [(90.0 + 40 * (n % 7), 90.0 + 40 * (n // 7)) for n in range(25)]
    pixels = spots([*FOUR, *few], wide=[20] * 4 + [7] * 25, high=[20] * 4 + [7] * 25)
    np.testing.assert_allclose(found(pixels), FOUR, atol=0.01)


@pytest.mark.parametrize(
    "middles",
    [
        [(60.0, 160.0), (140.0, 160.0), (220.0, 160.0), (300.0, 160.0)],
        [(60.0, 60.0), (180.0, 60.0), (300.0, 60.0), (180.0, 200.0)],
        [(60.0, 60.0), (340.0, 60.0), (200.0, 120.0), (200.0, 260.0)],
    ],
    ids=["in a row", "three in a row", "one between the others"],
)
@pytest.mark.parametrize("holed", range(4))
def test_spots_that_span_no_four_sided_shape_are_no_frame(middles: list[tuple[float, float]], holed: int) -> None:
    assert not is_found(spots(middles, holed=(holed,)))


def test_a_placement_has_four_corners() -> None:
    with pytest.raises(ValueError, match="zip"):
        placement_of([*FOUR, (1.0, 2.0)])


def test_perspective_keeps_lines_straight_and_crosses_the_middle_where_the_diagonals_do() -> None:
    """The one property that a projective map has and a stretched one has not, with the crossing worked by hand:
    of (0,0)-(300,200) and (400,0)-(0,400) it is y = 2/3 x and x + y = 400, so (240, 160)."""
    placement: Placement = placement_of([(0.0, 0.0), (400.0, 0.0), (300.0, 200.0), (0.0, 400.0)])
    np.testing.assert_allclose(placement.to_px(np.array([[88.0, 58.0]])), [[240.0, 160.0]], atol=1e-9)
    top = placement.to_px(np.array([[44.0, 0.0], [132.0, 0.0]]))
    np.testing.assert_allclose(top[:, 1], 0.0, atol=1e-9)
    # Four points in a row keep their cross ratio: of 0, 44, 132, 176 mm it is (132 * 132) / (88 * 176).
    a, b, c, d = 0.0, *top[:, 0], 400.0
    assert (c - a) * (d - b) / ((c - b) * (d - a)) == pytest.approx(132 * 132 / (88 * 176), rel=1e-9)
