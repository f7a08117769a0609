"""What a card taught in words: how near the fit is, between which loads it was tested, which windows come next."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import visibility
from layerpreview.learn.tell.fitted import Fitted
from layerpreview.learn.tell.next_step import ENOUGH_DE00, LITTLE_DE00, NextWindow
from layerpreview.output.changed_words import compared_words
from layerpreview.scheme.dyefile import GUESS_BEYOND

F64 = NDArray[np.float64]


def tested_words(fitted: Fitted) -> str:
    """Between which loads the card tells, and where guessing begins."""
    low, high = fitted.tested_from_mg_m2, fitted.tested_to_mg_m2
    guess = f"below {low / GUESS_BEYOND:.3g} and beyond {GUESS_BEYOND * high:.3g} it is a guess"
    coats = f"{low / fitted.load_per_coat_mg_m2:.3g} to {fitted.heaviest_coats:.3g} coats of this mix"
    return f"tested from {low:.3g} to {high:.3g} mg/m2 of pure dye ({coats}); {guess}"


def fitted_text(fitted: Fitted) -> str:
    """What to show a person: misfit of each step, builds, how far to trust it, what to spray next."""
    lines = [
        *fitted_words(fitted),
        "  coats' worth on each step as it really came out (90 % range):",
    ]
    for step, (low, likely, high) in fitted.builds.items():
        lines.append(f"    step {step}: {likely:.2f} ({low:.2f} to {high:.2f})")
    lines += compared_words(fitted)
    lines += [f"  note: {note}" for note in fitted.notes]
    return "\n".join([*lines, *next_words(fitted), ""])


def fitted_words(fitted: Fitted) -> list[str]:
    """How near the fit comes to what was read, and between which loads it was tested; a line each."""
    worst, mean = fitted.worst, fitted.mean_de00
    of_card = f" of {worst.card}" if worst.card else ""
    return [
        f"{fitted.name}: {len(fitted.builds)} steps, fitted to {mean:.1f} CIEDE2000 on average ({visibility(mean)})",
        f"  worst: {worst.words} over {worst.background}{of_card}, {worst.de00:.1f} ({visibility(worst.de00)})",
        f"  {tested_words(fitted)}",
    ]


def next_words(fitted: Fitted) -> list[str]:
    """The windows of a next card and what they would narrow, or that none is needed; a line each."""
    lines = [
        f"  next best window: {best.window.words} "
        f"(doubt of colours {best.doubt_before_de00:.2f} -> {best.doubt_after_de00:.2f} CIEDE2000)"
        for best in worthwhile(fitted)
    ]
    doubt = fitted.next_windows[0].doubt_before_de00
    if doubt > LITTLE_DE00:
        lines.insert(
            0, f"  look again: this tells next to nothing of the dye, its colours stay open by {doubt:.0f} CIEDE2000"
        )
    return lines or [f"  no further card is needed: it could narrow {doubt:.2f} CIEDE2000, less than anyone sees"]


def worthwhile(fitted: Fitted) -> tuple[NextWindow, ...]:
    """The next windows, where there is doubt enough to be worth a card."""
    doubtful = fitted.next_windows[0].doubt_before_de00 >= ENOUGH_DE00
    return fitted.next_windows if doubtful else ()


def next_columns(fitted: Fitted) -> str:
    """The columns of a card with a bare one and the next windows, as `card --coats` reads them; "" for no card."""
    windows = sorted((best.window for best in worthwhile(fitted)), key=lambda window: window.load)
    return ",".join(["0", *(window.typed for window in windows)]) if windows else ""
