"""Recipes and advice: exist for a front that keeps what is beaten or drops what is not, a "best at" that goes to the
wrong recipe, an answer told as reached that is not, and advice that is not worth its work."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers import recipes
from layerpreview.answers.gun import gun_set
from layerpreview.answers.ladder import Beneath, ground_for
from layerpreview.answers.reach import Limits, Nearest, Reach, units_of
from layerpreview.answers.recipes import Alternative, Reached, alternatives, listed, recipes_for
from layerpreview.answers.uneven import one_coat_cv
from layerpreview.colour import delta_e_2000, rgb_basis, srgb_hex_to_rgb_lin
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import spots_of
from layerpreview.scheme import Dye, Scheme, load_library_dye, load_scheme
from layerpreview.spray.passes import HANDS

from ..schemes import DYES, HEAD, MIXES, PANEL, SILVER, WHITE

Save = Callable[..., Path]
NAMES = ("amber", "violet", "black")
LIGHTS = ("D65", "A")
CV = 0.12
LIMITS = Limits(strongest_per_L=14.0, most_coats=7, films_um=(18.0, 33.0, 34.0), most_film_um=200.0)


def reach_over(names: Sequence[str], limits: Limits = LIMITS, *, lights: tuple[str, ...] = LIGHTS) -> Reach:
    dyes = [load_library_dye(name) for name in names]
    film = metal_film(MetalBase(flake_spread=0.3))
    patches = Patches(film, np.full(3, 0.5) @ rgb_basis(), per_mg_m2(dyes), lights)
    return Reach(patches, units_of([dye.concentrate_g_per_L for dye in dyes]), limits)


def worst(lab: np.ndarray, target: np.ndarray) -> float:
    return max(float(delta_e_2000(one, other)) for one, other in zip(lab, target, strict=True))


def told_apart(reach: Reach, target: np.ndarray, loads: np.ndarray) -> Nearest:
    de = np.array([worst(lab, target) for lab in reach.patches.lab(loads)])
    order = np.argsort(de)
    return Nearest(loads[order], de[order])


Row = tuple[tuple[float, ...], float, int]
"""Strength of each dye, wet film of a coat, coats."""


def by_hand(reach: Reach, near: Nearest, target: np.ndarray, *, step: float) -> list[Row]:
    """All recipes that no other beats, one after the other: what `alternatives` is to find at once."""
    rows: set[Row] = set()
    for load in near.load_mg_m2[:24]:
        for film in reach.limits.films_um:
            for coats in range(1, reach.limits.most_coats + 1):
                wanted = [float(mg) / (unit * film * coats) for mg, unit in zip(load, reach.unit, strict=True)]
                if coats * film > reach.limits.most_film_um or sum(wanted) > reach.limits.strongest_per_L + 1e-6:
                    continue
                steps = [round(strength / step) for strength in wanted]
                if sum(steps) * step > reach.limits.strongest_per_L + 1e-9:
                    steps = [math.floor(strength / step + 1e-6) for strength in wanted]
                if not any(steps):
                    steps[wanted.index(max(wanted))] = 1
                rows.add((tuple(round(n * step, 2) for n in steps), film, coats))
    goals = {}
    for strengths, film, coats in sorted(rows):
        load = np.array(strengths) * reach.unit * film * coats
        share = 2.0 * CV / math.sqrt(coats)
        lab, more, less = reach.patches.lab(np.stack([load, load * (1.0 + share), load * (1.0 - share)]))
        away, stripes = worst(lab, target), max(worst(more, lab), worst(less, lab))
        goals[strengths, film, coats] = (away, (round(away, 1), coats, round(coats * film, -1), round(stripes, 1)))
    nearest = min(away for away, _ in goals.values())
    close = {row: told for row, (away, told) in goals.items() if away <= nearest + 1.5}

    def stands_before(one: tuple[int, Row], other: tuple[int, Row]) -> bool:
        (i, a), (j, b) = one, other
        if close[a] == close[b]:
            return (sum(s > 0.0 for s in a[0]), i) < (sum(s > 0.0 for s in b[0]), j)
        return all(x <= y for x, y in zip(close[a], close[b], strict=True))

    numbered = list(enumerate(close))
    return [one[1] for one in numbered if not any(stands_before(other, one) for other in numbered if other != one)]


def rows_of(found: Sequence[Alternative]) -> list[Row]:
    return [(tuple(a.strengths.get(name, 0.0) for name in NAMES), a.film_um, a.coats) for a in found]


LESS = np.outer(1.0 - 0.0045 * np.arange(30), (45.0, 9.0, 0.4))
"""Ever less of one mix: the first 24 lie within 1.5 of the closest."""
FAR_LESS = np.outer(1.0 - 0.009 * np.arange(30), (45.0, 9.0, 0.4))
"""The same in twice the steps: half of them within 1.5."""
SHIFTED = np.array((45.0, 9.0, 0.4)) + np.outer(np.arange(-6, 24), (0.5, -0.3, 0.03))
HARDLY = np.array([(0.3, 0.0, 0.0), (0.3, 0.02, 0.0), (0.0, 0.3, 0.0), (0.05, 0.03, 0.01)])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("loads", "powder"), [(LESS, False), (FAR_LESS, True), (np.abs(SHIFTED), False), (HARDLY, False), (HARDLY, True)]
)
def test_all_that_nothing_beats_is_listed(loads: np.ndarray, powder: bool) -> None:
    """Against one recipe after the other, each tried with every other: drops of 0.02 mL/L, milligrams of 0.01 g/L."""
    reach = reach_over(NAMES)
    target = reach.patches.lab(loads[:1])[0] + np.array([[0.4, -0.3, 0.2], [0.1, 0.5, -0.2]])
    near = told_apart(reach, target, loads)
    found = alternatives(reach, near, target, names=NAMES, powders=[powder] * 3, ripple_cv=CV, most=1000)
    assert sorted(rows_of(found)) == sorted(by_hand(reach, near, target, step=0.01 if powder else 0.02))
    for a in found:
        assert a.total_film_um == a.film_um * a.coats
        assert a.units == dict.fromkeys(a.strengths, "g/L" if powder else "mL/L")
        assert a.worst_de00 == max(a.de00.values())
    order = [(round(a.worst_de00, 1), a.coats) for a in found]
    assert order == sorted(order)
    if loads is LESS:  # a dozen: too many to choose from
        few = alternatives(reach, near, target, names=NAMES, powders=[powder] * 3, ripple_cv=CV)
        assert len(few) == 8 < len(found)
        assert set(rows_of(few)) < set(rows_of(found))


def test_a_strength_that_comes_out_even_is_not_rounded_down() -> None:
    """5.00 and 6.013 mL/L of 11.013 allowed: the second would be 6.02, which is too much; the first is as it is."""
    limits = Limits(strongest_per_L=11.013, most_coats=7, films_um=(18.0,), most_film_um=126.0)
    reach = reach_over(NAMES, limits)
    load = np.array([[5.0, 0.0, 6.013]]) * reach.unit * 126.0
    target = reach.patches.lab(load)[0]
    near = Nearest(load, np.zeros(1))
    (found,) = alternatives(reach, near, target, names=NAMES, powders=[False] * 3, ripple_cv=CV)
    assert found.strengths == {"amber": 5.0, "black": 6.0}


# Distance, coats, film and stripes of recipes, with their dyes: what a table of alternatives is made from.
HEADED = (
    ("also closest", (0.2, 11.0, 180.0, 1.0), 3),  # needs two coats more
    ("closest", (0.2, 9.0, 180.0, 1.0), 3),
    ("also few coats", (1.2, 3.0, 180.0, 2.0), 3),  # needs more film
    ("few coats", (1.2, 3.0, 160.0, 2.0), 3),  # just within 1.0 of the closest
    ("too far", (1.3, 1.0, 20.0, 0.0), 1),  # best in all but the distance
    ("also thin", (1.0, 6.0, 60.0, 3.0), 2),
    ("thin", (1.0, 5.0, 60.0, 3.0), 2),
    ("also even", (0.8, 11.0, 220.0, 0.4), 2),
    ("even", (0.7, 11.0, 220.0, 0.4), 2),
    ("also one dye", (1.2, 7.0, 140.0, 2.0), 1),
    ("one dye", (1.1, 7.0, 140.0, 2.0), 1),
    ("worst in all", (2.2, 11.0, 220.0, 4.0), 3),
)
HEADS = {
    "closest": "closest",
    "few coats": "fewest coats",
    "thin": "thinnest film",
    "even": "least stripes",
    "one dye": "fewest dyes",
    "too far": "good all round",
}


def spread(rows: Sequence[tuple[str, tuple[float, ...], int]], most: int) -> dict[str, tuple[str, ...]]:
    kept, words = recipes._spread(np.array([row[1] for row in rows]), np.array([row[2] for row in rows]), most)
    return {rows[at][0]: said for at, said in zip(kept, words, strict=True)}


def test_what_each_is_best_at() -> None:
    """The best within 1.0 of the closest; of equals the one that is better otherwise; all round, any may be best."""
    assert spread(HEADED, 0) == {name: (word,) for name, word in HEADS.items()}
    assert spread(HEADED[::-1], 0) == {name: (word,) for name, word in HEADS.items()}


def test_the_rest_is_filled_with_what_is_most_unlike() -> None:
    """By the sum of the differences in shares of each range: the worst in all is 1.65 from the next (0.75 + 0 + 0 +
    0.9 from the even one), the other closest 0.2 (two of ten coats); all others are 0.1 and less from their twin."""
    more = [name for name in spread(HEADED, 8) if name not in HEADS]
    assert more == ["worst in all", "also closest"]
    assert len(spread(HEADED, 50)) == len(HEADED)


@pytest.mark.parametrize(("away", "first"), [(0.840, "further"), (0.774, "more coats")])
def test_a_fifth_of_the_balance_counts_against_what_is_unlike(away: float, first: str) -> None:
    """In shares x of the range of the distance (2.0) and y of that of the coats (10): x - 2 x / 5 against y - y / 5.
    With y = 0.3 that is 0.24; x = 0.42 gives 0.252, x = 0.387 gives 0.232."""
    rows = (
        ("best", (0.0, 1.0, 20.0, 0.0), 1),
        ("worst", (2.0, 11.0, 220.0, 4.0), 3),
        ("more coats", (0.0, 4.0, 20.0, 0.0), 1),
        ("further", (away, 1.0, 20.0, 0.0), 1),
    )
    assert list(spread(rows, 3)) == ["best", "worst", first]


@pytest.mark.parametrize(
    ("column", "worth", "not_worth"),
    [(1, 0.18, 0.22), (2, 0.18, 0.22), (3, 0.12, 0.147)],
    ids=["coats", "film", "stripes"],
)
def test_closeness_counts_twice_and_stripes_half_again(column: int, worth: float, not_worth: float) -> None:
    """A tenth of the range closer makes good a fifth of the range of coats or film, or 0.133 of that of stripes."""
    ends = [(0.0, 1.0, 1.0, 1.0), (1.0, 0.0, 1.0, 1.0), (1.0, 1.0, 0.0, 1.0), (1.0, 1.0, 1.0, 0.0)]
    for more, best in ((worth, "closer"), (not_worth, "middle")):
        closer = [0.4, 0.5, 0.5, 0.5]
        closer[column] += more
        rows = [("end", end, 1) for end in ends] + [("middle", (0.5,) * 4, 2), ("closer", tuple(closer), 2)]
        scaled = [(name, tuple(np.array([2.0, 10.0, 200.0, 4.0]) * row), dyes) for name, row, dyes in rows]
        assert "good all round" in spread(scaled, 0)[best]


GREEN = np.array([[50.0, -30.0, 30.0]] * 2)
WANTED = np.array([[45.0, 30.0, 28.0], [49.0, 34.0, 33.0]])


def over_white(save_scheme: Save, base: str = WHITE, *, of_powder: bool = False) -> tuple[Scheme, Beneath]:
    head = HEAD.replace('["D65"]', '["D65", "A"]')
    coat = '[[coat]]\nmix = "honey"\ncoats = 3\nfilm = "40 um"\n'
    dyes = DYES + MIXES
    if of_powder:
        dyes = dyes.replace('concentrate = "40 g/L"\n', "").replace("12 mL/L", "0.48 g/L")
    scheme = load_scheme(save_scheme(f'{head}{PANEL}{base}[clear]\nfinish = "matt"\n{dyes}{coat}'))
    return scheme, ground_for(scheme, spots_of(scheme, make_scene(scheme, width_px=64)))


def asked(
    scheme: Scheme, ground: Beneath, within_de00: float, *, limits: Limits = LIMITS, wanted_lab: np.ndarray = WANTED
) -> Reached:
    gun = gun_set(scheme, make_scene(scheme, width_px=64).faces[0].picture.outline)
    return recipes_for(
        scheme, ground, wanted_lab, wanted="a rust", dyes=scheme.dyes, limits=limits, gun=gun, within_de00=within_de00
    )


@pytest.mark.slow
@pytest.mark.parametrize("wanted", [WANTED, np.array([[22.0, -14.0, 3.0], [20.0, -17.0, 1.0]])], ids=["rust", "pine"])
def test_what_would_help_is_what_it_leaves(
    save_scheme: Save, monkeypatch: pytest.MonkeyPatch, wanted: np.ndarray
) -> None:
    """Every piece of advice with the distance that a search of its own leaves: one dye more, twice as much, other bases
    (a library of two dyes, so that it is quick). Stripes are those of the gun in a practised hand."""
    monkeypatch.setattr(recipes, "library_names", lambda: ("red", "blue"))
    scheme, ground = over_white(save_scheme, SILVER)
    limits = Limits(strongest_per_L=4.0, most_coats=3, films_um=(18.0, 33.0), most_film_um=90.0)
    twice = Limits(strongest_per_L=8.0, most_coats=6, films_um=(18.0, 33.0), most_film_um=180.0)
    found = asked(scheme, ground, 0.8, limits=limits, wanted_lab=wanted)
    now = found.nearest_de00
    assert not found.reached
    assert now == min(a.worst_de00 for a in found.alternatives)
    assert found.verdict.startswith("A rust: cannot be reached over this base with yellow and blue within these limits")
    assert f"the nearest is {now:.1f} away (visible)" in found.verdict
    assert found.lights == LIGHTS
    assert found.wanted_lab == {light: tuple(row) for light, row in zip(LIGHTS, wanted.tolist(), strict=True)}

    own = list(scheme.dyes.values())
    more = [*own, load_library_dye("red")]
    # A matt clear lays a share of white over everything.
    veil = ground.stack(scheme).veil
    assert veil > 0.0

    def nearest(base: Patches, dyes: Sequence[Dye], within: Limits) -> float:
        patches = replace(base, absorbance10_per_mg_m2=per_mg_m2(dyes))
        return float(Reach(patches, units_of([d.concentrate_g_per_L for d in dyes]), within).nearest(wanted).de00.min())

    here = ground.patches(scheme, per_mg_m2([]))
    left = {
        "over this base with": nearest(here, more, limits),
        "with twice the strength and twice the film": nearest(here, own, twice),
    }
    for words, film, colour in (
        ("a white base", diffuse_film(), "#f4f4f1"),
        ("a bright, smooth silver base", metal_film(MetalBase(flake_spread=0.3)), "#dcdde0"),
    ):
        base = Patches(film, srgb_hex_to_rgb_lin(colour) @ rgb_basis(), per_mg_m2([]), LIGHTS, 2, veil)
        same, other = nearest(base, own, limits), nearest(base, more, limits)
        left[f"over {words} with" + (" the same dyes" if same < other + 0.3 else "")] = min(same, other)
    worth = {words: de for words, de in left.items() if de < now - 0.3}
    assert len(found.advice) == len(worth) >= 2
    for words, de in worth.items():
        assert any(line.startswith(words) and f": {de:.1f} away (" in line for line in found.advice)

    share = one_coat_cv(found.gun.how, HANDS["good"])
    for a in found.alternatives:
        build = 1.0 + 2.0 * share / math.sqrt(a.coats) * np.array([0.0, 1.0, -1.0])
        lab, over, under = found.reach.patches.lab(np.outer(build, a.load_mg_m2))
        assert a.stripes_de00 == pytest.approx(max(worst(over, lab), worst(under, lab)))


Script = dict[tuple[str, str], tuple[float, str]]


def scripted(monkeypatch: pytest.MonkeyPatch, script: Script) -> None:
    """What each search finds, by base and dyes: here, more, wide."""
    monkeypatch.setattr(recipes, "library_names", lambda: ("red",))

    def best(reach: Reach, wanted_lab: np.ndarray, names: Sequence[str]) -> tuple[float, str]:
        base = "here" if reach.patches.grounds else ("white" if reach.patches.bare.mean() > 0.8 else "silver")
        return script[base, "wide" if reach.limits != LIMITS else ("more" if "red" in names else "same")]

    monkeypatch.setattr(recipes, "_best", best)


def advice(save_scheme: Save, now_de00: float) -> list[str]:
    scheme, ground = over_white(save_scheme)
    tried = recipes._what_helps(scheme, ground, WANTED, dict(scheme.dyes), LIMITS)
    return list(recipes._advice(list(tried), now_de00))


def test_advice_is_worth_its_work(save_scheme: Save, monkeypatch: pytest.MonkeyPatch) -> None:
    """Told is what brings it 0.3 nearer; on another base other dyes only where they bring 0.3 more. 5.0 away now."""
    script = {
        ("here", "more"): (4.75, "red"),
        ("here", "wide"): (4.65, ""),
        ("white", "same"): (3.0, ""),
        ("white", "more"): (2.75, "red"),
        ("silver", "same"): (2.0, ""),
        ("silver", "more"): (1.65, "red and yellow"),
    }
    scripted(monkeypatch, script)
    assert advice(save_scheme, 5.0) == [
        "over a bright, smooth silver base with red and yellow: 1.6 away (may be seen)",
        "over a white base with the same dyes: 3.0 away (visible)",
        "with twice the strength and twice the film: 4.7 away (visible)",
    ]
    assert advice(save_scheme, 1.9) == [
        "Neither another dye of the library, another base nor wider limits would bring it nearer."
    ]


def test_of_what_is_not_seen_the_least_work_comes_first(save_scheme: Save, monkeypatch: pytest.MonkeyPatch) -> None:
    script = {
        ("here", "more"): (0.7, "red"),
        ("here", "wide"): (1.1, ""),
        ("white", "same"): (0.2, ""),
        ("white", "more"): (0.2, "red"),
        ("silver", "same"): (0.9, ""),
        ("silver", "more"): (0.9, "red"),
    }
    scripted(monkeypatch, script)
    assert [line.split(":")[0] for line in advice(save_scheme, 3.0)] == [
        "over this base with red",
        "over a white base with the same dyes",
        "over a bright, smooth silver base with the same dyes",
        "with twice the strength and twice the film",
    ]


def test_the_fewest_dyes_that_come_as_near(monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 0.1 of the nearest nobody sees which it was; the first of those with as few dyes is the nearest."""
    reach = reach_over(NAMES)
    loads = np.array([[3.0, 0.4, 0.2], [0.0, 4.0, 5.0], [6.0, 7.0, 0.0], [0.0, 0.3, 0.0], [0.2, 0.0, 0.0]])
    for one_dye, said in ((2.09, "violet"), (2.11, "violet and black")):
        near = Nearest(loads, np.array([2.0, 2.02, 2.04, one_dye, 2.2]))
        monkeypatch.setattr(reach, "nearest", lambda _, near=near: near)
        assert recipes._best(reach, WANTED, NAMES) == (2.0, said)


def test_reached_is_within_what_is_asked(save_scheme: Save, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recipes, "_what_helps", lambda *_: [(0.1, "a way out")])
    scheme, ground = over_white(save_scheme)
    reach = recipes.reach_of(scheme, ground, scheme.dyes, LIMITS)
    wanted = reach.patches.lab(np.array([[0.3, 0.2]]) * reach.full)[0] + np.array([1.5, 1.0, -1.0])
    far = asked(scheme, ground, 0.0, wanted_lab=wanted)
    assert not far.reached
    assert far.advice == ("a way out: 0.1 away (not visible)",)
    assert far.nearest_de00 == min(a.worst_de00 for a in far.alternatives) < max(a.worst_de00 for a in far.alternatives)
    shown = repr(far)  # what is shown at the prompt stays short
    assert not any(f"{name}=" in shown for name in ("ground", "gun", "reach"))
    near = asked(scheme, ground, far.nearest_de00, wanted_lab=wanted)
    assert near.reached
    assert not near.advice
    assert near.verdict.startswith(f"A rust: can be reached, {near.nearest_de00:.1f} away (")


def test_names_in_a_row() -> None:
    names = ("amber", "black", "blue", "cherry", "green", "red")
    assert [listed(names[:n]) for n in (0, 1, 2, 3)] == [
        "no dye at all",
        "amber",
        "amber and black",
        "amber, black and blue",
    ]
    assert listed(names[:5]) == "amber, black, blue, cherry and green"
    assert listed(names) == "these 6 dyes"


def test_a_powder_is_weighed_and_a_liquid_measured(save_scheme: Save) -> None:
    """A dye with no concentrate is a powder: told in g/L, in steps of a hundredth."""
    scheme, ground = over_white(save_scheme, of_powder=True)
    found = asked(scheme, ground, 90.0, wanted_lab=GREEN)
    assert {name: unit for a in found.alternatives for name, unit in a.units.items()} == {
        "yellow": "g/L",
        "blue": "mL/L",
    }
