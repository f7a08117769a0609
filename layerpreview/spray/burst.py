"""The extra build of a burst: film thickness as a function of the distance to an edge."""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

F32 = NDArray[np.float32]
FallOff = Literal["linear", "soft", "fan"]
FALL_OFFS: tuple[FallOff, ...] = get_args(FallOff)

HALF_BUILD_AT = {"linear": 0.5, "soft": 0.5, "fan": float(np.sqrt(1.0 - np.sqrt(0.5)))}
"""Where the build above the centre has fallen to half, as a share of the width."""


def burst_build(distance_mm: ArrayLike, *, width_mm: float, fall_off: FallOff = "soft", centre: float = 0.0) -> F32:
    """Local build of a burst coat (1 = nominal), full at the edge and `centre` beyond the width.

    `distance_mm` [mm, any shape]: into the surface from the edge the burst starts at; negative (outside the edge)
    counts as the edge itself. `width_mm` [mm, > 0]: the distance at which the extra build has fallen to nothing.
    `centre` [0..1]: the build that is left there. With u = distance / width, the fall-off from 1 to 0 is

    - linear: 1 - u
    - soft:   1 - 3u^2 + 2u^3, level at both ends
    - fan:    (1 - u^2)^2, half the cross-section of a gun's fan whose middle runs along the edge (beta profile with
      exponent 2; Balkan & Arikan 1999)

    Raises ValueError for a width that is not positive or an unknown fall-off.

    >>> burst_build([0.0, 10.0, 40.0], width_mm=20.0, fall_off="linear", centre=0.2).tolist()
    [1.0, 0.6000000238418579, 0.20000000298023224]
    """
    if not width_mm > 0.0:
        raise ValueError(f"width_mm is {width_mm}: a burst needs a width above 0")
    u = np.clip(np.asarray(distance_mm, dtype=np.float32) * np.float32(1.0 / width_mm), 0.0, 1.0)
    if fall_off == "linear":
        fall = 1.0 - u
    elif fall_off == "soft":
        fall = 1.0 - u * u * (3.0 - 2.0 * u)
    elif fall_off == "fan":
        fall = np.square(1.0 - u * u)
    else:
        raise ValueError(f"fall_off is {fall_off!r}: it must be one of {', '.join(FALL_OFFS)}")
    build: F32 = np.float32(centre) + np.float32(1.0 - centre) * fall
    return build
