"""Sweep: exists for parts that overlap or leave a gap, coats that are never the last of their range, and colours that
stand beside another recipe's numbers."""

from __future__ import annotations

import time

import numpy as np
import pytest

from layerpreview.answers.reach import units_of
from layerpreview.answers.sweep import Ranges, Swept, sweep
from layerpreview.colour import rgb_basis
from layerpreview.film import MetalBase, metal_film
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.scheme import load_library_dye

DYES = [load_library_dye(name) for name in ("amber", "violet")]
PATCHES = Patches(
    metal_film(MetalBase(flake_spread=0.2)), np.array([0.5, 0.49, 0.47]) @ rgb_basis(), per_mg_m2(DYES), ("D65", "A")
)
UNITS = units_of([dye.concentrate_g_per_L for dye in DYES])
RANGES = Ranges({"amber": (1.0, 17.0), "violet": (0.5, 3.0)}, coats=(2, 6), film_um=(18.0, 44.0), runs=3300, seed=5)


def _swept(**parts: int) -> Swept:
    return sweep(PATCHES, UNITS, RANGES, **parts)


def test_ranges_are_filled_and_kept() -> None:
    swept = _swept()
    assert swept.strength.shape == (3300, 2)
    for column, (low, high) in zip(swept.strength.T, RANGES.strengths.values(), strict=True):
        assert low <= column.min() < low + 0.01 * (high - low)
        assert high - 0.01 * (high - low) < column.max() <= high
    assert set(swept.coats.tolist()) == {2, 3, 4, 5, 6}
    assert np.bincount(swept.coats)[2:].min() > 550
    assert 18.0 <= swept.film_um.min() < 18.3
    assert 43.7 < swept.film_um.max() <= 44.0


def test_colours_belong_to_their_recipes() -> None:
    swept = _swept()
    at = [0, 999, 1000, 3299]
    # 1 mL/L of a dye that holds 40 g/L, 35 g/L, is 0.04, 0.035 g/L: mg/m2 per um.
    load = swept.strength[at] * np.array([0.040, 0.035]) * (swept.coats * swept.film_um)[at, None]
    assert swept.load_mg_m2[at] == pytest.approx(load)
    assert swept.lab[at] == pytest.approx(PATCHES.lab(load))


@pytest.mark.parametrize("parts", [2, 3, 7])
def test_parts_are_the_whole(parts: int) -> None:
    whole = _swept()
    pieces = [_swept(part=i + 1, parts=parts) for i in range(parts)]
    assert np.array_equal(np.concatenate([p.strength for p in pieces]), whole.strength)
    assert np.concatenate([p.lab for p in pieces]) == pytest.approx(whole.lab, abs=1e-9)
    firsts = [p.first_run for p in pieces if len(p.coats)]
    assert firsts == sorted(set(firsts))


def test_a_part_that_is_not_there() -> None:
    with pytest.raises(ValueError, match="part 3 of 2"):
        _swept(part=3, parts=2)


def test_ten_thousand_are_quick() -> None:
    """Under a second is the aim (measured 0.03 s); five here, since shared machines are slow at times."""
    start = time.perf_counter()
    sweep(PATCHES, UNITS, Ranges(RANGES.strengths, RANGES.coats, RANGES.film_um, 10_000))
    assert time.perf_counter() - start < 5.0


def test_ten_thousand_runs_where_nothing_is_said() -> None:
    plain = Ranges(RANGES.strengths, RANGES.coats, RANGES.film_um)
    assert (plain.runs, plain.seed) == (10_000, 7)
