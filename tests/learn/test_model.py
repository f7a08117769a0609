"""A card as the fit sees it: exists for a reading in other units than it was made in, a wrong branch of the CIE cube
root, and coats whose scatter is not what sharing strokes makes of it.

Held against the colour room's own way from spectra to L*a*b* (CIE 015:2018), numbers worked by hand, and chance itself.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import (
    WAVELENGTHS_NM,
    display_matrix,
    spectrum_to_lab,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.learn.card.model import (
    Card,
    Eye,
    Window,
    as_lab,
    build_covariance,
    film_and_slope,
    ground_of_rgb,
    ground_of_spectrum,
    lab_eye,
    lightness_root,
    lightness_root_back,
    lightness_root_slope,
    photo_eye,
    spectrum_eye,
)

F64 = NDArray[np.float64]
WHITE, METAL = diffuse_film(), metal_film(MetalBase(flake_spread=0.3))
RED = 0.004 + 0.7 / (
    1.0 + np.exp((600.0 - WAVELENGTHS_NM) / 15.0)
)  # so dark in blue that the cube root is a line there


def seen(eye: Eye, spectrum: F64) -> F64:
    return eye.mix @ lightness_root(eye.take @ spectrum)


@pytest.mark.parametrize(("light", "observer"), [("D50", 2), ("A", 10)])
def test_an_instrument_reads_lab_against_its_own_white(light: str, observer: int) -> None:
    eye = lab_eye(light, observer)
    xyz = xyz_weights(light, observer_deg=observer) @ RED
    expected = xyz_to_lab(xyz, white_xyz=white_xyz(light, observer_deg=observer))
    np.testing.assert_allclose(seen(eye, RED), expected, atol=1e-9)
    assert (eye.count, eye.tone, eye.words) == (3, False, f"L*a*b* under {light}, {observer} deg")
    assert eye.lightness(np.array([41.0, 60.0, 30.0])) == 41.0


@pytest.mark.parametrize("light", ["D50", "A"])
def test_a_photo_reads_red_green_and_blue_as_lightnesses(light: str) -> None:
    """L* = 116 c^(1/3) - 16 of each, 903.3 c below 0.00886 (CIE 015:2018), 100 for white under every light."""
    eye = photo_eye(light)
    rgb = display_matrix(light) @ RED
    assert rgb.min() < 0.00886 < rgb.max()
    expected = np.where(rgb > 0.008856, 116.0 * np.cbrt(rgb) - 16.0, 24389.0 / 27.0 * rgb)
    np.testing.assert_allclose(seen(eye, RED), expected, atol=1e-9)
    np.testing.assert_allclose(seen(eye, np.ones(81)), 100.0)
    assert (eye.count, eye.tone, eye.words) == (3, True, f"a photo under {light}")
    assert eye.lightness(np.array([41.0, 60.0, 34.0])) == 45.0


def test_a_spectrum_is_read_as_lightness_at_every_wavelength() -> None:
    eye = spectrum_eye()
    np.testing.assert_allclose(seen(eye, np.full(81, 0.18)), 49.496, atol=5e-4)
    assert (eye.count, eye.tone) == (81, False)
    assert eye.lightness(np.linspace(20.0, 60.0, 81)) == pytest.approx(40.0)


def test_a_reading_has_as_many_numbers_as_the_eye_mixes() -> None:
    assert Eye(np.ones((5, 81)), np.ones((2, 5)), "two of five").count == 2


def test_the_cie_root_of_hand_worked_values() -> None:
    """L*/116 of 1, 18 % (49.496) and 0.4 % (903.296 x 0.004 = 3.6132), and the line carried on below nothing."""
    ratio, root = np.array([1.0, 0.18, 0.004, 0.0, -0.002]), np.array([100.0, 49.4961, 3.61318, 0.0, -1.80659]) / 116
    np.testing.assert_allclose(lightness_root(ratio), root, atol=1e-6)
    np.testing.assert_allclose(lightness_root_back(root), ratio, atol=1e-6)
    knee = (6 / 29) ** 3
    around = np.array([knee - 1e-9, knee, knee + 1e-9])
    np.testing.assert_allclose(lightness_root(around), 8 / 116, atol=1e-7)  # L* 8, from both sides
    np.testing.assert_allclose(lightness_root_back(lightness_root(around)), around, rtol=1e-12)


def test_the_slope_of_the_cie_root() -> None:
    ratio = np.array([1.7, 0.18, 0.009, 0.0085, 0.002, -0.1])
    slope = (lightness_root(ratio + 1e-7) - lightness_root(ratio - 1e-7)) / 2e-7
    np.testing.assert_allclose(lightness_root_slope(ratio), slope, rtol=1e-5)


@pytest.mark.parametrize("spectrum", [RED, np.linspace(0.003, 0.9, 81)], ids=["red", "rising"])
def test_every_reading_becomes_lab(spectrum: F64) -> None:
    """A photo's by the screen's colours, which are adapted to D65 from its own light; a spectrum's under D65."""
    plain, photo, whole = lab_eye("A", 2), photo_eye("A"), spectrum_eye()
    np.testing.assert_array_equal(as_lab(plain, seen(plain, spectrum)), seen(plain, spectrum))
    np.testing.assert_allclose(as_lab(photo, seen(photo, spectrum)), spectrum_to_lab(spectrum, light="A"), atol=1e-6)
    both = as_lab(whole, np.stack([seen(whole, spectrum), seen(whole, np.full(81, 0.18))]))
    np.testing.assert_allclose(both[0], seen(lab_eye("D65", 2), spectrum), atol=1e-9)
    np.testing.assert_allclose(both[1], [49.496, 0.0, 0.0], atol=5e-4)


def test_a_ground_shows_the_colour_it_was_given() -> None:
    ground = ground_of_rgb("base", METAL, np.array([0.62, 0.0, 0.41]), spread=0.07, words="measured")
    # What a bare ground shows is never quite black: at least half a percent of each part.
    np.testing.assert_allclose(display_matrix("D65") @ ground.bare(np.ones(3)), [0.62, 0.005, 0.41], atol=1e-9)
    gained = display_matrix("D65") @ ground.bare(np.array([0.5, 2.0, 1.5]))
    np.testing.assert_allclose(gained, [0.31, 0.01, 0.615], atol=1e-9)
    assert (ground.name, ground.film, ground.spread.tolist(), ground.words) == ("base", METAL, [0.07] * 3, "measured")


def test_a_ground_shows_the_spectrum_that_was_measured() -> None:
    ground = ground_of_spectrum("white", WHITE, RED, spread=0.03)
    np.testing.assert_allclose(ground.bare(np.ones(41)), RED)
    np.testing.assert_allclose(ground.bare(np.full(41, 1.2)), 1.2 * RED)
    # Its parts are 10 nm apart, each a tent to the next: less of the one at 430 nm is half as much less at 425 and 435.
    less = ground.bare(np.where(np.arange(380, 781, 10) == 430, 0.8, 1.0)) / RED
    assert less[8:13] == pytest.approx([1.0, 0.9, 0.8, 0.9, 1.0])
    assert np.delete(less, slice(8, 13)) == pytest.approx(np.ones(76))
    assert ground.spread.tolist() == [0.03] * 41


def test_a_window_is_sure_where_every_number_was_read() -> None:
    read, yes, no = np.array([50.0, 2.0, 3.0]), np.ones(3, dtype=bool), np.zeros(3, dtype=bool)
    assert Window("white", 1, 1.0, read, yes).sure
    assert Window("white", 1, 1.0, read, yes, at_most=no).sure
    assert not Window("white", 1, 1.0, read, yes, at_most=np.array([False, True, False])).sure
    assert not Window("white", 1, 1.0, read, np.array([True, True, False])).sure
    assert not Window("white", 1, 1.0, read, no, at_most=no).sure


def test_a_card_finds_its_grounds_by_name() -> None:
    grounds = tuple(
        ground_of_rgb(name, film, np.full(3, 0.5), spread=0.1) for name, film in (("white", WHITE), ("base", METAL))
    )
    card = Card(lab_eye("D65", 2), grounds, (), 0.35)
    assert card.ground("base") is grounds[1]
    assert card.ground("white") is grounds[0]


@pytest.mark.parametrize("film", [METAL, WHITE], ids=["metal", "white"])
def test_slopes_of_the_film(film) -> None:  # type: ignore[no-untyped-def]
    dye, bare = np.array([0.0, 0.013, 0.2, 1.7]), np.array([0.2, 0.61, 0.83, 0.4])
    value, over_dye, over_bare = film_and_slope(film, dye, bare)
    np.testing.assert_allclose(value, film.reflectance(dye, bare), rtol=1e-12)
    tiny = 1e-6
    by_bare = (film.reflectance(dye, bare + tiny) - film.reflectance(dye, bare - tiny)) / (2 * tiny)
    by_dye = (film.reflectance(dye + tiny, bare) - film.reflectance(dye - tiny, bare)) / (2 * tiny)
    np.testing.assert_allclose(over_bare, by_bare, rtol=1e-6)
    np.testing.assert_allclose(over_dye, by_dye, rtol=1e-6)


def test_steps_share_their_first_coats_when_masked() -> None:
    """Coats of 10 %: two steps have the scatter of as many coats in common as the lighter one has."""
    shared = build_covariance(np.array([3.0, 1.0, 2.5]), scatter=0.1, masked=True)
    np.testing.assert_allclose(shared, [[0.03, 0.01, 0.025], [0.01, 0.01, 0.01], [0.025, 0.01, 0.025]], atol=1e-9)
    alone = build_covariance(np.array([3.0, 1.0, 2.5]), scatter=0.1, masked=False)
    np.testing.assert_allclose(alone, np.diag([0.03, 0.01, 0.025]), atol=1e-9)


def test_one_load_sprayed_in_two_ways_still_has_a_root() -> None:
    """Two coats, and one of twice the strength: alike to the last digit, yet the fit needs a Cholesky root."""
    root = np.linalg.cholesky(build_covariance(np.array([2.0, 2.0]), scatter=0.1, masked=True))
    np.testing.assert_allclose(root @ root.T, 0.02, atol=1e-9)


def test_coats_of_another_strength_scatter_as_coats_and_share_none() -> None:
    """Of one mix 1 and 3 coats; of one three times as strong 1 coat, 2 coats: 10 % a coat, times its strength."""
    rng = np.random.default_rng(8)
    weak, strong = (1.0 + 0.1 * rng.standard_normal((200_000, count)) for count in (3, 2))
    loads = [weak.sum(axis=1), 3.0 * strong[:, 0], weak[:, 0], 3.0 * strong.sum(axis=1)]
    strengths = np.array([1.0, 3.0, 1.0, 3.0])
    expected = build_covariance(np.array([3.0, 3.0, 1.0, 6.0]), scatter=0.1, masked=True, strengths=strengths)
    np.testing.assert_allclose(np.cov(loads), expected, atol=2e-3)
    assert expected[0, 1] == 0.0
    alone = build_covariance(np.array([3.0, 6.0]), scatter=0.1, masked=False, strengths=np.array([1.0, 3.0]))
    np.testing.assert_allclose(alone, [[0.03, 0.0], [0.0, 0.18]], atol=1e-9)


def test_that_is_what_chance_makes_of_coats_that_scatter() -> None:
    coats = 1.0 + 0.1 * np.random.default_rng(5).standard_normal((200_000, 4))
    steps = np.cumsum(coats, axis=1)[:, [3, 0, 1]]
    expected = build_covariance(np.array([4.0, 1.0, 2.0]), scatter=0.1, masked=True)
    np.testing.assert_allclose(np.cov(steps.T), expected, atol=3e-4)
