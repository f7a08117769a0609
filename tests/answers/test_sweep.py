"""Sweep: exists for parts that overlap or leave a gap, coats that are never the last of their range, and colours that
stand beside another recipe's numbers."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest

from layerpreview.answers.reach import units_of
from layerpreview.answers.sweep import Ranges, Swept, sweep
from layerpreview.colour import rgb_basis, rgb_lin_to_hex
from layerpreview.film import MetalBase, metal_film
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.scheme import load_library_dye

DYES = [load_library_dye(name) for name in ("amber", "violet", "black")]
PATCHES = Patches(
    metal_film(MetalBase(flake_spread=0.2)), np.array([0.5, 0.49, 0.47]) @ rgb_basis(), per_mg_m2(DYES), ("D65", "A")
)
UNITS = units_of([dye.concentrate_g_per_L for dye in DYES])
STRENGTHS = {"amber": (1.0, 17.0), "violet": (0.5, 3.0), "black": (0.02, 0.9)}
RANGES = Ranges(STRENGTHS, coats=(2, 6), film_um=(18.0, 44.0), runs=3300, seed=5)


def _swept(**parts: int) -> Swept:
    return sweep(PATCHES, UNITS, RANGES, **parts)


def test_ranges_are_filled_and_kept() -> None:
    swept = _swept()
    assert swept.strength.shape == (3300, 3)
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
    # 1 mL/L of a dye that holds 40, 35, 50 g/L is 0.04, 0.035, 0.05 g/L: mg/m2 per um.
    load = swept.strength[at] * np.array([0.040, 0.035, 0.050]) * (swept.coats * swept.film_um)[at, None]
    assert swept.load_mg_m2[at] == pytest.approx(load)
    assert swept.lab[at] == pytest.approx(PATCHES.lab(load))


def test_colours_on_the_screen() -> None:
    """8-bit sRGB under the first light, each channel cut to what a screen shows: a strong mix on a bright base."""
    bright = replace(PATCHES, bare=np.array([1.3, 0.9, 0.1]) @ rgb_basis(), lights=("A", "D65"))
    swept = sweep(bright, UNITS, replace(RANGES, runs=40))
    for load, code in zip(swept.load_mg_m2, swept.srgb.tolist(), strict=True):
        assert "#{:02x}{:02x}{:02x}".format(*code) == rgb_lin_to_hex(bright.rgb_lin(load[None])[0])
    assert (swept.srgb.min(), swept.srgb.max()) == (0, 255)


def test_a_run_is_the_same_wherever_it_is_drawn() -> None:
    """A thousand runs from each generator of seed and block, a row a run: the dyes, the coats, the film."""
    swept = _swept()
    for run in (0, 999, 1000, 3001):
        *dyes, coats, film = np.random.default_rng([5, run // 1000]).random((1000, 5))[run % 1000]
        for found, (low, high), share in zip(swept.strength[run], STRENGTHS.values(), dyes, strict=True):
            assert found == pytest.approx(low + (high - low) * share)
        assert swept.coats[run] == 2 + int(5 * coats)
        assert swept.film_um[run] == pytest.approx(18.0 + 26.0 * film)


@pytest.mark.slow
@pytest.mark.parametrize("parts", [2, 3, 7])
def test_parts_are_the_whole(parts: int) -> None:
    whole = _swept()
    pieces = [_swept(part=i + 1, parts=parts) for i in range(parts)]
    assert np.array_equal(np.concatenate([p.strength for p in pieces]), whole.strength)
    assert np.concatenate([p.lab for p in pieces]) == pytest.approx(whole.lab, abs=1e-9)
    firsts = [p.first_run for p in pieces if len(p.coats)]
    assert firsts == sorted(set(firsts))
    for piece in pieces:
        assert np.array_equal(piece.strength, whole.strength[piece.first_run : piece.first_run + len(piece.coats)])


@pytest.mark.parametrize("part", [0, 3])
def test_a_part_that_is_not_there(part: int) -> None:
    with pytest.raises(ValueError, match=f"part {part} of 2"):
        _swept(part=part, parts=2)


def test_ten_thousand_are_quick() -> None:
    """Under a second is the aim (measured 0.03 s); five here, since shared machines are slow at times."""
    start = time.perf_counter()
    sweep(PATCHES, UNITS, Ranges(RANGES.strengths, RANGES.coats, RANGES.film_um, 10_000))
    assert time.perf_counter() - start < 5.0


def test_ten_thousand_runs_where_nothing_is_said() -> None:
    plain = Ranges(RANGES.strengths, RANGES.coats, RANGES.film_um)
    assert (plain.runs, plain.seed) == (10_000, 7)
