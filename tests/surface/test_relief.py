"""Relief: against a surface that changes with the picture's size or resolution, and random numbers drawn in order."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.errors import InputError
from layerpreview.surface import hashed_fields
from layerpreview.surface.glints import sparkle_of
from layerpreview.surface.relief import RELIEF_KINDS, make_relief
from layerpreview.surface.relief_kinds import KINDS, _AskewCells, _Facets

F32 = hashed_fields.F32


def _averaged(field: F32, block: int) -> F32:
    rows, cols = field.shape[0] // block, field.shape[1] // block
    mean: F32 = field[: rows * block, : cols * block].reshape(rows, block, cols, block).mean(axis=(1, 3))
    return mean


def test_every_kind_is_made() -> None:
    assert set(RELIEF_KINDS) == set(KINDS)


@pytest.mark.slow
@pytest.mark.parametrize("kind", RELIEF_KINDS)
def test_same_seed_same_surface_and_another_seed_another(kind: str) -> None:
    # some 50 large facets: on the half a dozen of a 31 x 23 mm panel two seeds can agree by a third by chance
    one, two, other = (make_relief(kind, width_mm=93, height_mm=69, seed=seed) for seed in (7, 7, 8))
    for name in ("slope_x", "slope_y", "flake"):
        np.testing.assert_array_equal(getattr(one, name), getattr(two, name))
    assert one.slope_x.shape == (276, 372)
    assert one.slope_x.dtype == one.slope_y.dtype == one.flake.dtype == np.float32
    assert abs(np.corrcoef(one.slope_y.ravel(), other.slope_y.ravel())[0, 1]) < 0.25


@pytest.mark.parametrize("kind", RELIEF_KINDS)
def test_larger_panel_continues_the_same_surface(kind: str) -> None:
    small = make_relief(kind, width_mm=41, height_mm=29, seed=3)
    large = make_relief(kind, width_mm=83, height_mm=67, seed=3)
    rows, cols = small.slope_x.shape
    for name in ("slope_x", "slope_y", "flake"):
        np.testing.assert_array_equal(getattr(large, name)[:rows, :cols], getattr(small, name))


@pytest.mark.slow
@pytest.mark.parametrize("kind", RELIEF_KINDS)
def test_finer_step_shows_the_same_surface(kind: str) -> None:
    coarse = make_relief(kind, width_mm=90, height_mm=66, seed=5, step_mm=0.25)
    fine = make_relief(kind, width_mm=90, height_mm=66, seed=5, step_mm=0.125)
    for name in ("slope_x", "slope_y"):
        a, b = _averaged(getattr(coarse, name), 8), _averaged(getattr(fine, name), 16)
        assert np.corrcoef(a.ravel(), b.ravel())[0, 1] > 0.9


def test_threads_do_not_change_the_surface(monkeypatch: pytest.MonkeyPatch) -> None:
    many = make_relief("lifted", width_mm=60, height_mm=80, seed=2)
    monkeypatch.setenv("LAYERPREVIEW_THREADS", "1")
    one = make_relief("lifted", width_mm=60, height_mm=80, seed=2)
    np.testing.assert_array_equal(many.slope_x, one.slope_x)


def test_hash_is_the_same_everywhere_and_even() -> None:
    # our own hash's first values, no outside source: a change of numpy or of machine must not pass unseen
    few = hashed_fields.cell_table(3, 2, seed=11, salt=5) * 2**24
    assert few.tolist() == [[4329268, 12766646, 1245862], [12273011, 12719873, 13515088]]
    table = hashed_fields.cell_table(400, 300, seed=11, salt=5)
    assert table.min() >= 0
    assert table.max() < 1
    np.testing.assert_allclose(np.histogram(table, bins=10, range=(0, 1))[0], 12_000, rtol=0.04)
    for one, other in ((table[1:], table[:-1]), (table[:, 1:], table[:, :-1])):
        assert abs(np.corrcoef(one.ravel(), other.ravel())[0, 1]) < 0.01


def test_nearest_cells_are_those_a_plain_search_finds() -> None:
    lattice = hashed_fields.Lattice.covering(37, 23, 1.0)
    cells = hashed_fields.Cells(lattice, cell_mm=4.5, seed=6, salt=2)
    x, y = np.meshgrid(lattice.x_mm().astype(np.float32), lattice.y_mm().astype(np.float32))
    # the centre of every cell, told by the first point found nearest to it
    centres = {
        int(i): (px - 4.5 * dx, py - 4.5 * dy)
        for near in cells.nearest(x, y, count=3)
        for i, px, py, dx, dy in zip(*(a.ravel() for a in (near.index, x, y, near.x, near.y)), strict=True)
    }
    from_all = np.stack([np.hypot(x - cx, y - cy) for cx, cy in centres.values()])
    for rank, near in enumerate(cells.nearest(x, y, count=2)):
        np.testing.assert_allclose(4.5 * np.hypot(near.x, near.y), np.sort(from_all, axis=0)[rank], atol=2e-4)


def test_noise_slopes_are_those_of_its_heights() -> None:
    lattice = hashed_fields.Lattice.covering(30, 20, 0.02)
    noise = hashed_fields.Noise(lattice, cell_mm=(5.0, 3.0), seed=4, salt=1)
    rows = slice(0, 200)
    height = 0.7 * noise.height(rows).astype(np.float64)
    slope_x, slope_y = noise.slopes(rows, height_mm=0.7)
    np.testing.assert_allclose(slope_x[:, 1:-1], (height[:, 2:] - height[:, :-2]) / 0.04, atol=2e-4)
    np.testing.assert_allclose(slope_y[1:-1], (height[2:] - height[:-2]) / 0.04, atol=2e-4)


def test_sparkle_is_bright_here_and_dull_there_and_one_on_average() -> None:
    flake = ((np.arange(4_000_000) + 0.5) / 4_000_000).astype(np.float32)
    seen, turned = (sparkle_of(flake, depth=0.6, phase=phase) for phase in (0.0, 0.37))
    assert float(seen.mean(dtype=np.float64)) == pytest.approx(1.0, abs=1e-3)
    assert seen.min() == pytest.approx(0.4 + 0.6 * 0.7, abs=2e-3)
    assert seen.max() > 4.0
    assert abs(np.corrcoef(seen, turned)[0, 1]) < 0.3
    np.testing.assert_array_equal(sparkle_of(flake, depth=0.0, phase=0.2), np.ones_like(flake))


def test_no_strength_is_a_flat_panel() -> None:
    relief = make_relief("hammered", width_mm=20, height_mm=20, strength=0.0)
    assert not relief.slope_x.any()
    assert not relief.slope_y.any()
    once, twice = (make_relief("hammered", width_mm=20, height_mm=20, strength=s) for s in (0.6, 1.2))
    np.testing.assert_allclose(twice.slope_y, 2 * once.slope_y, rtol=1e-5, atol=1e-6)


def test_brushing_is_steep_across_and_level_along() -> None:
    relief = make_relief("brushed", width_mm=100, height_mm=60)
    assert relief.slope_y.std() > 15 * relief.slope_x.std()


def test_all_problems_are_told_at_once() -> None:
    with pytest.raises(InputError) as caught:
        make_relief("velvet", width_mm=-3, height_mm=20, step_mm=0, strength=float("nan"))
    assert [p.field for p in caught.value.problems] == ["relief", "width_mm", "step_mm", "strength"]
    assert "lifted" in str(caught.value)
    with pytest.raises(InputError) as caught:
        make_relief("lifted", width_mm=30, height_mm=20, cell_mm=0.1)
    assert str(caught.value) == "cell_mm = 0.1: must not be smaller than step_mm; give 0.25 or more"


@pytest.mark.slow
def test_ridges_stand_up_along_the_borders_and_are_as_steep_as_said() -> None:
    """Away from corners the ridge's slope, towards the neighbour, is that of exp(-u^2) by hand: 2u exp(-u^2), at most
    root 2/e, here scaled so that the steepest is 0.8; u is the distance to the border over the ridge's width."""
    lattice = hashed_fields.Lattice.covering(60, 40, 0.05)
    cells = _AskewCells(lattice, cell_mm=11.0, seed=6, salt=3)
    facets = _Facets(cells, tilt=0.0, fold=0.0, ridge_slope=0.8, ridge_mm=0.4, neighbours=3)
    x, y = np.meshgrid(lattice.x_mm().astype(np.float32), lattice.y_mm().astype(np.float32))
    planes, (ridge_x, ridge_y) = facets.slopes(x, y)
    assert not planes[0].any()
    assert not planes[1].any()
    own, other, third = (near for near in cells.nearest(x, y, count=3))
    squared = [11.0**2 * (near.x.astype(float) ** 2 + near.y.astype(float) ** 2) for near in (own, other, third)]
    to_x, to_y = own.x - other.x, own.y - other.y  # from the own centre to the other's
    apart_mm = 11.0 * np.hypot(to_x, to_y)
    u = (squared[1] - squared[0]) / (2 * apart_mm) / 0.4
    alone = (u < 2.5) & (np.sqrt(squared[2]) - np.sqrt(squared[1]) > 2.0)
    rise = ((ridge_x * to_x + ridge_y * to_y) / np.hypot(to_x, to_y))[alone]
    shape = (2 * u * np.exp(-(u**2)) / np.sqrt(2 / np.e))[alone]
    crease = cells.table(7)  # a number of each cell: how unlike two are is how high the ridge between them stands
    unlike = np.abs(crease.take(own.index) - crease.take(other.index))[alone]
    assert unlike[shape > 0.1].max() > 0.5
    np.testing.assert_allclose(rise, 0.8 * unlike * shape, atol=6e-3)  # a far corner shines in


@pytest.mark.parametrize("seed", [1, 4])
def test_what_a_lifted_sheet_leaves_is_sharp_on_top(seed: int) -> None:
    """Paint pulled up by the sheet stands in thin ridges between broad hollows: where it is bent sharply, it is bent
    downwards (negative divergence of its slopes). The look was judged by eye, no source; ridges are up by name."""
    relief = make_relief("lifted", width_mm=100, height_mm=70, seed=seed, step_mm=0.125)
    bend = np.gradient(relief.slope_x.astype(float), 0.125, axis=1)
    bend += np.gradient(relief.slope_y.astype(float), 0.125, axis=0)
    low, high = np.percentile(bend, [0.5, 99.5])
    assert low < -1.3 * high


def test_a_face_as_large_as_a_hall_is_made_or_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Knots that no point of a coarse lattice asks for are not made; cells are counted before any of them is."""
    hall = hashed_fields.Lattice.covering(20_000.0, 20_000.0, 80.0)
    noise = hashed_fields.Noise(hall, cell_mm=1.0, seed=3, salt=1)
    assert noise.height(slice(0, 250)).shape == (250, 250)
    part = hashed_fields.Lattice.covering(20_000.0, 800.0, 80.0)
    again = hashed_fields.Noise(part, cell_mm=1.0, seed=3, salt=1)
    assert np.array_equal(again.height(slice(0, 10)), noise.height(slice(0, 10)))
    monkeypatch.setattr(hashed_fields, "cell_table", None)
    with pytest.raises(InputError, match=r"1,112 million cells of 0\.6 mm, the limit is 20 million; check its size"):
        hashed_fields.Cells(hall, cell_mm=0.6, seed=3, salt=1)
