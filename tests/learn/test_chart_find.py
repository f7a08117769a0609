"""A chart is found whichever way it lies, and only where there is one.

The mistakes these exist for: a chart mirrored, turned the wrong way or a row off; windows of the card taken for it.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from layerpreview.colour import encode_srgb
from layerpreview.errors import PictureError
from layerpreview.learn.card.model import photo_eye
from layerpreview.learn.read.chart import chart_fit
from layerpreview.learn.read.chart_find import BOXES, find_chart
from layerpreview.learn.read.frame_read import patch_means
from layerpreview.surface.marks import placement_of
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement

from .card_pictures import frame_photo
from .sensors import chart_spectra

F64 = NDArray[np.float64]

CARD_PX = ((150.0, 160.0), (860.0, 140.0), (880.0, 600.0), (135.0, 590.0))
CARD = placement_of(CARD_PX)


def laid(*, turn_deg: float, pitch_px: float, middle_px: tuple[float, float] = (1250.0, 430.0)) -> Placement:
    """A chart turned clockwise about its middle and leaning away, so that its far side is about a fifth smaller."""
    angle = np.radians(turn_deg)
    turn = pitch_px * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    matrix = np.eye(3)
    matrix[:2, :2] = turn
    matrix[:2, 2] = turn @ [-3.0, -2.0]
    lean = np.eye(3)
    lean[2, :2] = 0.0002, 0.0004
    shift = np.eye(3)
    shift[:2, 2] = middle_px
    return Placement(shift @ lean @ matrix)


@cache
def dyed_card() -> NDArray[np.uint8]:
    """A card with dyed windows, left in the picture."""
    windows = {
        (row, column): share * np.array([0.8 - 0.1 * column, 0.6 - 0.05 * column, 0.3])
        for row, share in (("white", 1.0), ("base", 0.6))
        for column in range(7)
    }
    rng = np.random.default_rng(5)
    return frame_photo(windows, rng, corners_px=CARD_PX, size_px=(1600, 860), quality=None, vignette=0.0).pixels


def photo(placed: Placement | None, *, spoilt: tuple[int, ...] = (), gap: float = 0.06) -> PictureData:
    """That card and a black chart of coloured squares beside it: a little blurred, grainy."""
    codes = dyed_card() / 255
    if placed is not None:
        y, x = np.mgrid[0:860, 0:1600] + 0.5
        at = np.stack([x, y, np.ones_like(x)], axis=-1) @ np.linalg.inv(placed.matrix).T
        u, v = at[..., 0] / at[..., 2], at[..., 1] / at[..., 2]
        patches = encode_srgb(np.clip(0.75 * (chart_spectra() @ photo_eye("D50").take.T), 0.0, 1.0))
        codes[(u > -0.3) & (u < 6.3) & (v > -0.3) & (v < 4.3)] = 0.08
        number = 6 * np.clip(v, 0, 3.99).astype(int) + np.clip(u, 0, 5.99).astype(int)
        on = (
            (u > 0)
            & (u < 6)
            & (v > 0)
            & (v < 4)
            & (np.abs(u % 1 - 0.5) < 0.5 - gap)
            & (np.abs(v % 1 - 0.5) < 0.5 - gap)
        )
        codes[on] = patches[number[on]]
        glare = on & np.isin(number, spoilt)
        codes[glare] *= 0.7 + 0.6 * (u[glare] % 1)[:, None]
    codes = gaussian_filter(codes, (0.7, 0.7, 0.0)) + 0.006 * np.random.default_rng(6).standard_normal(codes.shape)
    return PictureData(np.rint(255 * np.clip(codes, 0.0, 1.0)).astype(np.uint8), file="chart.jpg")


def off_by(found: Placement, placed: Placement) -> float:
    """How far the middles of its patches are off, at most, in steps of its grid."""
    middles = np.array([[x + 0.5, y + 0.5] for x, y, _, _ in BOXES])
    at = found.to_px(middles)
    back = np.column_stack([at, np.ones(24)]) @ np.linalg.inv(placed.matrix).T
    return float(np.abs(back[:, :2] / back[:, 2:] - middles).max())


@pytest.mark.slow
@pytest.mark.parametrize("turn_deg", [0.0, 8.0, 40.0, 90.0, 133.0, 180.0, 222.0, 275.0, 340.0])
def test_a_chart_in_perspective_is_found_at_any_angle(turn_deg: float) -> None:
    """And not as its mirror image, nor a row off: each patch is where it was drawn, within a twentieth of a step."""
    placed = laid(turn_deg=turn_deg, pitch_px=70.0)
    shot = photo(placed)
    found = find_chart(shot, card=CARD)
    assert off_by(found, placed) < 0.05
    assert chart_fit(patch_means(shot, BOXES, placement=found), light="D50").left_out_de00 < 1.5


@pytest.mark.slow
@pytest.mark.parametrize("pitch_px", [30.0, 85.0])
def test_small_and_large_ones(pitch_px: float) -> None:
    placed = laid(turn_deg=12.0, pitch_px=pitch_px)
    assert off_by(find_chart(photo(placed), card=CARD), placed) < 0.08


@pytest.mark.slow
@pytest.mark.parametrize("spoilt", [(23,), (0, 1, 2, 3, 4, 5), (0, 6, 12, 18), (7, 9, 14, 22)])
def test_patches_that_are_no_squares_are_told_from_the_others(spoilt: tuple[int, ...]) -> None:
    """A shadow's edge over a corner, a whole row, a column, some in the middle: no even squares."""
    placed = laid(turn_deg=200.0, pitch_px=70.0)
    assert off_by(find_chart(photo(placed, spoilt=spoilt), card=CARD), placed) < 0.08


def test_a_card_alone_is_no_chart() -> None:
    with pytest.raises(PictureError, match="no 24-patch chart was found beside the frame") as caught:
        find_chart(photo(None), card=CARD)
    assert "\n" not in str(caught.value)


def test_squares_of_other_colours_are_no_chart() -> None:
    placed = laid(turn_deg=0.0, pitch_px=70.0)
    shot = photo(placed)
    shot.pixels[:, 1000:] = shot.pixels[:, 1000:, ::-1]  # red for blue
    with pytest.raises(PictureError, match=r"no 24-patch chart .*\(2\d squares of a grid were seen\)"):
        find_chart(shot, card=CARD)


@pytest.mark.slow
def test_a_tiled_table_is_no_chart() -> None:
    """Three hundred grey tiles on a grid: more squares than are looked through."""
    shot = photo(None)
    y, x = np.mgrid[0:860, 0:1600]
    tile = (x > 920) & (x % 40 > 3) & (y % 40 > 3)
    shot.pixels[:, 920:] = 60
    shot.pixels[tile] = 150
    with pytest.raises(PictureError, match="no 24-patch chart"):
        find_chart(shot, card=CARD)
