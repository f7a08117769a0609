"""Tolerance: exists for ranges read as something else than factors, inputs that should move together and do not,
shares of variance that do not add up, and runs that differ from one day to the next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from layerpreview.answers.doubts import FILM_UNSAID, LEARNT, MEASURED, Source, parts_of
from layerpreview.answers.tolerance import (
    _explained,
    drawn,
    spread_of,
    tolerance_of,
)
from layerpreview.colour import delta_e_2000
from layerpreview.errors import NoAnswerError
from layerpreview.finish.layers import absorptivity_on_grid, stack_of
from layerpreview.finish.stack import DyeLayer, OpaqueLayer
from layerpreview.finish.texture import texture_sample
from layerpreview.job.colours import spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.told import Basis, Told
from layerpreview.units import Range, parse_strength

from ..schemes import DYES, FULL, HEAD, HONEY, MAPLE, MIXES, PANEL, RELIEF, SEA_BURST, SILVER

Save = Callable[..., Path]
DROPS = FULL.replace('blue = "2 mL/L"', 'blue = "90 drops/L"').replace(
    'concentrate = "25 g/L"', 'concentrate = "25 g/L"\ndrops_per_mL = "40 to 60"'
)


def test_sources_and_their_ranges(save_scheme: Save) -> None:
    parts = parts_of(load_scheme(save_scheme(DROPS)))
    found = {source.name: source for source in parts.sources}
    assert found["wet film of honey (40 um)"].factor.range == Range(35 / 40, 1.0, 45 / 40)
    assert found["wet film of sea (30 um)"].factor.range == FILM_UNSAID
    assert "assumed" in found["wet film of sea (30 um)"].basis
    assert found["yellow in honey"].factor.range == MEASURED
    # 90 drops at 40 to 60 a millilitre, likely 50: fewer a millilitre means bigger drops, more dye.
    factor = found["blue in honey"].factor
    assert (factor.low, factor.likely, factor.high) == pytest.approx((50 / 60, 1.0, 50 / 40))


def test_the_likely_draw_is_the_scheme(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    parts, whole = parts_of(scheme), stack_of(scheme)
    same = parts.stack(whole, np.ones(len(parts.sources)))
    for one, other in zip(whole.layers, same.layers, strict=True):
        if isinstance(one, DyeLayer) and isinstance(other, DyeLayer):
            assert other.absorbance10 == pytest.approx(one.absorbance10)
        elif isinstance(one, OpaqueLayer) and isinstance(other, OpaqueLayer):
            assert other.hiding == one.hiding
        else:
            pytest.fail("a layer changed its kind")


def test_a_draw_scales_its_own_layer(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(FULL))
    parts, whole = parts_of(scheme), stack_of(scheme)
    draw = np.ones(len(parts.sources))
    draw[[s.name for s in parts.sources].index("wet film of sea (30 um)")] = 1.1
    layers = parts.stack(whole, draw).layers
    assert layers[0].absorbance10 == pytest.approx(whole.layers[0].absorbance10)
    assert layers[1].absorbance10 == pytest.approx(1.1 * whole.layers[1].absorbance10)


def test_draws_keep_to_their_ranges() -> None:
    sources = [Source("a", Told.of(Range(0.7, 1.0, 1.4), ""), "film"), Source("b", Told.of(1.0, ""), "film")]
    draws = drawn(sources, runs=20_000, seed=3)
    assert 0.7 <= draws[:, 0].min() < 0.72
    assert 1.37 < draws[:, 0].max() <= 1.4
    # Mean of a triangle: a third of its corners.
    assert draws[:, 0].mean() == pytest.approx((0.7 + 1.0 + 1.4) / 3.0, abs=0.004)
    assert np.all(draws[:, 1] == 1.0)
    assert np.array_equal(draws, drawn(sources, runs=20_000, seed=3))
    assert not np.array_equal(draws, drawn(sources, runs=20_000, seed=4))


def _spread(save_scheme: Save, text: str = FULL, *, within: float = 1.8, runs: int = 1500):
    scheme = load_scheme(save_scheme(text))
    parts = parts_of(scheme)
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=80)))
    return scheme, field, parts, spread_of(scheme, field, parts, within_de00=within, runs=runs, seed=7)


def test_runs_are_the_schemes_colours(save_scheme: Save) -> None:
    """The pale and the deep run, computed as schemes of their own."""
    scheme, field, parts, spread = _spread(save_scheme)
    for draw, end in ((spread.low, 95.0), (spread.high, 5.0)):
        stack = parts.stack(stack_of(scheme), draw, field.base)
        own = spot_lab(stack, field.bare, field.build, light="D65", observer_deg=2)
        assert own[0] == pytest.approx(np.percentile(spread.lab[:, 0], end), abs=0.1)
        assert np.abs(spread.lab - np.array(own)).sum(axis=1).min() < 1e-6


def test_shares(save_scheme: Save) -> None:
    _, _, _, spread = _spread(save_scheme)
    assert spread.share_within == pytest.approx(float((spread.de00 <= 1.8).mean()))
    shares = [s.variance_share for s in spread.shares]
    assert shares == sorted(shares, reverse=True)
    assert all(s >= 0.0 for s in shares)
    # Inputs act nearly independently here, so the shares add up to the whole.
    assert sum(shares) == pytest.approx(1.0, abs=0.08)
    assert spread.shares[0].source.name == "wet film of honey (40 um)"
    assert spread.shares[0].within_if_known >= spread.share_within


def test_nothing_that_lies_elsewhere_matters(save_scheme: Save) -> None:
    """The black rim's film has no part in the open field."""
    _, _, _, spread = _spread(save_scheme)
    rim = next(s for s in spread.shares if s.source.name == "wet film of opaque #221814 (20 um)")
    assert rim.variance_share < 0.01
    assert rim.within_if_known == pytest.approx(spread.share_within)


@pytest.mark.slow
def test_a_wider_tolerance_holds_more(save_scheme: Save) -> None:
    shares = [_spread(save_scheme, within=within)[3].share_within for within in (0.3, 1.0, 3.0, 30.0)]
    assert shares == sorted(shares)
    assert shares[-1] == 1.0


def test_the_likely_colour_is_the_one_compared_with(save_scheme: Save) -> None:
    scheme, field, _, spread = _spread(save_scheme)
    own = spot_lab(stack_of(scheme), field.bare, field.build, light="D65", observer_deg=2)
    assert spread.de00 == pytest.approx(delta_e_2000(spread.lab, np.array(own)), abs=1e-9)


def test_one_run_in_twenty_is_paler_and_one_deeper(save_scheme: Save) -> None:
    """The ends are 5 % and 95 % of all runs by lightness, counted."""
    scheme, field, parts, spread = _spread(save_scheme, runs=2000)
    for draw, paler, deeper in ((spread.low, 0.05, 0.95), (spread.high, 0.95, 0.05)):
        stack = parts.stack(stack_of(scheme), draw, field.base)
        own = spot_lab(stack, field.bare, field.build, light="D65", observer_deg=2)
        assert (spread.lab[:, 0] > own[0] + 1e-6).mean() == pytest.approx(paler, abs=1e-3)
        assert (spread.lab[:, 0] < own[0] - 1e-6).mean() == pytest.approx(deeper, abs=1e-3)
    assert spread.median_de00 == pytest.approx(float(np.median(spread.de00)))
    assert (spread.de00 <= spread.p90_de00).mean() == pytest.approx(0.90, abs=1e-3)


def test_what_is_assumed_where_nothing_is_said() -> None:
    """15 % of a film, 5 % of what is measured out, either way: common practice, no source."""
    assert (Range(0.85, 1.0, 1.15), Range(0.95, 1.0, 1.05)) == (FILM_UNSAID, MEASURED)


def test_known_inputs_leave_less_doubt_as_variances_add() -> None:
    """Two inputs of equal weight on L*, one varying twice as much: by hand 4/5 and 1/5 of the variance."""
    rng = np.random.default_rng(3)
    one, other = rng.normal(0.0, 2.0, 8000), rng.normal(0.0, 1.0, 8000)
    lab = np.stack([50.0 + one + other, np.zeros(8000), np.zeros(8000)], axis=1)
    total = float(lab.var(axis=0).sum())
    assert _explained(one, lab) / total == pytest.approx(0.8, abs=0.03)
    assert _explained(other, lab) / total == pytest.approx(0.2, abs=0.03)
    assert _explained(rng.normal(0.0, 1.0, 8000), lab) / total < 0.005


def test_a_learnt_dye_leaves_its_range_in_one_draw_of_ten() -> None:
    """A 90 % range of a normal distribution (scipy's), its factor from 0 to 2; held at twice the range."""
    draws = drawn([Source("a", Told.of(LEARNT, ""), "learnt")], runs=40_000, seed=3)[:, 0]
    assert ((draws < 0.0) | (draws > 2.0)).mean() == pytest.approx(0.10, abs=0.005)
    assert draws.mean() == pytest.approx(1.0, abs=0.01)
    assert draws.std() == pytest.approx(1.0 / norm.ppf(0.95), rel=0.02)
    held = drawn([Source("a", Told.of(LEARNT, ""), "learnt")], runs=400_000, seed=3)[:, 0]
    assert (held.min(), held.max()) == (-1.0, 3.0)


SPRAYED = HONEY + '[[coat]]\nmix = "sea"\ncoats = 2\nfilm = "20 um"\n'
PRIMER = '[[coat]]\nname = "primer"\nopaque = "#8899aa"\nhiding = 0.2\ncoats = 2\nfilm = "20 to 44 um"\n'


def _panel(save_scheme: Save, coats: str, *, lights: str = '["A", "D65"]', dyes: str = DYES) -> Scheme:
    head = HEAD.replace('["D65"]', lights)
    return load_scheme(save_scheme(head + PANEL + SILVER + dyes + (MIXES if coats else "") + coats))


def test_every_run_is_a_scheme_of_its_own(save_scheme: Save) -> None:
    """Brute force at a place where a see-through primer and two dyes lie in part, under the first light: each draw as a
    stack, and each again with one source after the other known."""
    scheme = _panel(save_scheme, PRIMER + SPRAYED)
    parts = parts_of(scheme)
    field = main_spot(spots_of(scheme, make_scene(scheme, width_px=64)))
    edge = replace(field, build=np.array([0.4, 0.7, 0.6]))
    draws = drawn(parts.sources, runs=30, seed=5)
    spread = spread_of(scheme, edge, parts, within_de00=1.1, runs=30, seed=5)
    whole = stack_of(scheme, base=edge.base)

    def lab(draw: np.ndarray) -> tuple[float, float, float]:  # type: ignore[type-arg]
        return spot_lab(parts.stack(whole, draw, edge.base), edge.bare, edge.build, light="A", observer_deg=2)

    assert spread.lab == pytest.approx(np.array([lab(draw) for draw in draws]), abs=1e-9)
    likely = np.array(lab(np.ones(len(parts.sources))))
    assert 0.0 < spread.share_within < 1.0
    for share in spread.shares:
        known = draws.copy()
        known[:, parts.sources.index(share.source)] = 1.0
        near = delta_e_2000(np.array([lab(draw) for draw in known]), likely) <= 1.1
        assert share.within_if_known == near.mean(), share.source.name


def test_of_few_runs_no_more_is_told_than_they_can_show(save_scheme: Save) -> None:
    """Counted from the darkest, the ends are at 5 and 95 % of the runs, at most the lightest of all; below ten runs
    there is nothing to compare a mean with."""
    scheme = _panel(save_scheme, SPRAYED)
    field, parts = main_spot(spots_of(scheme, make_scene(scheme, width_px=64))), parts_of(scheme)
    for runs, deepest, palest in ((1, 0, 0), (2, 0, 1), (9, 0, 8), (10, 0, 9), (19, 1, 18), (40, 2, 38)):
        spread = spread_of(scheme, field, parts, within_de00=1.8, runs=runs, seed=7)
        by_lightness = drawn(parts.sources, runs=runs, seed=7)[np.argsort(spread.lab[:, 0])]
        assert np.array_equal(spread.high, by_lightness[deepest])
        assert np.array_equal(spread.low, by_lightness[palest])
        shares = [s.variance_share for s in spread.shares]
        assert all(0.0 <= share <= 1.0 for share in shares)
        assert any(shares) is (runs >= 10)


@pytest.mark.parametrize(("runs", "bins"), [(8000, 20), (100, 20), (90, 18), (45, 9)])
def test_what_means_over_equal_bins_keep_of_a_straight_line(runs: int, bins: int) -> None:
    """By hand: n even steps have the variance (n^2 - 1) / 12, the K means (K^2 - 1) / 12 (n / K)^2, each bin of n / K
    steps ((n / K)^2 - 1) / 12, which over its n / K values is what chance gives a mean."""
    line = np.arange(runs, dtype=np.float64)
    each = runs // bins
    kept = (bins**2 - 1) / 12 * each**2 - (each**2 - 1) / 12 / each
    lab = np.stack([np.zeros(runs), line, -2.0 * line], axis=1)
    assert _explained(line, lab) == pytest.approx(5.0 * kept, rel=1e-9)
    assert _explained(-line, lab) == pytest.approx(5.0 * kept, rel=1e-9)


def test_coats_of_one_film_share_one_source(save_scheme: Save) -> None:
    """The same gun, setting and hand: told once, by all the names; the mixes stay sources of their own."""
    other = SPRAYED.replace("35 to 45 um", "20 to 44 um").replace("20 um", "20 to 44 um")
    names = [s.name for s in parts_of(_panel(save_scheme, PRIMER + other + HONEY)).sources]
    assert names == [
        "wet film of primer, honey and sea (32 um)",
        "wet film of honey (40 um)",
        "yellow in honey",
        "blue in honey",
        "blue in sea",
        "flake spread of the base",
    ]


def test_each_film_scales_its_own_layer(save_scheme: Save) -> None:
    """A primer sprayed a quarter thicker hides a quarter more; the dye over it stays as it is."""
    scheme = _panel(save_scheme, PRIMER + HONEY)
    parts, whole = parts_of(scheme), stack_of(scheme)
    draw = np.ones(len(parts.sources))
    draw[[s.name for s in parts.sources].index("wet film of primer (32 um)")] = 1.25
    primer, honey = parts.stack(whole, draw).layers
    assert isinstance(primer, OpaqueLayer)
    assert isinstance(honey, DyeLayer)
    assert primer.hiding == pytest.approx(0.2 * 2 * 1.25)
    assert isinstance(same := whole.layers[1], DyeLayer)
    assert honey.absorbance10 == pytest.approx(same.absorbance10)


@pytest.mark.parametrize(("low", "left"), [(0.8, (0.6, 0.8, 1.0)), (0.5, (0.0, 0.5, 1.0)), (0.1, (0.0, 0.5, 1.0))])
def test_no_draw_of_a_learnt_dye_makes_light(save_scheme: Save, low: float, left: tuple[float, ...]) -> None:
    """A draw may leave the best by twice the range: 1 - 2 (1 - 0.8) = 0.6 of it, and where that would be below nothing
    by no more than all of it; above, the range counts as it is, 1 + 2 x 0.3."""
    scheme = _panel(save_scheme, HONEY)
    dyes = dict(scheme.dyes)
    for name, learnt in (("yellow", True), ("blue", False)):
        best = np.array(scheme.dyes[name].absorptivity_L_per_g_cm)
        ends = {"low_L_per_g_cm": tuple(low * best), "high_L_per_g_cm": tuple(1.3 * best)} if learnt else {}
        dyes[name] = scheme.dyes[name].model_copy(update={**ends, "kind": "fitted"})
    scheme = scheme.model_copy(update={"dyes": dyes})
    parts = parts_of(scheme)
    at = [s.name for s in parts.sources].index("yellow as learnt")
    (yellow, blue), whole = parts.dyes[0], stack_of(scheme)
    told = parts.sources[at].factor
    for factor, share in zip((-1.0, told.low, told.likely, told.high, 3.0), (*left, 1.3, 1.6), strict=True):
        draw = np.ones(len(parts.sources))
        draw[at] = factor
        (layer,) = parts.stack(whole, draw).layers
        assert isinstance(layer, DyeLayer)
        assert layer.absorbance10 == pytest.approx(share * yellow.absorbance10 + blue.absorbance10, abs=1e-12)
        # 40 g/L x 12 mL/L in 3 coats of 40 um: 0.48 g/L x 0.012 cm.
        assert yellow.absorbance10 == pytest.approx(absorptivity_on_grid(dyes["yellow"]) * 0.48 * 0.012)


def test_a_learnt_dye_that_is_not_sprayed_is_no_source(save_scheme: Save) -> None:
    scheme = _panel(save_scheme, HONEY.replace("honey", "sea"))
    ends = {"low_L_per_g_cm": (1.0, 1.0), "high_L_per_g_cm": (9.0, 9.0), "wavelength_nm": (380.0, 780.0)}
    learnt = scheme.dyes["yellow"].model_copy(update={**ends, "absorptivity_L_per_g_cm": (4.0, 4.0)})
    assert learnt.learnt_with_doubt
    scheme = scheme.model_copy(update={"dyes": {**scheme.dyes, "yellow": learnt}})
    names = [s.name for s in parts_of(scheme).sources]
    assert names == ["wet film of sea (40 um)", "blue in sea", "flake spread of the base"]


def test_every_place_where_dye_shows_the_field_first(save_scheme: Save) -> None:
    """The field stands for the finish, the base has no dye, each place is told once."""
    burst = '[[coat]]\nmix = "sea"\nfilm = "30 um"\nburst = { from = "outline", width = "9 mm" }\n'
    scheme = _panel(save_scheme, HONEY + burst)
    found = tolerance_of(scheme, make_scene(scheme, width_px=64), within_de00=1.8, runs=20, seed=9)
    assert [spread.spot for spread in found.spreads] == ["field", "edge"]
    assert (found.light, found.runs, found.seed) == ("A", 20, 9)
    assert found.spreads[0].lab.shape == (20, 3)
    assert len(repr(found)) < 5000  # figures, not the layers taken apart


@pytest.mark.parametrize("coats", ["", PRIMER])
def test_where_no_dye_shows_there_is_nothing_to_be_unsure_of(save_scheme: Save, coats: str) -> None:
    scheme = _panel(save_scheme, coats, dyes=DYES if coats else "")
    with pytest.raises(NoAnswerError, match="no dye shows anywhere, so there is nothing to be unsure of"):
        tolerance_of(scheme, make_scene(scheme, width_px=64), within_de00=1.8, runs=20, seed=9)


def test_hardly_any_dye_is_shared_out_all_the_same(save_scheme: Save) -> None:
    faint = _panel(save_scheme, HONEY)
    mixes = {"honey": faint.mixes["honey"].model_copy(update={"strengths": {"blue": parse_strength("0.03 mL/L")}})}
    faint = faint.model_copy(update={"mixes": mixes})
    field = main_spot(spots_of(faint, make_scene(faint, width_px=64)))
    spread = spread_of(faint, field, parts_of(faint), within_de00=1.8, runs=2000, seed=3)
    assert 0.0 < spread.lab.var(axis=0).sum() < 0.5
    assert sum(s.variance_share for s in spread.shares) == pytest.approx(1.0, abs=0.05)


def test_a_scheme_without_coats_has_one_colour(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + SILVER))
    (base, *_) = spots_of(scheme, make_scene(scheme, width_px=64))
    spread = spread_of(scheme, base, parts_of(scheme), within_de00=0.1, runs=3, seed=1)
    assert spread.lab.shape == (3, 3)
    assert (spread.share_within, spread.shares, spread.low.size) == (1.0, (), 0)


def test_flakes_may_spread_otherwise(save_scheme: Save) -> None:
    """At the widest the colour is that of a base whose flakes spread so; the likely one and none at all stay."""
    for base, low, high in ((SILVER, 0.9, 1.1), (SILVER.replace("flake_spread = 0.3", 'silver = "fine"'), 0.8, 1.25)):
        scheme = load_scheme(save_scheme(HEAD + PANEL + base + DYES + MIXES + HONEY))
        parts, field = parts_of(scheme), main_spot(spots_of(scheme, make_scene(scheme, width_px=64)))
        at = [s.name for s in parts.sources].index("flake spread of the base")
        factor = parts.sources[at].factor
        assert (factor.low, factor.likely, factor.high, factor.weakest) == (low, 1.0, high, Basis.ASSUMED)
        other = scheme.base.model_copy(update={"flake_spread": scheme.base.metal.flake_spread * high})
        draw = np.ones(len(parts.sources))
        draw[at] = high
        absorbance10 = np.linspace(0.0, 2.0, 41)
        found = parts.stack(stack_of(scheme), draw, field.base).film.reflectance(absorbance10, np.ones(41))
        wanted = stack_of(scheme, base=other).film.reflectance(absorbance10, np.ones(41))
        usual = stack_of(scheme).film.reflectance(absorbance10, np.ones(41))
        assert np.abs(found - wanted).max() < 0.15 * np.abs(usual - wanted).max()
        assert found[0] == 1.0


def test_wood_has_no_flakes(save_scheme: Save) -> None:
    scheme = load_scheme(save_scheme(HEAD + PANEL + MAPLE + DYES + MIXES + HONEY))
    assert {s.kind for s in parts_of(scheme).sources} == {"film", "measured"}


@pytest.mark.slow
def test_levelling_counts_where_the_relief_is_known(save_scheme: Save) -> None:
    """Of three 40 um coats of 20 % solids one standard deviation below the mean: at a share s the build gains
    s (1 + c + c^2) / 3 / 40 um, c = 1 - 0.2 s; from the likely 0.3 to all of it
    that is 0.02033 - 0.00706 = 0.0133 for each um."""
    relief = RELIEF + 'relief_height = "50 um"\n'
    scheme = load_scheme(save_scheme(HEAD + PANEL + relief + DYES + MIXES + HONEY + SEA_BURST))
    parts = parts_of(scheme)
    (source,) = (s for s in parts.sources if s.kind == "levelling")
    height = texture_sample(scheme.base).height
    low, high = np.percentile(height, [1, 99])
    spread_um = 50.0 * float(height.std()) / float(high - low)
    of_honey = spread_um * ((1 + 0.8 + 0.64) / 120 - 0.3 * (1 + 0.94 + 0.94**2) / 120)
    of_sea = spread_um * ((1 + 0.8) / 60 - 0.3 * (1 + 0.94) / 60)  # two of 30 um, 20 % assumed
    assert source.factor.high == pytest.approx(1.0 + of_sea)
    assert source.factor.low == pytest.approx(1.0 - of_sea)
    assert "levelling assumed" in source.basis
    draw = np.ones(len(parts.sources))
    draw[parts.sources.index(source)] = source.factor.high
    whole = stack_of(scheme)
    honey, sea = parts.stack(whole, draw, scheme.base).layers
    assert honey.absorbance10 == pytest.approx((1.0 + of_honey) * whole.layers[0].absorbance10)
    assert sea.absorbance10 == pytest.approx((1.0 + of_sea) * whole.layers[1].absorbance10)
    for known in (RELIEF, relief + 'levelling = "40 %"\n'):
        scheme = load_scheme(save_scheme(HEAD + PANEL + known + DYES + MIXES + HONEY))
        assert "levelling" not in {s.kind for s in parts_of(scheme).sources}
