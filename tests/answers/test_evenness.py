"""Evenness: exists for a hand that changes the mean, stripes judged against the wrong colour or over what nobody
sprays, maps that move when the picture is rendered at another size, and figures that hang on one lucky attempt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from layerpreview.answers import evenness
from layerpreview.answers.evenness import (
    ATTEMPTS,
    Laid,
    Part,
    _opaque_on_top,
    dye_build,
    lay,
    local_de00,
    means_of,
    part_of,
    stripes_of,
)
from layerpreview.answers.landing import Place
from layerpreview.answers.uneven import (
    Spraying,
    UnevenFace,
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
from layerpreview.errors import NoAnswerError
from layerpreview.finish.layers import stack_of
from layerpreview.job.colours import spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.spray.passes import GUNS, HANDS, Fan, fan_profile, overlap_ripple
from layerpreview.surface.sample import PixelGrid

from ..schemes import DYES, FULL, HEAD, HONEY, MIXES, PANEL, RIM, SEA_BURST, SILVER

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


def test_a_part_that_is_nowhere_as_wide_as_a_point_is_said_to_be(save_scheme: Save) -> None:
    thread = '[[face]]\nname = "front"\nshape = "panel"\nwidth = "2000 mm"\nheight = "0.5 mm"\n'
    scheme = load_scheme(save_scheme(HEAD + thread + SILVER + DYES + MIXES + COAT))
    with pytest.raises(NoAnswerError, match=r"too narrow beside its length .*; check the sizes"):
        part_of(scheme, coarse_scene(scheme, Spraying(), width_mm=2000.0))


def test_a_sample_of_the_points_tells_the_same(panel: Scheme) -> None:
    """The strokes are those of all points, and the figure is within the few percent that points by chance wander."""
    how, part = Spraying(), _part(panel, Spraying())
    some = part.sample()
    assert some.faces[0].cover.size == 3000
    all_points, few = lay(part, how, HANDS["good"]), lay(some, how, HANDS["good"])
    of_all = np.unique(np.round(all_points.faces[2][0].factor[0], 6))
    assert np.isin(np.round(few.faces[2][0].factor[0], 6), of_all).all()
    assert few.stripes_de00 == pytest.approx(all_points.stripes_de00, rel=0.03)


def test_the_figure_does_not_hang_on_one_attempt(panel: Scheme) -> None:
    """Attempts of one hand differ; the figure lies among them, and the usual attempt is the one nearest to it."""
    laid = lay(_part(panel, Spraying()).sample(), Spraying(), HANDS["good"])
    each = [float(np.percentile(de, 95.0)) for de in laid.de00]
    assert len(each) == ATTEMPTS == len({round(level, 3) for level in each}) == 5  # as the words tell
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
    de = np.array([0.2, 0.82, 0.9, 2.0, 1.0, 0.1], dtype=np.float32)
    laid = Laid(((six,),), (de,))
    found = stripes_of(panel, laid, "good")
    mean = (0.8 + 1.0 + 0.55 + 1.3 + 0.45 + 1.0) / 5.0  # 1.02
    square = (0.22**2 + 0.02**2 + 0.5 * 0.08**2 + 0.28**2 + 0.5 * 0.12**2 + 0.02**2) / 5.0
    assert found.build_cv == {1: pytest.approx(np.sqrt(square) / mean, rel=1e-5)}
    assert found.typical_de00 == pytest.approx(0.86)  # halfway from 0.82 to 0.9
    assert found.stripes_de00 == pytest.approx(1.75)  # 95 %: a quarter below the largest, 1.0 + 0.75 x 1.0
    assert (found.share_just_seen, found.share_not_accepted) == pytest.approx((4 / 6, 1 / 6))
    assert found.hand == "good"


def _flat(intended: list[list[float]], *, cover: list[float] | None = None, name: str = "front") -> UnevenFace:
    """A face in one row of points, laid evenly; builds (layers, P)."""
    build = np.array(intended, dtype=np.float32)
    covered = np.ones(build.shape[1]) if cover is None else np.array(cover)
    row = PixelGrid(pixel_mm=1.0, n_cols=build.shape[1], n_rows=1)
    places = (None,) * len(build)
    return UnevenFace(name, np.full(81, 0.6), row, build, np.ones_like(build), covered.astype(np.float32), places)


def test_a_sample_is_spread_over_what_lies_on_the_part(panel: Scheme) -> None:
    """Of 600 and 200 points on two faces, 120 in all: 90 and 30; of a third, with three, one; off the part none."""
    cover = [0.4, 0.45, 0.55, 0.6, 1.0]
    sizes = (1000, 333, 3)
    faces = []
    for size in sizes:
        pattern = (cover * 200)[:size] if size > 3 else [1.0] * 3
        faces.append(_flat([list(np.linspace(0.1, 1.0, size))], cover=pattern))
    inside = [int((face.cover > 0.5).sum()) for face in faces]
    assert inside == [600, 199, 3]
    counts = tuple(np.arange(face.cover.size) % 7 > 0 for face in faces)
    counts[2][:] = False  # stripes count nowhere on one face: the others are still sampled
    part = Part(panel, tuple(faces), (), counts)
    few = part.sample(120)
    assert [face.cover.size for face in few.faces] == [90, 30, 1]
    for whole, some, here, chosen in zip(faces, few.faces, counts, few.counts, strict=True):
        assert (some.cover > 0.5).all()
        at = np.searchsorted(whole.intended[0], some.intended[0])
        assert (np.diff(at) > 0).all()  # in their order, none twice
        assert np.array_equal(chosen, here[at])
    spread = np.searchsorted(faces[0].intended[0], few.faces[0].intended[0])
    assert np.abs(np.histogram(spread, bins=4, range=(0, 1000))[0] - 22.5).max() < 12
    again = part.sample(120)
    assert all(np.array_equal(a.intended, b.intended) for a, b in zip(few.faces, again.faces, strict=True))
    assert [face.cover.size for face in part.sample(10**6).faces] == inside
    nowhere = replace(part, counts=tuple(np.zeros_like(here) for here in counts))
    assert nowhere.sample(120) is nowhere
    off = Part(panel, (_flat([[1.0, 1.0]], cover=[0.0, 0.5]),), (), (np.array([False, False]),))
    assert off.sample(120) is off


OTHERS = r"argument 2 is (shorter|longer)"


def test_faces_of_another_part_are_refused(panel: Scheme) -> None:
    """Never cut off to those there are."""
    two = (_flat([[1.0]]), _flat([[1.0]]))
    counts = np.array([True]), np.array([True])
    with pytest.raises(ValueError, match=OTHERS):
        Part(panel, two, (), counts[:1]).sample()
    look = _part(panel, Spraying()).looks[0]
    with pytest.raises(ValueError, match=OTHERS):
        Part(panel, two, (look, look), counts).de00(two[:1])
    scene = make_scene(panel, width_px=40)
    with pytest.raises(ValueError, match=OTHERS):
        uneven_scene(scene, [])
    with pytest.raises(ValueError, match=OTHERS):
        uneven_faces(panel, [replace(two[0], places=())], Spraying(), HANDS["flat"])
    even = even_faces(panel, scene)[0]
    with pytest.raises(ValueError, match=OTHERS):
        uneven_scene(scene, [replace(even, factor=even.factor[:0])]).faces[0].picture.maps.rows(0, 1)
    more = panel.model_copy(update={"coats": panel.coats * 2})
    with pytest.raises(ValueError, match=OTHERS):
        even_faces(more, scene)


def test_stripes_count_where_dye_shows(save_scheme: Save) -> None:
    """Two faces, the second bare: on the first all but the opaque rim; with no coat that shows, what is painted; with
    none at all the whole part."""
    bare = PANEL.replace("front", "plain")
    only = HONEY + 'zone = "front"\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + bare + SILVER + DYES + MIXES + only + RIM + 'zone = "front"\n'))
    part = part_of(scheme, make_scene(scheme, width_px=60))
    front = part.faces[0]
    assert (front.intended[1] > 0.1).any()
    assert np.array_equal(part.counts[0], (front.cover > 0.5) & (front.intended[1] < 0.02))
    assert not part.counts[1].any()
    rim = load_scheme(save_scheme(HEAD + PANEL + bare + SILVER + RIM + 'zone = "front"\n'))
    edge, none = part_of(rim, make_scene(rim, width_px=60)).counts
    assert np.array_equal(edge, (front.cover > 0.5) & (front.intended[1] > 0.02))  # not the trace beside it alone
    assert edge.any()
    assert not edge.all()
    assert not none.any()
    empty = load_scheme(save_scheme(HEAD + PANEL + SILVER))
    part = part_of(empty, make_scene(empty, width_px=60))
    assert np.array_equal(part.counts[0], part.faces[0].cover > 0.5)


def test_what_lies_on_top(save_scheme: Save) -> None:
    """Dye, an opaque coat, dye again: from 2 % of its build on an opaque coat hides, from 0.2 % on a dye shows."""
    coats = HONEY + RIM + SEA_BURST
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + coats))
    builds = [(1.0, 0.0, 0.0), (1.0, 0.019, 0.0), (1.0, 0.021, 0.0), (0.0, 1.0, 0.0019), (0.0, 1.0, 0.0021), (0, 0, 0)]
    top = _opaque_on_top(scheme, _flat([list(layer) for layer in zip(*builds, strict=True)]))
    assert top.tolist() == [False, False, True, True, False, False]


def test_dye_build_by_hand(save_scheme: Save) -> None:
    """Weighted by what each coat absorbs at its peak: three coats of honey of 40 um, two of sea of 30 um; a rim
    absorbs none. Where less than a thousandth of all dye is meant it is as meant."""
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + SEA_BURST + RIM))
    # Yellow 0.48 g/L x 50 at 380 to 480 nm and blue 0.05 g/L x 1 to 3; at 620 nm 0.48 x 2 and 0.05 x 70.
    blue_480 = 1.0 + 4.0 * (480 - 380) / (560 - 380)
    honey = (0.48 * 50.0 + 0.05 * blue_480) * 0.012
    sea = 0.75 * 70.0 * 0.006
    face = _flat([[1.0, 1.0, 0.0, 0.0, 0.0, 0.5], [0.0, 0.5, 1.0, 0.0, 0.0, 0.2], [1.0, 0.0, 1.0, 1.0, 0.0, 0.0]])
    face.factor[:] = [[1.2, 1.2, 1.2, 1.2, 1.2, 0.8], [0.7, 0.7, 0.7, 0.7, 0.7, 1.5], [3.0, 3.0, 3.0, 3.0, 3.0, 3.0]]
    mixed = (honey * 1.2 + sea * 0.5 * 0.7) / (honey + sea * 0.5)
    last = (honey * 0.5 * 0.8 + sea * 0.2 * 1.5) / (honey * 0.5 + sea * 0.2)
    assert dye_build(scheme, face) == pytest.approx([1.2, mixed, 0.7, 1.0, 1.0, last], abs=1e-5)
    hardly = 1e-3 * (honey + sea) / sea
    trace = _flat([[0.0, 0.0], [0.9 * hardly, 1.1 * hardly], [0.0, 0.0]])
    trace.factor[:] = 0.4
    assert dye_build(scheme, trace) == pytest.approx([1.0, 0.4], abs=1e-5)


def test_every_point_against_the_mean_of_the_intended(save_scheme: Save, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two coats, nine points, of which one lies off the part: each computed on its own over all wavelengths; in
    bands of any size the same. The first light counts."""
    lights = HEAD.replace('["D65"]', '["A", "D65"]')
    scheme = load_scheme(save_scheme(lights + PANEL + SILVER + DYES + MIXES + HONEY + SEA_BURST))
    part = part_of(scheme, make_scene(scheme, width_px=40))
    rng = np.random.default_rng(2)
    meant, factor = rng.uniform(0.2, 1.0, (2, 9)), rng.uniform(0.6, 1.5, (2, 9))
    face = _flat(meant.tolist(), cover=[1.0, 0.6, 0.45, *[1.0] * 6])
    face = replace(face, factor=factor.astype(np.float32), bare=part.faces[0].bare)
    on = np.array([0, 1, 3, 4, 5, 6, 7, 8])
    mean = (meant * factor)[:, on].sum(axis=1) / meant[:, on].sum(axis=1)
    assert means_of(face.intended[:, on], face.factor[:, on]) == pytest.approx(mean, rel=1e-6)
    assert means_of(np.zeros((1, 3), np.float32), np.ones((1, 3), np.float32)) == 0.0
    stack = stack_of(scheme)

    def lab(build: np.ndarray) -> np.ndarray:
        return np.array(spot_lab(stack, face.bare, build, light="A", observer_deg=2))

    wanted = np.zeros(9)
    for at in on:
        wanted[at] = delta_e_2000(lab(meant[:, at] * factor[:, at]), lab(meant[:, at] * mean))
    found = local_de00(face, part.looks[0])
    assert wanted[on].min() > 0.2
    assert found == pytest.approx(wanted, abs=0.1, rel=0.03)
    monkeypatch.setattr(evenness, "BAND_PX", 3)
    assert local_de00(face, part.looks[0]) == pytest.approx(found, abs=1e-4)


def test_the_usual_attempt_by_hand(panel: Scheme) -> None:
    """Levels 1, 9, 4, 0 and 7 of equal areas: 95 % of all lies within 9, which is the second; of 4, 1 and 3 within
    nearly 4, which is the first."""
    face = (_flat([[1.0]]),)
    for levels, usual in (((1, 9, 4, 0, 7), 1), ((4, 1, 3), 0)):
        laid = Laid((face,) * len(levels), tuple(np.full(50, level, dtype=np.float32) for level in levels))
        assert laid.usual == usual


def test_a_coat_that_lands_nowhere_has_no_spread(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + SEA_BURST))
    face = _flat([[1.0, 1.0, 1.0, 1.0], [0.0, 0.0, 0.0, 1.0]], cover=[1.0, 0.6, 1.0, 0.4])
    face.factor[:] = [[0.9, 1.0, 1.1, 5.0], [0.5, 1.0, 2.0, 5.0]]
    found = stripes_of(scheme, Laid(((face,),), (np.ones(3, dtype=np.float32),)), "good")
    assert found.build_cv == {1: pytest.approx(np.sqrt(0.02 / 3), rel=1e-5), 2: 0.0}


@pytest.mark.parametrize(
    ("fan_mm", "wide_mm", "px"), [(30.0, 420.0, 224), (220.0, 420.0, 160), (8.0, 420.0, 480), (40.0, 600.0, 240)]
)
def test_the_coarse_grid_is_as_fine_as_the_fan(panel: Scheme, fan_mm: float, wide_mm: float, px: int) -> None:
    """Sixteen points across the narrowest fan, from 160 to 480 over the width: 16 x 420 / 30 = 224."""
    how = Spraying(gun=Fan(width_mm=fan_mm, distance_mm=100.0))
    assert coarse_scene(panel, how, width_mm=wide_mm).width_px == px


def test_the_edge_gun_is_held_as_close_as_its_burst_is_wide(save_scheme: Save) -> None:
    """28 mm at 70 mm: over a burst of 14 mm at 35 mm, of several by the narrowest, never below 4 mm; and the grid is
    made for it."""
    how = Spraying(gun=Fan(width_mm=60.0, distance_mm=100.0))
    for widths, fan_mm in (((14.0,), 14.0), ((40.0,), 28.0), ((20.0, 12.0), 12.0), ((2.0,), 4.0), ((4.4,), 4.4)):
        bursts = ", ".join(f'{{ from = "outline", width = "{wide} mm" }}' for wide in widths)
        coat = f'[[coat]]\nmix = "sea"\nfilm = "30 um"\nburst = [{bursts}]\n'
        scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + coat))
        fan = edge_fan(how, scheme.coats[1])
        assert (fan.width_mm, fan.distance_mm) == pytest.approx((fan_mm, 70.0 * fan_mm / 28.0))
        assert fan.speed_mm_s == GUNS["detail"].speed_mm_s
        px = coarse_scene(scheme, how, width_mm=150.0).width_px
        assert px == min(480, max(160, int(150.0 * 16.0 / fan_mm)))


@pytest.mark.parametrize(
    ("wide", "high", "small", "way"),
    [(400.0, 109.0, True, 0.0), (109.0, 400.0, True, 90.0), (111.0, 400.0, False, 45.0), (90.0, 90.0, True, 0.0)],
)
def test_what_is_narrower_than_half_a_fan_is_an_edge(
    panel: Scheme, wide: float, high: float, small: bool, way: float
) -> None:
    """Half of 220 mm; sprayed along its length."""
    how = Spraying(directions_deg=(45.0,))
    found = gun_for(how, panel.coats[0], width_mm=wide, height_mm=high)
    assert (found.gun, found.directions_deg) == (how.edge_gun if small else how.gun, (way,))


def test_a_burst_gets_the_edge_gun_and_keeps_its_ways(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    found = gun_for(Spraying(directions_deg=(30.0,)), scheme.coats[1], width_mm=90.0, height_mm=20.0)
    assert (found.gun.width_mm, found.directions_deg) == (15.0, (30.0,))


def test_strokes_along_an_edge_close_on_it(save_scheme: Save) -> None:
    """Round 64 x 48 mm: each runs 224 mm, at distances from the edge that are half a fan of 15 mm apart."""
    scheme = load_scheme(save_scheme(FULL))
    even = even_faces(scheme, make_scene(scheme, width_px=64))
    place = even[0].places[1]
    assert place is not None
    assert place.along_edge
    faces, strokes = uneven_faces(scheme, even, Spraying(directions_deg=(45.0,)), HANDS["flat"])
    for coat, shift in zip(strokes[1], (0.0, 0.5), strict=True):
        assert coat.span_mm == (0.0, pytest.approx(224.0))
        assert (coat.first_mm / 7.5) % 1.0 == pytest.approx(shift)
        assert coat.first_mm.min() < 7.5 < coat.first_mm.max()
        assert (coat.closed, coat.angle_deg) == (True, 0.0)
    by_hand = 0.5 * sum(coat.build(place.x_mm, place.y_mm) for coat in strokes[1])
    assert faces[0].factor[1] == pytest.approx(by_hand, rel=1e-6)


def test_lines_of_coats_that_cross_are_spread_by_way(panel: Scheme) -> None:
    """Five coats in two ways, 0 and 90 degrees in turn: the three of the one way a third of a spacing apart each."""
    how = Spraying(gun=PARABOLA, directions_deg=(0.0, 90.0), pattern="spread")
    x, y = np.array([100.0, 222.0]), np.array([50.0, 131.0])
    build, strokes = coats_over(
        x, y, width_mm=400.0, height_mm=300.0, coats=5, how=how, hand=HANDS["flat"], rng=np.random.default_rng(1)
    )
    assert [coat.angle_deg for coat in strokes] == [0.0, 90.0, 0.0, 90.0, 0.0]
    assert [coat.closed for coat in strokes] == [False] * 5
    lines = [float(coat.first_mm[3] / 60.0 % 1.0) for coat in strokes]
    assert lines == pytest.approx([0.0, 0.0, 1 / 3, 1 / 3, 2 / 3])
    along = [strokes[k].build(y, x) for k in (0, 2, 4)]
    across = [strokes[k].build(-x, y) for k in (1, 3)]
    assert build == pytest.approx(sum((*along, *across)) / 5.0)


def test_one_coat_is_tried_on_a_face_of_30_cm() -> None:
    """Where no other size is given; across the strokes, level or upright, another size is another figure."""
    hand = HANDS["hurried"]
    for angle, other in ((0.0, {"height_mm": 240.0}), (90.0, {"width_mm": 240.0})):
        how = Spraying(directions_deg=(angle,))
        usual = one_coat_cv(how, hand)
        assert usual == one_coat_cv(how, hand, width_mm=300.0, height_mm=300.0)
        assert usual != one_coat_cv(how, hand, **other)


def test_the_picture_has_the_hands_share_of_what_is_meant(panel: Scheme) -> None:
    """Thirty percent too much at the left, rising evenly to twice as much at the right."""
    even = even_faces(panel, make_scene(panel, width_px=50))
    share = np.tile(np.linspace(1.3, 2.0, even[0].grid.n_cols, dtype=np.float32), even[0].grid.n_rows)
    scene = make_scene(panel, width_px=200)
    thick = uneven_scene(scene, [replace(even[0], factor=share[None, :])])
    meant, _ = scene.faces[0].picture.maps.rows(40, 43)
    found, _ = thick.faces[0].picture.maps.rows(40, 43)
    ratio = (found / meant).reshape(3, -1)
    grid = even[0].grid
    at = (np.arange(200) + 0.5) / 200 * 420.0 / grid.pixel_mm - 0.5
    assert ratio == pytest.approx(
        np.tile(np.interp(at, np.arange(grid.n_cols), share[: grid.n_cols]), (3, 1)), rel=0.01
    )


def test_points_chosen_of_a_face_keep_their_places() -> None:
    """Of two coats, one lands nowhere."""
    place = Place(np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0]), 7.0, 8.0)
    face = replace(_flat([[0.1, 0.2, 0.3], [0.0, 0.0, 0.0]]), places=(place, None))
    found = face.at(np.array([2, 0]))
    assert found.intended[0].tolist() == pytest.approx([0.3, 0.1])
    assert found.places[1] is None
    assert found.places[0] is not None
    assert (found.places[0].x_mm.tolist(), found.places[0].y_mm.tolist()) == ([3.0, 1.0], [6.0, 4.0])


def test_a_hand_sprays_its_first_attempt_unless_another_is_asked_for(panel: Scheme) -> None:
    even = even_faces(panel, make_scene(panel, width_px=40))
    usual, first, second = (
        uneven_faces(panel, even, Spraying(), HANDS["good"], **more)[0][0].factor
        for more in ({}, {"attempt": 0}, {"attempt": 1})
    )
    assert np.array_equal(usual, first)
    assert not np.array_equal(usual, second)
