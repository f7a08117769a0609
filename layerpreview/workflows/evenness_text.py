"""The figures of `evenness` in words, and what it advises as lines for a terminal."""

from __future__ import annotations

from layerpreview.answers.advice import MOST_COATS, OVERLAPS, Advice, Trial
from layerpreview.colour import JUST_SEEN_DE00, NOT_ACCEPTED_DE00

HELPS_DE00 = 0.05
"""A smaller step of the figure is not seen in its one decimal."""


def stripes_words(de00: float) -> str:
    """A stripe figure to one decimal, never rounded across a threshold that its verdict goes by.

    >>> stripes_words(1.36), stripes_words(0.796), stripes_words(0.8)
    ('1.4', 'under 0.8', '0.8')
    """
    shown = f"{de00:.1f}"
    over = any(de00 < threshold <= float(shown) for threshold in (JUST_SEEN_DE00, NOT_ACCEPTED_DE00))
    return f"under {shown}" if over else shown


def advice_lines(a: Advice, hand: str) -> list[str]:
    """The fan's own ripple, the entry that matters most, and what of all that was tried would help.

    `hand`: the hand in words.
    """
    ripple = f"Fan and overlap alone leave a ripple of {100 * a.fan_ripple_now:.1f} % in a coat"
    if a.fan_ripple_best < a.fan_ripple_now:
        ripple += f", at {100 * a.fan_best_overlap:.0f} % overlap it would be {100 * a.fan_ripple_best:.1f} %"
    now = f"As it stands: {_came_out(a.now)} with {hand}."
    if a.now.stripes_de00 < JUST_SEEN_DE00:
        return [f"{ripple}.", f"{now} Keep it."]
    matters = (
        f"{now} Entry {a.order} ({a.what}) matters most: with it laid perfectly even, stripes would be "
        f"{stripes_words(a.even_de00)}."
    )
    tried = [trial for trial in (a.coats, a.overlap, a.both) if trial]
    if tried:
        return [f"{ripple}.", f"{matters} The same colour with", *(f"  {_option(t, a)}" for t in tried)]
    return [f"{ripple}.", matters, *_no_way(a)]


def _no_way(a: Advice) -> list[str]:
    limits = f"up to {MOST_COATS} coats, {100 * OVERLAPS[-1]:.0f} % overlap"
    gain = a.now.stripes_de00 - a.best.stripes_de00 if a.best else 0.0
    if a.best is None or gain < HELPS_DE00:
        return [f"Nothing tried ({limits}) helps: steady the hand first."]
    lines = [f"Nothing tried ({limits}) gets below what is seen. The best for the least work:"]
    lines.append(f"  {_option(a.best, a)}, {gain:.1f} less")
    if a.remains == a.order:
        return [*lines, f"What remains is still mostly entry {a.order}: steady the hand there."]
    return [*lines, f"What remains is mostly entry {a.remains} ({a.remains_what})."]


def _option(trial: Trial, a: Advice) -> str:
    coats = f"{trial.coats} coat{'s' if trial.coats > 1 else ''} of entry {a.order} at "
    strength = "the same strength" if trial.strength == 1.0 else f"{trial.strength:.2g} times the strength"
    everywhere = " everywhere" if trial.overlap != a.now.overlap else ""
    return f"{coats}{strength}, {100 * trial.overlap:.3g} % overlap{everywhere}: {_came_out(trial)}"


def _came_out(trial: Trial) -> str:
    return f"stripes {stripes_words(trial.stripes_de00)} ({trial.verdict})"
