"""Recipes from loads: exist for a strength that is rounded past the limit or to nothing, one rounded by more than half
a step, and stripes that do not even out as unrelated coats do."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from layerpreview.answers.reach import Limits, Reach, units_of
from layerpreview.answers.recipes import Alternative, alternatives
from layerpreview.colour import rgb_basis
from layerpreview.film import MetalBase, metal_film
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.scheme import load_library_dye

DROP_PER_L, MILLIGRAMS_PER_L = 0.02, 0.01
"""A drop of solvent in a litre at 50 drops a mL, and what a milligram scale shows of a litre."""
RIPPLE = 0.13


def reach_of(names: tuple[str, ...], **limits: object) -> Reach:
    dyes = [load_library_dye(name) for name in names]
    patches = Patches(
        metal_film(MetalBase(flake_spread=0.3)), np.full(3, 0.5) @ rgb_basis(), per_mg_m2(dyes), ("D65", "A")
    )
    return Reach(patches, units_of([dye.concentrate_g_per_L for dye in dyes]), Limits(**limits))  # type: ignore[arg-type]


def found(reach: Reach, target: list[float], names: tuple[str, ...], *, powder: bool = False) -> list[Alternative]:
    lab = np.array(target)
    powders = [powder] * len(names)
    return alternatives(reach, reach.nearest(lab), lab, names=names, powders=powders, ripple_cv=RIPPLE)


@pytest.mark.parametrize(("powder", "strongest", "most"), [(False, 11.013, 11.00), (True, 11.0076, 11.00)])
def test_at_the_limit_a_strength_is_rounded_down(powder: bool, strongest: float, most: float) -> None:
    """As dark as can be asks for all that is allowed; the nearest whole step, 11.02 mL/L or 11.01 g/L, is too much."""
    reach = reach_of(("black",), strongest_per_L=strongest)
    recipes = found(reach, [0.0, 0.0, 0.0], ("black",), powder=powder)
    assert recipes
    for recipe in recipes:
        assert recipe.strengths == {"black": most}


@pytest.mark.parametrize(("powder", "least"), [(False, DROP_PER_L), (True, MILLIGRAMS_PER_L)])
def test_where_next_to_nothing_is_wanted_one_step_is_told(powder: bool, least: float) -> None:
    names = ("amber", "red")
    reach = reach_of(names)
    bare = reach.patches.lab(np.zeros((1, 2)))[0]
    recipes = found(reach, bare.tolist(), names, powder=powder)
    assert recipes
    for recipe in recipes:
        assert set(recipe.strengths.values()) == {least}


@pytest.mark.parametrize(("powder", "step"), [(False, DROP_PER_L), (True, MILLIGRAMS_PER_L)])
def test_a_strength_is_rounded_to_the_nearest_step(powder: bool, step: float) -> None:
    """Each recipe is one of the closest loads, each dye within half a step; rounding down alone would often miss."""
    names = ("amber", "red", "violet")
    reach = reach_of(names)
    target = [53.0, 21.0, 44.0]
    loads = reach.nearest(np.array(target)).load_mg_m2
    for recipe in found(reach, target, names, powder=powder):
        strength = np.array([recipe.strengths.get(name, 0.0) for name in names])
        assert strength.sum() < 39.0
        off = np.abs(loads / (reach.unit * recipe.film_um * recipe.coats) - strength).max(axis=1)
        assert off.min() <= 0.5 * step + 1e-9
        assert np.array(recipe.load_mg_m2) == pytest.approx(strength * reach.unit * recipe.film_um * recipe.coats)


@pytest.mark.slow
def test_stripes_are_two_deviations_of_coats_that_add_up_unrelated(colour_science: ModuleType) -> None:
    """n coats have 1/sqrt(n) of one coat's deviation; CIEDE2000 by colour-science, the worse light and side."""
    names = ("amber", "red", "violet")
    reach = reach_of(names)
    recipes = found(reach, [53.0, 21.0, 44.0], names)
    assert len({recipe.coats for recipe in recipes}) > 1
    for recipe in recipes:
        load, share = np.array(recipe.load_mg_m2), 2.0 * RIPPLE / np.sqrt(recipe.coats)
        meant, more, less = reach.patches.lab(np.stack([load, load * (1.0 + share), load * (1.0 - share)]))
        apart = [colour_science.delta_E(other, meant, method="CIE 2000").max() for other in (more, less)]
        assert recipe.stripes_de00 == pytest.approx(max(apart), rel=1e-6)


@pytest.mark.slow
def test_each_says_its_colour_on_the_screen(colour_science: ModuleType) -> None:
    """The code is that of its L*a*b* under the first light, adapted to D65: colour-science, IEC 61966-2-1."""
    names = ("amber", "red", "violet")
    dyes = [load_library_dye(name) for name in names]
    patches = Patches(metal_film(MetalBase(flake_spread=0.3)), np.full(3, 0.5) @ rgb_basis(), per_mg_m2(dyes), ("D65",))
    reach = Reach(patches, units_of([dye.concentrate_g_per_L for dye in dyes]), Limits())
    recipes = found(reach, [53.0, 12.0, 22.0], names)
    assert any(recipe.srgb not in ("#ffffff", "#000000") for recipe in recipes)
    for recipe in recipes:
        code = np.array([int(recipe.srgb[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0
        lab = colour_science.XYZ_to_Lab(colour_science.sRGB_to_XYZ(code))
        if code.min() > 0.0 and code.max() < 1.0:
            assert np.abs(lab - np.array(recipe.lab["D65"])).max() < 0.5


def test_never_more_than_asked_for_and_the_best_at_each_is_named_once() -> None:
    """Each head goes to the best of those listed; a spread of others fills up."""
    names = ("amber", "red", "violet", "black")
    reach = reach_of(names)
    lab = np.array([45.0, 20.0, 25.0])
    for most in (6, 8, 12):
        recipes = alternatives(
            reach, reach.nearest(lab), lab, names=names, powders=[False] * 4, ripple_cv=RIPPLE, most=most
        )
        assert len(recipes) <= most
        heads = {word: recipe for recipe in recipes for word in recipe.best_at}
        near = [r for r in recipes if round(r.worst_de00, 1) <= min(round(o.worst_de00, 1) for o in recipes) + 1.0]
        assert round(heads["closest"].worst_de00, 1) == min(round(r.worst_de00, 1) for r in recipes)
        assert heads["fewest coats"].coats == min(r.coats for r in near)
        assert round(heads["thinnest film"].total_film_um, -1) == min(round(r.total_film_um, -1) for r in near)
        assert round(heads["least stripes"].stripes_de00, 1) == min(round(r.stripes_de00, 1) for r in near)
        assert len(heads["fewest dyes"].strengths) == min(len(r.strengths) for r in near)
        assert [(round(r.worst_de00, 1), r.coats) for r in recipes] == sorted(
            (round(r.worst_de00, 1), r.coats) for r in recipes
        )
