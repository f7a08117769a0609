"""The mirror image in readings: exists for one that is found where there is none, or missed where there is, or taken
off without a word.

The way there is held against valleys whose floors are known, and then against simulated cards with a mirror image laid
on: a constant share of the light at every wavelength, as a gloss face adds it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from layerpreview.colour import DISPLAY_WHITE_XYZ, WAVELENGTHS_NM, lab_to_xyz, xyz_to_lab
from layerpreview.errors import InputError, Problem
from layerpreview.learn.card.setting import Card, CardSetting, Stated, card_of_readings, stated_of
from layerpreview.learn.fit import mirror as mirror_module
from layerpreview.learn.fit.best_setting import Asked
from layerpreview.learn.fit.mirror import find_mirror, told
from layerpreview.learn.fit.one_card import DyeFit
from layerpreview.learn.read.readings import Kind, Readings
from layerpreview.learn.tell.fitted import fitted_of

from .simulated import Truth, random_truth, readings_of

SIX = [SimpleNamespace(load=load) for load in (0.0, 1.0, 2.0, 4.0, 2.0, 4.0)]
NONE = Stated(0.0, 0.02)


def fit_of(share: float, *, floor: float, steep: float, misfit: float = 1.0, windows: list[Any] = SIX) -> DyeFit:
    """A fit whose cost is a valley over the share."""
    card = SimpleNamespace(windows=windows, eye=SimpleNamespace(tone=False), share=share)
    seen = (WAVELENGTHS_NM > 415) & (WAVELENGTHS_NM < 685)
    absorbance = np.where(seen, np.linspace(0.1, 0.5, 81) * (1.0 + 10.0 * share), 0.9)
    cost = 100.0 + steep * (share - floor) ** 2
    return cast(DyeFit, SimpleNamespace(card=card, cost=cost, misfit=misfit, absorbance10=absorbance))


def search(monkeypatch: pytest.MonkeyPatch, stated: Stated = NONE, most: float = 1.0, **valley: Any) -> float:
    """The share that is found in a valley, where more than `most` leaves less than nothing of a reading."""

    def card_of(share: float) -> Card:
        if share > most:
            raise InputError(Problem("darker than its own mirror reflection"))
        return cast(Card, share)

    monkeypatch.setattr(mirror_module, "fit_dye", lambda share, near=None: fit_of(share, **valley))
    return find_mirror(card_of, fit_of(stated.share, **valley), stated)[0]


def test_the_least_of_readings_and_geometry_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """40 000 (s - 0.05)^2 and (s / 0.02)^2 = 2500 s^2: least at 2000 / 42 500 = 0.0471. With 4 % +- 1 % stated, 10 000
    (s - 0.04)^2, from nothing in the readings: (0 + 400) / 50 000 = 0.008."""
    assert search(monkeypatch, floor=0.05, steep=40_000.0) == pytest.approx(0.047)
    assert search(monkeypatch, stated_of("d/8 included"), floor=0.0, steep=40_000.0) == pytest.approx(0.008)


def test_a_rough_card_must_say_it_more_clearly(monkeypatch: pytest.MonkeyPatch) -> None:
    """The valley is 100 deep; at a misfit of 3 that counts as 11, less what the geometry says: not enough (12)."""
    valley: dict[str, Any] = {"floor": 0.05, "steep": 40_000.0}
    assert search(monkeypatch, **valley, misfit=2.0) == pytest.approx(0.04)
    assert search(monkeypatch, **valley, misfit=3.0) == 0.0


def test_where_readings_cannot_tell_the_geometry_is_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    deep: dict[str, Any] = {"floor": 0.05, "steep": 40_000.0}
    assert search(monkeypatch, floor=0.05, steep=5000.0) == 0.0
    assert search(monkeypatch, **deep, windows=SIX[:5]) == 0.0
    assert search(monkeypatch, **deep, windows=[w for w in SIX if w.load != 4.0] * 2) == 0.0  # two steps


def test_the_share_lies_between_none_and_seven_percent(monkeypatch: pytest.MonkeyPatch) -> None:
    assert search(monkeypatch, floor=0.12, steep=40_000.0) == pytest.approx(0.07)
    assert search(monkeypatch, stated_of("d/8 included"), floor=-0.05, steep=40_000.0) == 0.0
    # Readings that hold only 3 % at their darkest.
    assert search(monkeypatch, floor=0.05, steep=40_000.0, most=0.03) == pytest.approx(0.03)


@pytest.mark.parametrize(
    ("geometry", "share"), [("even", 0.0), ("45/0", 0.0), ("d/8 excluded", 0.0), ("d/8 included", 0.04)]
)
def test_what_a_geometry_says(geometry: str, share: float) -> None:
    """((1.5 - 1) / 2.5)^2 = 4 % of the light by Fresnel, where it is included."""
    assert stated_of(geometry).share == CardSetting(geometry=geometry).mirror == share
    assert CardSetting(geometry=geometry, mirror_share=0.023).mirror == 0.023


def test_what_was_found_is_said_with_its_effect() -> None:
    """The fits made up here absorb 1 + 10 times the share: 43 % more at 4.3 %; what the eye hardly sees is left out."""
    first, fit = (fit_of(share, floor=0.0, steep=0.0, misfit=m) for share, m in ((0.0, 3.21), (0.043, 1.04)))
    assert told(0.0, first, first, NONE) == []
    assert told(0.043, fit, first, NONE) == [
        "your readings seem to hold 4.3 % of mirror image (the geometry says none); it was taken off: misfit 3.2 "
        "became 1.0, the dye comes out 43 % stronger"
    ]
    assert "(the geometry says 4 %)" in told(0.01, fit, first, stated_of("d/8 included"))[0]
    assert told(0.01, first, fit, NONE)[0].endswith("the dye comes out 30 % weaker")


def with_mirror(readings: Readings, share: float) -> Readings:
    def shiny(values: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        if readings.kind == "spectrum":
            return values + share
        xyz = lab_to_xyz(values, white_xyz=DISPLAY_WHITE_XYZ) + share * DISPLAY_WHITE_XYZ
        return np.asarray(xyz_to_lab(xyz, white_xyz=DISPLAY_WHITE_XYZ))

    rows = [replace(row, values=tuple(shiny(np.array(row.values)).tolist())) for row in readings.rows]
    return replace(readings, rows=tuple(rows))


@pytest.fixture(scope="module")
def dark() -> Callable[[Kind], tuple[Truth, Readings]]:
    """A dye that takes all light but a percent somewhere at six coats, so that a mirror image shows."""

    def make(kind: Kind) -> tuple[Truth, Readings]:
        rng = np.random.default_rng(7000)
        truth = random_truth(rng)
        return truth, readings_of(truth, rng, kind)

    return make


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["lab", "spectrum"])
@pytest.mark.parametrize(("geometry", "share"), [("d/8 excluded", 0.043), ("d/8 included", 0.012)])
def test_a_mirror_image_laid_on_is_found(dark, kind: Kind, geometry: str, share: float) -> None:  # type: ignore[no-untyped-def]
    truth, readings = dark(kind)
    shiny = with_mirror(readings, share)
    asked = Asked(CardSetting(geometry=geometry), True, 100.0, None, ())
    found = fitted_of(lambda s: card_of_readings(shiny, s), asked, name="amber", source="card", notes=())
    (said,) = [note for note in found.notes if "mirror" in note]
    assert said.startswith("your readings seem to hold ")
    assert found.mirror_share == pytest.approx(share, abs=0.008)
    if kind == "spectrum":
        strong = truth.absorbance10 > 0.3 * truth.absorbance10.max()
        inside = (found.low < 100.0 * truth.absorbance10) & (100.0 * truth.absorbance10 < found.high)
        assert inside[strong].mean() > 0.8


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["lab", "spectrum"])
def test_none_is_found_where_there_is_none(dark, kind: Kind) -> None:  # type: ignore[no-untyped-def]
    _, readings = dark(kind)
    asked = Asked(CardSetting(), True, 100.0, None, ())
    found = fitted_of(lambda s: card_of_readings(readings, s), asked, name="amber", source="card", notes=())
    assert found.mirror_share == 0.0
    assert not any("mirror" in note for note in found.notes)
