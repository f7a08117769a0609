"""Thin straight lines of what a part lies on, cracks and seams of a bench: no part, though they may run into one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from layerpreview.surface.ground import Ground

Mask = NDArray[np.bool_]

_THIN_PX = 3  # half the width of what counts as thin
_LONG_SHARE, _GAP_SHARE = 0.1, 0.02  # of the longer side: a line at least, and a gap in one at most
_BAND_PX = 3.0  # half the width of what is taken for the line
_CORE_PX = 4  # the part itself is thicker than this
_OFF_PX, _OFF_SHARE = 10, 0.7  # so far from the part, so much of its length
_SPILL_PX = 5  # evidence spills over an edge by a pixel less
_MOST = 12  # lines that are followed


def seams(found: Mask, ground: Ground) -> Mask:
    """Return which pixels (h, w) lie on a thin straight line of the ground and are no part.

    found : what is no ground. Lines are sought where the seen ground is cut by something thin, by Hough's transform
    (its progressive kind, Matas, Galambos and Kittler 2000, doi:10.1006/cviu.1999.0831), and followed on in both
    directions: in the part's own shadow a crack is as dark as a dark part.
    """
    from skimage.transform import probabilistic_hough_line

    none = np.zeros(found.shape, dtype=np.bool_)
    thin = ndimage.binary_closing(ground.seen, iterations=_THIN_PX) & ~ground.seen
    longest = max(found.shape)
    if thin.sum() < _LONG_SHARE * longest:
        return none
    lines = probabilistic_hough_line(
        thin,
        threshold=10,
        line_length=round(_LONG_SHARE * longest),
        line_gap=round(_GAP_SHARE * longest),
        rng=1,
    )
    core = ndimage.binary_opening(found, iterations=_CORE_PX)
    lines = [line for line in lines if _lies_off(line, core)][:_MOST]
    if not lines:
        return none
    rows, cols = np.mgrid[: found.shape[0], : found.shape[1]]
    band = none.copy()
    for (x0, y0), (x1, y1) in lines:
        away = np.abs((cols - x0) * (y1 - y0) - (rows - y0) * (x1 - x0)) / np.hypot(x1 - x0, y1 - y0)
        band |= away <= _BAND_PX
    return np.asarray(band & ~ndimage.binary_erosion(core, iterations=_SPILL_PX))


def _lies_off(line: tuple[tuple[int, int], tuple[int, int]], core: Mask) -> bool:
    """Whether a line lies off the part for the most of its length: a part's own straight edge is no seam."""
    across, down = (np.linspace(a, b, 60).round().astype(int) for a, b in zip(*line, strict=True))
    away = ndimage.distance_transform_edt(~core)
    return float(np.mean(away[down, across] > _OFF_PX)) > _OFF_SHARE
