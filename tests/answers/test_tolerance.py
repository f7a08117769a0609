"""Tolerance: exists for ranges read as something else than factors, inputs that should move together and do not,
shares of variance that do not add up, and runs that differ from one day to the next."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from layerpreview.answers.tolerance import (
    FILM_UNSAID,
    LEARNT,
    MEASURED,
    Source,
    _explained,
    drawn,
    parts_of,
    spread_of,
)
from layerpreview.colour import delta_e_2000
from layerpreview.finish.layers import stack_of
from layerpreview.finish.stack import DyeLayer, OpaqueLayer
from layerpreview.job.colours import spot_lab
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import main_spot, spots_of
from layerpreview.scheme import load_scheme
from layerpreview.told import Told
from layerpreview.units import Range

from ..schemes import FULL

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
    return scheme, field, parts, spread_of(scheme, field, parts, within_de00=within, runs=runs)


def test_runs_are_the_schemes_colours(save_scheme: Save) -> None:
    """The pale and the deep run, computed as schemes of their own."""
    scheme, field, parts, spread = _spread(save_scheme)
    for draw, end in ((spread.low, 95.0), (spread.high, 5.0)):
        stack = parts.stack(stack_of(scheme), draw)
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
        own = spot_lab(parts.stack(stack_of(scheme), draw), field.bare, field.build, light="D65", observer_deg=2)
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
