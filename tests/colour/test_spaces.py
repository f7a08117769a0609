"""The mistakes these tests exist for: a matrix transposed or rounded, an adaptation run backwards, a white that comes
out tinted, an encoding with the wrong branch below the knee, a round trip that loses something."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    LIGHT_NAMES,
    OBSERVERS_DEG,
    RGB_LIN_TO_XYZ,
    XYZ_TO_RGB_LIN,
    adapted_xyz_weights,
    bradford,
    decode_srgb,
    display_matrix,
    encode_srgb,
    instrument_lab_to_lab,
    lab_to_xyz,
    on_screen,
    rgb_lin_to_hex,
    spectrum_to_lab,
    srgb_hex_to_rgb_lin,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.errors import InputError

D65 = np.array([0.95047, 1.0, 1.08883])
D50 = np.array([0.96422, 1.0, 0.82521])


def test_srgb_matrix_is_the_derived_one() -> None:
    """Primaries and white of IEC 61966-2-1, seven digits as recomputed with colour-science. The inverse given to seven
    digits is that of the rounded 4-digit matrix, so ours agrees to 4e-4 only.
    """
    expected = [
        [0.4123908, 0.3575843, 0.1804808],
        [0.2126390, 0.7151687, 0.0721923],
        [0.0193308, 0.1191948, 0.9505322],
    ]
    np.testing.assert_allclose(RGB_LIN_TO_XYZ, expected, atol=6e-8)
    inverse = [
        [3.2406255, -1.5372080, -0.4986286],
        [-0.9689307, 1.8757561, 0.0415175],
        [0.0557101, -0.2040211, 1.0569959],
    ]
    np.testing.assert_allclose(XYZ_TO_RGB_LIN, inverse, atol=4e-4)
    standard = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    np.testing.assert_allclose(RGB_LIN_TO_XYZ, standard, atol=5.1e-5)
    np.testing.assert_allclose(RGB_LIN_TO_XYZ.sum(axis=1), DISPLAY_WHITE_XYZ, atol=1e-15)


@pytest.mark.parametrize(
    ("code_8bit", "lab"),
    [
        ((255, 0, 0), (53.233, 80.111, 67.224)),
        ((0, 255, 0), (87.737, -86.183, 83.188)),
        ((0, 0, 255), (32.303, 79.198, -107.850)),
        ((255, 128, 0), (67.050, 42.834, 74.031)),
    ],
)
def test_srgb_colours_in_lab(code_8bit: tuple[int, int, int], lab: tuple[float, float, float]) -> None:
    """2 deg, D65 (.3127, .3290), recomputed with colour-science; tolerance 0.03 (libraries differ by 0.02)."""
    xyz = decode_srgb(np.array(code_8bit) / 255) @ RGB_LIN_TO_XYZ.T
    np.testing.assert_allclose(xyz_to_lab(xyz, white_xyz=DISPLAY_WHITE_XYZ), lab, atol=0.03)


def test_srgb_encoding() -> None:
    """IEC 61966-2-1, recomputed: linear to code, and 8-bit codes to linear."""
    lin = np.array([0.0, 0.0031308, 0.18, 0.214041, 0.5, 1.0])
    np.testing.assert_allclose(encode_srgb(lin), [0, 0.04045, 0.461356, 0.5, 0.735357, 1.0], atol=6e-7)
    assert np.rint(255 * encode_srgb(np.array([0.18, 0.5]))).tolist() == [118.0, 188.0]
    codes = np.array([0, 1, 127, 128, 255]) / 255
    np.testing.assert_allclose(decode_srgb(codes), [0, 0.00030353, 0.2122308, 0.2158605, 1.0], atol=6e-8)


def test_encoding_keeps_float32_and_says_nothing_about_nan() -> None:
    picture = np.array([[0.02, 0.4, np.nan], [-0.1, 1.7, 0.0]], dtype=np.float32)
    code = encode_srgb(picture)
    assert code.dtype == np.float32
    assert np.isnan(code[0, 2])
    assert decode_srgb(code).dtype == np.float32
    np.testing.assert_allclose(decode_srgb(code), picture, rtol=2e-6)


@given(st.floats(-3.0, 3.0))
def test_encoding_there_and_back(value: float) -> None:
    """Just at the knee the standard's rounded constants leave a step of 3e-8 in code."""
    lin = np.array(value)
    assert float(decode_srgb(encode_srgb(lin))) == pytest.approx(value, rel=1e-6, abs=1e-15)
    assert float(encode_srgb(-lin)) == -float(encode_srgb(lin))


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_light_is_never_a_lower_code(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert encode_srgb(np.array(low)) <= encode_srgb(np.array(high)) + 1e-7


def test_bradford_matrices() -> None:
    """Widely published seven-digit matrices (from memory), recomputed from the cone matrix."""
    to_d50 = [
        [1.0478112, 0.0228866, -0.0501270],
        [0.0295424, 0.9904844, -0.0170491],
        [-0.0092345, 0.0150436, 0.7521316],
    ]
    to_d65 = [
        [0.9555766, -0.0230393, 0.0631636],
        [-0.0282895, 1.0099416, 0.0210077],
        [0.0122982, -0.0204830, 1.3299098],
    ]
    np.testing.assert_allclose(bradford(D65, D50), to_d50, atol=1e-7)
    np.testing.assert_allclose(bradford(D50, D65), to_d65, atol=1e-7)
    np.testing.assert_allclose(bradford(D50, D65) @ bradford(D65, D50), np.eye(3), atol=1e-12)
    np.testing.assert_allclose(bradford(D65, D65), np.eye(3), atol=1e-15)


def test_srgb_in_the_d50_space_of_colour_profiles() -> None:
    """Recomputed with colour-science. Those figures adapt with the D65 of (.95047, 1.08883), a trace off the display's
    own white, so their rows add up to a white of Z .82538. Adapted from its own white it is D50 to the last digit.
    """
    expected = [
        [0.4360053, 0.3850738, 0.1431147],
        [0.2224691, 0.7168952, 0.0606315],
        [0.0139300, 0.0971068, 0.7143447],
    ]
    np.testing.assert_allclose(bradford(D65, D50) @ RGB_LIN_TO_XYZ, expected, atol=1e-7)
    own = bradford(DISPLAY_WHITE_XYZ, D50) @ RGB_LIN_TO_XYZ
    np.testing.assert_allclose(own.sum(axis=1), D50, atol=1e-14)


@pytest.mark.parametrize("light", LIGHT_NAMES)
@pytest.mark.parametrize("observer_deg", OBSERVERS_DEG)
def test_white_is_white_under_every_light(light: str, observer_deg: int) -> None:
    matrix = display_matrix(light, observer_deg=observer_deg)
    white = np.ones(81) @ matrix.T
    np.testing.assert_allclose(white, 1.0, atol=1e-14)
    assert rgb_lin_to_hex(white) == "#ffffff"
    assert rgb_lin_to_hex(0.18 * white) == "#767676"


def test_under_daylight_the_display_shows_what_xyz_says(colour_science: ModuleType) -> None:
    """The adaptation from our D65 sum to (.3127, .3290) is a trace: 3e-4 on a lopsided spectrum."""
    reflectance = np.linspace(0.9, 0.1, 81) ** 2
    plain = colour_science.XYZ_to_RGB(reflectance @ xyz_weights("D65").T, "sRGB")
    np.testing.assert_allclose(reflectance @ display_matrix("D65").T, plain, atol=3e-4)


def test_lamp_light_is_adapted_from_its_own_white_and_not_the_other_way() -> None:
    """A reddish spectrum stays much the same under lamp light A; run backwards it would come out far redder."""
    reflectance = np.linspace(0.2, 0.8, 81)
    under_a = reflectance @ display_matrix("A").T
    by_hand = XYZ_TO_RGB_LIN @ bradford(white_xyz("A"), DISPLAY_WHITE_XYZ) @ xyz_weights("A") @ reflectance
    np.testing.assert_allclose(under_a, by_hand, atol=1e-14)
    under_d65 = reflectance @ display_matrix("D65").T
    assert np.abs(under_a - under_d65).max() < 0.08


def test_lab_turning_points() -> None:
    """CIE L*: 50 at Y = 18.4187, 8 at Y = 0.885645 (recomputed); black is exactly 0."""
    xyz = np.array([18.4187, 0.885645, 0.0])[:, None] * np.ones(3) / 100
    lab = xyz_to_lab(xyz, white_xyz=np.ones(3))
    np.testing.assert_allclose(lab, [[50, 0, 0], [8, 0, 0], [0, 0, 0]], atol=1e-4)


@given(st.tuples(*[st.floats(0.0, 2.0)] * 3), st.sampled_from(LIGHT_NAMES))
def test_lab_there_and_back(xyz: tuple[float, float, float], light: str) -> None:
    white = white_xyz(light)
    back = lab_to_xyz(xyz_to_lab(np.array(xyz), white_xyz=white), white_xyz=white)
    np.testing.assert_allclose(back, xyz, rtol=1e-9, atol=1e-12)


@given(st.floats(0.0, 100.0), st.floats(-120.0, 120.0), st.floats(-120.0, 120.0))
def test_xyz_there_and_back(lightness: float, a: float, b: float) -> None:
    lab = np.array([lightness, a, b])
    back = xyz_to_lab(lab_to_xyz(lab, white_xyz=D50), white_xyz=D50)
    np.testing.assert_allclose(back, lab, atol=1e-9)


def test_pictures_are_their_pixels(rng: np.random.Generator) -> None:
    """Vectorised = looped, on a picture of unequal sides."""
    picture = rng.uniform(0.0, 1.2, (2, 5, 3))
    whole = xyz_to_lab(picture, white_xyz=D50)
    assert whole.shape == picture.shape
    for row in range(2):
        for column in range(5):
            one = xyz_to_lab(picture[row, column], white_xyz=D50)
            np.testing.assert_array_equal(whole[row, column], one)
    np.testing.assert_allclose(lab_to_xyz(whole, white_xyz=D50), picture, atol=1e-12)


def test_lab_agrees_with_colour_science(colour_science: ModuleType, rng: np.random.Generator) -> None:
    xyz: NDArray[np.float64] = rng.uniform(0.0, 1.0, (50, 3))
    expected = colour_science.XYZ_to_Lab(xyz, D50[:2] / D50.sum())
    np.testing.assert_allclose(xyz_to_lab(xyz, white_xyz=D50), expected, atol=1e-9)


@given(st.integers(0, 0xFFFFFF))
def test_hex_there_and_back(number: int) -> None:
    text = f"#{number:06x}"
    assert rgb_lin_to_hex(srgb_hex_to_rgb_lin(text)) == text
    np.testing.assert_array_equal(srgb_hex_to_rgb_lin(text.upper()), srgb_hex_to_rgb_lin(text))


def test_short_hex_doubles_each_digit() -> None:
    np.testing.assert_array_equal(srgb_hex_to_rgb_lin("#1c8"), srgb_hex_to_rgb_lin("#11cc88"))


def test_hex_is_what_the_display_shows() -> None:
    outside = np.array([-0.2, 0.2158605, 1.6])
    shown = encode_srgb(on_screen(outside[None].astype(np.float32))[0])
    assert rgb_lin_to_hex(outside) == "#" + "".join(f"{round(255 * float(code)):02x}" for code in shown)
    with pytest.raises(InputError, match=r"^colour = not a number: a colour needs three numbers$"):
        rgb_lin_to_hex(np.array([0.1, np.nan, 0.2]))


@pytest.mark.parametrize("text", ["", "b9bcc0", "#b9bcc", "#b9bcc0ff", "#ggg", "##fff", "silverish", "#12345６"])
def test_bad_hex_is_told_in_one_line(text: str) -> None:
    with pytest.raises(ValueError, match=r"^colour.*: a colour is # and six digits.*#b9bcc0\" or \"black\"$") as caught:
        srgb_hex_to_rgb_lin(text)
    assert "\n" not in str(caught.value)


# L*a*b* under every light: adapted to D65 first, then L*a*b* under D65.
GREEN = np.clip(0.08 + 0.5 * np.exp(-(((np.arange(380.0, 781.0, 5.0) - 530.0) / 45.0) ** 2)), 0.0, 1.0)


@pytest.mark.parametrize("light", LIGHT_NAMES)
@pytest.mark.parametrize("observer_deg", OBSERVERS_DEG)
def test_lab_is_adapted_as_colour_science_adapts(colour_science: ModuleType, light: str, observer_deg: int) -> None:
    """The package colour-science: chromatic adaptation "Von Kries" with the "Bradford" transform, then XYZ_to_Lab."""
    xyz = xyz_weights(light, observer_deg=observer_deg) @ GREEN
    white = white_xyz(light, observer_deg=observer_deg)
    adapted = colour_science.chromatic_adaptation(
        xyz, white, DISPLAY_WHITE_XYZ, method="Von Kries", transform="Bradford"
    )
    expected = colour_science.XYZ_to_Lab(adapted, np.array([0.3127, 0.3290]))
    assert spectrum_to_lab(GREEN, light=light, observer_deg=observer_deg) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize("light", LIGHT_NAMES)
def test_a_colour_is_its_own_swatch(light: str) -> None:
    """The L*a*b* of a table and the display colour beside it are one colour: without adapting first they were up to
    1.6 CIEDE2000 apart under lamp light."""
    rgb = display_matrix(light) @ GREEN
    swatch = xyz_to_lab(RGB_LIN_TO_XYZ @ rgb, white_xyz=DISPLAY_WHITE_XYZ)
    assert spectrum_to_lab(GREEN, light=light) == pytest.approx(swatch, abs=1e-9)
    assert spectrum_to_lab(np.ones(81), light=light) == pytest.approx([100.0, 0.0, 0.0], abs=1e-9)
    assert adapted_xyz_weights(light).sum(axis=1) == pytest.approx(DISPLAY_WHITE_XYZ)


def test_an_instruments_reading_is_adapted_too() -> None:
    """An instrument divides by the white of its own light: under A its green is some units from the adapted one."""
    plain = xyz_to_lab(xyz_weights("A") @ GREEN, white_xyz=white_xyz("A"))
    assert instrument_lab_to_lab(plain, light="A") == pytest.approx(spectrum_to_lab(GREEN, light="A"), abs=1e-9)
    assert np.abs(plain - spectrum_to_lab(GREEN, light="A")).max() > 2.0
    daylight = xyz_to_lab(xyz_weights("D65") @ GREEN, white_xyz=white_xyz("D65"))
    assert instrument_lab_to_lab(daylight, light="D65") == pytest.approx(daylight, abs=0.01)
