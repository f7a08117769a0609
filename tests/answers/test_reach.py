"""Reach: exists for a search that stops beside the answer, a nearest colour that is not the nearest, limits that are
not kept, and a front of alternatives that leaves out what a painter would have chosen."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from layerpreview.answers.reach import Limits, Reach, _ellipsoid, units_of
from layerpreview.answers.recipes import DROP_PER_L, Alternative, alternatives
from layerpreview.colour import delta_e_2000, rgb_basis
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.scheme import library_names, load_library_dye

NAMES = library_names()
SILVER = metal_film(MetalBase(flake_spread=0.3))


def _reach(
    names: tuple[str, ...], *, film=SILVER, level: float = 0.5, limits: Limits | None = None, lights=("D65",)
) -> Reach:
    dyes = [load_library_dye(name) for name in names]
    patches = Patches(film, np.full(3, level) @ rgb_basis(), per_mg_m2(dyes), lights)
    return Reach(patches, units_of([dye.concentrate_g_per_L for dye in dyes]), limits or Limits())


def _found(reach: Reach, target: np.ndarray, names: tuple[str, ...]) -> list[Alternative]:
    powders = [False] * len(names)
    near = reach.nearest(target)
    return alternatives(reach, near, target, names=list(names), powders=powders, ripple_cv=0.1)


def _hidden(rng: np.random.Generator, reach: Reach) -> np.ndarray:
    """Loads of a random recipe: one to three dyes, whole coats, within the limits."""
    count = int(rng.integers(1, 4))
    chosen = rng.choice(reach.unit.size, count, replace=False)
    strength = np.zeros(reach.unit.size)
    strength[chosen] = np.exp(rng.uniform(np.log(0.5), np.log(13.0), count))
    film = float(rng.choice(reach.limits.films_um))
    return strength * reach.unit * film * int(rng.integers(1, reach.limits.coats_of(film) + 1))


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["silver", "white"])
def test_hidden_recipes_are_found(kind: str) -> None:
    """A dE of 0.1 is far below what is seen (0.8); tests/bench/bench_choose.py does 1,000, here 25 over each base, with
    all 12 dyes."""
    film, level = (SILVER, 0.5) if kind == "silver" else (diffuse_film(), 0.8)
    reach = _reach(NAMES, film=film, level=level)
    rng = np.random.default_rng(31)
    away = []
    for _ in range(25):
        target = reach.patches.lab(_hidden(rng, reach)[None])[0]
        away.append(min(a.worst_de00 for a in _found(reach, target, NAMES)))
    assert np.median(away) < 0.1
    assert max(away) < 0.6


@pytest.mark.slow
def test_a_few_dyes_of_ones_own_under_two_lights() -> None:
    names = ("amber", "red", "violet", "black")
    reach = _reach(names, lights=("D65", "A"))
    rng = np.random.default_rng(5)
    for _ in range(10):
        target = reach.patches.lab(_hidden(rng, reach)[None])[0]
        assert reach.nearest(target).de00[0] < 0.05


@pytest.mark.slow
@pytest.mark.parametrize(
    ("names", "kind"), [(("amber", "red", "violet"), "silver"), (("turquoise", "blue", "yellow"), "white")]
)
def test_out_of_reach_the_nearest_is_the_nearest(names: tuple[str, ...], kind: str) -> None:
    """No worse than a search over some 70,000 recipes (a lattice of all shares within the limit) by more than 0.1."""
    film, level = (SILVER, 0.45) if kind == "silver" else (diffuse_film(), 0.75)
    reach = _reach(names, film=film, level=level)
    steps = np.concatenate([[0.0], np.geomspace(1e-3, 1.0, 44)])
    lattice = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1).reshape(-1, 3)
    edge = lattice[1:] / lattice[1:].sum(axis=1, keepdims=True)
    tried = np.concatenate([lattice[lattice.sum(axis=1) <= 1.0], edge[::2]])
    lab = reach.patches.lab(tried * reach.full)[:, 0]
    rng = np.random.default_rng(17)
    seen = 0
    while seen < 25:
        target = np.array([rng.uniform(8.0, 92.0), rng.uniform(-80.0, 80.0), rng.uniform(-80.0, 80.0)])
        best = float(delta_e_2000(lab, target).min())
        if best < 2.0:
            continue
        seen += 1
        assert reach.nearest(target).de00[0] < best + 0.1


def _lattice(reach: Reach, count: int) -> np.ndarray:
    """Loads of two dyes all over what is allowed, and close together on the edge of it."""
    steps = np.concatenate([[0.0], np.geomspace(1e-4, 1.0, count)])
    pairs = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    share = np.linspace(0.0, 1.0, 8 * count)
    return np.concatenate([pairs[pairs.sum(axis=1) <= 1.0], np.stack([share, 1.0 - share], axis=1)]) * reach.full


@pytest.mark.parametrize(
    ("names", "target"), [(("turquoise", "red"), [65.0, 59.0, -44.0]), (("yellow", "violet"), [45.0, 76.0, 64.0])]
)
def test_far_away_every_valley_is_looked_into(names: tuple[str, ...], target: list[float]) -> None:
    """Far from a target CIEDE2000 has more than one valley: held against all mixes of a lattice of 70 steps."""
    reach = _reach(names, film=diffuse_film(), level=0.75)
    best = float(delta_e_2000(reach.patches.lab(_lattice(reach, 70))[:, 0], np.array(target)).min())
    found = reach.nearest(np.array(target))
    assert best > 15.0
    assert best - 0.5 < found.de00[0] < best + 1e-3
    near = delta_e_2000(reach.patches.lab(found.load_mg_m2[:1])[0, 0], np.array(target))
    assert found.de00[0] == pytest.approx(float(near))


@pytest.mark.parametrize("target", [[[70.0, 9.0, 30.0], [66.0, 20.0, 25.0]], [[20.0, 30.0, 50.0], [60.0, 30.0, 50.0]]])
def test_one_dye_to_the_last_hundredth(target: list[list[float]]) -> None:
    """Two lights that want different things: the load at which the worse of them is least, among 8,001 loads."""
    reach = _reach(("amber",), lights=("D65", "A"))
    loads = np.linspace(0.0, 1.0, 8001)[:, None] * reach.full
    by_load = delta_e_2000(reach.patches.lab(loads), np.array(target)).max(axis=1)
    found = reach.nearest(np.array(target))
    assert found.de00[0] == pytest.approx(by_load.min(), abs=2e-3)
    assert found.load_mg_m2[0, 0] == pytest.approx(loads[by_load.argmin(), 0], abs=2e-3 * reach.full[0])


def _used(reach: Reach) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Half of the limit's shares of every choice of dyes, with the dyes used and 1 where a column counts."""
    used, real = reach._padded()
    return 0.5 * real * np.array([0.5, 0.3, 0.15])[: used.shape[1]], used, real


def test_steps_downhill_find_a_hidden_mix() -> None:
    """By themselves, from a third off in each dye up or down: what the polish is left is far below what is seen."""
    reach = _reach(("amber", "red", "violet", "black"), lights=("D65", "A"))
    share, used, real = _used(reach)
    off = np.where(np.arange(len(share))[:, None] % 2 == np.arange(3) % 2, 1.35, 0.7)
    for row in range(len(share)):
        hidden = reach._spread(share[row : row + 1], used[row : row + 1]) * reach.full
        target = reach.patches.lab(hidden)[0]
        one = slice(row, row + 1)
        found = reach._descend((share * off)[one], used[one], real[one], target)
        assert found == pytest.approx(share[one], rel=0.02)
        assert float(delta_e_2000(reach.patches.lab(reach._spread(found, used[one]) * reach.full), target).max()) < 0.01


def test_slopes_are_by_the_logarithm_of_the_shares() -> None:
    """Against the squared CIEDE2000 of both lights at shares a thousandth apart, close to the target, where the measure
    halfway is that of either end; dyes that are not used have no slope."""
    reach = _reach(("amber", "red", "violet", "black"), lights=("D65", "A"))
    share, used, real = _used(reach)
    target = reach._lab(share[-1:, None], used[-1:])[0, 0] + np.array([[0.2, -0.1, 0.3], [-0.3, 0.2, 0.1]])
    one = slice(len(share) - 1, None)

    def squared(moved: np.ndarray) -> float:
        return float(np.square(delta_e_2000(reach._lab(moved[:, None], used[one])[0, 0], target)).sum())

    inward, curve, error = reach._slopes(share[one], used[one], target)
    assert error[0] == pytest.approx(squared(share[one]), rel=1e-2)
    assert curve[0] == pytest.approx(curve[0].T)
    for column in range(3):
        way = 1e-3 * (np.arange(3) == column)
        more, less = squared(share[one] * np.exp(way)), squared(share[one] * np.exp(-way))
        assert inward[0, column] == pytest.approx((more - less) / 4e-3, rel=2e-2, abs=1e-2)
        bend = (more + less - 2.0 * squared(share[one])) / 2e-6
        assert curve[0, column, column] == pytest.approx(bend, rel=0.05)
    inward, curve, _ = reach._slopes(share, used, target)
    assert not inward[real == 0.0].any()
    assert not curve[real == 0.0].any()


def test_polish_goes_to_the_limit_and_no_further() -> None:
    """As dark as can be is all that is allowed of black; as it was not, nothing of it; the search starts elsewhere."""
    reach = _reach(("amber", "black"))
    used, real = reach._padded()
    start = np.full((len(used), 2), 0.2) * real
    for target, ends in (([0.0, 0.0, 0.0], [0.0, 1.0]), (reach.patches.lab(np.zeros((1, 2)))[0, 0], [0.0, 0.0])):
        away = delta_e_2000(reach._lab(start[:, None], used)[:, 0, 0], np.array(target))
        share, de = reach._polished(start, used, real, np.array([target]), away)
        spread = reach._spread(share, used)
        assert (de <= away).all()
        assert de == pytest.approx(delta_e_2000(reach.patches.lab(spread * reach.full)[:, 0], np.array(target)))
        assert (spread >= 0.0).all()
        assert (spread.sum(axis=1) <= 1.0 + 1e-12).all()
        assert spread[2] == pytest.approx(ends, abs=1e-3)
        # One dye stays alone.
        assert (spread[0, 1], spread[1, 0]) == (0.0, 0.0)


def test_the_local_measure_is_that_of_ciede2000() -> None:
    """Halfway between two colours small steps any way, squared, are what the quadratic form says."""
    rng = np.random.default_rng(3)
    lab, target = (np.array(pair) for pair in ([[50.0, 20.0, 40.0], [70.0, 5.0, -30.0]], [[44.0, 31.0, 22.0]] * 2))
    form = _ellipsoid(lab, target)
    middle = (lab + target) / 2.0
    assert form == pytest.approx(np.swapaxes(form, 1, 2))
    for _ in range(12):
        step = rng.normal(size=3) * 0.1
        squared = np.square(delta_e_2000(middle - 0.5 * step, middle + 0.5 * step))
        assert np.einsum("i,nij,j->n", step, form, step) == pytest.approx(squared, rel=2e-3)


def test_every_choice_of_dyes_is_told_once() -> None:
    reach = _reach(("amber", "red", "violet", "blue"))
    near = reach.nearest(np.array([50.0, 10.0, 40.0]))
    sets = [frozenset(np.flatnonzero(row > 0.0)) for row in near.load_mg_m2]
    assert len(sets) >= len(list(combinations(range(4), 3)))
    assert np.all(np.diff(near.de00) >= 0.0)
    lab = reach.patches.lab(near.load_mg_m2)
    assert near.de00 == pytest.approx(delta_e_2000(lab, np.array([50.0, 10.0, 40.0])).max(axis=1), abs=1e-6)


def test_limits_are_kept() -> None:
    limits = Limits(strongest_per_L=11.0, most_coats=5, films_um=(18.0, 33.0), most_film_um=120.0, most_dyes=2)
    names = ("amber", "red", "violet")
    reach = _reach(names, limits=limits)
    for target in ([20.0, 30.0, 10.0], [45.0, 20.0, 45.0], [70.0, 0.0, 15.0]):
        found = _found(reach, np.array(target), names)
        assert found
        for a in found:
            assert sum(a.strengths.values()) <= 11.0 + 1e-6
            assert 1 <= a.coats <= 5
            assert a.film_um in limits.films_um
            assert a.total_film_um == a.film_um * a.coats <= 120.0
            assert 1 <= len(a.strengths) <= 2
            assert set(a.units.values()) == {"mL/L"}


def test_alternatives_say_what_they_give() -> None:
    """Colour and difference of every listed recipe, from its own rounded strengths."""
    names = ("amber", "red", "violet")
    reach = _reach(names, lights=("D65", "A"))
    target = np.array([[48.0, 17.0, 38.0], [53.0, 21.0, 44.0]])
    for a in _found(reach, target, names):
        strength = np.array([a.strengths.get(name, 0.0) for name in names])
        assert strength / DROP_PER_L == pytest.approx(np.rint(strength / DROP_PER_L), abs=1e-6)
        load = strength * reach.unit * a.total_film_um
        lab = reach.patches.lab(load[None])[0]
        for i, light in enumerate(("D65", "A")):
            assert a.lab[light] == pytest.approx(lab[i], abs=0.01)
            assert a.de00[light] == pytest.approx(float(delta_e_2000(lab[i], target[i])), abs=0.01)
        assert a.worst_de00 == max(a.de00.values())


def test_the_front_trades() -> None:
    """None listed is beaten in all four; more coats of a weaker mix have fewer stripes; every head is given once."""
    names = ("amber", "red", "violet", "black")
    reach = _reach(names)
    target = reach.patches.lab(np.array([[60.0, 9.0, 0.0, 0.0]]))[0]
    found = _found(reach, target, names)
    goals = [(round(a.worst_de00, 1), a.coats, round(a.total_film_um, -1), round(a.stripes_de00, 1)) for a in found]
    for i, one in enumerate(goals):
        for j, other in enumerate(goals):
            assert i == j or not all(b <= a for a, b in zip(one, other, strict=True))
    heads = [word for a in found for word in a.best_at]
    assert len(heads) == len(set(heads))
    assert {"closest", "fewest coats", "thinnest film", "least stripes", "good all round"} <= set(heads)
    by_head = {word: a for a in found for word in a.best_at}
    assert by_head["fewest coats"].coats < by_head["least stripes"].coats
    assert by_head["fewest coats"].stripes_de00 > by_head["least stripes"].stripes_de00
    assert found[0].worst_de00 <= min(a.worst_de00 for a in found) + 0.1


def test_the_same_every_time() -> None:
    names = ("amber", "red", "violet")
    one, other = (_found(_reach(names), np.array([40.0, 30.0, 20.0]), names) for _ in range(2))
    assert one == other


@pytest.mark.slow
def test_the_cloud_lies_where_the_recipes_do() -> None:
    reach = _reach(("amber", "red", "violet"))
    cloud = reach.cloud(5000)
    assert 5000 <= len(cloud) < 6000
    # Seven choices of dyes: at least one more recipe of each.
    assert [len(reach.cloud(count)) - len(reach.cloud(1)) for count in (7, 14, 15, 21)] == [0, 7, 7, 14]
    for lab in cloud[::700]:
        assert reach.nearest(lab).de00[0] < 0.2
    # From the bare base to all that is allowed of each dye and of two of them.
    full = reach.full * np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.5, 0.0, 0.5]])
    for lab in reach.patches.lab(full)[:, 0]:
        assert delta_e_2000(cloud, lab).min() < 1.5


def test_the_cloud_is_seen_under_the_first_light() -> None:
    both, alone = (_reach(("amber", "blue"), lights=lights) for lights in (("A", "D65"), ("A",)))
    assert both.cloud(200) == pytest.approx(alone.cloud(200))


@pytest.mark.parametrize(
    "bad",
    [
        {"strongest_per_L": 0.0},
        {"most_coats": 0},
        {"most_dyes": 0},
        {"films_um": (20.0, 0.0)},
        {"films_um": (50.0,), "most_film_um": 40.0},
    ],
)
def test_limits_that_leave_nothing(bad: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"limits must be|not one coat"):
        Limits(**bad)


def test_limits_that_leave_little() -> None:
    """Half a millilitre in a litre, one coat, one dye; a film too heavy for one coat is passed over."""
    limits = Limits(strongest_per_L=0.5, most_coats=1, films_um=(20.0, 90.0), most_film_um=60.0, most_dyes=1)
    assert [limits.coats_of(film) for film in limits.films_um] == [1, 0]
    assert limits.most_um == 20.0
    reach = _reach(("amber", "red"), limits=limits)
    assert reach.full == pytest.approx(reach.unit * 10.0)
    assert (np.count_nonzero(reach.nearest(np.array([40.0, 10.0, 30.0])).load_mg_m2, axis=1) <= 1).all()


def test_what_a_unit_puts_down() -> None:
    """1 mL of a liquid that holds 40 g/L is 0.04 g; a powder is all dye."""
    assert units_of([40.0, None, 25.0]).tolist() == [0.04, 1.0, 0.025]


def test_what_a_painter_allows_where_nothing_is_said() -> None:
    """Common practice, no source: 40 mL/L of dye, eight coats, light to heavy wet films, 0.4 mm in all, three dyes."""
    limits = Limits()
    assert (limits.strongest_per_L, limits.most_coats, limits.films_um) == (40.0, 8, (20.0, 40.0, 65.0))
    assert (limits.most_film_um, limits.most_dyes) == (400.0, 3)
    assert [limits.coats_of(film) for film in (20.0, 40.0, 50.0, 65.0, 401.0)] == [8, 8, 8, 6, 0]
    assert limits.most_um == 390.0  # six coats of 65 um
