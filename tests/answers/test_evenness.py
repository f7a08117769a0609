"""Evenness: exists for a hand that changes the mean, stripes judged against the wrong colour or over what nobody
sprays, maps that move when the picture is rendered at another size, and figures that hang on one lucky attempt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers.evenness import ATTEMPTS, Laid, Part, dye_build, lay, local_de00, part_of, stripes_of
from layerpreview.answers.uneven import (
    Spraying,
    coarse_scene,
    coats_over,
    edge_fan,
    even_faces,
    gun_for,
    one_coat_cv,
    uneven_faces,
    uneven_scene,
)
from layerpreview.colour import delta_e_2000, visibility
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.passes import HANDS, Fan, fan_profile, overlap_ripple

from ..schemes import DYES, FULL, HEAD, MIXES, SILVER

Save = Callable[..., Path]
BIG = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "420 mm"\nheight = "330 mm"\n'
COAT = '[[coat]]\nmix = "honey"\ncoats = 2\nfilm = "40 um"\n'
PARABOLA = Fan(width_mm=120.0, distance_mm=160.0, beta=2.0)


@pytest.fixture
def panel(save_scheme: Save) -> Scheme:
    return load_scheme(save_scheme(HEAD + BIG + SILVER + DYES + MIXES + COAT))


def _faces(scheme: Scheme, how: Spraying, hand: str):
    coarse = coarse_scene(scheme, how, width_mm=make_scene(scheme, width_px=64).pixel_mm * 64)
    return coarse, *uneven_faces(scheme, even_faces(scheme, coarse), how, HANDS[hand])


def _part(scheme: Scheme, how: Spraying) -> Part:
    return part_of(scheme, coarse_scene(scheme, how, width_mm=make_scene(scheme, width_px=64).pixel_mm * 64))


def test_a_steady_hand_leaves_the_fans_own_ripple(panel: Scheme) -> None:
    how = Spraying(gun=PARABOLA, pattern="same")
    _, faces, strokes = _faces(panel, how, "flat")
    theory = overlap_ripple(lambda u: fan_profile(u, beta=2.0), overlap=0.5)
    assert faces[0].factor[0].mean() == pytest.approx(1.0, abs=0.02)
    assert faces[0].factor[0].std() == pytest.approx(theory.cv, abs=0.01)
    assert len(strokes[0]) == 2


def test_stripes_are_the_colours_of_thick_and_thin(panel: Scheme) -> None:
    """The furthest point from the mean is as far as the thickest or thinnest build, computed on its own."""
    how = Spraying(gun=PARABOLA, pattern="same")
    coarse, faces, _ = _faces(panel, how, "flat")
    field, part = main_spot(spots_of(panel, coarse)), part_of(panel, coarse)
    de, counts = local_de00(faces[0], part.looks[0]), part.counts[0]
    factor = faces[0].factor[0][counts]
    stack = stack_of(panel)

    def lab(build: float) -> np.ndarray:
        return spot_lab(stack, field.bare, np.array([build]), light="D65", observer_deg=2)

    mean = lab(float(factor.mean()))
    ends = [float(delta_e_2000(lab(float(v)), mean)) for v in (factor.min(), factor.max())]
    assert float(de[counts].max()) == pytest.approx(max(ends), abs=0.05)


def test_figures_and_verdict_agree(panel: Scheme) -> None:
    levels = []
    for hand in ("flat", "good", "hurried"):
        laid = lay(_part(panel, Spraying()).sample(), Spraying(), HANDS[hand])
        stripes = stripes_of(panel, laid, hand)
        assert stripes.stripes_de00 == laid.stripes_de00
        assert stripes.verdict == visibility(stripes.stripes_de00)
        assert stripes.share_not_accepted <= stripes.share_just_seen
        assert stripes.typical_de00 <= stripes.stripes_de00
        levels.append(stripes.stripes_de00)
    assert levels == sorted(levels)


def test_an_even_but_heavy_hand_has_no_stripes(panel: Scheme) -> None:
    _, faces, _ = _faces(panel, Spraying(), "flat")
    heavy = replace(faces[0], factor=np.full_like(faces[0].factor, 1.3))
    assert local_de00(heavy, _part(panel, Spraying()).looks[0]).max() < 0.02


def test_more_coats_of_a_weaker_mix_are_more_even(panel: Scheme) -> None:
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0.0, 420.0, 800), rng.uniform(0.0, 330.0, 800)
    how = Spraying(pattern="random")

    def deviation(coats: int) -> float:
        runs = [
            coats_over(x, y, width_mm=420.0, height_mm=330.0, coats=coats, how=how, hand=HANDS["good"], rng=rng)[
                0
            ].std()
            for _ in range(40)
        ]
        return float(np.sqrt(np.mean(np.square(runs))))

    assert deviation(4) / deviation(1) == pytest.approx(0.5, abs=0.08)


def test_one_coat_is_what_it_says() -> None:
    how = Spraying(gun=PARABOLA)
    theory = overlap_ripple(lambda u: fan_profile(u, beta=2.0), overlap=0.5).cv
    assert one_coat_cv(how, HANDS["flat"], width_mm=600.0) == pytest.approx(theory, rel=0.05)
    assert theory < one_coat_cv(how, HANDS["good"]) < one_coat_cv(how, HANDS["hurried"])


def test_crossed_coats_stripe_both_ways(panel: Scheme) -> None:
    how = Spraying(gun=PARABOLA, directions_deg=(0.0, 90.0), pattern="same")
    _, faces, strokes = _faces(panel, how, "flat")
    factor = faces[0].factor[0].reshape(faces[0].grid.n_rows, -1)
    assert factor.mean(axis=0).std() > 0.02
    assert factor.mean(axis=1).std() > 0.02
    assert [coat.angle_deg for coat in strokes[0]] == [0.0, 90.0]


def test_the_picture_does_not_depend_on_its_size(panel: Scheme) -> None:
    """The hand's map is made once in millimetres: at two sizes the same build lies at the same place."""
    _, faces, _ = _faces(panel, Spraying(), "hurried")
    seen = []
    for width_px in (300, 840):
        scene = uneven_scene(make_scene(panel, width_px=width_px), faces)
        picture = scene.faces[0].picture
        builds, _ = picture.maps.rows(0, picture.grid.n_rows)
        build = builds[0].reshape(picture.grid.n_rows, picture.grid.n_cols)
        rows, cols = (np.array([0.2, 0.47, 0.81]) * size for size in build.shape)
        seen.append(build[np.ix_(rows.astype(int), cols.astype(int))])
    assert seen[0] == pytest.approx(seen[1], abs=0.01)


def test_strips_do_not_show(panel: Scheme) -> None:
    _, faces, _ = _faces(panel, Spraying(), "good")
    maps = uneven_scene(make_scene(panel, width_px=200), faces).faces[0].picture.maps
    whole, _ = maps.rows(0, 120)
    parts = np.concatenate([maps.rows(a, b)[0] for a, b in ((0, 7), (7, 50), (50, 120))], axis=1)
    assert np.array_equal(whole, parts)


def test_bursts_are_sprayed_along_their_edge(save_scheme: Save) -> None:
    """With a steady hand the build of a burst is as meant at every place round the edge, to the fan's ripple."""
    scheme = load_scheme(save_scheme(FULL))
    how = Spraying()
    _, faces, strokes = _faces(scheme, how, "flat")
    burst = scheme.coats[1]
    fan = edge_fan(how, burst)
    assert fan.width_mm == 15.0
    assert all(coat.closed and coat.fan == fan for coat in strokes[1])
    near = faces[0].intended[1] > 0.3
    ripple = overlap_ripple(lambda u: fan_profile(u, beta=fan.beta), overlap=0.5)
    assert faces[0].factor[1][near] == pytest.approx(1.0, abs=ripple.peak_to_peak)


def test_a_narrow_piece_gets_the_small_gun(panel: Scheme) -> None:
    how = Spraying()
    narrow = gun_for(how, panel.coats[0], width_mm=30.0, height_mm=400.0)
    assert narrow.gun == how.edge_gun
    assert narrow.directions_deg == (90.0,)
    assert gun_for(how, panel.coats[0], width_mm=300.0, height_mm=400.0) == how


def test_under_opaque_coats_nothing_counts(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    coarse, faces, _ = _faces(scheme, Spraying(), "hurried")
    part = part_of(scheme, coarse)
    rim = faces[0].intended[2] > 0.5
    assert rim.any()
    assert not part.counts[0][rim].any()


def test_where_nothing_is_meant_the_map_says_as_meant(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL.replace('mix = "honey"\ncoats = 3', 'mix = "sea"\ncoats = 3')))
    _, faces, _ = _faces(scheme, Spraying(), "hurried")
    blank = replace(faces[0], intended=np.zeros_like(faces[0].intended))
    assert np.all(dye_build(scheme, blank) == 1.0)


def test_dye_over_an_opaque_coat_counts(save_scheme: Save) -> None:
    """An opaque white first, then honey: the honey's stripes show all over."""
    white = '[[coat]]\nopaque = "#f0f0ee"\nhiding = 2.0\ncoats = 2\nfilm = "20 um"\n'
    scheme = load_scheme(save_scheme(HEAD + BIG + SILVER + DYES + MIXES + white + COAT))
    part = _part(scheme, Spraying())
    assert part.counts[0].sum() == (part.faces[0].cover > 0.5).sum()
    laid = lay(part.sample(), Spraying(), HANDS["hurried"])
    assert laid.stripes_de00 > 1.0


def test_what_nobody_sprays_does_not_dilute_the_figure(save_scheme: Save) -> None:
    """A second face that no coat goes on, three times as large, leaves the first one's figure where it was."""
    other = '[[face]]\nname = "plain"\nshape = "panel"\nwidth = "420 mm"\nheight = "990 mm"\n'
    only = COAT.replace("coats = 2", 'coats = 2\nzone = "front"')
    found = []
    for faces in (BIG, BIG + other):
        scheme = load_scheme(save_scheme(HEAD + faces + SILVER + DYES + MIXES + only))
        found.append(lay(_part(scheme, Spraying()).sample(6000), Spraying(), HANDS["good"]).stripes_de00)
    assert found[1] == pytest.approx(found[0], rel=0.06)


def test_a_part_of_opaque_coats_alone_still_has_a_figure(save_scheme: Save) -> None:
    white = '[[coat]]\nopaque = "#f0f0ee"\nhiding = 0.4\ncoats = 2\nfilm = "20 um"\n'
    scheme = load_scheme(save_scheme(HEAD + BIG + SILVER + white))
    flat, hurried = (
        lay(_part(scheme, Spraying()).sample(), Spraying(), HANDS[hand]).stripes_de00 for hand in ("flat", "hurried")
    )
    assert 0.0 < flat < hurried


def test_a_sample_of_the_points_tells_the_same(panel: Scheme) -> None:
    """The strokes are those of all points, and the figure is within the few percent that points by chance wander."""
    how, part = Spraying(), _part(panel, Spraying())
    some = part.sample()
    assert 0.9 < some.faces[0].cover.size / 3000 < 1.1
    all_points, few = lay(part, how, HANDS["good"]), lay(some, how, HANDS["good"])
    of_all = np.unique(np.round(all_points.faces[2][0].factor[0], 6))
    assert np.isin(np.round(few.faces[2][0].factor[0], 6), of_all).all()
    assert few.stripes_de00 == pytest.approx(all_points.stripes_de00, rel=0.03)


def test_the_figure_does_not_hang_on_one_attempt(panel: Scheme) -> None:
    """Attempts of one hand differ; the figure lies among them, and the usual attempt is the one nearest to it."""
    laid = lay(_part(panel, Spraying()).sample(), Spraying(), HANDS["good"])
    each = [float(np.percentile(de, 95.0)) for de in laid.de00]
    assert len(each) == ATTEMPTS == len({round(level, 3) for level in each})
    assert min(each) < laid.stripes_de00 < max(each)
    assert abs(each[laid.usual] - laid.stripes_de00) == min(abs(level - laid.stripes_de00) for level in each)


def test_other_coats_of_one_entry_leave_the_others_alone(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    even = even_faces(scheme, make_scene(scheme, width_px=120))
    one, _ = uneven_faces(scheme, even, Spraying(), HANDS["good"], attempt=3)
    two, strokes = uneven_faces(scheme, even, Spraying(), HANDS["good"], attempt=3, coats={1: 5})
    assert np.array_equal(one[0].factor[[0, 2]], two[0].factor[[0, 2]])
    assert not np.array_equal(one[0].factor[1], two[0].factor[1])
    assert [len(laid) for laid in strokes] == [3, 5, 2]


@pytest.mark.parametrize("wraps", [False, True])
def test_round_a_tube_only_level_strokes_meet_themselves(wraps: bool) -> None:
    how = Spraying(directions_deg=(0.0, 90.0, 180.0, 45.0))
    _, strokes = coats_over(
        np.array([30.0]),
        np.array([40.0]),
        width_mm=400.0,
        height_mm=120.0,
        coats=4,
        how=how,
        hand=HANDS["flat"],
        rng=np.random.default_rng(1),
        wraps=wraps,
    )
    assert [coat.closed for coat in strokes] == [wraps, False, wraps, False]


def test_figures_by_hand(panel: Scheme) -> None:
    """Six places, builds of 0.8 to 1.3 where 1 or half is meant: weighted mean and deviation, median and 95 %."""
    _, faces, _ = _faces(panel, Spraying(), "flat")
    six = faces[0].at(np.flatnonzero(faces[0].cover > 0.5)[:6])
    factor = np.array([[0.8, 1.0, 1.1, 1.3, 0.9, 1.0]], dtype=np.float32)
    intended = np.array([[1.0, 1.0, 0.5, 1.0, 0.5, 1.0]], dtype=np.float32)
    six = replace(six, factor=factor, intended=intended)
    de = np.array([0.2, 0.4, 0.9, 2.0, 1.0, 0.1], dtype=np.float32)
    laid = Laid(((six,),), (de,))
    found = stripes_of(panel, laid, "good")
    mean = (0.8 + 1.0 + 0.55 + 1.3 + 0.45 + 1.0) / 5.0  # 1.02
    square = (0.22**2 + 0.02**2 + 0.5 * 0.08**2 + 0.28**2 + 0.5 * 0.12**2 + 0.02**2) / 5.0
    assert found.build_cv == {1: pytest.approx(np.sqrt(square) / mean, rel=1e-5)}
    assert found.typical_de00 == pytest.approx(0.65)  # halfway from 0.4 to 0.9
    assert found.stripes_de00 == pytest.approx(1.75)  # 95 %: a quarter below the largest, 1.0 + 0.75 x 1.0
    assert (found.share_just_seen, found.share_not_accepted) == pytest.approx((3 / 6, 1 / 6))
    assert found.hand == "good"
