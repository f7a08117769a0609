"""Face to flop: the colour of a metallic finish at the five aspecular angles under a lamp, and its flop index."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import spectrum_to_lab
from layerpreview.film import MetalBase, lamp_at, metal_film

F64 = NDArray[np.float64]

ASPECULAR_DEG = (15.0, 25.0, 45.0, 75.0, 110.0)
LAMP_DEG = 45.0


@dataclass(frozen=True)
class Flop:
    """L*a*b* at 15, 25, 45, 75 and 110 degrees from the mirror direction, lamp at 45 degrees, and the flop index.

    For the flakes alone, without relief; L* passes 100 where flakes mirror the lamp.
    """

    light: str
    lab: dict[str, tuple[float, float, float]]
    flop_index: float


def flop_index(*, l_15: float, l_45: float, l_110: float) -> float:
    """2.69 (L*15 - L*110)^1.11 / L*45^0.86; 0 for a solid colour.

    D. H. Alman, "Directional color measurement of metallic flake finishes", ISCC Williamsburg conference 1987; the
    formula from memory. A candy coat darkens L*45 strongly, so the index can rise while the look darkens.

    >>> round(flop_index(l_15=130.0, l_45=60.0, l_110=30.0), 3)
    13.199
    """
    return float(2.69 * max(l_15 - l_110, 0.0) ** 1.11 / max(l_45, 1e-6) ** 0.86)


def flop_of(absorbance10: F64, cast: F64, base: MetalBase, *, light: str, observer_deg: int = 2) -> Flop:
    """Colours of dye of `absorbance10` (81,) over flakes whose own colour is `cast` (81,), 1 for neutral aluminium."""
    found = {}
    for aspecular in ASPECULAR_DEG:
        view = aspecular - LAMP_DEG
        film = metal_film(base, lamp_at(LAMP_DEG), view_deg=view)
        factor = cast * film.bare * film.tau(absorbance10)
        lab = spectrum_to_lab(factor, light=light, observer_deg=observer_deg)
        found[f"{aspecular:g}"] = (float(lab[0]), float(lab[1]), float(lab[2]))
    index = flop_index(l_15=found["15"][0], l_45=found["45"][0], l_110=found["110"][0])
    return Flop(light, found, index)
