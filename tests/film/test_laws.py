"""Laws no film may break, whatever its numbers: exists for energy made out of nothing, a solver that depends on which
way light goes, dye that brightens, and angles or indices at which a sum falls apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.film import (
    Base,
    MetalBase,
    SolidBase,
    absorbance10_of_load,
    body_reflectance,
    fresnel_reflectance,
)
from layerpreview.film.bases import azimuth_modes, brdf
from layerpreview.film.slab import lamp_disc

SPREADS = st.floats(0.05, 0.5)
METALS = st.builds(MetalBase, flake_spread=SPREADS, scale=st.floats(0.1, 1.0))
SOLIDS = st.builds(SolidBase, albedo=st.floats(0.0, 1.0))
BASES = st.one_of(METALS, SOLIDS)
INDICES = st.floats(1.3, 1.7)
LOSSLESS = {"eta": 1.0, "kappa": 1e6}


@given(base=BASES, mu=st.tuples(st.floats(0.05, 1.0), st.floats(0.05, 1.0)), azimuth=st.floats(-4.0, 4.0))
def test_a_base_reflects_alike_both_ways(base: Base, mu: tuple[float, float], azimuth: float) -> None:
    there, back = (brdf(base, mu_in=a, mu_out=b, azimuth_rad=azimuth) for a, b in (mu, mu[::-1]))
    assert float(there) == pytest.approx(float(back), rel=1e-9)
    assert float(there) >= 0.0


def test_azimuth_modes_rebuild_the_base() -> None:
    base = MetalBase(flake_spread=0.25)
    mu_in, mu_out = np.array([0.7, 0.95]), np.array([0.8, 0.6, 0.99])
    modes = azimuth_modes(base, mu_in=mu_in, mu_out=mu_out, modes=40)
    azimuth = 2.3
    fold = np.where(np.arange(40) == 0, 1.0, 2.0) * np.cos(np.arange(40) * azimuth)
    literal = brdf(base, mu_in=mu_in[None, :], mu_out=mu_out[:, None], azimuth_rad=azimuth)
    assert np.tensordot(fold, modes, 1) == pytest.approx(literal, abs=2e-8)


@pytest.mark.slow
@settings(max_examples=25)
@given(
    base=BASES,
    absorbance10=st.floats(0.0, 1.5),
    angles=st.tuples(st.floats(0.0, 75.0), st.floats(0.0, 75.0)),
    side=st.sampled_from([1, -1]),
    film_index=INDICES,
)
def test_lamp_and_eye_can_change_places(
    base: Base, absorbance10: float, angles: tuple[float, float], side: int, film_index: float
) -> None:
    """Helmholtz reciprocity of the whole film: also a check of the azimuth modes and of every n^2."""
    there, back = (
        body_reflectance(absorbance10, base, lamp_deg=a, view_deg=side * b, film_index=film_index)
        for a, b in (angles, angles[::-1])
    )
    assert float(there) == pytest.approx(float(back), rel=1e-3, abs=1e-4)


@settings(max_examples=40)
@given(
    base=BASES,
    absorbance10=st.lists(st.floats(0.0, 6.0), min_size=2, max_size=5),
    view_deg=st.floats(-89.0, 89.0),
    film_index=INDICES,
)
def test_sky_gives_no_more_than_it_has_and_dye_only_takes(
    base: Base, absorbance10: list[float], view_deg: float, film_index: float
) -> None:
    """With reciprocity, the share of a thin beam that comes out in all directions together (R <= 1)."""
    body = body_reflectance(sorted(absorbance10), base, view_deg=view_deg, film_index=film_index)
    face = fresnel_reflectance(np.cos(np.radians(view_deg)), index_from=1.0, index_to=film_index)
    assert np.all(np.isfinite(body))
    assert np.all(body >= 0.0)
    assert np.all(body <= 1.0 - face + 1e-6)
    assert np.all(np.diff(body) <= 1e-12)


@settings(max_examples=25)
@given(
    base=BASES,
    absorbance10=st.lists(st.floats(0.0, 6.0), min_size=2, max_size=4),
    view_deg=st.floats(-85.0, 85.0),
    lamp_deg=st.floats(0.0, 85.0),
    film_index=INDICES,
)
def test_lamp_light_is_finite_and_dye_only_takes(
    base: Base, absorbance10: list[float], view_deg: float, lamp_deg: float, film_index: float
) -> None:
    body = body_reflectance(sorted(absorbance10), base, view_deg=view_deg, lamp_deg=lamp_deg, film_index=film_index)
    assert np.all(np.isfinite(body))
    assert np.all(body >= -1e-6)
    assert np.all(np.diff(body) <= 1e-6 + 1e-6 * body[:-1])


@given(view_deg=st.floats(0.0, 85.0), film_index=INDICES)
def test_white_furnace(view_deg: float, film_index: float) -> None:
    """Under an even sky a base that loses nothing, and no dye, leave everything but the face's own mirror image."""
    white = body_reflectance(0.0, SolidBase(albedo=1.0), view_deg=view_deg, film_index=film_index)
    face = fresnel_reflectance(np.cos(np.radians(view_deg)), index_from=1.0, index_to=film_index)
    assert float(white) == pytest.approx(1.0 - float(face), abs=3e-6)


@pytest.mark.slow
@pytest.mark.parametrize("flake_spread", [0.01, 0.02, 0.03, 0.04, 0.05, 0.3])
def test_metal_furnace(flake_spread: float) -> None:
    """A lossless metal gives back no more than arrives, at every spread that MetalBase takes: a lobe too narrow for the
    solver's angles has to be refused. What is missing is light that flakes throw at each other."""
    try:
        base = MetalBase(flake_spread=flake_spread, **LOSSLESS)
    except ValueError:
        assert flake_spread < 0.05
        return
    for film_index in (1.3, 1.5, 1.7):
        for view_deg in (0.0, 20.0, 35.0, 60.0):
            body = body_reflectance(0.0, base, view_deg=view_deg, film_index=film_index)
            face = fresnel_reflectance(np.cos(np.radians(view_deg)), index_from=1.0, index_to=film_index)
            assert 0.75 < float(body) / (1.0 - float(face)) <= 1.0 + 1e-4


@settings(max_examples=20)
@given(base=BASES, coats=st.integers(2, 12), load=st.floats(0.1, 8.0))
def test_n_thin_coats_are_one_thick_one(base: Base, coats: int, load: float) -> None:
    thin = sum(absorbance10_of_load(absorptivity_L_per_g_cm=47.0, load_mg_m2=load) for _ in range(coats))
    thick = absorbance10_of_load(absorptivity_L_per_g_cm=47.0, load_mg_m2=coats * load)
    assert body_reflectance(thin, base) == pytest.approx(body_reflectance(thick, base), rel=1e-9)


@pytest.mark.slow
@settings(max_examples=20)
@given(base=BASES, a=st.floats(0.0, 1.5), b=st.floats(0.0, 1.5))
def test_absorbers_commute_and_no_dye_is_no_coat(base: Base, a: float, b: float) -> None:
    assert body_reflectance(a + b, base) == body_reflectance(b + a, base)
    assert body_reflectance(a + 0.0, base) == body_reflectance(a, base)


def test_vectorised_is_looped_and_keeps_the_shape() -> None:
    base, absorbance10 = MetalBase(flake_spread=0.3, scale=0.8), np.array([[0.0, 0.13], [0.4, 1.7], [0.02, 3.0]])
    together = body_reflectance(absorbance10, base, view_deg=-20.0, lamp_deg=40.0)
    alone = [body_reflectance(a, base, view_deg=-20.0, lamp_deg=40.0) for a in absorbance10.ravel()]
    assert together.shape == (3, 2)
    assert together.ravel() == pytest.approx(np.array(alone), rel=1e-12)


@pytest.mark.parametrize(
    "wrong",
    [
        {"absorbance10": -0.1},
        {"absorbance10": [0.1, float("nan")]},
        {"absorbance10": float("inf")},
        {"view_deg": 90.0},
        {"view_deg": float("nan")},
        {"lamp_deg": -1.0},
        {"lamp_deg": 90.0},
        {"film_index": 1.0},
        {"film_index": float("nan")},
    ],
)
def test_bad_arguments_are_refused(wrong: dict[str, float]) -> None:
    arguments = {"absorbance10": 0.2, **wrong}
    with pytest.raises(ValueError, match=next(iter(wrong))):
        body_reflectance(arguments.pop("absorbance10"), SolidBase(albedo=0.5), **arguments)


@pytest.mark.parametrize("wrong", [{"flake_spread": 0.0}, {"flake_spread": 1.5}, {"scale": -0.1}, {"scale": 1.1}])
def test_bad_metal_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        MetalBase(**{"flake_spread": 0.3, **wrong})


@pytest.mark.parametrize("albedo", [-0.01, 1.01, float("nan")])
def test_bad_albedo_is_refused(albedo: float) -> None:
    with pytest.raises(ValueError, match="albedo"):
        SolidBase(albedo=albedo)


@pytest.mark.parametrize("bad", [[0.1, -0.01], [0.2, np.nan], [np.inf, 0.3], -0.5])
def test_one_absorbance_that_cannot_be_is_enough(bad: object) -> None:
    with pytest.raises(ValueError, match="absorbance10"):
        body_reflectance(bad, SolidBase(albedo=0.5))  # type: ignore[arg-type]


@pytest.mark.parametrize("lamp_deg", [0.0, 20.0, 70.0])
def test_a_lamps_disc_is_a_disc_about_its_direction(lamp_deg: float) -> None:
    """Spherical geometry: every point within the half angle, half of the solid angle within 1/root 2 of it, and the
    shares those of irradiance (cosine law), whose sum is 1."""
    zenith_deg, turn, share = lamp_disc(lamp_deg, 5.0)
    zenith = np.radians(zenith_deg)
    point = np.stack([np.sin(zenith) * np.cos(turn), np.sin(zenith) * np.sin(turn), np.cos(zenith)])
    lamp = np.array([np.sin(np.radians(lamp_deg)), 0.0, np.cos(np.radians(lamp_deg))])
    away_deg = np.degrees(np.arccos(np.clip(lamp @ point, -1.0, 1.0)))
    assert 4.8 < away_deg.max() <= 5.0
    assert away_deg.min() < 1.5
    assert share.sum() == pytest.approx(1.0)
    even = share / np.cos(zenith)
    assert even[away_deg < 5.0 / np.sqrt(2.0)].sum() / even.sum() == pytest.approx(0.5, abs=0.02)
    mean = point @ (even / even.sum())
    assert mean / np.linalg.norm(mean) == pytest.approx(lamp, abs=1e-3)


def test_no_disc_is_the_point_itself() -> None:
    zenith_deg, turn, share = lamp_disc(33.0, 0.0)
    assert (zenith_deg.tolist(), turn.tolist(), share.tolist()) == ([33.0], [0.0], [1.0])
