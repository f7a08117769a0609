"""A flat sheet or frame in a photo: which pixel each of its millimetres falls on, by a projective map."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Placement:
    """Where a plane lies in a photo: `matrix` (3, 3) takes millimetres (x, y, 1) to pixels; `notes` how it lay."""

    matrix: F64
    notes: tuple[str, ...] = ()

    def to_px(self, points_mm: F64) -> F64:
        """Pixels (N, 2) of points (N, 2) [mm]."""
        return projected(self.matrix, points_mm)

    def to_mm(self, points_px: F64) -> F64:
        """Points (N, 2) [mm] of pixels (N, 2)."""
        return projected(np.asarray(np.linalg.inv(self.matrix), dtype=np.float64), points_px)


def projected(matrix: F64, points: F64) -> F64:
    """Points (N, 2) taken through a projective map (3, 3)."""
    homogeneous = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return np.asarray(homogeneous[:, :2] / homogeneous[:, 2:])


def placement_through(points_mm: F64, points_px: F64) -> Placement:
    """The placement that brings points (N, 2) [mm] next to pixels (N, 2), N 4 or more.

    Least squares of the linear equations of a projective map, both sides first brought to like size (Hartley, "In
    defense of the eight-point algorithm", doi:10.1109/34.601246).
    """
    to_unit_mm, to_unit_px = _to_unit(points_mm), _to_unit(points_px)
    rows = []
    for (x, y), (u, v) in zip(projected(to_unit_mm, points_mm), projected(to_unit_px, points_px), strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y, -u], [0, 0, 0, x, y, 1, -v * x, -v * y, -v]]
    unit = np.linalg.svd(np.array(rows))[2][-1].reshape(3, 3)
    matrix = np.linalg.inv(to_unit_px) @ unit @ to_unit_mm
    return Placement(matrix / matrix[2, 2])


def _to_unit(points: F64) -> F64:
    """The map (3, 3) that brings points to mean 0 and spread 1."""
    middle, spread = points.mean(axis=0), max(float(points.std()), 1e-12)
    return np.array([[1 / spread, 0, -middle[0] / spread], [0, 1 / spread, -middle[1] / spread], [0, 0, 1.0]])
