"""What became of a dye, in words and for JSON: a new bottle beside an earlier one, a card before and after clear."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from layerpreview.colour import visibility
from layerpreview.learn.tell.changed import CHANCE, Changed, Drift
from layerpreview.learn.tell.fitted import Fitted
from layerpreview.learn.tell.same_card import ReadAgain, WindowChange
from layerpreview.units import Range

_SCATTER = 1.5  # misfit of the differences above which no change of the dye explains them
_BARE_SCATTER = 1.5  # CIEDE2000 by which two readings of one bare window may well differ: assumed


def compared_words(fitted: Fitted) -> list[str]:
    """Lines on what the card was compared with; none where it was not."""
    drift = [] if fitted.drift is None else _drift_words(fitted.drift)
    return drift if fitted.read_again is None else [*drift, *_again_words(fitted.read_again)]


def compared_document(fitted: Fitted) -> dict[str, object]:
    """The same for JSON: keys `earlier` and `after_clear`, only where they were asked for."""
    out: dict[str, object] = {}
    if (drift := fitted.drift) is not None:
        use = {"used": drift.used, "use": drift.use, "unit": drift.unit}
        out["earlier"] = {"dye": drift.earlier, **_changed_document(drift.changed), **use, "notes": drift.notes}
    if (again := fitted.read_again) is not None:
        windows = {"windows": again.windows, "bare": again.bare, "misfit": again.misfit}
        out["after_clear"] = {"differs": again.differs, **_changed_document(again.changed), **windows}
    return out


def _changed_document(changed: Changed) -> dict[str, object]:
    return {
        "strength": changed.strength,
        "strength_sure": changed.strength_sure,
        "strength_differs": changed.stronger_or_weaker,
        "hue_sure": changed.hue_sure,
        "hue_differs": changed.other_hue,
        "hue_words": changed.hue_words,
        "left_de00": changed.mean_left_de00,
        "colours": changed.colours,
    }


def _drift_words(drift: Drift) -> list[str]:
    changed, use = drift.changed, drift.use
    lines = [f"  beside {drift.earlier}:"]
    if changed.stronger_or_weaker:
        spread = f"{use.low:.3g} to {use.high:.3g}"
        lines.append(f"    this bottle is {_by(changed.strength)}, {_sure(changed.strength_sure)}: use")
        lines[-1] += f" {use.likely:.3g} {drift.unit} ({spread}) where you used {drift.used:.3g}"
    else:
        lines.append(f"    as strong as the earlier bottle, within the doubt ({_hint(changed)}): mix as before")
    lines.append(f"    {_hue(changed, 'strength cannot mend that')}")
    return [*lines, *(f"    note: {note}" for note in drift.notes)]


def _again_words(again: ReadAgain) -> list[str]:
    changed = again.changed
    lines = ["  after the clear beside before it:"]
    if changed.stronger_or_weaker:
        lines.append(f"    the dye is {_by(changed.strength)}, {_sure(changed.strength_sure)}")
    else:
        lines.append(f"    the dye is as strong as before, within the doubt ({_hint(changed)})")
    lines.append(f"    {_hue(changed, 'that is what will be seen')}")
    if again.differs:
        lines.append(f"    most {_where(again.windows)}")
        lines.append(f"    {_what_to_do(changed)}")
    lines += [f"    the clear alone: {_bare(bare)}" for bare in again.bare]
    if again.misfit > _SCATTER:
        worst = max(again.windows, key=lambda window: window.de00)
        lines.append(
            f"    look again: windows changed {again.misfit:.1f} times as unevenly as readings scatter, most "
            f"{worst.load:g} coats over {worst.background} ({worst.de00:.1f} CIEDE2000)"
        )
    return [*lines, "    the dye file is of the readings after the clear, which is what will be seen"]


def _by(times: Range) -> str:
    """ "8 % weaker (5 to 11 %)"; both ways where the range holds both."""
    if (times.low - 1.0) * (times.high - 1.0) > 0.0:
        ends = sorted(100.0 * abs(end - 1.0) for end in (times.low, times.high))
        return f"{_way(times.likely)} ({ends[0]:.0f} to {ends[1]:.0f} %)"
    return f"{_way(times.likely)}; 90 % range {_way(times.low)} to {_way(times.high)}"


def _hint(changed: Changed) -> str:
    """A change that is not told, with what it lacks where its 90 % range leaves no room for none."""
    by, asked = _by(changed.strength), 100.0 * (1.0 - CHANCE)
    if (changed.strength.low - 1.0) * (changed.strength.high - 1.0) > 0.0:
        return f"perhaps {by}, but {100.0 * changed.strength_sure:.0f} % sure where {asked:g} are asked for"
    return by


def _way(times: float) -> str:
    percent = f"{100.0 * abs(times - 1.0):.0f}"
    return "no difference" if percent == "0" else f"{percent} % {'stronger' if times > 1.0 else 'weaker'}"


def _sure(sure: float) -> str:
    return "surer than 99 %" if sure > 0.99 else f"{100.0 * sure:.0f} % sure"


def _hue(changed: Changed, so: str) -> str:
    left = f"{changed.mean_left_de00:.1f} CIEDE2000 left at equal strength"
    if not changed.other_hue:
        return f"the same hue within the doubt ({left})"
    worst = changed.worst_left
    most = f"at most {worst.de00:.1f}, {worst.load:g} coats over {worst.ground}"
    matters = "too little to be seen" if visibility(worst.de00) == "not visible" else so
    return f"{_listed(changed.hue_words)}, {_sure(changed.hue_sure)}: {left}, {most}; {matters}"


def _where(windows: tuple[WindowChange, ...]) -> str:
    """Over which ground, and in pale or heavy steps, an unchanged dye is furthest from what was read."""
    middle = float(np.median([window.load for window in windows]))
    groups: dict[str, list[float]] = {}
    for window in windows:
        steps = "pale" if window.load <= middle else "heavy"
        groups.setdefault(f"over {window.background}, in the {steps} steps", []).append(window.de00)
    means = {words: float(np.mean(steps)) for words, steps in groups.items()}
    words = max(means, key=lambda key: means[key])
    return f"{words} ({means[words]:.1f} CIEDE2000 from an unchanged dye, elsewhere from {min(means.values()):.1f})"


def _listed(words: Sequence[str]) -> str:
    *most, last = words
    return f"{', '.join(most)} and {last}" if most else last


def _what_to_do(changed: Changed) -> str:
    if changed.stronger_or_weaker and changed.strength.likely < 1.0:
        return "colour may have gone into the clear (bleeding): seal with a thin coat first, and read again"
    if changed.stronger_or_weaker:
        # White light from a matt face looks like less dye; only spectra tell the two apart.
        return "it looks deeper than dry (wet-out), or was matt before: judge cards and panels under clear, or wet"
    return "it turns under the clear: judge colour under clear, or try another clear or a sealer between"


def _bare(bare: WindowChange) -> str:
    if bare.de00 < _BARE_SCATTER:
        return f"bare {bare.background} as before, within what readings scatter ({bare.de00:.1f} CIEDE2000)"
    (l_1, a_1, b_1), (l_2, a_2, b_2) = bare.expected_lab, bare.read_lab
    steps = f"L* {l_2 - l_1:+.1f}, a* {a_2 - a_1:+.1f}, b* {b_2 - b_1:+.1f}"
    return f"bare {bare.background} moves by {bare.de00:.1f} CIEDE2000 ({steps})"
