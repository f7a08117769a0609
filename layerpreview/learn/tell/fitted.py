"""What a card tells of its dye: how far each step is off, its doubts and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.card.model import Card, Ground, Lab, as_lab, lab_pair
from layerpreview.learn.card.setting import CardSetting, assumed_ground
from layerpreview.learn.fit.best_setting import Asked, CardOf, best_setting
from layerpreview.learn.fit.one_card import DyeFit
from layerpreview.learn.tell.changed import Drift
from layerpreview.learn.tell.next_step import Aim, NextWindow, card_aims, next_windows
from layerpreview.learn.tell.same_card import ReadAgain

F64 = NDArray[np.float64]
Ends = tuple[float, float, float]


@dataclass(frozen=True)
class StepPair:
    """One window: what was read and what the model gives, L*a*b*, and how far apart they are; `card` where several."""

    background: str
    words: str
    measured_lab: Lab
    fitted_lab: Lab
    de00: float
    card: str = ""


@dataclass(frozen=True, eq=False)
class Found:
    """One area of the frame in the photo: its corners [px] (4, 2), words, and whether it was left out."""

    corners_px: F64
    words: str
    left_out: bool = False


@dataclass(frozen=True, eq=False)
class CardFound:
    """A photo of a card as it was read: its pixels (8 bit), the areas, and what was odd.

    `chart_left_out_de00`: mean CIEDE2000 of a chart's patches, each told from the others; None without a chart.
    """

    pixels: NDArray[np.uint8]
    areas: tuple[Found, ...]
    notes: tuple[str, ...]
    chart_left_out_de00: float | None = None


@dataclass(frozen=True, eq=False)
class Fitted:
    """What was learnt of the dye `name`.

    `builds` by step: coats as they came out (5 %, likely, 95 %); `load_per_coat_mg_m2` [mg/m2] of pure dye; `fit` all
    of the fit; `rests_on` where it is from; `found` in a photo; `mirror_share` [0..1] of the light was taken off
    readings. `drift` from an earlier dye file and what was `read_again` after the clear, where either was asked for.
    """

    name: str
    steps: tuple[StepPair, ...]
    builds: dict[int, Ends]
    flake_spread: float
    load_per_coat_mg_m2: float
    notes: tuple[str, ...]
    next_windows: tuple[NextWindow, ...]
    concentrate_g_per_L: float | None
    rests_on: str
    fit: DyeFit = field(repr=False)
    found: CardFound | None = field(default=None, repr=False)
    mirror_share: float = 0.0
    drift: Drift | None = field(default=None, repr=False)
    read_again: ReadAgain | None = field(default=None, repr=False)

    @property
    def misfit(self) -> float:
        """Residuals over the stated noise, root mean square."""
        return self.fit.misfit

    @property
    def ambiguous(self) -> float:
        """Share [0..1] of belief in spectra unlike this one."""
        return self.fit.ambiguous

    @property
    def tested_from_mg_m2(self) -> float:
        """The lightest load of pure dye read [mg/m2]."""
        return self.fit.lightest_load * self.load_per_coat_mg_m2

    @property
    def tested_to_mg_m2(self) -> float:
        """The heaviest load of pure dye read [mg/m2]."""
        return self.fit.heaviest_load * self.load_per_coat_mg_m2

    @property
    def heaviest_coats(self) -> float:
        """The same in coats of the card's mix."""
        return self.fit.heaviest_load

    @property
    def absorptivity(self) -> F64:
        """Absorptivity (81,) [L/(g cm)], decadic, above 0."""
        return self._per_coat * self.fit.absorbance10

    @property
    def low(self) -> F64:
        """The lower end (81,) of its 90 % range."""
        return self._per_coat * self.fit.low

    @property
    def high(self) -> F64:
        """The upper end (81,) of its 90 % range."""
        return self._per_coat * self.fit.high

    @property
    def _per_coat(self) -> float:
        """Absorptivity [L/(g cm)] over the absorbance of one coat: 1 mg/m2 is 1e-4 g/L through 1 cm."""
        return 1.0 / (1e-4 * self.load_per_coat_mg_m2)

    @property
    def mean_de00(self) -> float:
        """How far fitted and measured are apart, mean of all windows [CIEDE2000]."""
        return sum(pair.de00 for pair in self.steps) / len(self.steps)

    @property
    def worst(self) -> StepPair:
        """The window that is furthest off."""
        return max(self.steps, key=lambda pair: pair.de00)


def fitted_of(
    card_of: CardOf,
    asked: Asked,
    *,
    name: str,
    source: str,
    notes: Sequence[str],
    found: CardFound | None = None,
    aims: Sequence[Aim] = (),
) -> Fitted:
    """Fit the dye on the card that `card_of` makes of a setting. Raises NoAnswerError where that fails.

    `source`: what the card was read from, in a few letters; `notes`: what was said while it was read. `aims`:
    the colours that the next card is to serve, those the card itself stands for where none are given.
    """
    setting, fit, mirror_words = best_setting(card_of, asked)
    doubts = [*unsure(fit), *_spread_words(fit, setting, asked)]
    return Fitted(
        name=name,
        steps=tuple(pairs_of(fit.card, fit.fitted)),
        builds={step: (build.low, build.likely, build.high) for step, build in fit.builds.items()},
        flake_spread=setting.flake_spread,
        load_per_coat_mg_m2=asked.load_mg_m2,
        notes=tuple(dict.fromkeys([*notes, *fit.card.notes, *asked.notes, *mirror_words, *doubts])),
        next_windows=next_windows(fit, aims=aims or card_aims(fit), elsewhere=unread(fit, setting)),
        concentrate_g_per_L=asked.concentrate_g_per_L,
        rests_on=_rests_on(fit, source),
        fit=fit,
        found=found,
        mirror_share=setting.mirror if found is None else 0.0,
    )


def unread(fit: DyeFit, setting: CardSetting) -> list[Ground]:
    """White or base where the card had it not, as far as it can be told without: a grey of the usual lightness."""
    read = {ground.name for ground in fit.card.grounds}
    return [assumed_ground(name, setting) for name in ("white", "base") if name not in read]


def pairs_of(card: Card, predicted: F64, *, name: str = "") -> list[StepPair]:
    """Every window, measured and fitted (N, m); a channel that was left out is shown as fitted."""
    out = []
    for window, fitted in zip(card.windows, predicted, strict=True):
        limit = window.at_most if window.at_most is not None else np.zeros(fitted.shape, dtype=bool)
        read = np.where(window.trusted & ~limit, window.read, fitted)
        words = "bare" if window.load == 0 else f"{window.load:g} coat{'s' if window.load != 1 else ''}"
        words += f", mean of {window.times} readings" if window.times > 1 else ""
        out.append(StepPair(window.ground, words, *lab_pair(as_lab(card.eye, read), as_lab(card.eye, fitted)), name))
    return sorted(out, key=lambda pair: pair.background, reverse=True)


def look_again(strained: Sequence[str]) -> list[str]:
    """What is to be said of assumptions that were stretched."""
    return [f"look again: {line}" for line in strained]


def unsure(fit: DyeFit, *, card: str = "the card", then: str = ": see the next step") -> list[str]:
    """What is to be said of a fit that was stretched, or that unlike spectra explain nearly as well."""
    said = look_again(fit.strained)
    if fit.ambiguous > 0.1:
        said.append(f"two unlike spectra explain {card} ({100 * (1 - fit.ambiguous):.0f} % this one){then}")
    return said


def _spread_words(fit: DyeFit, setting: CardSetting, asked: Asked) -> list[str]:
    if asked.spread_known or setting.base_kind != "metal":
        return []
    how = "found from the two backgrounds" if len(fit.card.grounds) > 1 else "assumed"
    return [f"flake spread {setting.flake_spread:g}: {how}"]


def _rests_on(fit: DyeFit, source: str) -> str:
    steps = len(fit.builds)
    grounds = " and ".join(ground.name for ground in fit.card.grounds)
    return f"fitted to {source}: {steps} steps over {grounds}, {fit.card.eye.words}; misfit {fit.misfit:.1f}"
