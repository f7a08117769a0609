"""How far apart two colours look."""

from __future__ import annotations

from typing import Final

import numpy as np

from layerpreview.colour.tables import Array
from layerpreview.errors import InputError, Problem

JUST_SEEN_DE00: Final = 0.8
"""Half of the observers see a difference (table: Paravina et al., J. Esthet. Restor. Dent. 27 S1, 2015)."""

NOT_ACCEPTED_DE00: Final = 1.8
"""Half of the observers no longer accept a difference (same table)."""


def delta_e_2000(lab_1: Array, lab_2: Array) -> Array:
    """Return the CIEDE2000 colour difference, with kL = kC = kH = 1.

    lab_1, lab_2: (..., 3) CIE L*a*b*, broadcast against each other. Returns (...), 0 or more; nan stays nan.
    Symmetric in its arguments. Made for flat colours side by side: over effect finishes it is a guide only.
    Formula: ISO/CIE 11664-6:2014; Sharma, Wu & Dalal, Col. Res. Appl. 30, 21-30 (2005),
    doi 10.1002/col.20070.

    >>> float(delta_e_2000(np.array([50.0, 2.5, 0.0]), np.array([58.0, 24.0, 15.0])).round(4))
    19.4535
    """
    l_1, a_1, b_1 = np.moveaxis(np.asarray(lab_1, dtype=np.float64), -1, 0)
    l_2, a_2, b_2 = np.moveaxis(np.asarray(lab_2, dtype=np.float64), -1, 0)
    # Near-neutral colours get a stretched a*, by the mean chroma of the pair.
    stretch = 1.5 - 0.5 * _saturation((np.hypot(a_1, b_1) + np.hypot(a_2, b_2)) / 2)
    c_1, c_2 = np.hypot(stretch * a_1, b_1), np.hypot(stretch * a_2, b_2)
    hue_1, hue_2 = _hue_deg(stretch * a_1, b_1), _hue_deg(stretch * a_2, b_2)

    # The turn goes the short way round; exactly 180 stays, so that swapping the two only changes its sign.
    turn = hue_2 - hue_1
    turn = np.where(np.abs(turn) <= 180, turn, (turn + 180) % 360 - 180)
    # A grey has no hue of its own, which needs no care: with one chroma 0 everything hue goes into is 0.
    hue = _mean_hue_deg(hue_1, hue_2)

    light, chroma = (l_1 + l_2) / 2, (c_1 + c_2) / 2
    d_light = (l_2 - l_1) / (1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2))
    d_chroma = (c_2 - c_1) / (1 + 0.045 * chroma)
    d_hue = 2 * np.sqrt(c_1 * c_2) * _sin(turn / 2) / (1 + 0.015 * chroma * _hue_weight(hue))
    twist = -2 * _saturation(chroma) * _sin(60 * np.exp(-(((hue - 275) / 25) ** 2)))
    # Below 0 by rounding only: the twist is too small to make the form negative.
    square: Array = np.maximum(d_light**2 + d_chroma**2 + d_hue**2 + twist * d_chroma * d_hue, 0.0)
    delta_e: Array = np.sqrt(square)
    return delta_e


def metric_de00(lab: Array) -> Array:
    """Return how CIEDE2000 grows about colours: of a small step d in L*a*b* it is the root of d' M d.

    lab: (..., 3) CIE L*a*b*. Returns M (..., 3, 3), symmetric, positive; nan stays nan. From the differences that
    `delta_e_2000` finds over steps of 0.01 through the colour, by the polarisation identity.

    >>> metric_de00(np.array([50.0, 0.0, 0.0])).round(2).diagonal().tolist()
    [1.0, 2.25, 1.0]
    """
    step, axes = 0.01, np.eye(3)
    lab = np.asarray(lab, dtype=np.float64)[..., None, None, :]
    both = step * (axes[:, None, :] + axes[None, :, :])  # (3, 3, 3): the sum of two axes, twice one on the diagonal
    square = (delta_e_2000(lab - both / 2, lab + both / 2) / step) ** 2
    alone = np.diagonal(square, axis1=-2, axis2=-1) / 4.0
    metric: Array = (square - alone[..., :, None] - alone[..., None, :]) / 2.0
    return metric


def visibility(delta_e: float) -> str:
    """Say in words whether a CIEDE2000 difference shows: "not visible", "may be seen" or "visible".

    delta_e: 0 or more. Below 0.8 at most half of the observers see anything, above 1.8 at least half object.
    The limits come from flat samples side by side; a soft-edged stripe shows less: the words are on the safe
    side.
    Raises InputError for a negative value or nan.

    >>> [visibility(step) for step in (0.5, 1.2, 2.5)]
    ['not visible', 'may be seen', 'visible']
    """
    if not delta_e >= 0:
        raise InputError(Problem("a colour difference is a number from 0 up", field="delta_e", value=str(delta_e)))
    if delta_e < JUST_SEEN_DE00:
        return "not visible"
    return "may be seen" if delta_e <= NOT_ACCEPTED_DE00 else "visible"


def _saturation(chroma: Array) -> Array:
    seventh = chroma**7
    root: Array = np.sqrt(seventh / (seventh + 25.0**7))
    return root


def _hue_deg(a: Array, b: Array) -> Array:
    hue: Array = np.degrees(np.arctan2(b, a)) % 360
    return hue


def _mean_hue_deg(hue_1: Array, hue_2: Array) -> Array:
    """Mean of two hues on the short way round."""
    total = hue_1 + hue_2
    across = np.abs(hue_1 - hue_2) > 180
    return np.where(across, np.where(total < 360, total + 360, total - 360), total) / 2


def _hue_weight(hue_deg: Array) -> Array:
    weight: Array = (
        1
        - 0.17 * _cos(hue_deg - 30)
        + 0.24 * _cos(2 * hue_deg)
        + 0.32 * _cos(3 * hue_deg + 6)
        - 0.20 * _cos(4 * hue_deg - 63)
    )
    return weight


def _sin(angle_deg: Array) -> Array:
    value: Array = np.sin(np.radians(angle_deg))
    return value


def _cos(angle_deg: Array) -> Array:
    value: Array = np.cos(np.radians(angle_deg))
    return value
