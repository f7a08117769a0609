"""The height of a surface whose slopes alone are known."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.threads import thread_count

F32 = NDArray[np.float32]

REACH_MM = 5.0
"""How far a hollow is felt: what rises over more than a few of these counts as level. A wet film fills narrow hollows
and drapes over wide ones (Orchard, Appl. Sci. Res. A11, 451 (1963): levelling slows with the fourth power of the
width); the figure is assumed. Facets that lean at random would else add up to hills over the whole face."""


def height_of_slopes(slope_x: F32, slope_y: F32, *, step_mm: float, reach_mm: float = REACH_MM) -> F32:
    """Return the heights h [mm] (rows, cols), mean 0, whose slopes come nearest to the given ones.

    slope_x, slope_y: dz/dx to the right and dz/dy down, (rows, cols), on a lattice of `step_mm` [mm], mirrored at its
    edges. Least squares of |grad h - slope|^2 + (h / reach_mm)^2, solved exactly by cosine transforms: slopes that are
    those of no surface (facets that lean each on its own) keep their kinks and lose what cannot be joined.
    """
    from scipy.fft import dctn, idctn  # a third of a second to load: only where heights are asked for

    rows, cols = slope_x.shape
    rise_x = (slope_x[:, 1:] + slope_x[:, :-1]) * np.float32(0.5 * step_mm)
    rise_y = (slope_y[1:] + slope_y[:-1]) * np.float32(0.5 * step_mm)
    bend = np.zeros((rows, cols), dtype=np.float32)
    bend[:, :-1] += rise_x
    bend[:, 1:] -= rise_x
    bend[:-1] += rise_y
    bend[1:] -= rise_y
    stiff_y, stiff_x = (2.0 * np.cos(np.pi * np.arange(n) / n) - 2.0 for n in (rows, cols))
    wave = dctn(bend, workers=thread_count())
    wave /= (stiff_x + (stiff_y[:, None] - (step_mm / reach_mm) ** 2)).astype(np.float32)
    wave[0, 0] = 0.0
    return np.asarray(idctn(wave, workers=thread_count(), overwrite_x=True), dtype=np.float32)
