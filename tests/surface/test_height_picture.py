"""A user's own relief.

Against: slopes of the wrong size or sign; a picture of another resolution giving another surface; a mirrored copy
sloping the way of its original; terraces of 8 bits; a photo taken for a height map.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from layerpreview.errors import PictureError
from layerpreview.surface.height_picture import directions_picture, picture_kind, relief_from_picture
from layerpreview.surface.picture_file import PictureData, read_picture


def _heights(high: NDArray[np.float64], *, bits: int = 16) -> PictureData:
    top = 2**bits - 1
    return PictureData(np.rint(high * top).astype(np.uint16 if bits == 16 else np.uint8), file="own.png")


def _ramp(per_width: float, wide: int = 120, high: int = 80) -> PictureData:
    return _heights(np.broadcast_to(per_width * (np.arange(wide) + 0.5) / wide, (high, wide)).copy())


def _waves(pixels: int) -> NDArray[np.float64]:
    x = (np.arange(pixels) + 0.5) / pixels * 2 * np.pi
    waves: NDArray[np.float64] = 0.5 + 0.3 * np.sin(2 * x)[None, :] * np.cos(x)[:, None] + 0.1 * np.sin(x)[:, None]
    return waves


def _directions(slope_x: float, slope_y_down: float) -> PictureData:
    normal = np.array([-slope_x, slope_y_down, 1.0])
    normal /= np.linalg.norm(normal)
    pixels = np.broadcast_to(np.rint((normal + 1) * 127.5), (40, 60, 3)).astype(np.uint8)
    return PictureData(pixels, file="own.png")


def test_a_ramp_has_the_slope_it_says() -> None:
    """Rises 0.8 of 1.5 mm over 120 mm: 0.01, to the right only; half of it with strength 0.5."""
    relief = relief_from_picture(_ramp(0.8), face_width_mm=90, face_height_mm=60, width_mm=120, depth_mm=1.5)
    assert relief.slope_x.shape == (240, 360)
    np.testing.assert_allclose(relief.slope_x, 0.01, rtol=0.02)
    np.testing.assert_allclose(relief.slope_y, 0, atol=1e-4)
    half = relief_from_picture(
        _ramp(0.8), face_width_mm=90, face_height_mm=60, width_mm=120, depth_mm=1.5, strength=0.5
    )
    np.testing.assert_allclose(half.slope_x, 0.005, rtol=0.02)


def test_rows_run_downwards() -> None:
    high = np.broadcast_to(0.9 * (np.arange(80) + 0.5)[:, None] / 80, (80, 120)).copy()
    relief = relief_from_picture(_heights(high), face_width_mm=60, face_height_mm=40, width_mm=120, depth_mm=2)
    np.testing.assert_allclose(relief.slope_y, 0.9 * 2 / 80, rtol=0.02)


def test_stretched_over_the_face_from_its_middle() -> None:
    """120 x 80 pixels over 60 x 60 mm: 0.75 mm a pixel, so 15 mm are cut off at each side."""
    relief = relief_from_picture(_ramp(0.8), face_width_mm=60, face_height_mm=60, depth_mm=1.5)
    np.testing.assert_allclose(relief.slope_x, 0.8 * 1.5 / 90, rtol=0.02)


@pytest.mark.parametrize(("bits", "within"), [(8, 0.15), (16, 0.03)])
def test_another_resolution_is_the_same_surface(bits: int, within: float) -> None:
    # one of 256 levels of 3 mm over a coarse pixel of 0.5 mm is a slope of 0.024, a seventh of the steepest
    coarse, fine = (
        relief_from_picture(_heights(_waves(n), bits=bits), face_width_mm=70, face_height_mm=70, depth_mm=3.0)
        for n in (140, 560)
    )
    assert np.abs(coarse.slope_x - fine.slope_x).max() < within * np.abs(fine.slope_x).max()


def test_eight_bits_make_no_terraces() -> None:
    """A ramp over 60 mm has a step of 8 bits every 2.6 mm at this depth; none may be far steeper than the ramp."""
    high = np.broadcast_to((0.1 * (np.arange(600) + 0.5) / 600), (40, 600)).copy()
    eight = relief_from_picture(
        _heights(high, bits=8), face_width_mm=60, face_height_mm=4, width_mm=60, depth_mm=1.0, step_mm=0.25
    )
    assert np.abs(eight.slope_x).max() < 0.02


def test_directions_give_their_slopes() -> None:
    made = {"face_width_mm": 30.0, "face_height_mm": 20.0, "width_mm": 40.0}
    relief = relief_from_picture(_directions(0.3, -0.15), **made)
    np.testing.assert_allclose(relief.slope_x, 0.3, atol=0.01)
    np.testing.assert_allclose(relief.slope_y, -0.15, atol=0.01)
    other = relief_from_picture(_directions(0.3, -0.15), **made, green_down=True, strength=2.0)
    np.testing.assert_allclose(other.slope_x, 0.6, atol=0.02)
    np.testing.assert_allclose(other.slope_y, 0.3, atol=0.02)


def test_a_mirrored_copy_slopes_the_other_way() -> None:
    ramp = relief_from_picture(
        _ramp(0.8, wide=60, high=40), face_width_mm=90, face_height_mm=10, width_mm=30, depth_mm=1.0, tile=True
    )
    middle = ramp.slope_x[20]
    # copies from 0 to 30 and 60 to 90 mm are mirrored; 30 to 60 mm is the picture itself
    expected = 0.8 / 30
    for start, sign in ((0, -1), (30, 1), (60, -1)):
        part = middle[int((start + 2) / 0.25) : int((start + 28) / 0.25)]
        np.testing.assert_allclose(part, sign * expected, rtol=0.05)


def test_mirrored_directions_slope_the_other_way() -> None:
    x = (np.arange(60) + 0.5) / 60
    normal = np.stack([-0.5 * x, 0 * x, np.ones(60)], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    pixels = np.broadcast_to(np.rint((normal + 1) * 127.5), (40, 60, 3)).astype(np.uint8)
    relief = relief_from_picture(
        PictureData(pixels), face_width_mm=90, face_height_mm=10, width_mm=30, tile=True, step_mm=0.5
    )
    middle = relief.slope_x[10]
    np.testing.assert_allclose(middle[:60], -middle[60:120][::-1], atol=0.02)
    np.testing.assert_allclose(middle[65:115], 0.5 * (np.arange(65, 115) + 0.5 - 60) / 60, atol=0.02)


def test_a_picture_that_runs_on_is_repeated_as_it_is() -> None:
    waves = _heights(_waves(100))
    relief = relief_from_picture(
        waves, face_width_mm=150, face_height_mm=50, width_mm=50, depth_mm=2.0, tile=True, step_mm=0.5
    )
    for start in (0, 200):
        np.testing.assert_allclose(relief.slope_x[:, start : start + 100], relief.slope_x[:, 100:200], atol=1e-4)


def test_another_seed_has_other_flakes_on_the_same_slopes() -> None:
    one, other = (
        relief_from_picture(_heights(_waves(200)), face_width_mm=90, face_height_mm=90, depth_mm=4.0, seed=seed)
        for seed in (3, 4)
    )
    np.testing.assert_array_equal(other.slope_x, one.slope_x)
    assert (other.flake != one.flake).any()


def test_a_file_is_read_and_told_apart(tmp_path: Path) -> None:
    grey, colour = tmp_path / "grey.png", tmp_path / "directions.png"
    Image.fromarray(_heights(_waves(64), bits=8).pixels).save(grey)
    Image.fromarray(_directions(0.2, 0.1).pixels).save(colour)
    assert picture_kind(read_picture(grey)) == "heights"
    assert picture_kind(read_picture(colour)) == "directions"
    as_rgb = tmp_path / "grey_as_rgb.png"
    Image.open(grey).convert("RGB").save(as_rgb)
    assert picture_kind(read_picture(as_rgb)) == "heights"


def test_a_photo_is_neither() -> None:
    photo = np.zeros((50, 50, 3), dtype=np.uint8)
    photo[:] = (180, 120, 60)
    with pytest.raises(PictureError, match=r"own\.jpg: neither a height map .* light is high, dark is low"):
        picture_kind(PictureData(photo, file="own.jpg"))


def test_all_problems_are_told_at_once() -> None:
    with pytest.raises(PictureError) as caught:
        relief_from_picture(_ramp(0.8), face_width_mm=90, face_height_mm=60, width_mm=-3.0, strength=float("nan"))
    assert [problem.field for problem in caught.value.problems] == ["width", "depth", "height"]
    with pytest.raises(PictureError) as caught:
        relief_from_picture(_ramp(0.8), face_width_mm=90, face_height_mm=60, width_mm=40.0, depth_mm=1.0)
    assert str(caught.value) == (
        "own.png: width = 40 mm: shows 40 x 26.67 mm, smaller than the face (90 x 60 mm); "
        "set tile = true, or give no width to stretch it"
    )


def test_slopes_saved_as_a_picture_come_back() -> None:
    """Within the half step of 8 bits, 1/255 in the normal; asymmetric, so that no axis may be mixed up."""
    random = np.random.default_rng(4)
    slope_x, slope_y = random.uniform(-0.9, 0.4, (2, 40, 60)).astype(np.float32) * np.float32([[[0.5]], [[1.0]]])
    saved = PictureData(directions_picture(slope_x, slope_y), file="own.png")
    relief = relief_from_picture(saved, face_width_mm=15, face_height_mm=10, width_mm=15)
    np.testing.assert_allclose(relief.slope_x, slope_x, atol=0.012)
    np.testing.assert_allclose(relief.slope_y, slope_y, atol=0.018)


def test_brightness_lies_on_the_face_as_the_relief_does() -> None:
    """Twice as bright in one corner; three times the numbers say the same."""
    bright = np.full((40, 60), 9000, np.uint16)
    bright[:20, :15] = 18000
    flat = PictureData(_directions(0.0, 0.0).pixels, file="own.png")
    for factor in (1, 3):
        said = PictureData((bright * np.uint16(factor)), file="bright.png")
        relief = relief_from_picture(flat, face_width_mm=15, face_height_mm=10, width_mm=15, brightness=said)
        assert relief.gain is not None
        assert relief.gain.mean() == pytest.approx(1.0, abs=1e-5)
        assert relief.gain[5, 5] / relief.gain[30, 50] == pytest.approx(2.0, rel=1e-4)
        assert relief.sparkle == 0.0


@pytest.mark.parametrize(
    ("pixels", "says"),
    [
        (np.ones((40, 61), np.uint16), "61 x 40"),
        (np.zeros((40, 60), np.uint16), "black"),
    ],
)
def test_brightness_that_does_not_fit_is_refused(pixels: NDArray[np.uint16], says: str) -> None:
    with pytest.raises(PictureError, match=says):
        relief_from_picture(
            _directions(0.0, 0.0),
            face_width_mm=15,
            face_height_mm=10,
            width_mm=15,
            brightness=PictureData(pixels, file="bright.png"),
        )
