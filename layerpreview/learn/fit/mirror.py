"""The share of mirror image that readings hold: an instrument's "excluded" is not always so."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.errors import InputError
from layerpreview.learn.card.model import Card
from layerpreview.learn.card.setting import Stated
from layerpreview.learn.fit.one_card import DyeFit, fit_dye

_SHARES = tuple(round(0.01 * k, 2) for k in range(8))
_ENOUGH = 12.0
"""How much better readings must be explained, as a chi-square of one: chance does that once in 2000 cards."""
_MIDDLE = (WAVELENGTHS_NM >= 420.0) & (WAVELENGTHS_NM <= 680.0)  # what the eye sees most of
_STEPS, _WINDOWS = 3, 6  # fewer say nothing of it


def find_mirror(card_of: Callable[[float], Card], first: DyeFit, stated: Stated) -> tuple[float, DyeFit]:
    """The share, 0 to 0.07, that explains a card best, and the fit with it; the stated one where readings cannot tell.

    `card_of` makes the card less a share of mirror image; `first` is the fit of the stated one. Every hundredth is
    tried, and the least of a parabola through the best is taken where it explains the readings far better than the
    stated share does, each misfit measured in what is left over at the best.
    """
    card = first.card
    if len({w.load for w in card.windows if w.load}) < _STEPS or len(card.windows) < _WINDOWS or card.eye.tone:
        return stated.share, first
    fits = {stated.share: first}
    for share in _SHARES:
        if share not in fits:
            try:
                fits[share] = fit_dye(card_of(share), near=first)
            except InputError:  # less than nothing would be left of a reading
                break
    rough = max(1.0, min(fit.misfit for fit in fits.values()))
    costs = {s: fit.cost / rough**2 + ((s - stated.share) / stated.spread) ** 2 for s, fit in fits.items()}
    if costs[stated.share] - min(costs.values()) < _ENOUGH:
        return stated.share, first
    share = _least(costs)
    return share, fit_dye(card_of(share))


def _least(costs: dict[float, float]) -> float:
    """Where a parabola through the least cost and its neighbours is least, to a thousandth."""
    shares = sorted(costs)
    middle = min(max(shares.index(min(costs, key=lambda s: costs[s])), 1), len(shares) - 2)
    near = shares[middle - 1 : middle + 2]
    bend, slope, _ = np.polyfit(near, [costs[s] for s in near], 2)
    return round(float(np.clip(-slope / (2.0 * bend), near[0], near[-1])), 3)


def told(share: float, fit: DyeFit, first: DyeFit, stated: Stated) -> list[str]:
    """What was found and what it changes, in words; nothing where the stated share was kept."""
    if share == stated.share:
        return []
    change = 100.0 * (fit.absorbance10[_MIDDLE].sum() / first.absorbance10[_MIDDLE].sum() - 1.0)
    meant = f"{100 * stated.share:.0f} %" if stated.share else "none"
    return [
        f"your readings seem to hold {100 * share:.1f} % of mirror image (the geometry says {meant}); it was taken "
        f"off: misfit {first.misfit:.1f} became {fit.misfit:.1f}, the dye comes out {abs(change):.0f} % "
        f"{'stronger' if change > 0 else 'weaker'}"
    ]
