"""What is told of a card's dye, from a fit made up by hand: amounts, words and doubts are those of the fit.

The mistakes these exist for: a unit off by a power of ten, low taken for high, a channel that was left out shown as
read, a doubt that is kept to oneself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from layerpreview.colour import DISPLAY_WHITE_XYZ, delta_e_2000, xyz_to_lab
from layerpreview.film import MetalFilm, diffuse_film
from layerpreview.learn.card.model import Card, Eye, Ground, Window, ground_of_rgb, lab_eye, lightness_root, photo_eye
from layerpreview.learn.card.setting import CardSetting
from layerpreview.learn.fit import best_setting as setting_module
from layerpreview.learn.fit.best_setting import Asked, fit_with_flake_spread
from layerpreview.learn.fit.one_card import DyeFit
from layerpreview.learn.read.columns import Column
from layerpreview.learn.tell import fitted as fitted_module
from layerpreview.learn.tell.fitted import Fitted, Found, fitted_of
from layerpreview.learn.tell.next_step import Aim, NextWindow
from layerpreview.units import Range

SURE = np.ones(3, dtype=bool)
NM = 81


def window(ground: str, load: float, read: Sequence[float], **how: Any) -> Window:
    return Window(ground, 0, load, np.array(read, dtype=float), how.pop("trusted", SURE), **how)


WINDOWS = (
    window("base", 0.0, (62, 1, 2)),
    window("white", 1.0, (81, 12, 30)),
    window("base", 2.5, (40, 14, 25)),
    window("white", 0.0, (94, 0, 1)),
)
FITTED = np.array([[62.5, 1, 2], [79, 13, 32], [41, 13, 27], [94, 0, 1]])


def card_with(windows: Sequence[Window], eye: Eye | None = None, grounds: Sequence[str] = ("white", "base")) -> Card:
    held = tuple(ground_of_rgb(name, diffuse_film(), np.full(3, 0.7), spread=0.02) for name in grounds)
    return Card(eye or lab_eye("D65", 2), held, tuple(windows), 0.35, notes=("said of the card", "said twice"))


def made_up(card: Card, fitted: np.ndarray = FITTED, **how: Any) -> DyeFit:  # type: ignore[type-arg]
    """A fit whose numbers are all different."""
    absorbance = np.linspace(0.1, 0.5, NM)
    held: dict[str, Any] = {
        "card": card,
        "absorbance10": absorbance,
        "low": 0.8 * absorbance,
        "high": 1.3 * absorbance,
        "doubt": np.zeros((NM, 1)),
        "builds": {1: Range(0.9, 1.02, 1.1), 2: Range(2.3, 2.6, 2.8)},
        "state": np.zeros(1),
        "cost": 1.0,
        "fitted": fitted,
        "misfit": 1.46,
        "noise_used": 0.35,
        "ambiguous": 0.0,
        "strained": (),
    }
    return DyeFit(**held | how)


ASKED = Asked(CardSetting(), True, 250.0, 30.0, ("said of the mix",))


def told(monkeypatch: pytest.MonkeyPatch, fit: DyeFit, asked: Asked = ASKED, **how: Any) -> Fitted:
    windows = (NextWindow(Column(3, 1, "base"), 2.0, 1.5), NextWindow(Column(1, 0.5, "white"), 1.5, 1.0))
    monkeypatch.setattr(setting_module, "fit_dye", lambda card, near=None: replace(fit, card=card))
    monkeypatch.setattr(fitted_module, "next_windows", how.pop("windows", lambda *_, **__: windows))
    notes = ["said while reading", "said twice"]
    return fitted_of(lambda _: fit.card, asked, name="amber", source="card.csv", notes=notes, **how)


def test_amounts_are_those_of_the_mix(monkeypatch: pytest.MonkeyPatch) -> None:
    """250 mg/m2 in a coat are 0.25 g on 10 000 cm2, as much as 0.025 g/L through 1 cm: A = 0.3 is 12 L/(g cm)."""
    found = told(monkeypatch, made_up(card_with(WINDOWS)))
    middle = NM // 2
    assert found.absorptivity[middle] == pytest.approx(12.0)
    assert found.low[middle] == pytest.approx(9.6)
    assert found.high[middle] == pytest.approx(15.6)
    assert found.absorptivity[0] == pytest.approx(4.0)
    assert (found.load_per_coat_mg_m2, found.tested_to_mg_m2, found.heaviest_coats) == (250.0, 625.0, 2.5)
    assert found.builds == {1: (0.9, 1.02, 1.1), 2: (2.3, 2.6, 2.8)}
    assert (found.name, found.misfit, found.flake_spread, found.concentrate_g_per_L) == ("amber", 1.46, 0.3, 30.0)
    assert found.rests_on == "fitted to card.csv: 2 steps over white and base, L*a*b* under D65, 2 deg; misfit 1.5"
    assert found.notes == ("said while reading", "said twice", "said of the card", "said of the mix")
    assert found.found is None


def test_the_next_windows_are_asked_for_what_will_be_sprayed(monkeypatch: pytest.MonkeyPatch) -> None:
    """One coat, half of the heaviest window and all of it, by daylight and by lamp light; or the aims given."""
    asked: list[Sequence[Aim]] = []
    wanted = (NextWindow(Column(6), 2.0, 1.4), NextWindow(Column(2), 1.4, 1.1))

    def windows(fit: DyeFit, *, aims: Sequence[Aim], elsewhere: Sequence[Ground]) -> tuple[NextWindow, NextWindow]:
        asked.append(aims)
        return wanted

    found = told(monkeypatch, made_up(card_with(WINDOWS)), windows=windows)
    assert found.next_windows == wanted
    loads, lights = (1.0, 1.25, 2.5), ("D65", "A")
    assert [(aim.load, aim.light) for aim in asked[0]] == 2 * [(load, light) for load in loads for light in lights]
    own = [replace(asked[0][0], load=1.7)]
    told(monkeypatch, made_up(card_with(WINDOWS)), windows=windows, aims=own)
    assert asked[1] == own


def test_a_background_that_was_not_read_may_be_on_the_next_card(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is a grey of the usual lightness under the film that the card's own base would have."""
    seen: list[Sequence[Ground]] = []

    def windows(fit: DyeFit, *, aims: Sequence[Aim], elsewhere: Sequence[Ground]) -> tuple[NextWindow, ...]:
        seen.append(elsewhere)
        return ()

    both = card_with(WINDOWS)
    white = replace(both, grounds=(both.ground("white"),), windows=tuple(w for w in WINDOWS if w.ground == "white"))
    told(monkeypatch, made_up(both), windows=windows)
    told(monkeypatch, made_up(white, fitted=FITTED[[1, 3]]), windows=windows)
    assert seen[0] == []
    (base,) = seen[1]
    assert base.name == "base"
    assert isinstance(base.film, MetalFilm)
    np.testing.assert_allclose(base.bare(np.ones(3)), 0.65, rtol=1e-3)


def test_every_window_is_shown_white_first(monkeypatch: pytest.MonkeyPatch) -> None:
    pairs = told(monkeypatch, made_up(card_with(WINDOWS))).steps
    assert [(pair.background, pair.words, pair.measured_lab, pair.fitted_lab) for pair in pairs] == [
        ("white", "1 coat", (81, 12, 30), (79, 13, 32)),
        ("white", "bare", (94, 0, 1), (94, 0, 1)),
        ("base", "bare", (62, 1, 2), (62.5, 1, 2)),
        ("base", "2.5 coats", (40, 14, 25), (41, 13, 27)),
    ]
    for pair in pairs:
        assert pair.de00 == pytest.approx(delta_e_2000(np.array(pair.measured_lab), np.array(pair.fitted_lab)))


def test_what_was_left_out_of_a_photo_is_shown_as_fitted(monkeypatch: pytest.MonkeyPatch) -> None:
    """A clipped red and a buried blue say nothing: red and blue are the fit's, only green is the photo's."""
    read, fitted = (116.0 * lightness_root(np.array(rgb)) for rgb in ((0.9, 0.3, 0.01), (0.7, 0.33, 0.04)))
    windows = (
        window("white", 1.0, read, trusted=np.array([False, True, True]), at_most=np.array([False, False, True])),
        window("base", 1.0, read, at_most=np.array([False, False, False])),
    )
    pairs = told(monkeypatch, made_up(card_with(windows, photo_eye("D50")), np.stack([fitted, fitted]))).steps

    def lab(*rgb: float) -> tuple[float, ...]:
        """L*a*b* of linear sRGB, its matrix by IEC 61966-2-1."""
        matrix = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
        return tuple(xyz_to_lab(np.array(matrix) @ rgb, white_xyz=DISPLAY_WHITE_XYZ))

    assert pairs[0].measured_lab == pytest.approx(lab(0.7, 0.3, 0.04), abs=0.05)
    assert pairs[1].measured_lab == pytest.approx(lab(0.9, 0.3, 0.01), abs=0.05)
    assert pairs[0].fitted_lab == pairs[1].fitted_lab == pytest.approx(lab(0.7, 0.33, 0.04), abs=0.05)


def added(found: Fitted) -> list[str]:
    """What is said beyond what was handed in."""
    return [note for note in found.notes if not note.startswith("said")]


def test_stretched_assumptions_are_passed_on(monkeypatch: pytest.MonkeyPatch) -> None:
    fit = made_up(card_with(WINDOWS), strained=("step 2 holds more", "the bare white"))
    assert added(told(monkeypatch, fit)) == ["look again: step 2 holds more", "look again: the bare white"]


@pytest.mark.parametrize(("ambiguous", "said"), [(0.09, False), (0.11, True)])
def test_two_spectra_that_do_are_said_from_one_in_ten_on(
    monkeypatch: pytest.MonkeyPatch, ambiguous: float, said: bool
) -> None:
    words = "two unlike spectra explain the card (89 % this one): see the next step"
    found = told(monkeypatch, made_up(card_with(WINDOWS), ambiguous=ambiguous))
    assert added(found) == ([words] if said else [])
    assert found.ambiguous == ambiguous


@pytest.mark.parametrize(
    ("grounds", "base_kind", "known", "said"),
    [
        (("white", "base"), "metal", False, ["flake spread 0.3: found from the two backgrounds"]),
        (("base",), "metal", False, ["flake spread 0.3: assumed"]),
        (("white", "base"), "metal", True, []),
        (("white", "base"), "wood", False, []),
    ],
)
def test_where_the_flake_spread_is_from_is_said(
    monkeypatch: pytest.MonkeyPatch, grounds: tuple[str, ...], base_kind: str, known: bool, said: list[str]
) -> None:
    asked = replace(ASKED, setting=CardSetting(base_kind=base_kind), spread_known=known)
    assert added(told(monkeypatch, made_up(card_with(WINDOWS, grounds=grounds)), asked)) == said


@pytest.mark.parametrize(
    ("grounds", "base_kind", "known", "sought"),
    [
        (("white", "base"), "metal", False, True),
        (("white", "base"), "metal", True, False),
        (("white", "base"), "wood", False, False),
        (("white",), "metal", False, False),
        (("base",), "metal", False, False),
    ],
)
def test_the_flake_spread_is_sought_where_two_backgrounds_can_tell_it(
    monkeypatch: pytest.MonkeyPatch, grounds: tuple[str, ...], base_kind: str, known: bool, sought: bool
) -> None:
    fit = made_up(card_with(WINDOWS, grounds=grounds))
    tried = []

    def card_of(setting: CardSetting) -> Card:
        tried.append(setting.flake_spread)
        return fit.card

    asked = replace(ASKED, setting=CardSetting(base_kind=base_kind), spread_known=known)
    monkeypatch.setattr(setting_module, "fit_dye", lambda card, near=None: fit)
    monkeypatch.setattr(fitted_module, "next_windows", lambda *_, **__: ())
    fitted_of(card_of, asked, name="amber", source="card.csv", notes=())
    assert (set(tried) == {0.1, 0.2, 0.3, 0.4, 0.5}) is sought
    assert sought or tried == [0.3]


@pytest.mark.parametrize("true", [0.1, 0.2, 0.24, 0.3, 0.4, 0.5])
@pytest.mark.parametrize("first", [0.25, 0.3])
def test_the_flake_spread_that_fits_best_is_kept(monkeypatch: pytest.MonkeyPatch, true: float, first: float) -> None:
    """From very even to very coarse flakes in five steps, and the one that was asked for: the nearest to the card's.
    All but the first begin at its solution; the one kept is fitted once more on its own."""
    card = card_with(WINDOWS)
    begun = []

    def card_of(setting: CardSetting) -> Card:
        return replace(card, tone_spread=setting.flake_spread)  # a place to write it on

    def fit_dye(card: Card, near: DyeFit | None = None) -> DyeFit:
        begun.append((card.tone_spread, None if near is None else near.card.tone_spread))
        return made_up(card, cost=abs(card.tone_spread - true))

    monkeypatch.setattr(setting_module, "fit_dye", fit_dye)
    setting, fit = fit_with_flake_spread(card_of, CardSetting(flake_spread=first, light="A"))
    near = {0.24: 0.25 if first == 0.25 else 0.2}.get(true, true)
    assert setting == CardSetting(flake_spread=near, light="A")
    assert fit.card.tone_spread == near
    others = [(spread, first) for spread in (0.1, 0.2, 0.3, 0.4, 0.5) if spread != first]
    assert begun == [(first, None), *others, *([(near, None)] if near != first else [])]


def test_a_fit_is_shown_without_its_tables(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = repr(told(monkeypatch, made_up(card_with(WINDOWS))))
    assert "amber" in shown
    for table in ("absorptivity=", "low=", "high=", "found="):
        assert table not in shown
    assert not Found(np.zeros((4, 2)), "an area").left_out
