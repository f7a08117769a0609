"""Windows that were read again and again: one window with their mean, and how far its readings lie apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from layerpreview.errors import InputError, Problem
from layerpreview.learn.card.model import Window

MOST_WINDOWS = 120
"""Windows of one card that are not alike; the time of a fit grows with their square, and a frame has 14."""


def averaged(windows: Sequence[Window], *, file: str = "") -> list[Window]:
    """Return the windows with those that got the same coats over the same ground as one; its `repeats` keep all.

    The mean of n readings is known better by the root of n, and of a linear model it tells the unknowns all that the
    readings do; what the readings say of their own noise stays in `repeats`. A reading of which a part is not trusted
    stays by itself. Raises InputError where more than MOST_WINDOWS are left.
    """
    groups: dict[tuple[str, int, float, int], list[Window]] = {}
    for number, window in enumerate(windows):
        groups.setdefault((window.ground, window.step, window.load, -1 if window.sure else number), []).append(window)
    if len(groups) > MOST_WINDOWS:
        rule = f"{len(groups):,} windows that are not alike; one card may have {MOST_WINDOWS}"
        remedy = "readings of one window need one number of coats; leave out windows, or make it several cards"
        raise InputError(Problem(rule, remedy, file, list(groups.values())[MOST_WINDOWS][0].line))
    return [_one_of(group) for group in groups.values()]


def _one_of(group: list[Window]) -> Window:
    if len(group) == 1:
        return group[0]
    read = np.stack([window.read for window in group])
    mean = read.mean(axis=0)
    factor = group[0].noise_factor / float(np.sqrt(len(group)))
    return replace(group[0], read=mean, noise_factor=factor, repeats=read - mean)
