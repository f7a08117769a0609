"""What a card tells of its dye: how far each step is off, its doubts and what to do next."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.card import CardSetting, assumed_ground
from layerpreview.learn.changed import Drift
from layerpreview.learn.fit import DyeFit, fit_dye
from layerpreview.learn.mirror import find_mirror, stated_of, told
from layerpreview.learn.model import Card, Ground, Lab, as_lab, lab_pair
from layerpreview.learn.next_step import Aim, NextWindow, card_aims, next_windows
from layerpreview.learn.same_card import ReadAgain

F64 = NDArray[np.float64]

FLAKE_SPREADS = (0.1, 0.2, 0.3, 0.4, 0.5)


def fit_with_flake_spread(card_of: Callable[[CardSetting], Card], setting: CardSetting) -> tuple[CardSetting, DyeFit]:
    """Fit with several flake spreads and keep the one that explains both backgrounds best: the white anchors it."""
    first = fit_dye(card_of(setting))
    costs = {setting: first.cost}
    for spread in FLAKE_SPREADS:
        tried = replace(setting, flake_spread=spread)
        if tried != setting:
            costs[tried] = fit_dye(card_of(tried), near=first).cost
    best = min(costs, key=lambda tried: costs[tried])
    return best, first if best == setting else fit_dye(card_of(best))


CardOf = Callable[[CardSetting], Card]


@dataclass(frozen=True)
class Asked:
    """What is said of a card, in numbers, with what was assumed: `load_mg_m2` [mg/m2] of pure dye in one coat."""

    setting: CardSetting
    spread_known: bool
    load_mg_m2: float
    concentrate_g_per_L: float | None
    notes: tuple[str, ...]


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

    `builds` by step: coats as they came out (5 %, likely, 95 %); `load_per_coat_mg_m2`, `tested_from_mg_m2` and
    `tested_to_mg_m2` [mg/m2] of pure dye. `absorptivity` [L/(g cm)] (81,), with its 90 % range; `fit` all of the fit;
    `rests_on` where it is from; `found` in a photo; `mirror_share` [0..1] of the light was taken off readings. `drift`
    from an earlier dye file and what was `read_again` after the clear, where either was asked for.
    """

    name: str
    steps: tuple[StepPair, ...]
    builds: dict[int, tuple[float, float, float]]
    misfit: float
    ambiguous: float
    flake_spread: float
    load_per_coat_mg_m2: float
    tested_from_mg_m2: float
    tested_to_mg_m2: float
    notes: tuple[str, ...]
    next_windows: tuple[NextWindow, ...]
    heaviest_coats: float
    concentrate_g_per_L: float | None
    rests_on: str
    absorptivity: F64 = field(repr=False)
    low: F64 = field(repr=False)
    high: F64 = field(repr=False)
    fit: DyeFit = field(repr=False)
    found: CardFound | None = field(default=None, repr=False)
    mirror_share: float = 0.0
    drift: Drift | None = field(default=None, repr=False)
    read_again: ReadAgain | None = field(default=None, repr=False)


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
    setting, fit, mirror_words = settled(card_of, asked)
    per_load = 1.0 / (1e-4 * asked.load_mg_m2)
    best, low, high = (per_load * values for values in (fit.absorbance10, fit.low, fit.high))
    return Fitted(
        name=name,
        steps=tuple(pairs_of(fit.card, fit.fitted)),
        builds={step: (build.low, build.likely, build.high) for step, build in fit.builds.items()},
        misfit=fit.misfit,
        ambiguous=fit.ambiguous,
        flake_spread=setting.flake_spread,
        load_per_coat_mg_m2=asked.load_mg_m2,
        tested_from_mg_m2=fit.lightest_load * asked.load_mg_m2,
        tested_to_mg_m2=fit.heaviest_load * asked.load_mg_m2,
        notes=tuple(
            dict.fromkeys([*notes, *fit.card.notes, *asked.notes, *mirror_words, *_doubts(fit, setting, asked)])
        ),
        next_windows=next_windows(fit, aims=aims or card_aims(fit), elsewhere=unread(fit, setting)),
        heaviest_coats=fit.heaviest_load,
        concentrate_g_per_L=asked.concentrate_g_per_L,
        rests_on=_rests_on(fit, source),
        absorptivity=best,
        low=low,
        high=high,
        fit=fit,
        found=found,
        mirror_share=setting.mirror if found is None else 0.0,
    )


def unread(fit: DyeFit, setting: CardSetting) -> list[Ground]:
    """White or base where the card had it not, as far as it can be told without: a grey of the usual lightness."""
    read = {ground.name for ground in fit.card.grounds}
    return [assumed_ground(name, setting) for name in ("white", "base") if name not in read]


def settled(card_of: CardOf, asked: Asked) -> tuple[CardSetting, DyeFit, list[str]]:
    """The setting that explains a card best, its fit, and what is to be said of the mirror image in its readings."""
    setting, first = _fit_spread(card_of, asked)
    stated = stated_of(setting.geometry)
    share, fit = find_mirror(lambda tried: card_of(replace(setting, mirror_share=tried)), first, stated)
    if share == stated.share:
        return setting, first, []
    # What a wrong mirror image did to the spread of the flakes is found anew.
    setting, fit = _fit_spread(card_of, replace(asked, setting=replace(setting, mirror_share=share)))
    return setting, fit, told(share, fit, first, stated)


def _fit_spread(card_of: CardOf, asked: Asked) -> tuple[CardSetting, DyeFit]:
    card = card_of(asked.setting)
    both = {"white", "base"} <= {ground.name for ground in card.grounds}
    if asked.spread_known or asked.setting.base_kind != "metal" or not both:
        return asked.setting, fit_dye(card)
    return fit_with_flake_spread(card_of, asked.setting)


def pairs_of(card: Card, predicted: F64, *, name: str = "") -> list[StepPair]:
    """Every window, measured and fitted (N, m); a channel that was left out is shown as fitted."""
    out = []
    for window, fitted in zip(card.windows, predicted, strict=True):
        limit = window.at_most if window.at_most is not None else np.zeros(fitted.shape, dtype=bool)
        read = np.where(window.trusted & ~limit, window.read, fitted)
        words = "bare" if window.load == 0 else f"{window.load:g} coat{'s' if window.load != 1 else ''}"
        out.append(StepPair(window.ground, words, *lab_pair(as_lab(card.eye, read), as_lab(card.eye, fitted)), name))
    return sorted(out, key=lambda pair: pair.background, reverse=True)


def _doubts(fit: DyeFit, setting: CardSetting, asked: Asked) -> list[str]:
    said = [f"look again: {line}" for line in fit.strained]
    if fit.ambiguous > 0.1:
        said.append(
            f"two unlike spectra explain the card ({100 * (1 - fit.ambiguous):.0f} % this one): see the next step"
        )
    if not asked.spread_known and setting.base_kind == "metal":
        both = len(fit.card.grounds) > 1
        how = "found from the two backgrounds" if both else "assumed"
        said.append(f"flake spread {setting.flake_spread:g}: {how}")
    return said


def _rests_on(fit: DyeFit, source: str) -> str:
    steps = len(fit.builds)
    grounds = " and ".join(ground.name for ground in fit.card.grounds)
    return f"fitted to {source}: {steps} steps over {grounds}, {fit.card.eye.words}; misfit {fit.misfit:.1f}"
