"""The law of each pixel against the solver of one facet: exists for a slope, a turn or a lamp's side taken wrongly, and
for too few leans, turns or terms."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import xyz_to_lab
from layerpreview.film import FacetLaw, Lamp, Light, MetalBase, body_reflectance, facet_law

ABSORBANCES = np.array([0.0, 0.05, 0.2, 0.6, 1.5, 2.5])
SILVER = MetalBase(flake_spread=0.105, broad_spread=0.45, broad_share=0.6, scale=0.3)
ROOM = Light(0.4, (Lamp(40.0, -135.0, 10.0, 0.4), Lamp(58.0, -10.0, 17.5, 0.2)))


def _lightness(factor: np.ndarray) -> np.ndarray:
    return xyz_to_lab(np.repeat(factor[..., None], 3, axis=-1), white_xyz=np.ones(3))[..., 0]


def _solved(
    base: MetalBase, light: Light, slope: tuple[float, float], *, view_deg: float, side_deg: float
) -> np.ndarray:
    """The same sum by the solver of single facets, which counts azimuths from the eye's side."""
    leans = {
        "facet_tilt_deg": float(np.degrees(np.arctan(np.hypot(*slope)))),
        "facet_azimuth_deg": float(np.degrees(np.arctan2(-slope[1], -slope[0]))) - side_deg,
    }
    total = light.even * body_reflectance(ABSORBANCES, base, view_deg=view_deg, **leans)
    for lamp in light.lamps:
        total += lamp.share * body_reflectance(
            ABSORBANCES,
            base,
            view_deg=view_deg,
            lamp_deg=lamp.zenith_deg,
            lamp_half_angle_deg=lamp.half_angle_deg,
            lamp_azimuth_deg=lamp.azimuth_deg - side_deg,
            **leans,
        )
    return total


@pytest.mark.slow
@pytest.mark.parametrize("base", [SILVER, MetalBase(flake_spread=0.3)], ids=["two lobes", "one lobe"])
@pytest.mark.parametrize(
    ("light", "view_deg"),
    [(Light(), 0.0), (ROOM, 0.0), (ROOM, 35.0), (Light(0.1, (Lamp(45.0, 20.0, 3.0, 0.9),)), 40.0)],
    ids=["even", "room", "room, turned", "lamp, turned"],
)
def test_it_is_the_solver_for_any_slope(base: MetalBase, light: Light, view_deg: float) -> None:
    """Within 0.6 L* for six slopes up to 1.2 and six absorbances, nine of ten within 0.1."""
    law = facet_law(base, light, view_deg=view_deg, view_azimuth_deg=70.0)
    away, turn = np.random.default_rng(11).uniform([0.0, 0.0], [1.2, 2.0 * np.pi], (6, 2)).T
    slopes = np.stack([away * np.cos(turn), away * np.sin(turn)])
    truth = [_solved(base, light, (x, y), view_deg=view_deg, side_deg=70.0) for x, y in slopes.T]
    off = np.abs(_lightness(law.reflectance(ABSORBANCES, *slopes)) - _lightness(np.stack(truth)))
    assert off.max() < 0.6
    assert np.quantile(off, 0.9) < 0.1


@pytest.fixture(scope="module")
def even() -> FacetLaw:
    return facet_law(SILVER, Light())


def test_a_level_facet_in_even_light_is_the_level_film(even: FacetLaw) -> None:
    level = even.reflectance(ABSORBANCES, np.zeros(1), np.zeros(1))[0]
    np.testing.assert_allclose(level, body_reflectance(ABSORBANCES, SILVER), rtol=0.005, atol=1e-4)


def test_even_light_knows_no_side(even: FacetLaw) -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 9)
    seen = even.reflectance(ABSORBANCES, 0.5 * np.cos(turn), 0.5 * np.sin(turn))
    np.testing.assert_allclose(seen, np.broadcast_to(seen[:1], seen.shape), rtol=5e-3, atol=1e-4)


def test_facets_as_an_array_and_one_by_one(even: FacetLaw) -> None:
    x, y = np.random.default_rng(5).normal(0.0, 0.4, (2, 4, 3)).astype(np.float32)
    together = even.at(x, y)
    assert together.shape == (4, 4, 3)
    np.testing.assert_allclose(together[:, 2, 1], even.at(x[2, 1:2], y[2, 1:2])[:, 0], rtol=1e-6)


def test_beyond_the_steepest_slope_told_apart_it_goes_on(even: FacetLaw) -> None:
    far, end = even.at(np.float32([4.0]), np.float32([-9.0])), even.at(np.float32([1.5]), np.float32([-1.5]))
    np.testing.assert_allclose(far, end)


def test_dye_takes_and_no_facet_gives_more_than_the_sky(even: FacetLaw) -> None:
    x, y = np.random.default_rng(6).normal(0.0, 0.6, (2, 200))
    seen = even.reflectance(np.linspace(0.0, 3.0, 40), x, y)
    assert seen.max() <= 1.0
    assert np.all(np.diff(seen, axis=1) < 0.0)


def test_shares_that_are_not_a_whole() -> None:
    with pytest.raises(ValueError, match="sum to 1"):
        Light(0.5, (Lamp(45.0, 0.0, 5.0, 0.6),))
