"""A chart tells contrast and colour exactly when nothing else is in the way: patches straight from its own spectra.

The mistakes these exist for: a spoilt patch that counts, a white that is blown out and still the measure, a chart
that is none accepted and a fair one refused. The whole way through a picture is in test_fit_photo.py.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    RGB_LIN_TO_XYZ,
    WAVELENGTHS_NM,
    XYZ_TO_RGB_LIN,
    bradford,
    delta_e_2000,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.errors import InputError
from layerpreview.learn.chart import chart_boxes, chart_fit
from layerpreview.learn.frame import Box
from layerpreview.learn.frame_read import Patch

F64 = NDArray[np.float64]
CYAN = 17  # its red is a little below zero in sRGB: no camera that sees in sRGB can read it
RANDOM = np.random.default_rng(4).standard_normal((24, 3))
MIXING = np.array([[0.86, 0.10, 0.04], [0.05, 0.90, 0.05], [0.02, 0.13, 0.85]])


@pytest.fixture(scope="module")
def true(colour_science: ModuleType) -> F64:
    """Linear light (24, 3) of the chart under D50, balanced on white: ISO 17321-1, by way of colour-science."""
    spectra = colour_science.SDS_COLOURCHECKERS["ISO 17321-1"].values()
    reflectances = np.stack([np.interp(WAVELENGTHS_NM, each.wavelengths, each.values) for each in spectra])
    to_rgb = XYZ_TO_RGB_LIN @ bradford(white_xyz("D50"), DISPLAY_WHITE_XYZ) @ xyz_weights("D50")
    return np.asarray(reflectances @ to_rgb.T)


def patches(
    read: F64, *, clipped: Mapping[int, list[bool]] | None = None, buried: Mapping[int, list[bool]] | None = None
) -> list[Patch]:
    none = [False, False, False]
    return [
        Patch(
            Box("patch", i, 0.0, 0.0, 1.0, 1.0),
            rgb,
            np.array((buried or {}).get(i, none)),
            np.array((clipped or {}).get(i, none)),
        )
        for i, rgb in enumerate(read)
    ]


def through(light: F64, power: float | F64) -> F64:
    """What a camera of that contrast makes of it: nothing below black."""
    return np.asarray(np.maximum(light, 1e-6) ** power)


def out_of_sight(*more: int) -> dict[int, list[bool]]:
    """The cyan's red, and the green of other patches."""
    return {CYAN: [True, False, False]} | {i: [False, True, False] for i in more}


def test_the_patches_lie_row_by_row() -> None:
    """660 x 320 px from (20, 40): six of 110 across, four of 80 down."""
    boxes = chart_boxes(20.0, 40.0, 660.0, 320.0)
    assert len(boxes) == 24
    assert boxes[0] == (20.0, 40.0, 110.0, 80.0)
    assert boxes[5] == (570.0, 40.0, 110.0, 80.0)
    assert boxes[8] == (240.0, 120.0, 110.0, 80.0)
    assert boxes[23] == (570.0, 280.0, 110.0, 80.0)


@pytest.mark.parametrize("power", [0.55, 1.0, 1.3, 1.85])
@pytest.mark.parametrize("exposure", [0.3, 1.0])
def test_contrast_and_mixing_are_found_again(true: F64, power: float, exposure: float) -> None:
    """The chart may be lit stronger or weaker than the card: the matrix is that of white to white."""
    found = chart_fit(patches(through(exposure * true @ MIXING.T, power)), light="D50")
    assert found.power == pytest.approx(power, rel=0.01)  # its greys are not quite neutral, so mixing bends them a bit
    assert found.error_de00 < 1.0
    np.testing.assert_allclose(found.matrix @ MIXING, np.eye(3), atol=0.05)


def test_without_mixing_it_is_exact(true: F64) -> None:
    found = chart_fit(patches(0.7 * through(true, 1.2), buried=out_of_sight()), light="D50")
    assert found.power == pytest.approx(1.2, abs=1e-9)
    assert found.error_de00 == pytest.approx(0.0, abs=1e-6)
    np.testing.assert_allclose(found.matrix, np.eye(3), atol=1e-9)


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_of_three_channels_the_middle_contrast_counts(true: F64, order: tuple[int, ...]) -> None:
    contrast = np.array([1.0, 1.04, 1.15])[list(order)]
    assert chart_fit(patches(through(true, contrast)), light="D50").power == pytest.approx(1.04, abs=1e-9)


def test_contrasts_that_no_camera_has_are_refused(true: F64) -> None:
    """Under half or over twice that of sRGB: assumed. A chart that lies upside down reads as a negative one."""
    for power in (0.45, 2.2, -1.0):
        with pytest.raises(InputError, match="do not fall from white to black"):
            chart_fit(patches(through(true, power)), light="D50")


@pytest.mark.parametrize("how", ["clipped", "buried"])
@pytest.mark.parametrize("spoilt", [(18,), (0, 7, 23), (18, 19, 20, 1, 2)])
def test_a_patch_with_one_spoilt_channel_is_left_out_whole(true: F64, how: str, spoilt: tuple[int, ...]) -> None:
    """Six of 24 may be spoilt (the cyan is), three greys among them; the brightest that is left is the measure."""
    read = 0.7 * through(true, 1.2)
    read[list(spoilt)] = (0.9, 0.001, 0.5)
    found = chart_fit(patches(read, **{how: out_of_sight(*spoilt)}), light="D50")
    assert found.power == pytest.approx(1.2, abs=1e-9)
    assert found.error_de00 == pytest.approx(0.0, abs=1e-6)
    np.testing.assert_allclose(found.matrix, np.eye(3), atol=1e-9)


@pytest.mark.parametrize(
    ("spoilt", "readable"), [((0, 1, 2, 3, 4, 5, 6), 17), ((18, 19, 20, 21), 20), ((18, 19, 20, 21, 0, 1, 2), 17)]
)
def test_with_too_few_patches_it_is_refused(true: F64, spoilt: tuple[int, ...], readable: int) -> None:
    """Fewer than 18 of 24, or than three greys, for a line of contrast that can be checked: assumed."""
    read = patches(true, clipped={i: [False, False, True] for i in spoilt})
    with pytest.raises(InputError, match=f"only {readable} of the chart's 24 patches can be read"):
        chart_fit(read, light="D50")


@pytest.mark.parametrize(("size", "like_it"), [(0.25, True), (0.33, False)])
def test_colours_that_are_eight_off_on_average_are_not_the_charts(true: F64, size: float, like_it: bool) -> None:
    """Patches off their colours at random, greys a tenth as much. CIEDE2000 is worked out here: contrast by the
    slope of the greys' logarithms, light as shares of the white patch, the best matrix by the normal equations."""
    read = through(true, 1.0) * np.exp(np.repeat([size, size / 10], (18, 6))[:, None] * RANDOM)
    logs = [np.log(values[18:]) - np.log(values[18:]).mean(axis=0) for values in (read, true)]
    power = np.median(np.sum(logs[0] * logs[1], axis=0) / np.sum(logs[1] ** 2, axis=0))
    share = (read / read[18]) ** (1 / power) * true[18]
    matrix = np.linalg.solve(share.T @ share, share.T @ true).T
    labs = [xyz_to_lab(rgb @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for rgb in (share @ matrix.T, true)]
    mean = float(delta_e_2000(*labs).mean())
    assert 6.6 < mean < 7.9 if like_it else 8.1 < mean < 9.8
    if like_it:
        found = chart_fit(patches(read), light="D50")
        assert found.power == pytest.approx(power, rel=1e-9)
        assert found.error_de00 == pytest.approx(mean, rel=1e-6)
        np.testing.assert_allclose(found.matrix, matrix, rtol=1e-6)
        return
    with pytest.raises(InputError, match=f"patches are {mean:.0f} CIEDE2000 off the chart's colours"):
        chart_fit(patches(read), light="D50")
