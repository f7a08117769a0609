"""Built-in shapes of our own design: closed polylines in millimetres, x to the right, y down, from (0, 0).

Every curve is sampled finely enough that no chord is further than `CHORD_ERROR_MM` from the true curve, and is then
fitted to its bounding box exactly. The last point is not a repeat of the first.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem

CHORD_ERROR_MM = 0.002
_MIN_POINTS = 64

Points = NDArray[np.float64]
_Curve = Callable[[NDArray[np.float64]], Points]


def panel(*, width_mm: float, height_mm: float) -> Points:
    """Return a rectangle, (4, 2) [mm], from (0, 0) to (width_mm, height_mm).

    Raises InputError unless both sizes are finite and above zero; so do all shapes here.
    """
    _check(width_mm=width_mm, height_mm=height_mm)
    return np.array([[0.0, 0.0], [width_mm, 0.0], [width_mm, height_mm], [0.0, height_mm]])


def ellipse(*, width_mm: float, height_mm: float) -> Points:
    """Return an ellipse with axes `width_mm` and `height_mm` [mm] as (n, 2) [mm]."""
    return _closed(lambda t: np.column_stack((np.sin(t), -np.cos(t))), width_mm=width_mm, height_mm=height_mm)


def disc(*, diameter_mm: float) -> Points:
    """Return a circle of `diameter_mm` [mm] as (n, 2) [mm]."""
    return ellipse(width_mm=diameter_mm, height_mm=diameter_mm)


def teardrop(*, width_mm: float, height_mm: float) -> Points:
    """Return a smooth pear, narrow end up, as (n, 2) [mm].

    For t in 0..2 pi: y = -cos t, x = sin t (1 - 0.58 cos t + 0.06 cos 2t); our own formula. Analytic everywhere, so the
    narrow end is round.
    """

    def curve(t: NDArray[np.float64]) -> Points:
        return np.column_stack((np.sin(t) * (1 - 0.58 * np.cos(t) + 0.06 * np.cos(2 * t)), -np.cos(t)))

    return _closed(curve, width_mm=width_mm, height_mm=height_mm)


def double_bout(*, width_mm: float, height_mm: float) -> Points:
    """Return a smooth two-lobed form with a waist, the smaller lobe up, as (n, 2) [mm].

    For t in 0..2 pi: y = -cos t - 0.1 cos 3t, x = sin t (1 - 0.16 cos t + 0.4 cos 2t); our own formula. The
    waist is about 0.74 of the width.
    """

    def curve(t: NDArray[np.float64]) -> Points:
        return np.column_stack(
            (np.sin(t) * (1 - 0.16 * np.cos(t) + 0.4 * np.cos(2 * t)), -np.cos(t) - 0.1 * np.cos(3 * t))
        )

    return _closed(curve, width_mm=width_mm, height_mm=height_mm)


def drum_shell(*, diameter_mm: float, depth_mm: float) -> Points:
    """Return a shell unrolled: a rectangle pi * diameter_mm wide and depth_mm high, (4, 2) [mm].

    Its left and right sides are one seam, not an edge: build the outline with `wraps=True`.
    """
    _check(diameter_mm=diameter_mm, depth_mm=depth_mm)
    return panel(width_mm=math.pi * diameter_mm, height_mm=depth_mm)


def tube(*, diameter_mm: float, length_mm: float) -> Points:
    """Return a tube unrolled: a rectangle pi * diameter_mm wide and length_mm high, (4, 2) [mm].

    Its left and right sides are one seam, as those of `drum_shell`.
    """
    _check(diameter_mm=diameter_mm, length_mm=length_mm)
    return panel(width_mm=math.pi * diameter_mm, height_mm=length_mm)


def fit_to_box(points: Points, *, width_mm: float, height_mm: float) -> Points:
    """Move and stretch `points` (n, 2) so that their bounding box is (0, 0) to (width_mm, height_mm) exactly."""
    low = points.min(axis=0)
    fitted: Points = (points - low) * (np.array([width_mm, height_mm]) / (points.max(axis=0) - low))
    return fitted


def _closed(curve: _Curve, *, width_mm: float, height_mm: float) -> Points:
    """Sample a closed curve over t = 0..2 pi: a chord of step dt strays at most max|r''| dt^2 / 8 from the curve."""
    _check(width_mm=width_mm, height_mm=height_mm)
    t = np.linspace(0.0, 2 * np.pi, 4096, endpoint=False)
    dense = fit_to_box(curve(t), width_mm=width_mm, height_mm=height_mm)
    second = (np.roll(dense, -1, axis=0) - 2 * dense + np.roll(dense, 1, axis=0)) / (t[1] - t[0]) ** 2
    bend = float(np.hypot(second[:, 0], second[:, 1]).max())
    count = max(_MIN_POINTS, math.ceil(2 * np.pi / math.sqrt(8 * 0.9 * CHORD_ERROR_MM / bend)))
    count += -count % 4  # the four extreme points of a symmetric curve are then hit exactly
    points = curve(np.linspace(0.0, 2 * np.pi, count, endpoint=False))
    return fit_to_box(points, width_mm=width_mm, height_mm=height_mm)


def _check(**sizes_mm: float) -> None:
    problems = [
        Problem(
            field=name.removesuffix("_mm"),
            value=f"{size:g} mm",
            rule="a size is a number above zero",
            remedy="give the true size, for example 300 mm",
        )
        for name, size in sizes_mm.items()
        if not (math.isfinite(size) and size > 0)
    ]
    if problems:
        raise InputError(problems)
