"""An atlas: exists for recipes that are lacking or there twice, colours that stand beside another recipe's numbers,
gaps that are filled where there is none, and a nearest that is not the nearest."""

from __future__ import annotations

from collections.abc import Callable
from itertools import combinations, product
from types import ModuleType

import numpy as np
import pytest

from layerpreview.answers.atlas import Question, colours
from layerpreview.answers.atlas_gaps import CELLS, cells_of, gaps_filled
from layerpreview.answers.atlas_near import FITS_DE00, Atlas, of_some
from layerpreview.answers.reach import Limits, Reach, units_of
from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, rgb_basis
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.finish.stack import DyeLayer, Stack
from layerpreview.scheme import load_library_dye

NAMES = ("amber", "violet", "black", "turquoise")
DYES = [load_library_dye(name) for name in NAMES]
UNITS = units_of([dye.concentrate_g_per_L for dye in DYES])
SILVER = Patches(
    metal_film(MetalBase(flake_spread=0.2)), np.array([0.5, 0.49, 0.47]) @ rgb_basis(), per_mg_m2(DYES), ("D65", "A")
)
WHITE = Patches(diffuse_film(), np.array([0.9, 0.88, 0.8]) @ rgb_basis(), per_mg_m2(DYES), ("D65", "A"))
LEVELS = ((1.0, 3.0, 9.0), (0.5, 2.5), (0.02, 0.9, 1.1), (4.0,))
QUESTION = Question(
    ("silver", "white"),
    (SILVER, WHITE),
    NAMES,
    (False,) * 4,
    np.stack([UNITS, 0.5 * UNITS]),
    LEVELS,
    coats=5,
    films_um=(20.0, 44.0),
    most_dyes=3,
    part_rows=300,
)
ALL = np.arange(QUESTION.count)


def test_every_recipe_is_there_once() -> None:
    """Counted by the standard library: bases, choices of one to three dyes, a strength of each, films, coats."""
    expected = set()
    for base, size in product(range(2), (1, 2, 3)):
        for mix in combinations(range(4), size):
            for levels in product(*(LEVELS[d] for d in mix)):
                strength = [0.0] * 4
                for dye, level in zip(mix, levels, strict=True):
                    strength[dye] = level
                expected |= {(base, *strength, film, n) for film in (20.0, 44.0) for n in range(1, 6)}
    found = QUESTION.recipes(ALL)
    rows = np.column_stack([found.base, found.strength, found.film_um, found.coats]).tolist()
    assert len(rows) == len(expected) == QUESTION.count
    assert set(map(tuple, rows)) == expected


def test_a_number_is_a_recipe_wherever_it_is_asked() -> None:
    whole = QUESTION.recipes(ALL)
    some = QUESTION.recipes(ALL[[7, 3, 611]])
    assert some.strength.tolist() == whole.strength[[7, 3, 611]].tolist()
    assert some.load_mg_m2(QUESTION)[0] == pytest.approx(
        whole.strength[7] * np.array([0.040, 0.035, 0.050, 0.040]) * whole.coats[7] * whole.film_um[7]
    )


def test_colours_belong_to_their_recipes(colour_science: ModuleType) -> None:
    """Against the slow stack at all wavelengths, summed by colour-science under D65, where nothing is adapted."""
    at = [0, 77, 503, QUESTION.count - 1]
    recipes = QUESTION.recipes(ALL[at])
    lab = colours(QUESTION, recipes)
    cmfs = colour_science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(_shape(colour_science))
    light = colour_science.SDS_ILLUMINANTS["D65"].copy().align(_shape(colour_science))
    for row, load in enumerate(recipes.load_mg_m2(QUESTION)):
        patches = QUESTION.patches[recipes.base[row]]
        layers = tuple(DyeLayer(amount * spectrum) for amount, spectrum in zip(load, per_mg_m2(DYES), strict=True))
        stack = Stack(layers, patches.film, diffuse_film())
        seen = stack.reflectance(patches.bare[None], np.ones((1, 4)))[0]
        weights = cmfs.values * light.values[:, None]
        xyz = (seen @ weights) / weights[:, 1].sum()
        white = weights.sum(axis=0) / weights[:, 1].sum()
        theirs = colour_science.XYZ_to_Lab(xyz, colour_science.XYZ_to_xy(white))
        assert lab[row, 0] == pytest.approx(theirs, abs=0.02)


def _shape(colour_science: ModuleType) -> object:
    return colour_science.SpectralShape(WAVELENGTHS_NM[0], WAVELENGTHS_NM[-1], 5)


def test_halfway_recipes() -> None:
    """One dye down by half a step of the logarithm, two, three; of the least strength half of it."""
    at = QUESTION.count // 2 - 1  # the last over silver: violet, black and turquoise at their strongest, or so
    recipe = QUESTION.recipes(np.array([at]))
    used = np.flatnonzero(recipe.strength[0])
    between = QUESTION.recipes(np.concatenate(list(QUESTION.between(np.array([at]), 1))))
    assert len(between.number) == 2 ** len(used) - 1 == 7
    assert set(between.coats) == {5}
    lower = {0: {1.0: 0.5}, 1: {2.5: np.sqrt(0.5 * 2.5)}, 2: {1.1: np.sqrt(0.9 * 1.1)}, 3: {4.0: 2.0}}
    choices = product(*((recipe.strength[0, d], lower[int(d)][recipe.strength[0, d]]) for d in used))
    expected = sorted(tuple(choice) for choice in choices)
    found = sorted(tuple(row) for row in np.concatenate([between.strength, recipe.strength])[:, used].tolist())
    assert np.array(found) == pytest.approx(np.array(expected))


@pytest.mark.parametrize(("at", "dyes"), [(0, 1), (QUESTION.count // 2 - 1, 3)])
def test_each_turn_halves_again_and_none_comes_twice(at: int, dyes: int) -> None:
    """At halves, quarters and eighths of each way: all but the recipe itself of a grid of 2, 4 and 8 by dyes."""
    turns = [np.concatenate(list(QUESTION.between(np.array([at]), turn))) for turn in (1, 2, 3)]
    assert list(np.cumsum([len(numbers) for numbers in turns])) == [n**dyes - 1 for n in (2, 4, 8)]
    whole = QUESTION.recipes(np.concatenate(turns))
    rows = {tuple(row) for row in whole.strength.round(9).tolist()}
    assert len(rows) == 8**dyes - 1
    recipe = QUESTION.recipes(np.array([at])).strength[0]
    assert (whole.strength <= recipe + 1e-12).all()


def test_gaps_are_filled_where_nothing_is() -> None:
    lab = colours(QUESTION, QUESTION.recipes(ALL))
    base = QUESTION.recipes(ALL).base
    seen = {b: np.bincount(cells_of(lab[base == b][:, 0]), minlength=CELLS) > 0 for b in (0, 1)}
    before = {b: there.copy() for b, there in seen.items()}
    more, theirs = gaps_filled(QUESTION, ALL, seen)
    assert all(np.array_equal(seen[b], before[b]) for b in seen), "what is handed in stays"
    assert 100 < len(more.number) <= QUESTION.part_rows
    cells = list(zip(more.base.tolist(), cells_of(theirs[:, 0]).tolist(), strict=True))
    assert len(set(cells)) == len(cells)
    assert not any(seen[b][cell] for b, cell in cells)
    assert theirs == pytest.approx(colours(QUESTION, QUESTION.recipes(more.number)))


@pytest.fixture(scope="module")
def over_silver() -> Atlas:
    recipes = QUESTION.recipes(ALL[: QUESTION.count // 2])
    lab = colours(QUESTION, recipes).round(3)
    return Atlas(NAMES, ("D65", "A"), recipes.load_mg_m2(QUESTION).astype(np.float32), lab.astype(np.float32))


def test_the_nearest_is_the_nearest(over_silver: Atlas, rng: np.random.Generator, colour_science: ModuleType) -> None:
    """Against all of them by the CIEDE2000 of colour-science, the worst of two lights."""
    lab = over_silver.lab.astype(np.float64)
    for target in lab[rng.integers(0, len(lab), 30)] + rng.normal(0.0, 4.0, (30, 1, 3)):
        (row, *_), (de, *_) = over_silver.nearest(target)
        all_of_them = colour_science.delta_E(lab, np.broadcast_to(target, lab.shape), method="CIE 2000").max(axis=1)
        assert de == pytest.approx(all_of_them.min(), abs=1e-6)
        assert all_of_them[row] == pytest.approx(de, abs=1e-6)


def test_a_search_that_begins_there_ends_where_a_whole_one_does(over_silver: Atlas, rng: np.random.Generator) -> None:
    reach = Reach(SILVER, UNITS, Limits())
    for load in over_silver.load_mg_m2[rng.integers(0, len(over_silver.lab), 5)].astype(np.float64):
        target = SILVER.lab(1.13 * load[None])[0]
        near = reach.nearest_from(over_silver.near(target), target)
        assert near.de00[0] <= reach.nearest(target).de00[0] + 0.02
        assert delta_e_2000(SILVER.lab(near.load_mg_m2[:1])[0], target).max() == pytest.approx(near.de00[0], abs=1e-6)


@pytest.mark.parametrize(
    ("change", "fits"),
    [
        (lambda p: p, True),
        (lambda p: Patches(p.film, 1.03 * p.bare, p.absorbance10_per_mg_m2, p.lights), False),
        (lambda p: Patches(p.film, p.bare, 1.05 * p.absorbance10_per_mg_m2, p.lights), False),
        (lambda p: Patches(p.film, p.bare, p.absorbance10_per_mg_m2, p.lights, veil=0.008), False),
        (
            lambda p: Patches(metal_film(MetalBase(flake_spread=0.25)), p.bare, p.absorbance10_per_mg_m2, p.lights),
            False,
        ),
    ],
)
def test_another_base_or_dye_is_noticed(over_silver: Atlas, change: Callable[[Patches], Patches], fits: bool) -> None:
    assert (over_silver.away_de00(change(SILVER)) <= FITS_DE00) is fits


def test_some_of_its_dyes(over_silver: Atlas) -> None:
    some = of_some(over_silver, ("black", "amber"), ("A",), 1)
    assert some is not None
    assert (some.dyes, some.lights, some.lab.shape[1:]) == (("black", "amber"), ("A",), (1, 3))
    assert (np.count_nonzero(some.load_mg_m2, axis=1) == 1).all()
    assert len(some.lab) == (3 + 3) * 2 * 5
    assert of_some(over_silver, ("black",), ("A",), 0) is None
