"""Tracing masks: exists for outlines a pixel too large, masks read inside out, and empty masks that go through."""

from __future__ import annotations

import math

import numpy as np
import pytest

from layerpreview.errors import PictureError
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.trace import Inside, trace_mask, traced_picture


def _soft_disc(high: int, wide: int, x: float, y: float, radius: float) -> np.ndarray:
    """Coverage 0..1 of a disc, its middle at (x, y) in pixels from the picture's corner."""
    rows, cols = np.mgrid[:high, :wide] + 0.5
    return np.clip(radius - np.hypot(cols - x, rows - y) + 0.5, 0, 1)


def _mask(high: int = 300, wide: int = 240) -> np.ndarray:
    """A disc of radius 100 px with a round opening of radius 24 px above its middle."""
    inside = _soft_disc(high, wide, 121.3, 160.7, 100.0) - _soft_disc(high, wide, 110.0, 120.0, 24.0)
    return np.round(255 * inside).astype(np.uint8)


AREA_PX = math.pi * (100.0**2 - 24.0**2)


@pytest.mark.parametrize("inside", ["light", "dark", "alpha", "auto"])
def test_area_and_place(inside: Inside) -> None:
    mask = _mask()
    flat = np.full_like(mask, 90)
    picture = {
        "light": PictureData(mask),
        "dark": PictureData(255 - mask),
        "alpha": PictureData(np.stack([flat] * 3, axis=2), mask),
        "auto": PictureData(np.stack([mask] * 3, axis=2)),
    }[inside]
    traced = trace_mask(picture, width_mm=480.0, inside=inside)  # 2 mm a pixel
    assert traced.pixel_mm == pytest.approx(2.0)
    assert traced.outline.area_m2 * 1e6 == pytest.approx(AREA_PX * 4, rel=1e-3)
    assert traced.outline.width_mm == pytest.approx(400.0, abs=0.4)
    assert traced.corner_px == pytest.approx((21.3, 60.7), abs=0.2)
    assert list(traced.outline.openings) == ["opening 1"]
    middle = traced.outline.openings["opening 1"].mean(axis=0)
    assert middle == pytest.approx([2 * (110 - 21.3), 2 * (120 - 60.7)], abs=0.6)


def test_a_hard_edge_has_no_stairs() -> None:
    """Black and white only: the traced circle strays less than half a step, and its length is a circle's."""
    hard = np.where(_soft_disc(300, 240, 121.3, 160.7, 100.0) > 0.5, 255, 0).astype(np.uint8)
    traced = trace_mask(PictureData(hard), width_mm=240.0)
    ring = traced.outline.outer + np.array(traced.corner_px) - np.array([121.3, 160.7])
    assert np.abs(np.hypot(ring[:, 0], ring[:, 1]) - 100).max() < 0.4
    assert traced.outline.edge_length_mm == pytest.approx(2 * math.pi * 100, rel=0.005)  # stairs: 5 % longer


def test_size_of_the_part_and_height_of_the_picture() -> None:
    picture = PictureData(_mask())
    assert trace_mask(picture, part_width_mm=254.0).outline.width_mm == pytest.approx(254.0)
    assert trace_mask(picture, part_height_mm=381.0).outline.height_mm == pytest.approx(381.0)
    assert trace_mask(picture, height_mm=150.0).pixel_mm == pytest.approx(0.5)


def test_sixteen_bits_and_a_large_picture_that_is_reduced() -> None:
    big = np.kron(_mask(), np.ones((8, 8), np.uint8)).astype(np.uint16) * 257
    traced = trace_mask(PictureData(big), width_mm=480.0)
    assert traced.outline.area_m2 * 1e6 == pytest.approx(AREA_PX * 4, rel=2e-3)
    assert traced.pixel_mm == pytest.approx(0.25)
    assert traced.corner_px == pytest.approx((21.3 * 8, 60.7 * 8), abs=8)


def test_a_part_on_a_plain_background() -> None:
    """A wood-coloured disc, noisy, on an off-white wall: neither lighter nor darker tells it, the difference does."""
    rng = np.random.default_rng(11)
    share = _soft_disc(300, 240, 121.3, 160.7, 100.0)[:, :, None]
    photo = share * np.array([168.0, 120.0, 70.0]) + (1 - share) * np.array([222.0, 220.0, 214.0])
    photo += rng.normal(0, 4, photo.shape)
    traced = trace_mask(PictureData(np.clip(photo, 0, 255).astype(np.uint8)), width_mm=240.0, inside="object")
    assert traced.outline.area_m2 * 1e6 == pytest.approx(math.pi * 1e4, rel=0.01)
    assert traced.outline.openings == {}


def test_an_inside_up_to_the_border_is_closed_there() -> None:
    mask = np.zeros((40, 60), np.uint8)
    mask[:, 20:] = 255
    outline = trace_mask(PictureData(mask), width_mm=60.0).outline
    assert outline.area_m2 * 1e6 == pytest.approx(40 * 40, rel=1e-3)


def test_the_largest_region_counts_and_specks_do_not() -> None:
    mask = _mask(320, 420)
    mask[5:40, 300:380] = 255
    mask[160, 150] = 0
    outline = trace_mask(PictureData(mask), width_mm=420.0).outline
    assert outline.area_m2 * 1e6 == pytest.approx(AREA_PX, rel=1e-3)
    assert len(outline.openings) == 1


@pytest.mark.parametrize(
    ("picture", "inside", "said"),
    [
        (PictureData(np.full((30, 20), 255, np.uint8), file="m.png"), "auto", "a mask of one colour"),
        (PictureData(np.zeros((30, 20, 3), np.uint8), file="m.png"), "auto", "a mask of one colour"),
        (PictureData(np.full((30, 20, 3), 130, np.uint8), file="m.png"), "object", "a mask of one colour"),
        (
            PictureData(np.zeros((30, 20), np.uint8), np.full((30, 20), 9, np.uint8), file="m.png"),
            "alpha",
            "without any inside",
        ),
        (PictureData(np.zeros((30, 20), np.uint8), file="m.png"), "alpha", "no transparency"),
        (PictureData(np.pad(np.full((2, 1), 255, np.uint8), 12), file="m.png"), "light", "without any inside"),
    ],
)
def test_masks_that_are_none(picture: PictureData, inside: Inside, said: str) -> None:
    with pytest.raises(PictureError, match=said) as caught:
        trace_mask(picture, width_mm=100.0, inside=inside)
    assert str(caught.value).startswith("m.png: ")
    assert "\n" not in str(caught.value)


def test_a_mask_without_size() -> None:
    with pytest.raises(PictureError, match="give the true width"):
        trace_mask(PictureData(_mask()))
    with pytest.raises(PictureError, match="above zero"):
        trace_mask(PictureData(_mask()), width_mm=-3.0)


def test_the_traced_edge_can_be_looked_at() -> None:
    picture = PictureData(_mask())
    shown = traced_picture(picture, trace_mask(picture, width_mm=240.0))
    assert shown.shape == (300, 240, 3)
    red = (shown[:, :, 0].astype(int) - shown[:, :, 1]) > 120
    rows, cols = np.nonzero(red)
    off = np.minimum(
        np.abs(np.hypot(cols + 0.5 - 121.3, rows + 0.5 - 160.7) - 100),
        np.abs(np.hypot(cols + 0.5 - 110, rows + 0.5 - 120) - 24),
    )
    assert red.sum() > 600
    assert off.max() < 2.5


def test_a_photo_in_which_nothing_stands_out_is_refused() -> None:
    """Noise, and a part that runs off the picture on three sides: neither has a plain background along the border."""
    noise = np.random.default_rng(4).integers(0, 256, (120, 160, 3), dtype=np.uint8)
    cut_off = np.full((120, 160, 3), 225, np.uint8)
    cut_off[20:, :] = (90, 60, 40)
    for pixels in (noise, cut_off):
        with pytest.raises(PictureError, match="plain"):
            trace_mask(PictureData(pixels, None, "body.jpg"), part_width_mm=300.0, inside="object")


def test_noise_is_no_mask() -> None:
    """Edges about a hundred thousand spots took two minutes and two gigabytes."""
    numbers = (np.random.default_rng(3).random((900, 900)) * 255).astype(np.uint8)
    with pytest.raises(PictureError, match=r"not a mask but noise: .* spots, the limit is 20,000; paint the part"):
        trace_mask(PictureData(numbers, None, "mask.png"), width_mm=400.0)
