"""Camera raw: light as the sensor took it. The mistakes these exist for: a tone curve or brightening that a developer
of raw files adds to please the eye, a matrix taken the wrong way round, one matrix for every light."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from layerpreview.colour import RGB_LIN_TO_XYZ, encode_srgb, white_xyz
from layerpreview.errors import PictureError
from layerpreview.surface.picture_file import read_picture
from layerpreview.surface.raw_file import balanced_to_srgb

F64 = NDArray[np.float64]

XYZ_TO_SENSOR = np.array([[0.70, -0.10, -0.05], [-0.40, 1.20, 0.20], [-0.05, 0.20, 0.60]])  # made up, unlike any other
BLACK, WHITE, SIDE_PX = 256, 4095, 80


def write_dng(path: Path, rgb_lin: F64, *, orientation: int = 1) -> None:
    """Squares (n, 3) in a row as a 12-bit mosaic of red, green, green, blue; tags by the DNG specification, 1.4."""
    to_sensor = XYZ_TO_SENSOR @ RGB_LIN_TO_XYZ
    neutral = to_sensor.sum(axis=1) / to_sensor.sum(axis=1).max()
    light = rgb_lin @ to_sensor.T / to_sensor.sum(axis=1).max()
    red, green, blue = np.repeat(light, SIDE_PX // 2, axis=0).T
    fine = np.stack([np.stack([red, green], 1).ravel(), np.stack([green, blue], 1).ravel()])
    mosaic = np.rint(BLACK + (WHITE - BLACK) * np.tile(fine, (SIDE_PX // 2, 1))).astype(np.uint16)

    def ratios(values: F64) -> tuple[int, ...]:
        return tuple(part for value in values.ravel() for part in (round(1e4 * float(value)), 10_000))

    tags = [
        (274, "H", 1, orientation, True),
        (50706, "B", 4, bytes([1, 4, 0, 0]), True),  # DNGVersion
        (50708, "s", 0, "Made up", True),  # UniqueCameraModel
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, bytes([0, 1, 1, 2]), True),  # CFAPattern
        (50714, "H", 1, BLACK, True),  # BlackLevel
        (50717, "H", 1, WHITE, True),  # WhiteLevel
        (50721, "2i", 9, ratios(XYZ_TO_SENSOR), True),  # ColorMatrix1
        (50778, "H", 1, 21, True),  # CalibrationIlluminant1: D65
        (50728, "2I", 3, ratios(neutral), True),  # AsShotNeutral
    ]
    tifffile.imwrite(path, mosaic, photometric=32803, extratags=tags)  # 32803: a mosaic of colours


LIGHT = np.array([[0.20, 0.50, 0.30], [0.60, 0.20, 0.10], [0.50, 0.50, 0.50], [0.04, 0.08, 0.24]])


def test_light_and_colour_come_out_as_they_went_in(tmp_path: Path) -> None:
    write_dng(tmp_path / "card.DNG", LIGHT)
    picture = read_picture(tmp_path / "card.DNG")
    assert picture.straight
    assert picture.notes == ("camera raw: developed without a tone curve",)
    middles = [picture.pixels[30:50, SIDE_PX * i + 30 : SIDE_PX * i + 50] for i in range(len(LIGHT))]
    read = np.stack([each.reshape(-1, 3).mean(axis=0) / 65535 for each in middles])
    np.testing.assert_allclose(read, encode_srgb(LIGHT), atol=0.003)  # 12 bits, a matrix to four places


def test_it_comes_upright(tmp_path: Path) -> None:
    write_dng(tmp_path / "card.dng", LIGHT, orientation=6)  # taken with the camera on its side
    picture = read_picture(tmp_path / "card.dng")
    assert picture.height_px > picture.width_px


@pytest.mark.parametrize("data", [b"II*\0\x08\0\0\0\0\0", b"no picture at all", b"\0" * 4000])
def test_what_is_no_raw_picture_is_told_in_one_line(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "a.dng").write_bytes(data)
    with pytest.raises(PictureError, match="a raw picture that cannot be developed") as caught:
        read_picture(tmp_path / "a.dng")
    assert len(str(caught.value).splitlines()) == 1


def test_a_huge_one_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_dng(tmp_path / "card.dng", LIGHT)
    monkeypatch.setattr("layerpreview.surface.picture_file.LIMIT_PIXELS", 10_000)
    with pytest.raises(PictureError, match="larger than 0 megapixels"):
        read_picture(tmp_path / "card.dng")


def test_without_the_extra_it_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    (tmp_path / "a.dng").write_bytes(b"II*\0")
    with pytest.raises(PictureError, match=r'pip install "layerpreview\[raw\]"'):
        read_picture(tmp_path / "a.dng")


def test_two_matrices_are_mixed_by_the_light() -> None:
    """Under either light each is found whole: exactly its own inverse, adapted. Between them lies the mixture."""
    warm = XYZ_TO_SENSOR * np.array([[1.2], [0.95], [0.8]])
    both = {2856.0: warm, 6504.0: XYZ_TO_SENSOR}
    for light, kelvin in (("A", 2856.0), ("D65", 6504.0)):
        neutral = both[kelvin] @ white_xyz(light)
        alone = balanced_to_srgb(neutral, {kelvin: both[kelvin]})
        np.testing.assert_allclose(balanced_to_srgb(neutral, both), alone, atol=0.01)
        np.testing.assert_allclose(alone.sum(axis=1), 1.0, atol=1e-3)  # white stays white
    neutral = 0.5 * (warm + XYZ_TO_SENSOR) @ white_xyz("D50")
    mixed = balanced_to_srgb(neutral, both)
    for one in both.values():
        assert np.abs(mixed - balanced_to_srgb(neutral, {5000.0: one})).max() > 0.005
