"""What light leaves of a dye: the absorbed-light law of fading, and exposures from light-fastness steps. Rough.

A transparent coat loses dye in proportion to the light it absorbs: deep coats lose it steadily and hardly change, pale
ones slow down as they fade but change more (Whitmore & Bailie, J. Am. Inst. Conservation 36, 207-230 (1997)). In closed
form, with H the exposure: 10^A - 1 = (10^A0 - 1) e^(-k H).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.preview.paint import absorptivity_on_grid
from layerpreview.scheme import Scheme

F64 = NDArray[np.float64]

STEPS = range(1, 9)
FIRST_STEP_MLX_H = 0.4
"""Exposure to noticeable fading of blue wool step 1, without ultraviolet [Mlx h] (Michalski 1990, as quoted by the
Museum of Fine Arts' materials database)."""
PER_STEP = {"textile": 2.0, "museum": (900.0 / 0.4) ** (1.0 / 7.0)}
"""How much more each step stands: about twice by the definition of the blue wool steps, three times by the fading data
(900 Mlx h for step 8)."""
_LN10 = math.log(10.0)
NOTICED_LOSS, NOTICED_AT = 0.10, 1.0
"""Noticeable is taken as a tenth of the dye lost from a coat of peak absorbance 1 (assumed)."""


def faded_absorbance10(absorbance10: ArrayLike, *, k_h: float) -> F64:
    """Absorbance left after an exposure of `k_h` = k H [>= 0], log10(1 + (10^A0 - 1) e^-kH); any shape.

    >>> faded_absorbance10([0.3, 2.0], k_h=1.0).round(5).tolist()
    [0.13549, 1.5731]
    """
    start = np.asarray(absorbance10, dtype=np.float64)
    return np.log10(1.0 + (np.power(10.0, start) - 1.0) * math.exp(-k_h))


def exposure_k_h(step: int, *, exposure_Mlx_h: float, scale: str) -> float:
    """k H of a dye of blue wool `step` [1..8] after an exposure [Mlx h], by the "textile" or the "museum" scale.

    Raises ValueError for a step or scale that is not there or a negative exposure.
    """
    if step not in STEPS:
        raise ValueError(f"the light-fastness step is {step}: blue wool steps run from 1 (poor) to 8")
    if scale not in PER_STEP:
        raise ValueError(f"the scale is {scale!r}: it must be {' or '.join(PER_STEP)}")
    if not exposure_Mlx_h >= 0.0:
        raise ValueError(f"the exposure is {exposure_Mlx_h:g} Mlx h: it must be 0 or more")
    noticed_Mlx_h = FIRST_STEP_MLX_H * math.pow(PER_STEP[scale], step - 1)
    start, left = NOTICED_AT, NOTICED_AT * (1.0 - NOTICED_LOSS)
    return exposure_Mlx_h / noticed_Mlx_h * math.log(math.expm1(start * _LN10) / math.expm1(left * _LN10))


def dye_left(
    scheme: Scheme, total10: F64, steps: Mapping[str, int], *, exposure_Mlx_h: float, scale: str
) -> dict[str, float]:
    """Share [0..1] of each dye of the scheme that is left under the absorbance `total10` (81,) of all dyes together.

    Each dye loses what the whole coat absorbs at that dye's own peak; dyes without a step do not fade.
    """
    left = {}
    for name, dye in scheme.dyes.items():
        peak = float(total10[int(np.argmax(absorptivity_on_grid(dye)))])
        if name not in steps or peak <= 0.0:
            left[name] = 1.0
            continue
        k_h = exposure_k_h(steps[name], exposure_Mlx_h=exposure_Mlx_h, scale=scale)
        left[name] = float(faded_absorbance10(peak, k_h=k_h)) / peak
    return left
