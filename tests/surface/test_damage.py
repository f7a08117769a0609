"""The damaged place: exists for a mask that lands somewhere else than the corners it was brushed along, for distances
of the wrong sign or the long way round a tube, and for pictures that are no masks and are taken for one."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw

from layerpreview.errors import InputError, PictureError
from layerpreview.surface.damage import Damage, damage_of_mask, damage_of_ring
from layerpreview.surface.outline import built_in_outline
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.sample import PixelGrid

PANEL = built_in_outline("panel", width_mm=200.0, height_mm=150.0)
SHELL = built_in_outline("drum shell", diameter_mm=100.0, depth_mm=60.0)
CORNERS = np.array([[60.0, 40.0], [100.0, 44.0], [92.0, 80.0], [64.0, 76.0]])


def _drawn(
    *, back: object, paint: object, mode: str, size: tuple[int, int] = (800, 600), times: int = 1
) -> PictureData:
    """The corners filled on a picture of four pixels a millimetre, or `times` as many."""
    image = Image.new(mode, (times * size[0], times * size[1]), back)  # type: ignore[arg-type]
    per_mm = 4.0 * times
    ImageDraw.Draw(image).polygon([(per_mm * x, per_mm * y) for x, y in CORNERS], fill=paint)  # type: ignore[arg-type]
    return PictureData(np.asarray(image), file="brushed.png")


@pytest.mark.parametrize(
    "mask",
    [_drawn(back=0, paint=255, mode="L"), _drawn(back=(150, 140, 128), paint=(10, 250, 20), mode="RGB")],
    ids=["white on black", "green on a photo"],
)
def test_a_mask_is_the_place_it_was_brushed_over(mask: PictureData) -> None:
    by_mask, by_corners = damage_of_mask(PANEL, mask), damage_of_ring(PANEL, CORNERS)
    both = by_mask.shape.symmetric_difference(by_corners.shape).area
    assert both < 0.03 * by_corners.area_mm2
    # The shoelace formula, by hand.
    x, y = CORNERS.T
    assert by_corners.area_mm2 == pytest.approx(0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1))))


def test_a_ring_in_a_mask_leaves_its_inside_whole_and_one_in_green_goes_round_the_damage() -> None:
    image = Image.new("L", (800, 600))
    ImageDraw.Draw(image).ellipse((200, 200, 400, 400), outline=255, width=40)
    found = damage_of_mask(PANEL, PictureData(np.asarray(image)))
    assert found.area_mm2 == pytest.approx(np.pi * (25.0**2 - 15.0**2), rel=0.02)
    assert not found.shape.contains(shapely.Point(75.0, 75.0))
    photo = Image.new("RGB", (800, 600), (150, 140, 128))
    ImageDraw.Draw(photo).ellipse((200, 200, 400, 400), outline=(0, 255, 0), width=12)
    assert damage_of_mask(PANEL, PictureData(np.asarray(photo))).area_mm2 == pytest.approx(np.pi * 25.0**2, rel=0.02)


def test_a_large_mask_is_the_same_place() -> None:
    small, large = (_drawn(back=0, paint=255, mode="L", times=times) for times in (1, 7))
    areas = [damage_of_mask(PANEL, mask).area_mm2 for mask in (small, large)]
    assert areas[1] == pytest.approx(areas[0], rel=0.02)


def test_distance_is_negative_inside_and_what_lies_off_the_face_is_left_out() -> None:
    damage = damage_of_ring(PANEL, np.array([[-20.0, 30.0], [10.0, 30.0], [10.0, 70.0], [-20.0, 70.0]]))
    assert damage.area_mm2 == pytest.approx(10.0 * 40.0)
    assert damage.middle_mm == (5.0, 50.0)
    assert damage.depth_mm == pytest.approx(5.0, abs=0.05)
    away = damage.away_rows(PixelGrid(pixel_mm=1.0, n_rows=150, n_cols=200), 50, 51)[0]
    np.testing.assert_allclose(away[[2, 9, 19, 99]], [-2.5, -0.5, 9.5, 89.5], atol=0.05)


def test_round_a_tube_the_short_way() -> None:
    damage = damage_of_ring(SHELL, np.array([[0.0, 20.0], [12.0, 20.0], [12.0, 40.0], [0.0, 40.0]]))
    grid = PixelGrid(pixel_mm=1.0, n_rows=60, n_cols=314)
    away = damage.away_rows(grid, 30, 31)[0]
    assert away[313] == pytest.approx(SHELL.width_mm - 313.5, abs=0.1)  # across the seam
    assert away[40] == pytest.approx(28.5, abs=0.05)


@pytest.mark.parametrize(
    ("mask", "said"),
    [
        (_drawn(back=0, paint=255, mode="L", size=(700, 700)), "other proportions"),
        (_drawn(back=0, paint=0, mode="L"), "nothing is brushed"),
        (_drawn(back=(150, 140, 128), paint=(240, 30, 20), mode="RGB"), "no bright green"),
    ],
)
def test_pictures_that_are_no_masks(mask: PictureData, said: str) -> None:
    with pytest.raises(PictureError, match=said) as error:
        damage_of_mask(PANEL, mask)
    assert str(error.value).startswith("brushed.png: ")
    assert len(str(error.value).splitlines()) == 1


@pytest.mark.parametrize(
    ("ring", "said"),
    [
        ([[300, 10], [340, 10], [340, 50]], "does not lie on the face"),
        ([[30, 10], [30.5, 10], [30.5, 10.5]], "smaller than 1 mm2"),
        ([[10, 10], [50, 50], [50, 10], [10, 60]], "crosses"),
        ([[10, 10], [20, 20], [30, 30]], "no area"),
    ],
)
def test_corners_that_are_no_place(ring: list[list[float]], said: str) -> None:
    with pytest.raises(InputError, match=said):
        damage_of_ring(PANEL, np.array(ring, dtype=np.float64))


def test_rings_go_round_every_piece() -> None:
    two = shapely.union(shapely.box(0, 0, 10, 10), shapely.box(50, 0, 60, 10))
    assert [len(ring) for ring in Damage(two).rings()] == [4, 4]


@pytest.mark.parametrize("far", [1e9, 1e300, 1e308])
def test_a_corner_far_off_is_not_on_the_face(far: float) -> None:
    with pytest.raises(InputError, match="it does not lie on the face"):
        damage_of_ring(PANEL, np.array([[far, 0.0], [0.0, far], [1.0, 1.0]]))
