"""Values of a lattice at any places, straight between its points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Lookup:
    """A lattice `values` (rows, cols, n) whose points lie `step_mm` apart, the first at (`left_mm`, `top_mm`) [mm]."""

    values: F32
    step_mm: float
    left_mm: float
    top_mm: float

    def at(self, x_mm: F32, y_mm: F32) -> F32:
        """The values (P, n) at places (P,); beyond the lattice those of its edge."""
        rows, cols, n = self.values.shape
        scale = np.float32(1.0 / self.step_mm)
        x = np.clip((x_mm - np.float32(self.left_mm)) * scale, 0, np.float32(cols - 1))
        y = np.clip((y_mm - np.float32(self.top_mm)) * scale, 0, np.float32(rows - 1))
        col, row = np.minimum(x.astype(np.int32), max(cols - 2, 0)), np.minimum(y.astype(np.int32), max(rows - 2, 0))
        x -= col
        y -= row
        right, below = (1 if cols > 1 else 0), (cols if rows > 1 else 0)
        flat, first = self.values.reshape(rows * cols, n), row.astype(np.intp) * cols + col
        out = np.zeros((x.size, n), dtype=np.float32)
        for place, share in (
            (first, (1 - x) * (1 - y)),
            (first + right, x * (1 - y)),
            (first + below, (1 - x) * y),
            (first + right + below, x * y),
        ):
            found = np.take(flat, place, axis=0)
            found *= share[:, None]
            out += found
        return out
