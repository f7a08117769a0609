"""Laws of a leaning facet: exist for a lean that is taken from the wrong axis, and bounces that gain or lose energy."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.film import Base, MetalBase, SolidBase, body_reflectance
from layerpreview.film.facets import COARSE, FINE, SMALL, direction, make_grid, weight_at_once
from layerpreview.film.fresnel import conductor_reflectance
from tests.film.reference import fresnel, inside

SILVER = MetalBase(flake_spread=0.13, broad_spread=0.45, broad_share=0.55, scale=0.8)
ABSORBANCES = np.array([0.0, 0.07, 0.4, 1.1])


def test_one_bounce_off_a_leaning_white_by_hand() -> None:
    """Under much dye only the straight way is left: Fresnel in, slanted in, Lambert's law on the facet, slanted out."""
    lamp, view, tilt, azimuth, turned, absorbance10 = 50.0, 20.0, 25.0, 40.0, 65.0, 2.5
    n, rho = 1.5, 0.7
    mu_lamp, mu_view = inside(lamp, n), inside(view, n)
    lean, away = np.radians(tilt), np.radians(turned - azimuth)
    facing = mu_lamp * np.cos(lean) + np.sqrt(1 - mu_lamp**2) * np.sin(lean) * np.cos(away)
    through = (1 - fresnel(np.radians(lamp), 1.0, n)) * (1 - fresnel(np.radians(view), 1.0, n)) / n**2
    by_hand = through * rho * facing / mu_lamp * 10.0 ** (-absorbance10 * (1 / mu_lamp + 1 / mu_view))
    ours = body_reflectance(
        absorbance10,
        SolidBase(albedo=rho),
        view_deg=view,
        lamp_deg=lamp,
        lamp_azimuth_deg=turned,
        facet_tilt_deg=tilt,
        facet_azimuth_deg=azimuth,
    )
    np.testing.assert_allclose(ours, by_hand, rtol=2e-3)


@pytest.mark.slow
@pytest.mark.parametrize("base", [SILVER, MetalBase(flake_spread=0.3), SolidBase(albedo=0.8)], ids=str)
@pytest.mark.parametrize("lamp_deg", [None, 35.0])
def test_a_facet_that_hardly_leans_is_level(base: Base, lamp_deg: float | None) -> None:
    level, leaning = (
        body_reflectance(ABSORBANCES, base, view_deg=-25.0, lamp_deg=lamp_deg, facet_tilt_deg=tilt)
        for tilt in (0.0, 1e-3)
    )
    np.testing.assert_allclose(leaning, level, rtol=0.004, atol=2e-4)


@pytest.mark.slow
@pytest.mark.parametrize("tilt_deg", [0.0, 12.0])
def test_turning_all_of_it_round_changes_nothing(tilt_deg: float) -> None:
    """A view at -30 beside a lamp at azimuth 20 is one at 30 beside a lamp at 200, the facet turned along."""
    one, other = (
        body_reflectance(
            ABSORBANCES,
            SILVER,
            view_deg=view,
            lamp_deg=40.0,
            lamp_azimuth_deg=20.0 + turn,
            facet_tilt_deg=tilt_deg,
            facet_azimuth_deg=70.0 + turn,
        )
        for view, turn in ((-30.0, 0.0), (30.0, 180.0))
    )
    np.testing.assert_allclose(one, other, rtol=1e-6)


@pytest.mark.slow
def test_left_and_right_of_the_plane_are_alike() -> None:
    one, other = (
        body_reflectance(ABSORBANCES, SILVER, view_deg=20.0, lamp_deg=40.0, facet_tilt_deg=17.0, facet_azimuth_deg=a)
        for a in (55.0, -55.0)
    )
    np.testing.assert_allclose(one, other, rtol=1e-6)


@pytest.mark.parametrize("lamp_azimuth_deg", [0.0, 130.0])
def test_lamp_and_eye_may_change_places_over_a_level_base(lamp_azimuth_deg: float) -> None:
    """Helmholtz reciprocity: the factor is the same, as the film bends both rays alike."""
    there, back = (
        body_reflectance(ABSORBANCES, SILVER, view_deg=view, lamp_deg=lamp, lamp_azimuth_deg=lamp_azimuth_deg)
        for view, lamp in ((15.0, 50.0), (50.0, 15.0))
    )
    np.testing.assert_allclose(there, back, rtol=5e-3)


@pytest.mark.slow
def test_the_lobe_turns_with_the_facet() -> None:
    """Straight on, a lamp at 45 deg (28.1 inside) is mirrored by flakes that lean 14.1 deg towards it."""
    tilts = (0.0, 7.0, 14.1, 21.0, 28.0)
    towards = [
        float(body_reflectance(0.0, MetalBase(flake_spread=0.08), lamp_deg=45.0, facet_tilt_deg=tilt)) for tilt in tilts
    ]
    assert int(np.argmax(towards)) == 2
    away = body_reflectance(
        0.0, MetalBase(flake_spread=0.08), lamp_deg=45.0, facet_tilt_deg=14.1, facet_azimuth_deg=180
    )
    assert away < 0.01 * towards[2]


@pytest.mark.parametrize("tilt_deg", [0.0, 8.0, 40.0])
def test_a_sky_of_one_gives_no_more_than_one(tilt_deg: float) -> None:
    out = body_reflectance(ABSORBANCES, MetalBase(flake_spread=0.2), view_deg=10.0, facet_tilt_deg=tilt_deg)
    assert np.all(out <= 1.0)
    assert np.all(np.diff(out) < 0.0)


@pytest.mark.slow
def test_a_mixture_of_two_equal_lobes_is_one() -> None:
    one = MetalBase(flake_spread=0.2)
    both = MetalBase(flake_spread=0.2, broad_spread=0.2, broad_share=0.35)
    for tilt in (0.0, 10.0):
        asked = {"view_deg": -20.0, "lamp_deg": 30.0, "facet_tilt_deg": tilt}
        np.testing.assert_allclose(
            body_reflectance(ABSORBANCES, both, **asked), body_reflectance(ABSORBANCES, one, **asked), rtol=1e-9
        )


def test_a_mixture_gives_its_shares_where_light_bounces_once() -> None:
    """Under much dye nothing comes back a second time, so the lobes add up by their shares."""
    narrow, broad = MetalBase(flake_spread=0.12), MetalBase(flake_spread=0.5)
    both = MetalBase(flake_spread=0.12, broad_spread=0.5, broad_share=0.3)
    a, b, c = (float(body_reflectance(2.5, base, view_deg=-10.0, lamp_deg=45.0)) for base in (narrow, broad, both))
    assert c == pytest.approx(0.7 * a + 0.3 * b, rel=2e-3)
    assert a > 1.5 * b


@pytest.mark.parametrize("tilt_deg", [-1.0, 90.0, float("nan")])
def test_a_tilt_out_of_range(tilt_deg: float) -> None:
    with pytest.raises(ValueError, match="facet_tilt_deg"):
        body_reflectance(0.1, SILVER, facet_tilt_deg=tilt_deg)


def _sphere(rings: int, spokes: int) -> tuple[np.ndarray, np.ndarray]:
    """Directions above the horizon (N, 3) and their solid angles (N,), by midpoints of the zenith angle."""
    zenith, turn = 0.5 * np.pi * (np.arange(rings) + 0.5) / rings, 2.0 * np.pi * (np.arange(spokes) + 0.5) / spokes
    z, a = (v.ravel() for v in np.meshgrid(zenith, turn, indexing="ij"))
    towards = np.stack([np.sin(z) * np.cos(a), np.sin(z) * np.sin(a), np.cos(z)], axis=-1)
    return towards, np.sin(z) * (0.5 * np.pi / rings) * (2.0 * np.pi / spokes)


@pytest.mark.parametrize("lamp_deg", [None, 40.0])
@pytest.mark.parametrize("tilt", [20.0, 50.0])
def test_all_bounces_off_a_leaning_white(lamp_deg: float | None, tilt: float) -> None:
    """Radiosity: a Lambert facet sends the same radiance L everywhere, and what the face throws back of it adds a share
    G of that light: L = rho E / pi (1 + G + G^2 + ...). E of the sky: Fresnel in, n^2, dye along the way."""
    n, rho, view, t = 1.5, 0.8, 15.0, 10.0**-ABSORBANCES
    ways, solid = _sphere(300, 240)
    normal = np.array([np.sin(np.radians(tilt)), 0.0, np.cos(np.radians(tilt))])
    face = np.array([fresnel(float(z), n, 1.0) for z in np.arccos(ways[::240, 2])]).repeat(240)
    lit, from_facet = np.maximum(ways @ normal, 0.0) * solid, ways * (-1, -1, 1) @ normal > 0.0
    through = t[:, None] ** (1.0 / ways[:, 2])
    again = rho / np.pi * (face * through**2) @ (lit * from_facet)
    if lamp_deg is None:
        irradiance = n**2 * ((1.0 - face) * through) @ lit
    else:
        mu = inside(lamp_deg, n)
        facing = mu * normal[2] + np.sqrt(1.0 - mu**2) * normal[0] * np.cos(np.radians(130.0))
        passing = 1.0 - fresnel(np.radians(lamp_deg), 1.0, n)
        irradiance = np.pi * passing * max(facing, 0.0) / mu * t ** (1.0 / mu)
    out = (1.0 - fresnel(np.radians(view), 1.0, n)) / n**2 * t ** (1.0 / inside(view, n))
    by_hand = out * rho * irradiance / np.pi / (1.0 - again)
    asked = {"view_deg": view, "lamp_deg": lamp_deg, "lamp_azimuth_deg": 70.0}
    ours = body_reflectance(ABSORBANCES, SolidBase(albedo=rho), **asked, facet_tilt_deg=tilt, facet_azimuth_deg=-60.0)
    np.testing.assert_allclose(ours, by_hand, rtol=2e-3)


def _by_hand(base: MetalBase, mu_in: np.ndarray, mu_out: np.ndarray, between: np.ndarray) -> np.ndarray:
    """D G F / (4 mu_in mu_out) for one lobe, both directions in front of it: the shape of Walter et al. 2007 (doi
    10.2312/EGWR/EGSR07/195-206), their equations 25 and 27, with Fresnel's mirror for a metal at half the angle."""
    half = (mu_in + mu_out) / np.sqrt(2.0 + 2.0 * between)
    width = base.flake_spread
    tilts = np.exp((1.0 - half**-2) / width**2) / (np.pi * width**2 * half**4)
    seen = np.ones(np.broadcast_shapes(mu_in.shape, mu_out.shape))
    for mu in (mu_in, mu_out):
        a = mu / (width * np.sqrt(1.0 - mu**2) + 1e-12)
        seen = seen * np.where(a < 1.6, a * (3.535 + 2.181 * a) / (1.0 + a * (2.276 + 2.577 * a)), 1.0)
    mirror = conductor_reflectance(np.sqrt(0.5 + 0.5 * between), eta=base.eta, kappa=base.kappa)
    return base.scale * tilts * seen * mirror / (4.0 * mu_in * mu_out)


@pytest.mark.parametrize("spread", [0.12, 0.45])
@pytest.mark.parametrize("tilt", [0.0, 38.0])
def test_a_lobe_sends_what_it_gets_from_above_the_horizon(spread: float, tilt: float) -> None:
    """By sums over 140 000 directions; what comes from below the horizon, and eyes behind the facet, get nothing.
    Where the horizon cuts through the lobe few flakes settle it, and it is met within a fiftieth of white."""
    base, grid = MetalBase(flake_spread=spread, scale=0.7), make_grid(1.5, *COARSE)
    lean = np.radians(tilt)
    normal = np.array([np.sin(lean), 0.0, np.cos(lean)])
    eyes = direction(np.array([1.0, 0.9, 0.6, 0.4, 0.2]), np.array([0.0, 2.0, 0.3, -1.4, 3.0]))
    held = weight_at_once(base, tilt, eyes, grid).sum(axis=1)
    ways, solid = _sphere(350, 400)
    front = ways @ normal > 0.0
    ways, solid = ways[front], solid[front]
    for eye, ours in zip(eyes, held, strict=True):
        mu_out = eye @ normal
        if mu_out < 0.0:
            assert ours == 0.0
            continue
        mu_in = ways @ normal
        exact = float((_by_hand(base, mu_in, np.full(1, mu_out), ways @ eye) * mu_in) @ solid)
        assert ours == pytest.approx(exact, abs=0.02 if tilt else 0.004)


@pytest.mark.parametrize("size", [FINE, COARSE, SMALL])
def test_a_grid_is_the_half_sphere_and_every_way_has_its_mirror(size: tuple[int, int]) -> None:
    """Solid angle 2 pi, of which pi counts by the cosine; off a level face x and y go on and z turns, so that light
    comes back from the direction opposite in azimuth."""
    grid = make_grid(1.5, *size)
    assert grid.weight.sum() == pytest.approx(2.0 * np.pi)
    assert grid.weight @ grid.mu == pytest.approx(np.pi)
    assert grid.weight @ grid.towards[:, 0] ** 2 == pytest.approx(2.0 * np.pi / 3.0)
    np.testing.assert_allclose(grid.towards[grid.mirrored], grid.towards * (-1.0, -1.0, 1.0), atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(grid.towards, axis=1), 1.0)
    middle = 3 * size[1] + 1
    assert grid.reflectance[-middle] == pytest.approx(fresnel(float(np.arccos(grid.mu[-middle])), 1.5, 1.0))


def test_one_bounce_off_a_leaning_metal_by_hand() -> None:
    """Under much dye, as the white above; the lamp is behind the second facet, which then gives nothing."""
    base, absorbance10, n = MetalBase(flake_spread=0.3, scale=0.6), 2.5, 1.5
    mu_lamp, mu_view = inside(55.0, n), inside(35.0, n)
    lamp, eye = direction(np.array([mu_lamp, mu_view]), np.radians([65.0 - 40.0, 180.0 - 40.0]))
    normal = np.array([np.sin(np.radians(25.0)), 0.0, np.cos(np.radians(25.0))])
    mu_in, mu_out = np.array([lamp @ normal]), np.array([eye @ normal])
    through = (1 - fresnel(np.radians(55.0), 1.0, n)) * (1 - fresnel(np.radians(35.0), 1.0, n)) / n**2
    dye = 10.0 ** (-absorbance10 * (1 / mu_lamp + 1 / mu_view))
    by_hand = np.pi * through * dye * _by_hand(base, mu_in, mu_out, lamp @ eye) * mu_in / mu_lamp
    asked = {"view_deg": -35.0, "lamp_deg": 55.0, "lamp_azimuth_deg": 65.0}
    ours = body_reflectance(absorbance10, base, **asked, facet_tilt_deg=25.0, facet_azimuth_deg=40.0)
    assert float(ours) == pytest.approx(float(by_hand[0]), rel=5e-3)
    dark = body_reflectance(absorbance10, base, **asked, facet_tilt_deg=75.0, facet_azimuth_deg=-115.0)
    assert 0.0 <= float(dark) < 1e-3 * float(ours)


@pytest.mark.parametrize("tilt", [0.0, 6.0])
def test_a_hair_to_either_side_of_straight_on(tilt: float) -> None:
    """With the lamp on the positive side, a view a hair to the negative one is nearer to the mirror's direction; where
    the facet leans makes no difference to that if it leans square to both."""
    sharp = MetalBase(flake_spread=0.2)
    asked = {"lamp_deg": 40.0, "facet_tilt_deg": tilt, "facet_azimuth_deg": 90.0}
    near, at, far = (float(body_reflectance(1.0, sharp, view_deg=view, **asked)) for view in (-0.6, 0.0, 0.6))
    assert near > 1.02 * at > 1.02 * 1.02 * far
