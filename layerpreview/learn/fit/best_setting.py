"""The setting that explains a card best: the flake spread of its silver, and the mirror image in its readings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from layerpreview.learn.card.model import Card
from layerpreview.learn.card.setting import CardSetting, stated_of
from layerpreview.learn.fit.mirror import find_mirror, told
from layerpreview.learn.fit.one_card import DyeFit, fit_dye

FLAKE_SPREADS = (0.1, 0.2, 0.3, 0.4, 0.5)

CardOf = Callable[[CardSetting], Card]
"""Puts a card together in a setting."""


@dataclass(frozen=True)
class Asked:
    """What is said of a card, in numbers, with what was assumed: `load_mg_m2` [mg/m2] of pure dye in one coat."""

    setting: CardSetting
    spread_known: bool
    load_mg_m2: float
    concentrate_g_per_L: float | None
    notes: tuple[str, ...]


def best_setting(card_of: CardOf, asked: Asked) -> tuple[CardSetting, DyeFit, list[str]]:
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
