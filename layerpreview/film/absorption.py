"""Absorbance of a dye film from what was sprayed (Beer-Lambert), in decadic units throughout."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

F64 = NDArray[np.float64]


def absorbance10_of_load(*, absorptivity_L_per_g_cm: ArrayLike, load_mg_m2: ArrayLike) -> F64:
    """Decadic absorbance of one straight pass through a dye film.

    A = 0.1 * a * m with `absorptivity_L_per_g_cm` a [L g-1 cm-1, decadic] and m in g/m2; `load_mg_m2` [mg/m2] is
    divided by 1000 here. The two broadcast. Film thickness and thinner do not enter: only dye per area does.

    >>> float(absorbance10_of_load(absorptivity_L_per_g_cm=163.0, load_mg_m2=61.35).round(3))
    1.0
    """
    a = np.asarray(absorptivity_L_per_g_cm, dtype=np.float64)
    return 1e-4 * a * np.asarray(load_mg_m2, dtype=np.float64)
