"""Advice on evenness: exists for a figure that is not the hand's own, a promise that the next run does not keep, advice
on an entry that hardly matters, and silence where nothing helps enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from layerpreview.answers.advice import Advice, advice_of
from layerpreview.answers.evenness import Part, lay, part_of, stripes_of
from layerpreview.answers.uneven import Spraying, coarse_scene
from layerpreview.output.evenness_result import advice_lines
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
    return part_of(scheme, coarse_scene(scheme, how, width_mm=420.0)).sample()


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
