"""Laws of a leaning facet: exist for a lean that is taken from the wrong axis, and bounces that gain or lose energy."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.film import Base, MetalBase, SolidBase, body_reflectance
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
