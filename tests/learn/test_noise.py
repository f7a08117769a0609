"""How the numbers of a reading err together: exists for a spectrum counted as eighty-one readings of its own."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.learn.card.model import lab_eye, lightness_root, photo_eye, spectrum_eye
from layerpreview.learn.fit.noise import noise_shape

AT_NM = np.array([400.0, 420.0, 560.0])


def shape_of(*light: float) -> np.ndarray:
    return noise_shape(spectrum_eye(AT_NM), 116.0 * lightness_root(np.array(light)))


@pytest.mark.parametrize("eye", [lab_eye("A", 10), photo_eye("D65")], ids=["lab", "photo"])
def test_three_numbers_err_each_on_its_own(eye) -> None:  # type: ignore[no-untyped-def]
    assert noise_shape(eye, np.array([40.0, 30.0, 20.0])).tolist() == np.eye(3).tolist()


def test_a_white_by_hand() -> None:
    """1 together, 0.3 over 20 nm (e^-0.5 of it at 20 nm, e^-32 at 160), 0.1 alone, a floor of 0.04 half and half."""
    near = 0.09 + 0.5 * 0.0016
    alone = 0.01 + 0.5 * 0.0016
    expected = np.full((3, 3), 1.0) + alone * np.eye(3)
    expected += near * np.array([[1, 0.606531, 0], [0.606531, 1, 0], [0, 0, 1]])
    assert shape_of(1.0, 1.0, 1.0) == pytest.approx(expected, abs=1e-5)


def test_a_share_of_the_light_is_the_same_share_wherever() -> None:
    """An error of 1 in a white is 3/116 of its light; steps of lightness go by R^(-2/3), so it is R^(1/3) of that."""
    shape = shape_of(0.729, 0.216, 1.0)
    assert shape[0, 2] == pytest.approx(0.9, abs=1e-4)
    assert shape[1, 2] == pytest.approx(0.6, abs=1e-4)


def test_what_is_black_is_not_read_better_than_the_floor() -> None:
    """There lightness goes by 903.3 R, 23.4 times as fast as in a white (by 116/3): 0.04 x 23.4 = 0.93 of the noise."""
    assert np.sqrt(np.diag(shape_of(0.0, -0.001, 1.0)))[:2] == pytest.approx([0.9344] * 2, rel=1e-3)
