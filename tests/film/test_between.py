"""Looking up between the points of a lattice: exists for rows taken for columns, a corner left out and a step at an
end."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.film import FacetLaw
from layerpreview.film.between import BLOCK_PX, between
from layerpreview.film.facet_law import REACH, STEP


def _surface(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """What straight lines along rows and columns hold exactly."""
    return np.stack([2.0 + 0.3 * x - 0.7 * y, 5.0 + 0.11 * x * y])


def test_it_is_exact_where_rows_and_columns_are_straight() -> None:
    """More places than one block holds."""
    columns, rows = np.meshgrid(np.arange(9.0), np.arange(6.0))
    rng = np.random.default_rng(4)
    x, y = rng.uniform(0.0, 7.99, BLOCK_PX + 70), rng.uniform(0.0, 4.99, BLOCK_PX + 70)
    got = between(_surface(columns, rows).astype(np.float32), x.astype(np.float32), y.astype(np.float32))
    assert got.shape == (2, x.size)
    assert got == pytest.approx(_surface(x, y), abs=2e-5)


def test_beyond_an_end_it_stays_as_at_the_end() -> None:
    lattice = np.arange(12, dtype=np.float32).reshape(1, 3, 4)
    x, y = np.array([-4.0, 9.0, 1.0], dtype=np.float32), np.array([1.0, 7.0, -2.0], dtype=np.float32)
    assert between(lattice, x, y)[0] == pytest.approx([4.0, 11.0, 1.0], abs=0.01)


def test_it_gives_what_the_law_of_facets_gives() -> None:
    rng = np.random.default_rng(9)
    size = round(2.0 * REACH / STEP) + 1
    law = FacetLaw(rng.uniform(0.0, 3.0, (4, size, size)).astype(np.float32), (0.2, 0.1), 0.0)
    slope_x, slope_y = rng.uniform(-1.2 * REACH, 1.2 * REACH, (2, 500)).astype(np.float32)
    x, y = ((slope + np.float32(REACH)) / np.float32(STEP) for slope in (slope_x, slope_y))
    assert between(law.numbers, x, y) == pytest.approx(law.at(slope_x, slope_y), abs=1e-4)
