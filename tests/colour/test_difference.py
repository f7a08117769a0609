"""The mistakes these tests exist for: CIEDE2000's known traps (hues across 0/360, exactly opposite hues, greys without
a hue, the sign of the twist), and a broadcast that pairs the wrong colours.
"""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layerpreview.colour import delta_e_2000, metric_de00, visibility
from layerpreview.errors import InputError

# Sharma, Wu & Dalal, Col. Res. Appl. 30, 21-30 (2005), Table 1, all 34 pairs: L* a* b*, L* a* b*, dE00.
PAIRS = np.array(
    [
        [50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425],
        [50, 3.1571, -77.2803, 50, 0, -82.7485, 2.8615],
        [50, 2.8361, -74.0200, 50, 0, -82.7485, 3.4412],
        [50, -1.3802, -84.2814, 50, 0, -82.7485, 1.0000],
        [50, -1.1848, -84.8006, 50, 0, -82.7485, 1.0000],
        [50, -0.9009, -85.5211, 50, 0, -82.7485, 1.0000],
        [50, 0, 0, 50, -1, 2, 2.3669],
        [50, -1, 2, 50, 0, 0, 2.3669],
        [50, 2.49, -0.001, 50, -2.49, 0.0009, 7.1792],
        [50, 2.49, -0.001, 50, -2.49, 0.0010, 7.1792],
        [50, 2.49, -0.001, 50, -2.49, 0.0011, 7.2195],
        [50, 2.49, -0.001, 50, -2.49, 0.0012, 7.2195],
        [50, -0.001, 2.49, 50, 0.0009, -2.49, 4.8045],
        [50, -0.001, 2.49, 50, 0.0010, -2.49, 4.8045],
        [50, -0.001, 2.49, 50, 0.0011, -2.49, 4.7461],
        [50, 2.5, 0, 50, 0, -2.5, 4.3065],
        [50, 2.5, 0, 73, 25, -18, 27.1492],
        [50, 2.5, 0, 61, -5, 29, 22.8977],
        [50, 2.5, 0, 56, -27, -3, 31.9030],
        [50, 2.5, 0, 58, 24, 15, 19.4535],
        [50, 2.5, 0, 50, 3.1736, 0.5854, 1.0000],
        [50, 2.5, 0, 50, 3.2972, 0, 1.0000],
        [50, 2.5, 0, 50, 1.8634, 0.5757, 1.0000],
        [50, 2.5, 0, 50, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)
LAB = st.tuples(st.floats(0.0, 100.0), st.floats(-128.0, 128.0), st.floats(-128.0, 128.0)).map(np.array)


def test_the_34_published_pairs() -> None:
    assert len(PAIRS) == 34
    np.testing.assert_allclose(delta_e_2000(PAIRS[:, :3], PAIRS[:, 3:6]), PAIRS[:, 6], atol=5.1e-5)


def test_the_34_published_pairs_the_other_way_round() -> None:
    np.testing.assert_allclose(delta_e_2000(PAIRS[:, 3:6], PAIRS[:, :3]), PAIRS[:, 6], atol=5.1e-5)


def test_agrees_with_colour_science(colour_science: ModuleType, rng: np.random.Generator) -> None:
    one, other = rng.uniform([0, -100, -100], [100, 100, 100], (2, 500, 3))
    expected = colour_science.delta_E(one, other, method="CIE 2000")
    np.testing.assert_allclose(delta_e_2000(one, other), expected, atol=1e-9)


def test_vectorised_is_looped(rng: np.random.Generator) -> None:
    """A picture (2, 4) against one colour, and rows against columns."""
    picture = rng.uniform([0, -60, -60], [100, 60, 60], (2, 4, 3))
    target = np.array([41.0, 12.0, -33.0])
    against_one = delta_e_2000(picture, target)
    crossed = delta_e_2000(picture[0][:, None], picture[1][None])
    assert against_one.shape == (2, 4)
    assert crossed.shape == (4, 4)
    for row in range(2):
        for column in range(4):
            looped = float(delta_e_2000(picture[row, column], target))
            assert float(against_one[row, column]) == pytest.approx(looped, rel=1e-12)
    assert float(crossed[3, 1]) == pytest.approx(float(delta_e_2000(picture[0, 3], picture[1, 1])), rel=1e-12)


@pytest.mark.slow
@given(LAB, LAB)
def test_no_colour_differs_from_itself_and_order_does_not_matter(
    one: np.ndarray[tuple[int], np.dtype[np.float64]], other: np.ndarray[tuple[int], np.dtype[np.float64]]
) -> None:
    forward = float(delta_e_2000(one, other))
    assert forward >= 0.0
    assert float(delta_e_2000(other, one)) == pytest.approx(forward, rel=1e-6, abs=1e-6)
    assert float(delta_e_2000(one, one)) == 0.0


def test_greys_differ_by_lightness_alone() -> None:
    """dL / S_L with S_L = 1 + .015 (L - 50)^2 / sqrt(20 + (L - 50)^2), L the mean: by hand."""
    difference = float(delta_e_2000(np.array([70.0, 0.0, 0.0]), np.array([74.0, 0.0, 0.0])))
    assert difference == pytest.approx(4 / (1 + 0.015 * 22**2 / np.sqrt(20 + 22**2)), rel=1e-12)


def test_nan_stays_nan() -> None:
    assert np.isnan(delta_e_2000(np.array([50.0, np.nan, 0.0]), np.array([50.0, 1.0, 0.0])))


@pytest.mark.parametrize(
    ("delta_e", "words"),
    [
        (0.0, "not visible"),
        (0.79, "not visible"),
        (0.8, "may be seen"),
        (1.8, "may be seen"),
        (1.81, "visible"),
        (40.0, "visible"),
    ],
)
def test_words_for_a_difference(delta_e: float, words: str) -> None:
    """50:50 limits 0.8 and 1.8 of Paravina et al., J. Esthet. Restor. Dent. 27 S1 (2015)."""
    assert visibility(delta_e) == words


@pytest.mark.parametrize("delta_e", [-0.1, float("nan")])
def test_no_words_for_nonsense(delta_e: float) -> None:
    with pytest.raises(InputError, match="a colour difference is a number from 0 up"):
        visibility(delta_e)


def metric_by_hand(lab: tuple[float, float, float]) -> np.ndarray:  # type: ignore[type-arg]
    """The metric of CIEDE2000 in closed form (Pant & Farup, Col. Res. Appl. 37, 153-167 (2012), doi 10.1002/col.20710).

    Its terms are those of ISO/CIE 11664-6:2014 with both colours the same, written out for L*, a*, b*.
    """
    light, a, b = lab
    seventh = np.hypot(a, b) ** 7
    stretch = 1 + 0.5 * (1 - np.sqrt(seventh / (seventh + 25.0**7)))
    chroma, hue = np.hypot(stretch * a, b), np.degrees(np.arctan2(b, stretch * a)) % 360
    cos, sin = stretch * a / chroma, b / chroma
    to_lch = np.array([[1, 0, 0], [0, cos * stretch, sin], [0, -sin * stretch, cos]])
    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_l = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    turn = np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2)))
    twist = -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * np.sin(turn)
    across = twist / (2 * s_c * s_h)
    return to_lch.T @ np.array([[s_l**-2, 0, 0], [0, s_c**-2, across], [0, across, s_h**-2]]) @ to_lch


@pytest.mark.parametrize("lab", [(60.0, 30.0, 55.0), (31.0, 12.0, -44.0), (88.0, -3.0, 1.5), (45.0, -60.0, 20.0)])
def test_the_metric_is_the_closed_form(lab: tuple[float, float, float]) -> None:
    np.testing.assert_allclose(metric_de00(np.array(lab)), metric_by_hand(lab), rtol=1e-3, atol=1e-5)


def test_the_metric_tells_small_differences(colour_science: ModuleType, rng: np.random.Generator) -> None:
    lab = rng.uniform((15, -60, -60), (95, 60, 60), (50, 3))
    step = 0.05 * rng.standard_normal((50, 3))
    told = np.sqrt(np.einsum("ni,nij,nj->n", step, metric_de00(lab), step))
    found = colour_science.difference.delta_E_CIE2000(lab - step / 2, lab + step / 2)
    np.testing.assert_allclose(told, found, rtol=5e-3)
