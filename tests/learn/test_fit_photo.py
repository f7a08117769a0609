"""A phone photo of the card must be enough: the whole way from a picture to a dye, through a camera that never was."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000
from layerpreview.errors import InputError
from layerpreview.learn.card.model import lab_eye, photo_eye
from layerpreview.learn.card.setting import CardSetting, card_of_photo
from layerpreview.learn.fit.one_card import fit_dye, predict
from layerpreview.learn.read.chart import chart_boxes, chart_fit
from layerpreview.learn.read.frame import find_card
from layerpreview.learn.read.frame_read import patch_means, read_card_photo

from .card_pictures import camera, frame_photo
from .simulated import METAL, STEPS, each_window, photo_card, random_truth
from .test_fit import true_reading

D65 = lab_eye("D65", 2)


def errors(cards: int, *, grey: bool) -> list[float]:
    found = []
    for seed in range(cards):
        rng = np.random.default_rng(5000 + seed)
        truth = random_truth(rng)
        fit = fit_dye(photo_card(truth, rng, grey=grey, light="D50"))
        for load in (1.3, 3.4):
            guess = predict(fit, film=METAL, bare=truth.metal, load=load, eye=D65)
            right = true_reading(METAL, truth.metal, load * truth.absorbance10, D65)
            found.append(float(delta_e_2000(guess.read, right)))
    return found


@pytest.mark.slow
def test_photos_in_daylight_with_a_grey_card() -> None:
    # About what is just seen, 0.8: our own choice, no source; tests/bench/bench_fit.py photo does 200 dyes, here five.
    found = errors(5, grey=True)
    assert np.median(found) < 1.0
    assert max(found) < 4.0


@pytest.mark.slow
def test_without_a_grey_card_the_tone_is_guessed_and_the_loss_said() -> None:
    found = errors(3, grey=False)
    assert np.median(found) < 2.5
    rng = np.random.default_rng(1)
    card = photo_card(random_truth(rng), rng, grey=False, light="D50")
    assert card.tone_spread > 0
    assert any("trust the strength less" in note for note in card.notes)


@pytest.mark.slow
def test_overexposed_windows_are_left_out_not_trusted() -> None:
    rng = np.random.default_rng(11)
    truth = random_truth(rng)
    eye = photo_eye("D50")
    colours = {(name, coats): eye.take @ spectrum for name, coats, spectrum in each_window(truth)}
    colours["base", 1] = np.array([1.6, 1.5, 0.4])  # a lamp mirrored in the window: two channels blown out
    picture = frame_photo(colours, rng, exposure=0.9)
    photo = read_card_photo(picture, find_card(picture), grey_reflectance=0.18)
    assert any("column 1 over base" in note and "overexposed" in note for note in photo.notes)
    card = card_of_photo(photo, CardSetting(light="D50"), (0, *STEPS))
    window = next(w for w in card.windows if w.ground == "base" and w.load == 1)
    assert not window.trusted[0]
    assert not window.trusted[1]


@pytest.mark.slow
def test_columns_that_were_not_sprayed_are_not_read() -> None:
    rng = np.random.default_rng(4)
    truth = random_truth(rng)
    eye = photo_eye("D50")
    colours = {(name, n): eye.take @ spectrum for name, n, spectrum in each_window(truth) if n <= 3}
    picture = frame_photo(colours, rng)
    photo = read_card_photo(picture, find_card(picture), grey_reflectance=0.18)
    card = card_of_photo(photo, CardSetting(light="D50"), (0, 1, 2, 3))
    assert sorted({window.load for window in card.windows}) == [0, 1, 2, 3]


@pytest.fixture
def chart_photo(colour_science):  # type: ignore[no-untyped-def]
    def photo(*, power: float, mixing: np.ndarray, exposure: float = 0.8):  # type: ignore[no-untyped-def]
        spectra = colour_science.SDS_COLOURCHECKERS["ISO 17321-1"].values()
        take = photo_eye("D50").take
        light = np.full((480, 640, 3), 0.1)
        for i, spectrum in enumerate(spectra):
            row, column = divmod(i, 6)
            rgb = take @ np.interp(WAVELENGTHS_NM, spectrum.wavelengths, spectrum.values)
            light[40 + 100 * row : 140 + 100 * row, 20 + 100 * column : 120 + 100 * column] = mixing @ rgb
        rng = np.random.default_rng(2)
        cast = (1.0, 1.0, 1.0)
        return camera(light, rng, exposure=exposure, cast=cast, power=power, vignette=0.0, noise=0.01, quality=None)

    return photo


def test_a_chart_gives_contrast_and_undoes_the_mixing_of_colours(chart_photo) -> None:  # type: ignore[no-untyped-def]
    # Rows that sum to one: a camera whose colours are mixed up but whose white is white.
    mixing = np.array([[0.86, 0.10, 0.04], [0.05, 0.90, 0.05], [0.02, 0.13, 0.85]])
    found = chart_fit(patch_means(chart_photo(power=1.1, mixing=mixing), chart_boxes(20, 40, 600, 400)), light="D50")
    assert found.power == pytest.approx(1.1, abs=0.03)
    assert found.error_de00 < 1.0
    np.testing.assert_allclose(found.matrix @ mixing, np.eye(3), atol=0.05)


def test_a_chart_that_is_not_one_is_refused(chart_photo) -> None:  # type: ignore[no-untyped-def]
    picture = chart_photo(power=1.0, mixing=np.eye(3))
    upside_down = patch_means(picture, chart_boxes(20, 40, 600, 400))[::-1]
    with pytest.raises(InputError, match="brown"):
        chart_fit(upside_down, light="D50")
    blown = chart_photo(power=1.0, mixing=np.eye(3), exposure=9.0)
    with pytest.raises(InputError, match="patches can be read"):
        chart_fit(patch_means(blown, chart_boxes(20, 40, 600, 400)), light="D50")
