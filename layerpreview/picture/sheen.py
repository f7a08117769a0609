"""The mirror image of a soft window in the clear, for presentation only: it is part of no figure."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import fresnel_reflectance
from layerpreview.surface.sample import PixelGrid

F32 = NDArray[np.float32]

WINDOW_OVER_WHITE = 5.0
"""Luminance of the window against a white card in the room (assumed, a cloudy day)."""
SLANT, EDGE = 0.22, 0.035
PANES = ((0.10, 0.27), (0.30, 0.47))
TOP, BOTTOM = 0.07, 0.60


def window_sheen(grid: PixelGrid, y0: int, y1: int, *, width_mm: float, height_mm: float) -> F32:
    """Linear light (P,) that a two-pane window adds to rows y0..y1 of a face seen straight on.

    The face is taken as flat: the window is a slanted pair of panes in the upper left, its edges softened, times the
    face's reflectance at 0 degrees (0.04 for n = 1.5).
    """
    x = (grid.x_mm() / width_mm).astype(np.float32)[None, :]
    y = (grid.y_mm(y0, y1) / height_mm).astype(np.float32)[:, None]
    u = np.asarray(x + SLANT * (y - 0.5), dtype=np.float32)
    (left_1, right_1), (left_2, right_2) = PANES
    panes = _step(u - left_1) * _step(right_1 - u) + _step(u - left_2) * _step(right_2 - u)
    down = _step(y - TOP) * _step(BOTTOM - y) * (1.0 - 0.6 * (y - TOP) / (BOTTOM - TOP))
    level = WINDOW_OVER_WHITE * float(fresnel_reflectance(1.0, index_from=1.0, index_to=1.5))
    return np.asarray(level * panes * np.clip(down, 0.0, 1.0), dtype=np.float32).ravel()


def _step(distance: F32) -> F32:
    """0 below, 1 above, smooth over the edge."""
    u = np.clip(distance / EDGE + 0.5, 0.0, 1.0)
    return np.asarray(u * u * (3.0 - 2.0 * u), dtype=np.float32)
