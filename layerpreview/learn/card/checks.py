"""Cards that cannot be fitted, told in a line each: too few steps, or steps that get lighter with more dye."""

from __future__ import annotations

from itertools import pairwise

from layerpreview.errors import InputError, Problem
from layerpreview.learn.card.model import Card, Window

_LIGHTER = 6.0  # times the noise by which a step with more dye may be lighter before its order is doubted


def check_card(card: Card) -> None:
    """Refuse a card that cannot be fitted: too few steps, or steps that get lighter."""
    problems = []
    if len({window.load for window in card.windows if window.load > 0}) < 2:
        remedy = "read at least two steps, better five: 1, 2, 3, 4, 6 coats"
        problems.append(Problem("fewer than two steps: strength and shape cannot be told apart", remedy))
    problems += order_problems(card)
    if problems:
        raise InputError(problems)


def order_problems(card: Card) -> list[Problem]:
    """Where a card gets lighter with more dye, over each of its grounds."""
    return [
        problem
        for ground in card.grounds
        for problem in _order_problems([window for window in card.windows if window.ground == ground.name], card)
    ]


def _order_problems(windows: list[Window], card: Card) -> list[Problem]:
    """More dye is never lighter: else the steps are in the wrong order, or the card lies upside down."""
    found = []
    ordered = sorted((w for w in windows if w.sure), key=lambda w: w.load)
    for thin, thick in pairwise(ordered):
        lighter = (card.eye.lightness(thick.read) - card.eye.lightness(thin.read)) / card.noise
        if thick.load > thin.load and lighter > _LIGHTER:
            text = f"over {thin.ground} the card gets lighter from {thin.load:g} to {thick.load:g} coats"
            remedy = "check the order of the steps, and which way up the card lies"
            found.append(Problem(text, remedy, line=thick.line))
    return found
