"""The slow part of the light in a photo: fall-off from the lamp, and the one big soft reflection."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

_ORDER = 2
_ROUNDS = 4  # of weighing again; it has settled by then
_FAR = 2.5  # residuals count less and less beyond this many times the usual one (Cauchy weights)


def slow_log_light(
    log_light: NDArray[np.float64], known: NDArray[np.float64], *, sigma_cells: float
) -> NDArray[np.float64]:
    """Return the slow part (rows, cols) of `log_light` (rows, cols), the natural logarithm of light in cells.

    `known` (rows, cols) says how much of a cell counts [0..1], at least one cell must; `sigma_cells` is the least
    width of what counts as slow. A polynomial of second order in x and y, then a Gaussian low-pass of what
    it leaves, each by weights that fall where a cell is far from the rest. The low-pass is done twice, the second time
    on what the first left (J. W. Tukey, Exploratory Data Analysis (1977), "twicing"), so that a peak keeps its height.
    """
    rows, cols = log_light.shape
    x, y = np.meshgrid((np.arange(cols) + 0.5) / cols * 2 - 1, (np.arange(rows) + 0.5) / rows * 2 - 1)
    terms = np.column_stack([(x**i * y**j).ravel() for i in range(_ORDER + 1) for j in range(_ORDER + 1 - i)])
    weight, slow = known, log_light
    for _ in range(_ROUNDS):
        root = np.sqrt(weight).ravel()
        slope = np.linalg.lstsq(terms * root[:, None], log_light.ravel() * root, rcond=None)[0]
        slow = (terms @ slope).reshape(rows, cols)
        for _twice in range(2):
            slow = slow + _low_pass(log_light - slow, weight, sigma_cells)
        weight = known * _trust(log_light - slow, known)
    return slow


def _low_pass(values: NDArray[np.float64], weight: NDArray[np.float64], sigma_cells: float) -> NDArray[np.float64]:
    share = ndimage.gaussian_filter(weight, sigma_cells, mode="constant")
    return np.asarray(ndimage.gaussian_filter(values * weight, sigma_cells, mode="constant") / np.maximum(share, 1e-9))


def _trust(left: NDArray[np.float64], known: NDArray[np.float64]) -> NDArray[np.float64]:
    usual = 1.4826 * float(np.median(np.abs(left[known > 0])))
    return np.asarray(1.0 / (1.0 + (left / (_FAR * max(usual, 1e-6))) ** 2))
