"""One stack under one light: exists for wavelengths chosen by colours that the stack does not show, and for a look that
is scaled or turned into that of another finish."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from layerpreview.colour import display_matrix, rgb_basis
from layerpreview.film import DiffuseFilm, MetalBase, MetalFilm, PathCurve, SpectralNodes, diffuse_film, metal_film
from layerpreview.finish import look as look_module
from layerpreview.finish.engine import Engine
from layerpreview.finish.look import Appearance, Look, make_look, reaching_look, scaled_look, turned_look
from layerpreview.finish.stack import DyeLayer, OpaqueLayer, Stack

STRAIGHT = PathCurve(1.0, (1.0, 0.0, 0.0), (0.0, 0.0), 0.0)
NOTHING = PathCurve(0.0, (0.0, 0.0, 0.0), (0.0, 0.0), 0.0)
CLEAR, CLEAR_OVER_OPAQUE = MetalFilm(STRAIGHT, 1.0), DiffuseFilm(STRAIGHT, NOTHING)
"""Films that light crosses once: R = bare * 10^-A, so that the builds can be read off a spectrum."""
BANDS = (slice(0, 8), slice(8, 16), slice(16, 24))
LIT, BARE = slice(32, 40), slice(44, 81)
GREY = (0.4, 0.5, 0.6)


def _band(at: slice, absorbance: float) -> DyeLayer:
    spectrum = np.zeros(81)
    spectrum[at] = absorbance
    return DyeLayer(spectrum)


def _lid() -> OpaqueLayer:
    """Hides 2.5 and is black but for one band, where it is white."""
    spectrum = np.zeros(81)
    spectrum[LIT] = 1.0
    return OpaqueLayer(spectrum, 2.5)


def _stack(*layers: DyeLayer | OpaqueLayer) -> Stack:
    return Stack(layers, CLEAR, CLEAR_OVER_OPAQUE)


class Chosen:
    """Stands in for the choice of wavelengths: keeps the spectra to choose and to check by, and takes every one."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(look_module, "choose_nodes", self)

    def __call__(
        self, choose: np.ndarray, check: np.ndarray, *, xyz_weights: np.ndarray, exact: np.ndarray
    ) -> SpectralNodes:
        self.choose, self.check, self.exact = choose, check, exact
        return SpectralNodes(np.arange(81), np.ones(81), 0.0, 0.0)


def _amounts(spectra: np.ndarray) -> np.ndarray:
    """Red, green and blue of the bases: (samples, 3), by what no dye touches."""
    return np.linalg.lstsq(rgb_basis()[:, BARE].T, spectra[:, BARE].T, rcond=None)[0].T


def _builds(spectra: np.ndarray, base: np.ndarray, absorbances: tuple[float, ...]) -> np.ndarray:
    of_band = [-np.log10(spectra[:, at] / base[:, at]).mean(axis=1) for at in BANDS[: len(absorbances)]]
    return np.stack([found / a for found, a in zip(of_band, absorbances, strict=True)], axis=1)


def test_wavelengths_are_chosen_by_every_base_and_by_coats_together_apart_and_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of bases nearly black to white with casts of 15 %, and builds from none to 1.3: half of the samples with all
    coats alike, a quarter each on its own, a quarter with some of them alone, of three a third each on average."""
    chosen, absorbances = Chosen(monkeypatch), (0.5, 0.9, 1.4)
    make_look(_stack(*map(_band, BANDS, absorbances)), light="D65")
    assert chosen.exact == pytest.approx(rgb_basis())
    assert len(chosen.choose) % 4 == 0
    assert not np.isclose(chosen.choose, chosen.check).all(axis=1).any()  # checked by others than chosen by
    for spectra in (chosen.choose, chosen.check):
        quarter = len(spectra) // 4
        amounts = _amounts(spectra)
        cast = amounts.max(axis=1) / amounts.min(axis=1)
        assert 1.15 / 0.85 > cast.max() > 1.28
        assert 1.15 > amounts.max() > 1.0
        assert amounts.min() < 0.04
        builds = np.abs(_builds(spectra, amounts @ rgb_basis(), absorbances))
        assert np.all(builds.max(axis=0) < 1.3 + 1e-9)
        assert np.all(builds.max(axis=0) > 1.25)
        there = builds > 1e-6
        together = np.ptp(builds, axis=1) < 1e-6
        alike = together & there.all(axis=1)
        assert alike.sum() == 2 * quarter
        assert builds[alike].min() < 0.05
        apart = there.all(axis=1) & ~together
        assert quarter <= apart.sum() < 1.2 * quarter
        assert builds[apart].min() < 0.05
        # Of the last quarter (2/3)^3 or 0.30 are bare and 3 (1/3)(2/3)^2 or 0.44 have one coat alone.
        assert 0.18 < (there.sum(axis=1) == 0).sum() / quarter < 0.40
        alone = there.sum(axis=1) == 1
        assert 0.33 < alone.sum() / quarter < 0.58
        assert there[alone].any(axis=0).all()


def test_of_a_single_coat_half_a_quarter_of_the_samples_are_bare(monkeypatch: pytest.MonkeyPatch) -> None:
    chosen = Chosen(monkeypatch)
    make_look(_stack(_band(BANDS[0], 0.8)), light="D65", tint_rgb=GREY)
    (exact,) = chosen.exact
    assert exact == pytest.approx(np.asarray(GREY) @ rgb_basis())
    base = chosen.choose[:, BARE].mean(axis=1, keepdims=True) / exact[BARE].mean() * exact
    bare = (_builds(chosen.choose, base, (0.8,)) < 1e-6).sum()
    assert 0.4 < bare / (len(base) // 4) < 0.6


def _lid_builds(spectra: np.ndarray, exact: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Hiding, and level of the base: where the lid is white 1 - left + left base, where it is black left base."""
    under = spectra[:, BARE].mean(axis=1) / exact[BARE].mean()
    left = 1.0 - (spectra[:, LIT].mean(axis=1) - under * exact[LIT].mean())
    return -np.log10(left), under / left


def test_wavelengths_are_chosen_where_a_rim_hides_a_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter of the samples with all its hiding, 2.5, the rest with 0.15, each at builds up to 1.3."""
    chosen = Chosen(monkeypatch)
    make_look(_stack(_band(BANDS[0], 0.8), _lid()), light="D65", tint_rgb=GREY)
    for spectra in (chosen.choose, chosen.check):
        hiding, level = _lid_builds(spectra, chosen.exact[0])
        assert 0.95 < level.max() < 1.0 + 1e-9  # no casts: one channel
        assert 0.02 - 1e-9 < level.min() < 0.03
        full = hiding > 0.15 * 1.3 + 1e-6
        assert 0.7 < full.sum() / (len(spectra) // 4) <= 1.0
        assert 1.2 < hiding.max() / 2.5 < 1.3 + 1e-9
        assert 1.2 < hiding[~full].max() / 0.15 < 1.3 + 1e-6


def test_a_reaching_look_is_chosen_by_what_it_has_to_reach(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dye of up to 3.1 builds and one of no more than usual, under a lid that hides a little only."""
    chosen, absorbances = Chosen(monkeypatch), (0.5, 0.9)
    layers = tuple(map(_band, BANDS, absorbances))
    stack = _stack(*layers, _lid())
    look = reaching_look(stack, light="A", observer_deg=10, tint_rgb=GREY, most=[3.1, 0.7, 0.2])
    hiding, level = _lid_builds(chosen.choose, chosen.exact[0])
    assert 1.2 < hiding.max() / 0.15 < 1.3 + 1e-6
    base = (level * np.power(10.0, -hiding))[:, None] * chosen.exact
    for most, found in zip((3.1, 1.3), _builds(chosen.choose, base, absorbances).max(axis=0), strict=True):
        assert 0.95 * most < found < most + 1e-6
    # What is returned is the finish as it was asked for.
    plain = make_look(stack, light="A", observer_deg=10, tint_rgb=GREY)
    assert look.to_display == pytest.approx(plain.to_display)
    for ours, theirs in zip(look.seen, plain.seen, strict=True):
        assert ours.density2 == pytest.approx(theirs.density2)
        assert ours.hiding2 == pytest.approx(theirs.hiding2)
    with pytest.raises(ValueError, match="zip"):
        reaching_look(stack, light="A", observer_deg=10, tint_rgb=GREY, most=[3.1, 0.7])


# A look of every kind of layer ----------------------------------------------------------------------------------------

AMBER, BLUE = DyeLayer(np.linspace(0.7, 0.02, 81)), DyeLayer(np.linspace(0.05, 0.5, 81))
CREAM, BROWN = OpaqueLayer(np.linspace(0.5, 0.8, 81), 0.6), OpaqueLayer(np.linspace(0.05, 0.3, 81), 0.9)
METAL = metal_film(MetalBase(flake_spread=0.3))
BURIED = Stack((BLUE, CREAM, AMBER, BROWN), METAL, diffuse_film(), 0.008)


@pytest.fixture(scope="module")
def buried() -> Look:
    return make_look(BURIED, light="A")


@pytest.fixture
def points(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    return rng.uniform(0.05, 0.9, (3, 60)).astype(np.float32), rng.uniform(0.0, 1.2, (4, 60)).astype(np.float32)


def test_a_scaled_look_is_that_of_other_builds(buried: Look, points: tuple[np.ndarray, np.ndarray]) -> None:
    bare, builds = points
    factors = [0.5, 1.7, 0.3, 1.2]
    scaled = Engine(scaled_look(buried, factors)).pixels(bare, builds)
    more = (builds * np.array(factors)[:, None]).astype(np.float32)
    assert scaled == pytest.approx(Engine(buried).pixels(bare, more), abs=1e-5)
    assert buried.seen[-1].hiding2 == scaled_look(buried, factors).seen[-1].hiding2 == 0.0  # the base hides nothing


def test_a_turned_look_is_that_of_the_other_view(buried: Look, points: tuple[np.ndarray, np.ndarray]) -> None:
    bare, builds = points
    film = metal_film(MetalBase(flake_spread=0.2), view_deg=60.0)
    side = replace(BURIED, film=film, opaque_film=diffuse_film(view_deg=60.0))
    turned = turned_look(buried, side)
    assert turned.wavelength_nm.tolist() == buried.wavelength_nm.tolist()
    exact = side.reflectance(bare.T.astype(float) @ rgb_basis(), builds.T.astype(float)) @ display_matrix("A").T
    assert pytest.approx(exact, abs=1e-3) == Engine(turned).pixels(bare, builds).T
    assert np.abs(Engine(buried).pixels(bare, builds).T - exact).max() > 0.01


def test_a_surface_has_the_numbers_of_the_dyes_that_lie_over_it(buried: Look) -> None:
    """A decadic absorbance times log2(10) is a binary one, hiding too."""
    at = buried.nodes.index
    assert [seen.layer for seen in buried.seen] == [3, 1, None]
    assert [seen.dyes for seen in buried.seen] == [(), (2,), (0, 2)]
    for seen, dyes in zip(buried.seen, ((), (AMBER,), (BLUE, AMBER)), strict=True):
        assert seen.density2.shape == (at.size, len(dyes))
        for column, dye in zip(seen.density2.T, dyes, strict=True):
            assert np.exp2(-column) == pytest.approx(np.power(10.0, -dye.absorbance10[at]), abs=1e-6)
    for seen, hiding in zip(buried.seen[:2], (0.9, 0.6), strict=True):
        assert 2.0**-seen.hiding2 == pytest.approx(10.0**-hiding)


def test_the_worst_look_of_a_part_is_the_one_furthest_off(buried: Look) -> None:
    looks = [replace(buried, nodes=replace(buried.nodes, p99_delta_e=p99)) for p99 in (0.05, 0.2, 0.1)]
    assert Appearance("A", tuple(looks)).worst is looks[1]
