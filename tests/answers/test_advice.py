"""Advice on evenness: exists for a figure that is not the hand's own, a promise that the next run does not keep, advice
on an entry that hardly matters, and silence where nothing helps enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from layerpreview.answers import advice as advice_module
from layerpreview.answers.advice import (
    Advice,
    Trial,
    _below_seen,
    _best,
    _entries,
    _overlaps,
    _Trials,
    advice_of,
    evenness_of,
)
from layerpreview.answers.evenness import Laid, Part, lay, local_de00, part_of, stripes_of
from layerpreview.answers.gun import GunSet
from layerpreview.answers.uneven import Spraying, UnevenFace, coarse_scene, even_faces
from layerpreview.colour import visibility
from layerpreview.output.evenness_result import advice_lines
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.passes import HANDS, Fan, Hand, fan_profile, overlap_ripple

from ..schemes import DYES, FULL, HEAD, MIXES, SILVER

Save = Callable[..., Path]
BIG = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "420 mm"\nheight = "330 mm"\n'
COAT = '[[coat]]\nmix = "honey"\ncoats = 2\nfilm = "40 um"\n'
BURST = (
    '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "30 um"\n'
    'burst = { from = "outline", width = "110 mm", fall_off = "soft" }\n'
)
PANEL = HEAD + BIG + SILVER + DYES + MIXES


def _part(scheme: Scheme, how: Spraying) -> Part:
    return part_of(scheme, coarse_scene(scheme, how, width_mm=420.0)).sample(600)


def _level(scheme: Scheme, how: Spraying) -> float:
    return lay(_part(scheme, how), how, HANDS["good"]).stripes_de00


def _advice(scheme: Scheme, how: Spraying, hand: Hand = HANDS["good"]) -> Advice | None:
    part = _part(scheme, how)
    laid = lay(part, how, hand)
    return advice_of(part, how, hand, laid, stripes_of(scheme, laid, "good"))


def test_it_keeps_the_colour_and_its_word(save_scheme: Save) -> None:
    """Sprayed as advised, the part comes out with the very figure that was promised."""
    how, scheme = Spraying(), load_scheme(save_scheme(PANEL + COAT))
    advice = _advice(scheme, how)
    assert advice is not None
    assert (advice.order, advice.what, advice.now.coats) == (1, "honey", 2)
    assert advice.now.stripes_de00 == _level(scheme, how) > 0.8
    assert advice.coats is not None
    assert advice.overlap is not None
    for trial in (advice.coats, advice.overlap):
        assert trial.coats * trial.strength == pytest.approx(2.0)
        assert trial.stripes_de00 < 0.8
        assert trial.verdict == "not visible"
    assert (advice.coats.overlap, advice.overlap.coats) == (how.overlap, 2)
    assert (advice.best, advice.remains, advice.remains_what) == (None, None, None)  # these are enough
    assert advice.overlap.stripes_de00 == _level(scheme, replace(how, overlap=advice.overlap.overlap))
    share = advice.coats.strength
    weaker = PANEL.replace("12 mL/L", f"{12 * share:.9f} mL/L").replace("2 mL/L", f"{2 * share:.9f} mL/L")
    thinner = load_scheme(save_scheme(weaker + COAT.replace("coats = 2", f"coats = {advice.coats.coats}")))
    assert _level(thinner, how) == pytest.approx(advice.coats.stripes_de00, rel=1e-3)


def test_one_coat_fewer_is_seen(save_scheme: Save) -> None:
    how, scheme = Spraying(), load_scheme(save_scheme(PANEL + COAT))
    advice = _advice(scheme, how)
    assert advice is not None
    assert advice.coats is not None
    fewer = advice.coats.coats - 1
    share = 2.0 / fewer
    weaker = PANEL.replace("12 mL/L", f"{12 * share:.9f} mL/L").replace("2 mL/L", f"{2 * share:.9f} mL/L")
    assert _level(load_scheme(save_scheme(weaker + COAT.replace("coats = 2", f"coats = {fewer}"))), how) >= 0.8


def test_the_entry_that_matters_most_may_be_a_burst(save_scheme: Save) -> None:
    """A strong burst over a faint field: the edge strokes stripe, whatever the field does."""
    faint = PANEL.replace("12 mL/L", "0.3 mL/L").replace('blue = "2 mL/L"', 'blue = "0.05 mL/L"')
    scheme = load_scheme(save_scheme(faint + COAT + BURST))
    advice = _advice(scheme, Spraying())
    assert advice is not None
    assert (advice.order, advice.what) == (2, "sea")
    assert advice.even_de00 < 0.5 * advice.now.stripes_de00


@pytest.mark.slow
def test_where_nothing_tried_is_enough_the_best_is_told(save_scheme: Save) -> None:
    """A clumsy hand with a strong mix: no trial gets below what is seen; what helps most is told, and what remains."""
    strong = PANEL.replace("30 mL/L", "60 mL/L")
    scheme = load_scheme(save_scheme(strong + COAT.replace("honey", "sea") + BURST))
    advice = _advice(scheme, Spraying(), Hand(spacing=0.3, speed=0.3, distance=0.15))
    assert advice is not None
    assert (advice.coats, advice.overlap, advice.both) == (None, None, None)
    assert advice.best is not None
    assert 0.8 <= advice.best.stripes_de00 < advice.now.stripes_de00
    assert advice.remains in (1, 2)
    lines = "\n".join(advice_lines(advice, "a clumsy hand"))
    less = advice.now.stripes_de00 - advice.best.stripes_de00
    for said in (f"{less:.1f} less", "What remains is", "gets below what is seen", f"{advice.best.coats} coat"):
        assert said in lines


def test_what_is_not_seen_is_kept(save_scheme: Save) -> None:
    faint = PANEL.replace("12 mL/L", "0.6 mL/L").replace('blue = "2 mL/L"', 'blue = "0.1 mL/L"')
    advice = _advice(load_scheme(save_scheme(faint + COAT)), Spraying())
    assert advice is not None
    assert advice.now.stripes_de00 < 0.8
    assert (advice.coats, advice.overlap, advice.both, advice.best) == (None, None, None, None)
    assert "Keep it." in advice_lines(advice, "a practised hand")[-1]


def test_no_coat_of_dye_no_advice(save_scheme: Save) -> None:
    opaque = '[[coat]]\nopaque = "#221814"\nhiding = 0.9\ncoats = 2\nfilm = "20 um"\n'
    assert _advice(load_scheme(save_scheme(HEAD + BIG + SILVER + opaque)), Spraying()) is None


def test_the_fan_alone(save_scheme: Save) -> None:
    """A closer overlap than the fan's best may leave less than it: then no other is praised."""
    scheme = load_scheme(save_scheme(PANEL + COAT))
    for overlap, praised in ((0.5, True), (0.75, False)):
        advice = _advice(scheme, Spraying(overlap=overlap))
        assert advice is not None
        assert advice.fan_best_overlap == pytest.approx(0.457, abs=0.001)
        theory = overlap_ripple(lambda u: fan_profile(u, beta=3.0), overlap=overlap).cv
        assert advice.fan_ripple_now == pytest.approx(theory)
        assert ("it would be" in advice_lines(advice, "a practised hand")[0]) is praised


def test_the_closest_scheme_may_ask_for_is_no_error(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    how = Spraying(gun=Fan(width_mm=120.0, distance_mm=160.0), overlap=0.95)
    advice = _advice(scheme, how)
    assert advice is not None
    assert advice.now.overlap == 0.95


@pytest.mark.slow
def test_the_same_seed_the_same_advice(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(PANEL + COAT + BURST))
    assert _advice(scheme, Spraying()) == _advice(scheme, Spraying())


def _sea(mL_per_L: float, *, coats: int = 2) -> str:
    return PANEL.replace("30 mL/L", f"{mL_per_L:.9f} mL/L") + COAT.replace("honey", "sea").replace("= 2", f"= {coats}")


def test_the_overlap_told_is_the_least_that_is_enough(save_scheme: Save) -> None:
    """Each closer spacing that was worth a trial, sprayed by itself: still seen, up to the one that is told."""
    how, scheme = Spraying(), load_scheme(save_scheme(PANEL + COAT))
    advice = _advice(scheme, how)
    assert advice is not None
    assert advice.overlap is not None
    assert advice.overlap.overlap == pytest.approx(2 / 3, abs=1e-3)
    for less in (advice.fan_best_overlap, 0.6):
        assert _level(scheme, replace(how, overlap=less)) >= 0.8
    assert advice.both is None  # an overlap alone is enough


def test_an_overlap_whose_own_ripple_is_larger_is_not_told(save_scheme: Save) -> None:
    """From the fan's best overlap 0.6 would be enough for this hand, but fan and overlap alone would leave four times
    the ripple: a steadier hand would then see what it did not before."""
    how, scheme = Spraying(overlap=0.457), load_scheme(save_scheme(_sea(8.0)))
    assert _level(scheme, how) >= 0.8 > _level(scheme, replace(how, overlap=0.6))
    advice = _advice(scheme, how)
    assert advice is not None
    assert advice.overlap is not None
    assert advice.overlap.overlap == pytest.approx(2 / 3, abs=1e-3)
    ripple = [
        overlap_ripple(lambda u: fan_profile(u, beta=3.0), overlap=o).cv for o in (0.457, 0.6, advice.overlap.overlap)
    ]
    assert ripple[2] <= ripple[0] + 1e-3 < ripple[1]


@pytest.mark.slow
def test_more_coats_at_the_closest_overlap_where_neither_alone_is_enough(save_scheme: Save) -> None:
    """Sprayed by itself: with one coat fewer it is seen, as told it is not, and by coats alone it takes more."""
    how, hand = Spraying(), HANDS["hurried"]
    advice = _advice(load_scheme(save_scheme(_sea(30.0))), how, hand)
    assert advice is not None
    assert advice.overlap is None
    assert advice.both is not None
    assert advice.both.overlap == 0.75
    assert advice.coats is None or advice.coats.coats > advice.both.coats
    closest = replace(how, overlap=0.75)
    for coats, seen in ((advice.both.coats, False), (advice.both.coats - 1, True)):
        scheme = load_scheme(save_scheme(_sea(30.0 * 2 / coats, coats=coats)))
        assert (lay(_part(scheme, closest), closest, hand).stripes_de00 >= 0.8) is seen


class Table(_Trials):
    """Trials whose figures are looked up; what is tried is kept in its order."""

    def __init__(self, coats: int, figure: Callable[[int, float], float], overlap: float = 0.5) -> None:
        self.how, self.coats, self.figure = Spraying(overlap=overlap), coats, figure
        self.tried: list[int] = []

    def trial(self, coats: int, overlap: float) -> Trial:
        self.tried.append(coats)
        level = self.figure(coats, overlap)
        return Trial(coats, self.coats / coats, overlap, level, visibility(level))

    @property
    def now(self) -> Trial:
        return self.trial(self.coats, self.how.overlap)

    def first(self, overlap: float, below: float) -> Trial | None:
        """Sixteen coats at most, one after the other."""
        ways = (self.trial(coats, overlap) for coats in range(self.coats + 1, 17))
        return next((way for way in ways if way.stripes_de00 < below), None)


@pytest.mark.parametrize("coats", range(1, 18))
def test_the_fewest_coats_are_found_as_if_each_had_been_tried(coats: int) -> None:
    for enough in range(1, 19):
        table = Table(coats, lambda n, _, enough=enough: 0.7 if n >= enough else 0.9)  # type: ignore[misc]
        assert table.fewest(0.5) == table.first(0.5, 0.8)
        assert Table(coats, lambda n, _: 1.0 / n).fewest(0.5, 1 / enough) == table.__class__(
            coats, lambda n, _: 1.0 / n
        ).first(0.5, 1 / enough)


@pytest.mark.parametrize(
    ("coats", "enough", "tried"),
    [
        (2, 3, [3]),
        (2, 5, [3, 5, 4]),
        (2, 8, [3, 5, 9, 7, 8]),
        (1, 99, [2, 4, 8, 16]),
        (2, 16, [3, 5, 9, 16, 13, 15]),
        (14, 99, [15, 16]),
    ],
)
def test_few_coats_are_tried(coats: int, enough: int, tried: list[int]) -> None:
    """By hand: one more, three, seven, fifteen, at most sixteen in all; then the last step halved."""
    table = Table(coats, lambda n, _: 0.7 if n >= enough else 0.9)
    table.fewest(0.5)
    assert list(dict.fromkeys(table.tried)) == tried


def test_ways_to_get_below_what_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """Against each coat and overlap tried in turn, for many parts made up by chance."""
    monkeypatch.setattr(advice_module, "_ripple", lru_cache(advice_module._ripple))
    rng = np.random.default_rng(5)
    seen = set()
    for _ in range(400):
        coats, overlap = int(rng.integers(1, 17)), float(rng.choice([0.3, 0.457, 0.5, 0.65, 0.9]))
        start, by_coat, by_overlap = rng.uniform(0.7, 1.6), rng.uniform(0.0, 0.5), rng.uniform(0.0, 3.0)

        def figure(n: int, o: float, *values: float) -> float:
            start, by_coat, by_overlap, coats, overlap = values
            return float(start * (coats / n) ** by_coat * np.exp(-by_overlap * (o - overlap)))

        values = start, by_coat, by_overlap, coats, overlap
        table = Table(coats, lambda n, o, values=values: figure(n, o, *values), overlap)  # type: ignore[misc]
        even, now, others = float(rng.choice([0.2, 0.79, 0.81])), table.now, _overlaps(table.how)
        found = _below_seen(table, now, even)
        by_coats = table.first(overlap, 0.8) if even < 0.8 else None
        ways = (table.trial(coats, other) for other in others)
        by_overlaps = next((way for way in ways if way.stripes_de00 < 0.8), None)
        both = table.first(others[-1], 0.8) if others and by_overlaps is None else None
        if by_coats is not None and by_coats.coats == coats + 1:
            both = None  # one coat more is as little as can be asked for
        assert found == ((None, None, None) if start < 0.8 else (by_coats, by_overlaps, both))
        seen.add(tuple(way is not None for way in found))
        if start >= 0.8 and found == (None, None, None):
            closest = {overlap, *others[-1:]}
            every = [table.trial(coats, other) for other in others]
            every += [table.trial(n, other) for n in range(coats + 1, 17) for other in closest]
            lowest = min((way.stripes_de00 for way in every), default=0.0) + 0.1
            less_work = sorted((way.coats, way.overlap) for way in every if way.stripes_de00 < lowest)
            best = _best(table, now)
            assert (None if best is None else (best.coats, best.overlap)) == next(iter(less_work), None)
            seen.add((best is None,))
    assert len(seen) >= 8


@pytest.mark.parametrize("figures", [(0.95, 1.04), (0.95, 1.06)])
def test_a_tenth_more_is_as_good(figures: tuple[float, float]) -> None:
    """Eight coats leave the first figure, three the second: three are told where the difference is not worth five."""
    table = Table(2, lambda n, _: figures[0] if n >= 8 else figures[1] if n >= 3 else 1.5)
    best = _best(table, table.now)
    assert best is not None
    assert best.coats == (3 if figures[1] < 1.05 else 8)


def _ripple_of(overlap: float) -> float:
    return overlap_ripple(lambda u: fan_profile(u, beta=3.0), overlap=overlap).cv


def test_overlaps_worth_trying() -> None:
    """The fan's evenest, 60 %, two thirds and three quarters, rising."""
    assert _overlaps(Spraying(overlap=0.5)) == [0.457, 0.6, 0.667, 0.75]
    assert _overlaps(Spraying(overlap=0.9)) == []


@pytest.mark.parametrize(
    ("now", "other", "told"),
    [(0.591, 0.6, False), (0.5895, 0.6, True), (0.6765, 0.667, False), (0.678, 0.667, True), (0.4665, 0.457, False)],
)
def test_an_overlap_a_hundredth_from_now_is_not_worth_trying(now: float, other: float, told: bool) -> None:
    """Nobody holds a spacing that closely, though the fan alone would leave less there."""
    assert _ripple_of(now) > _ripple_of(other)
    assert (other in _overlaps(Spraying(overlap=now))) is told


@pytest.mark.parametrize(("more", "told"), [(0.00085, True), (0.00098, True), (0.00102, False), (0.0012, False)])
def test_an_overlap_with_a_thousandth_more_ripple_is_not_worth_trying(more: float, told: bool) -> None:
    """Of the build, at three quarters more than now, which is closer still."""
    now = brentq(lambda overlap: _ripple_of(0.75) - _ripple_of(overlap) - more, 0.79, 0.8)
    assert now > 0.79
    assert (0.75 in _overlaps(Spraying(overlap=now))) is told


@pytest.fixture(scope="module")
def hurried(tmp_path_factory: pytest.TempPathFactory) -> tuple[Part, Laid, Advice]:
    """A strong burst over a strong field at few points, under a hand in a hurry: what nothing tried is enough for."""
    path = tmp_path_factory.mktemp("strong") / "job.toml"
    strong = PANEL.replace("30 mL/L", "60 mL/L") + COAT.replace("honey", "sea") + COAT + BURST
    path.write_text(strong.replace("12 mL/L", "0.2 mL/L"), "utf-8")
    scheme = load_scheme(path)
    part = part_of(scheme, coarse_scene(scheme, Spraying(), width_mm=420.0)).sample(150)
    laid = lay(part, Spraying(), HANDS["hurried"])
    advice = advice_of(part, Spraying(), HANDS["hurried"], laid, stripes_of(scheme, laid, "hurried"))
    assert advice is not None
    return part, laid, advice


def _by_entry(part: Part, laid: Laid) -> list[float]:
    """The figure with each entry in turn at its mean over what is meant of it: point by point."""
    levels = []
    for i in range(len(part.scheme.coats)):
        seen = []
        for (face,) in laid.faces:
            meant, factor = face.intended[i].astype(float), face.factor.copy()
            factor[i] = sum(m * f for m, f in zip(meant, factor[i].astype(float), strict=True)) / meant.sum()
            seen.append(local_de00(replace(face, factor=factor), part.looks[0])[part.counts[0]])
        levels.append(float(np.percentile(np.concatenate(seen), 95.0)))
    return levels


@pytest.mark.slow
def test_what_matters_most_now_and_after_the_best_that_can_be_done(hurried: tuple[Part, Laid, Advice]) -> None:
    part, laid, advice = hurried
    even = _by_entry(part, laid)
    assert advice.order == 1 + int(np.argmin(even))
    assert advice.even_de00 == pytest.approx(min(even), abs=1e-4)
    assert (advice.what, advice.now.strength, advice.now.verdict) == ("sea", 1.0, "visible")
    assert (advice.coats, advice.overlap, advice.both) == (None, None, None)
    best = advice.best
    assert best is not None
    assert advice.remains is not None
    assert best.coats * best.strength == pytest.approx(2.0)
    entry = advice.order - 1
    closer = replace(Spraying(), overlap=best.overlap)
    coats = list(part.scheme.coats)
    coats[entry] = coats[entry].model_copy(update={"coats": best.coats})
    again = lay(replace(part, scheme=part.scheme.model_copy(update={"coats": tuple(coats)})), closer, HANDS["hurried"])
    assert again.stripes_de00 == best.stripes_de00
    after = _by_entry(part, again)
    assert advice.remains == 1 + int(np.argmin(after))
    assert advice.remains_what == part.scheme.coats[advice.remains - 1].label


def test_only_dye_that_lands_is_advised_on(save_scheme: Save) -> None:
    """Of a primer, a dye on the one face and a dye on none, only the second."""
    other = BIG.replace("front", "back")
    primer = '[[coat]]\nopaque = "#f0f0ee"\nhiding = 0.4\ncoats = 2\nfilm = "20 um"\n'
    scheme = load_scheme(save_scheme(HEAD + BIG + other + SILVER + DYES + MIXES + primer + COAT + 'zone = "back"\n'))
    part = Part(scheme, tuple(even_faces(scheme, make_scene(scheme, width_px=80))), (), ())
    assert _entries(part) == [1]
    faces = tuple(replace(face, places=(None, None)) for face in part.faces)
    assert _entries(replace(part, faces=faces)) == []


RAIL = '[[face]]\nname = "rail"\nshape = "panel"\nwidth = "400 mm"\nheight = "12 mm"\n'
LONG = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "400 mm"\nheight = "57 mm"\n'


@pytest.mark.slow
def test_a_part_its_work_and_its_hands(save_scheme: Save) -> None:
    """By hand: a fan of 30 mm at half overlap over 57 mm takes 5 strokes, then 6 between; a rail of 12 mm gets the edge
    gun, 28 mm: 2 and 3. Each runs 60 mm past both ends, and across to the next."""
    faint = MIXES.replace("12 mL/L", "0.6 mL/L").replace('"2 mL/L"', '"0.1 mL/L"')
    head = HEAD.replace('["D65"]', '["A", "D65"]')
    scheme = load_scheme(save_scheme(head + LONG + RAIL + SILVER + DYES + faint + COAT))
    gun = GunSet(Spraying(gun=Fan(width_mm=30.0, distance_mm=60.0, speed_mm_s=300.0)), {})
    scene = make_scene(scheme, width_px=100)
    found = evenness_of(scheme, scene, gun, hands=("hurried", "flat"), advised_hand="good")
    assert (found.light, found.gun, found.advised_hand) == ("A", gun, "good")
    assert [stripes.hand for stripes in found.stripes] == list(found.usual) == ["hurried", "flat"]
    (work,) = found.passes
    assert (work.order, work.what, work.coats, work.strokes) == (1, "honey", 2, 5 + 6 + 2 + 3)
    front, rail = 11 * 0.52 + 9 * 0.015, 5 * 0.52 + 3 * 0.014
    assert work.metres == pytest.approx(front + rail, rel=0.005)
    assert work.minutes == pytest.approx((front / 0.3 + rail / 0.2) / 60.0, rel=0.005)
    assert (work.fan_mm, work.spacing_mm) == (30.0, 15.0)
    # Sixteen points across the fan, over all that the scene shows.
    across = scene.width_px * scene.pixel_mm / found.part.faces[0].grid.pixel_mm
    assert across == pytest.approx(scene.width_px * scene.pixel_mm * 16 / 30, rel=0.02)
    part = found.part.sample()
    laid = {hand: lay(part, gun.how, HANDS[hand]) for hand in ("hurried", "flat", "good")}
    assert found.stripes == tuple(stripes_of(scheme, laid[hand], hand) for hand in ("hurried", "flat"))
    good = stripes_of(scheme, laid["good"], "good")
    assert found.advice == advice_of(part, gun.how, HANDS["good"], laid["good"], good)
    shown = np.concatenate([_percent(face) for face in found.usual["hurried"]])
    sampled = np.concatenate([_percent(face) for face in laid["hurried"].faces[laid["hurried"].usual]])
    assert np.isin(sampled, shown).all()
    assert len(repr(found)) < 5000  # figures, not the maps


def _percent(face: UnevenFace) -> np.ndarray:  # type: ignore[type-arg]
    return np.round(100.0 * face.factor[0], 3)
