"""Laws no film may break, whatever its numbers: exists for energy made out of nothing, a solver that depends on which
way light goes, dye that brightens, and angles or indices at which a sum falls apart."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.film import (
    Base,
    Lamp,
    Light,
    MetalBase,
    SolidBase,
    absorbance10_of_load,
    body_reflectance,
    fresnel_reflectance,
    lamp_at,
)
from layerpreview.film.bases import azimuth_modes, brdf
from layerpreview.film.slab import lamp_disc
from layerpreview.film.streams import body_in

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


@pytest.mark.parametrize("lamp_deg", [20.0, 70.0])
def test_a_lamps_disc_is_even_round_its_middle(lamp_deg: float) -> None:
    """Rings of equal steps in solid angle, turned alike: the mean squared distance along and across is a quarter of the
    half angle squared each (a disc's second moment), and nothing is mixed between left and right."""
    zenith_deg, turn, share = lamp_disc(lamp_deg, 4.0)
    zenith, lamp = np.radians(zenith_deg), np.radians(lamp_deg)
    even = share / np.cos(zenith) / (share / np.cos(zenith)).sum()
    across = np.sin(zenith) * np.sin(turn)
    along = np.sin(zenith) * np.cos(turn) * np.cos(lamp) - np.cos(zenith) * np.sin(lamp)
    quarter = np.radians(4.0) ** 2 / 4.0
    assert np.sort(turn) == pytest.approx(-np.sort(turn)[::-1])
    moments = np.array([along**2, across**2, along * across, along, across]) @ even
    assert moments / quarter == pytest.approx([1.0, 1.0, 0.0, 0.0, 0.0], abs=3e-3)


def test_a_lamp_that_is_half_below_the_horizon_gives_what_is_above() -> None:
    zenith_deg, _, share = lamp_disc(89.0, 5.0)
    assert zenith_deg.max() > 93.0
    assert np.all(share[zenith_deg > 90.0] == 0.0)
    assert share.sum() == pytest.approx(1.0)


def test_one_small_lamp_alone() -> None:
    """At azimuth 0, so that a positive view looks from its side, and all of the light; without one it is even."""
    lamp = lamp_at(33.0).lamps[0]
    assert (lamp.zenith_deg, lamp.azimuth_deg, lamp.half_angle_deg, lamp.share) == (33.0, 0.0, 0.0, 1.0)
    assert (lamp_at(33.0).even, lamp_at(None).even, lamp_at(None).lamps) == (0.0, 1.0, ())


def test_shares_of_light_that_round_to_a_whole() -> None:
    Light(0.4, (Lamp(40.0, 0.0, 0.0, 0.35), Lamp(50.0, 0.0, 0.0, 0.25 + 5e-7)))
    with pytest.raises(ValueError, match="sum to 1"):
        Light(0.4, (Lamp(40.0, 0.0, 0.0, 0.35), Lamp(50.0, 0.0, 0.0, 0.251)))


def test_light_from_several_sides_adds_up() -> None:
    """A lamp at azimuth 100 seen from the side 70 is 30 degrees out of the eye's plane."""
    base, absorbances = MetalBase(flake_spread=0.3), np.array([[0.0], [0.4]])
    lamps = (Lamp(40.0, 100.0, 6.0, 0.5), Lamp(55.0, -20.0, 0.0, 0.2))
    ours = body_in(Light(0.3, lamps), absorbances, base, view_deg=25.0, view_azimuth_deg=70.0)
    one = body_reflectance(
        absorbances, base, view_deg=25.0, lamp_deg=40.0, lamp_azimuth_deg=30.0, lamp_half_angle_deg=6.0
    )
    other = body_reflectance(absorbances, base, view_deg=25.0, lamp_deg=55.0, lamp_azimuth_deg=-90.0)
    sky = body_reflectance(absorbances, base, view_deg=25.0)
    assert ours == pytest.approx(0.3 * sky + 0.5 * one + 0.2 * other, rel=1e-12)
    assert abs(float(one[0, 0] / other[0, 0]) - 1.0) > 0.2


@pytest.mark.parametrize("lamp_deg", [None, 40.0])
def test_what_is_not_said_is_nought(lamp_deg: float | None) -> None:
    """Straight on, a point of a lamp in the eye's plane, and a facet that leans to the side of positive views."""
    base, n, none = (
        MetalBase(flake_spread=0.3),
        {"film_index": 1.5},
        {"lamp_azimuth_deg": 0.0, "lamp_half_angle_deg": 0.0},
    )
    level = body_reflectance(0.2, base, lamp_deg=lamp_deg)
    assert float(level) == float(body_reflectance(0.2, base, view_deg=0.0, lamp_deg=lamp_deg, **none, **n))
    leaning = body_reflectance(0.2, base, view_deg=10.0, lamp_deg=lamp_deg, facet_tilt_deg=10.0)
    said = {"facet_tilt_deg": 10.0, "facet_azimuth_deg": 0.0}
    assert float(leaning) == float(body_reflectance(0.2, base, view_deg=10.0, lamp_deg=lamp_deg, **said, **none, **n))


@pytest.mark.parametrize(
    "edge",
    [
        ("view_deg", 89.0),
        ("view_deg", -89.0),
        ("lamp_deg", 0.0),
        ("lamp_deg", 89.0),
        ("facet_tilt_deg", 0.5),
        ("facet_tilt_deg", 85.0),
        ("film_index", 1.2),
        ("film_index", 2.0),
    ],
)
def test_the_limits_of_angle_and_index_are_served(edge: tuple[str, float]) -> None:
    assert 0.0 < float(body_reflectance(0.1, SolidBase(albedo=0.9), **dict([edge]))) < 1.0


@pytest.mark.parametrize("wrong", [{"view_deg": -90.0}, {"film_index": 1.19}, {"film_index": 2.01}], ids=str)
def test_just_beyond_the_limits_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=next(iter(wrong))):
        body_reflectance(0.1, SolidBase(albedo=0.9), **wrong)
