"""A chart tells contrast and colour exactly when nothing else is in the way: patches straight from its own spectra.

The mistakes these exist for: a spoilt patch that counts, a figure of patches that were fitted, a white that is blown
out and still the measure, a chart that is none accepted and a fair one refused. The whole way through a picture is in
test_fit_photo.py.
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
    decode_srgb,
    delta_e_2000,
    encode_srgb,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.errors import InputError
from layerpreview.learn.read.camera import ChartFit
from layerpreview.learn.read.chart import chart_boxes, chart_fit, upright
from layerpreview.learn.read.chart_values import CHART_VALUES, chart_rgb_lin
from layerpreview.learn.read.frame import Box
from layerpreview.learn.read.frame_read import Patch, patch_means
from layerpreview.surface.picture_file import PictureData

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


def test_in_a_high_rectangle_they_lie_column_by_column_from_the_right() -> None:
    """A quarter turn clockwise: 320 x 660 px, four of 80 across, six of 110 down; brown top right, black below left."""
    boxes = chart_boxes(20.0, 40.0, 320.0, 660.0)
    assert boxes[0] == (260.0, 40.0, 80.0, 110.0)
    assert boxes[5] == (260.0, 590.0, 80.0, 110.0)
    assert boxes[8] == (180.0, 260.0, 80.0, 110.0)
    assert boxes[23] == (20.0, 590.0, 80.0, 110.0)


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_a_chart_may_lie_on_any_side(true: F64, turns: int) -> None:
    """Pixels turned by quarters, one a patch; the patches come out in the chart's own order."""
    codes = np.rint(255 * encode_srgb(np.clip(0.8 * true, 0.0, 1.0))).astype(np.uint8).reshape(4, 6, 3)
    picture = PictureData(np.rot90(codes, turns).repeat(20, axis=0).repeat(20, axis=1), file="turned.png")
    found = upright(patch_means(picture, chart_boxes(0.0, 0.0, picture.width_px, picture.height_px)))
    expected = decode_srgb(codes.reshape(24, 3) / 255)
    np.testing.assert_allclose([patch.rgb_lin for patch in found], expected, rtol=1e-5, atol=1e-6)


@pytest.mark.slow
@pytest.mark.parametrize("values", CHART_VALUES)
def test_charts_by_any_table_are_told(values: str) -> None:
    """Each table's own colours are fitted by that table, and by the usual one a step worse: another print of it."""
    read = patches(0.7 * chart_rgb_lin(values, light="D50"), buried=out_of_sight())
    own, usual = (chart_fit(read, light="D50", values=each) for each in (values, CHART_VALUES[0]))
    assert own.error_de00 < 0.01
    assert values == CHART_VALUES[0] or own.error_de00 + 0.2 < usual.error_de00


def test_a_table_of_colours_is_that_of_the_spectra_within_a_print() -> None:
    """Spectra, the mean of thirty charts measured, and colours published on their own in 2005 for D50: within what two
    prints differ by. A wrong adaptation or another order of patches would be several times that."""
    spectra, colours = (chart_rgb_lin(each, light="D50") for each in ("BabelColor Average", "ColorChecker 2005"))
    labs = [xyz_to_lab(rgb @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for rgb in (spectra, colours)]
    assert delta_e_2000(*labs).mean() < 1.0


def test_a_table_that_is_none_is_told_in_one_line() -> None:
    with pytest.raises(InputError, match=r"--chart-values = ColorChecker 2050: .*did you mean \"ColorChecker 2005\"\?"):
        chart_rgb_lin("ColorChecker 2050", light="D65")
    with pytest.raises(InputError, match=r"use ISO 17321-1, BabelColor Average, .* or ColorChecker24 - After"):
        chart_rgb_lin("x", light="D65")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("power", "exposure"), [(0.55, 0.3), (0.55, 1.0), (1.0, 0.3), (1.0, 1.0), (1.3, 0.3), (1.3, 1.0), (1.85, 1.0)]
)
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
        read = through(np.maximum(true, 0.02), power)
        with pytest.raises(InputError, match="do not fall from white to black"):
            chart_fit(patches(0.9 * read / read.max()), light="D50")


def test_greys_that_do_not_fall_step_by_step_are_refused(true: F64) -> None:
    read = through(true, 1.0)
    read[[20, 21]] = read[[21, 20]]
    with pytest.raises(InputError, match="do not fall from white to black"):
        chart_fit(patches(read), light="D50")


def test_a_chart_that_lies_in_the_dark_is_refused(true: F64) -> None:
    """At 1.85 of sRGB's contrast and a third of the light half of its patches read 2 of 255 or less in some channel."""
    with pytest.raises(InputError, match=r"only 1\d of the chart's 24 patches can be read.*nor its dark patches black"):
        chart_fit(patches(through(0.3 * true, 1.85)), light="D50")


@pytest.mark.slow
@pytest.mark.parametrize(("code", "counts"), [(1.9, False), (2.1, True), (252.9, True), (253.1, False)])
def test_a_patch_at_an_end_of_the_scale_is_left_out_by_its_mean(true: F64, code: float, counts: bool) -> None:
    """The ends are 2 and 253 of 255, decoded here by IEC 61966-2-1; 23 patches are left without the cyan."""
    read = 0.7 * through(np.maximum(true, 0.002), 1.0)
    read[CYAN, 0] = 0.001
    share = code / 255
    read[4, 2] = share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
    assert chart_fit(patches(read), light="D50").used == (24 if counts else 23)


@pytest.mark.slow
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
    read = patches(np.maximum(true, 0.002), clipped={i: [False, False, True] for i in spoilt})
    with pytest.raises(InputError, match=f"only {readable} of the chart's 24 patches can be read"):
        chart_fit(read, light="D50")


def off(found: ChartFit, read: F64, wanted: F64) -> F64:
    """CIEDE2000 of readings through what was found."""
    seen = found.colours(found.straight(read))
    labs = [xyz_to_lab(rgb @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ) for rgb in (seen, wanted)]
    return np.asarray(delta_e_2000(*labs))


@pytest.mark.slow
def test_the_figure_is_of_patches_that_were_not_looked_at(true: F64) -> None:
    """Each patch spoilt in turn and told from the others, through the same door; patches off at random, so that more
    terms than the plain matrix are not worth it."""
    read = through(0.7 * np.maximum(true, 0.01), 1.0) * np.exp(np.repeat([0.09, 0.0], (18, 6))[:, None] * RANDOM)
    found = chart_fit(patches(read), light="D50")
    without = [chart_fit(patches(read, clipped=dict.fromkeys([i], [True] * 3)), light="D50") for i in range(24)]
    assert {other.matrix.shape for other in without} == {found.matrix.shape}
    apart = [off(other, read[i], true[i]) for i, other in enumerate(without)]
    assert found.left_out_de00 == pytest.approx(float(np.mean(apart)), rel=1e-3)
    assert found.error_de00 == pytest.approx(float(off(found, read, true).mean()), rel=1e-9)
    assert found.error_de00 < 0.9 * found.left_out_de00


@pytest.mark.parametrize(("size", "like_it"), [(0.15, True), (0.25, False)])
def test_a_chart_whose_patches_tell_each_other_by_more_than_six_is_refused(
    true: F64, size: float, like_it: bool
) -> None:
    """Patches off their colours at random, greys as they are."""
    read = through(0.7 * np.maximum(true, 0.01), 1.0) * np.exp(np.repeat([size, 0.0], (18, 6))[:, None] * RANDOM)
    if like_it:
        assert 4.0 < chart_fit(patches(read), light="D50").left_out_de00 < 6.0
        return
    with pytest.raises(InputError, match=r"CIEDE2000 off the chart's colours with each left out.*more than 6; check"):
        chart_fit(patches(read), light="D50")


def s_shaped(light: F64) -> F64:
    """A camera's S-curve over sRGB's codes (steeper by half in the middle than at the ends), read back by sRGB."""
    code = encode_srgb(np.clip(light, 0.0, 1.0))
    return decode_srgb(code - 0.04 * np.sin(2 * np.pi * code))


def test_an_s_shaped_tone_curve_is_followed(true: F64) -> None:
    """One power leaves 1.5 and more; the curve goes through all greys and close by between them."""
    read = s_shaped(0.9 * np.maximum(true, 0.01))
    found = chart_fit(patches(read), light="D50")
    np.testing.assert_allclose(found.colours(found.straight(read))[18:], true[18:], rtol=0.02)
    assert found.error_de00 < 0.7
    assert found.left_out_de00 < 1.2


def test_the_curve_rises_everywhere(true: F64) -> None:
    found = chart_fit(patches(s_shaped(0.9 * np.maximum(true, 0.01))), light="D50")
    light = found.straight(np.linspace(0.0005, 1.0, 400)[:, None].repeat(3, axis=1))
    assert (np.diff(light, axis=0) > 0).all()


def test_more_terms_only_where_they_tell_unseen_patches_better(true: F64) -> None:
    """A camera that mixes in the root of two channels' product is undone by the root polynomial, one that does not is
    left the plain matrix."""
    light = 0.7 * np.maximum(true, 0.01)
    red, green, blue = light.T
    bent = np.stack([0.7 * red + 0.3 * np.sqrt(red * green), green, 0.75 * blue + 0.25 * np.sqrt(green * blue)], axis=1)
    assert chart_fit(patches(light), light="D50").matrix.shape == (3, 3)
    found = chart_fit(patches(bent), light="D50")
    assert found.matrix.shape == (3, 6)
    assert found.left_out_de00 < 1.0
