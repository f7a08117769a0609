"""The law of each pixel against the solver of one facet: exists for a slope, a turn or a lamp's side taken wrongly, and
for too few leans, turns or terms."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import xyz_to_lab
from layerpreview.film import FacetLaw, Lamp, Light, MetalBase, body_reflectance, facet_law
from layerpreview.film.bases import brdf
from layerpreview.film.facet_light import at_once
from layerpreview.film.facets import direction
from layerpreview.film.slab import lamp_disc, make_slab
from tests.film.reference import fresnel, inside

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


@pytest.mark.slow
def test_a_level_facet_in_even_light_is_the_level_film(even: FacetLaw) -> None:
    level = even.reflectance(ABSORBANCES, np.zeros(1), np.zeros(1))[0]
    np.testing.assert_allclose(level, body_reflectance(ABSORBANCES, SILVER), rtol=0.005, atol=1e-4)


@pytest.mark.slow
def test_its_error_is_a_few_parts_in_ten_thousand(even: FacetLaw) -> None:
    """Of the formula's fit alone, over all facets, one denominator for all of them."""
    assert 1e-5 < even.error < 1e-4


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


@pytest.mark.slow
@pytest.mark.parametrize(
    ("light", "view_deg", "within"), [(ROOM, 35.0, 0.015), (Light(), 50.0, 0.05)], ids=["room", "even light"]
)
def test_facets_that_lean_are_the_solvers_from_a_slanted_view(light: Light, view_deg: float, within: float) -> None:
    """A fraction of a step that could be seen [L*], and a hundredth of what is sent under the first coats."""
    slopes = np.array([(-0.2, 0.13), (0.3, -0.5), (-0.7, -0.4), (-0.1, 0.8)])
    law = facet_law(SILVER, light, view_deg=view_deg, view_azimuth_deg=70.0)
    truth = np.stack([_solved(SILVER, light, (x, y), view_deg=view_deg, side_deg=70.0) for x, y in slopes])
    ours = law.reflectance(ABSORBANCES, *slopes.T)
    np.testing.assert_allclose(_lightness(ours), _lightness(truth), atol=within)
    np.testing.assert_allclose(ours[:, :4], truth[:, :4], rtol=0.01)


def test_leaning_facets_in_even_light_are_the_solvers(even: FacetLaw) -> None:
    """One of them leans 61 degrees; it is met within a tenth of a step of lightness, though dark."""
    slopes = np.array([(-0.33, 0.28), (1.2, -1.35)])
    truth = np.stack([_solved(SILVER, Light(), (x, y), view_deg=0.0, side_deg=0.0) for x, y in slopes])
    ours = even.reflectance(ABSORBANCES, *slopes.T)
    np.testing.assert_allclose(_lightness(ours[0]), _lightness(truth[0]), atol=0.03)
    np.testing.assert_allclose(_lightness(ours[1]), _lightness(truth[1]), atol=0.06)


def _made_up() -> FacetLaw:
    """Start 0.4 + 0.1 x - 0.2 y + 0.04 x y and path numbers of the same kind, on slopes -1.5 to 1.5 every 0.02."""
    x, y = np.meshgrid(np.linspace(-1.5, 1.5, 151), np.linspace(-1.5, 1.5, 151))
    numbers = np.stack([0.4 + 0.1 * x - 0.2 * y + 0.04 * x * y, 1.1 - 0.3 * x, 0.2 + 0.1 * y, 0.3 + 0.02 * x * y])
    return FacetLaw(numbers.astype(np.float32), (0.5, 0.7), 0.0)


def test_numbers_between_the_slopes_of_the_table() -> None:
    """What is straight along x and along y comes out as it is, in the table's corners too, and ends at its edge."""
    law = _made_up()
    x = np.array([0.0, 0.513, -0.727, 1.4955, -1.4955, 3.0, -1.5], np.float32)
    y = np.array([0.0, -0.338, 1.213, 1.4945, -1.4985, -0.105, 8.0], np.float32)
    held_x, held_y = np.clip(x, -1.5, 1.5), np.clip(y, -1.5, 1.5)
    both = held_x * held_y
    by_hand = [0.4 + 0.1 * held_x - 0.2 * held_y + 0.04 * both, 1.1 - 0.3 * held_x, 0.2 + 0.1 * held_y]
    np.testing.assert_allclose(law.at(x, y), [*by_hand, 0.3 + 0.02 * both], atol=2e-5)


def test_a_facets_factor_by_hand() -> None:
    """x = 0.5, y = -1: start 0.63, n 0.95, 0.1, 0.29; at a = 2 D is 2 (0.95 + 0.2 + 1.16) / (1 + 1 + 2.8)."""
    seen = _made_up().reflectance(np.array([0.0, 2.0 / np.log2(10.0)]), np.array([0.5, 0.0]), np.array([-1.0, 0.0]))
    np.testing.assert_allclose(seen[0], [0.63, 0.63 * 2.0 ** -(4.62 / 4.8)], rtol=1e-5)
    np.testing.assert_allclose(seen[1], [0.4, 0.4 * 2.0 ** -(5.4 / 4.8)], rtol=1e-5)


def test_the_mean_of_facets_is_the_mean_of_their_light() -> None:
    law = _made_up()
    x, y = np.random.default_rng(8).normal(0.0, 0.5, (2, 6, 5)).astype(np.float32)
    absorbances = np.append(0.0, np.geomspace(3e-4, 3.6, 400))
    each = law.reflectance(absorbances, x.ravel(), y.ravel()).mean(axis=0)
    curve = law.mean(x, y)
    assert curve.start == pytest.approx(each[0], rel=1e-6)
    assert curve.denominator == (0.5, 0.7)
    assert 0.0 < curve.error < 5e-3
    off = np.abs(curve(absorbances) - each) / each[0]
    assert off.max() == pytest.approx(curve.error, rel=0.2)


def _normals(slopes: np.ndarray) -> np.ndarray:
    upright = np.concatenate([-slopes, np.ones((len(slopes), 1))], axis=1)
    return upright / np.linalg.norm(upright, axis=1, keepdims=True)


def test_the_lamps_first_bounce_by_hand() -> None:
    """Each small lamp by Snell, Fresnel and the base's own law with azimuths counted about the facet's normal."""
    lamps = (Lamp(40.0, -135.0, 0.0, 0.3), Lamp(58.0, -10.0, 0.0, 0.7))
    slopes, t = np.array([(0.2, -0.15), (-0.4, 0.7), (2.0, 3.0)]), np.array([1.0, 0.3])
    slab, mu_eye = make_slab(1.5), inside(30.0, 1.5)
    eye = direction(np.array(mu_eye), np.radians(70.0))
    ours = at_once(_normals(slopes), t, SILVER, lamps, slab, eye)
    for (x, y), seen in zip(slopes, ours, strict=True):
        normal = np.array([-x, -y, 1.0]) / np.sqrt(1.0 + x**2 + y**2)
        by_hand = np.zeros(2)
        for lamp in lamps:
            mu = inside(lamp.zenith_deg, 1.5)
            ray = direction(np.array(mu), np.radians(lamp.azimuth_deg))
            cosines = np.array([ray @ normal, eye @ normal])
            if cosines.min() <= 0.0:
                continue
            flat = np.array([ray, eye]) - cosines[:, None] * normal
            away = np.arccos(flat[0] @ flat[1] / np.linalg.norm(flat[0]) / np.linalg.norm(flat[1]))
            f = brdf(SILVER, mu_in=cosines[0], mu_out=cosines[1], azimuth_rad=away)
            passing = 1.0 - fresnel(np.radians(lamp.zenith_deg), 1.0, 1.5)
            by_hand += np.pi * f * lamp.share * passing * cosines[0] / mu * t ** (1.0 / mu)
        np.testing.assert_allclose(seen, by_hand, rtol=2e-6)


@pytest.mark.parametrize("half_angle_deg", [11.0, 20.0, 30.0])
def test_a_wide_lamp_is_as_many_rays_as_the_lobes_tell_apart(half_angle_deg: float) -> None:
    """Over narrow lobes, against 216 small lamps all over its disc."""
    base, t = MetalBase(flake_spread=0.1), np.array([1.0, 0.2])
    slab, eye = make_slab(1.5), direction(np.array(1.0), np.array(0.0))
    slopes = np.array([(-0.2, 0.05), (-0.3, -0.1), (-0.12, 0.2), (-0.05, 0.0)])
    ours = at_once(_normals(slopes), t, base, (Lamp(45.0, 25.0, half_angle_deg, 1.0),), slab, eye)
    points = zip(*lamp_disc(45.0, half_angle_deg, rings=6, spokes=36), strict=True)
    small = tuple(Lamp(zenith, 25.0 + float(np.degrees(turn)), 0.0, share) for zenith, turn, share in points)
    exact = at_once(_normals(slopes), t, base, small, slab, eye)
    np.testing.assert_allclose(ours, exact, rtol=1e-3)


@pytest.mark.slow
def test_lamp_and_eye_change_places() -> None:
    """Helmholtz: a level facet sends as much from a lamp at 25 to an eye at 50 degrees as the other way round."""
    there, back = (
        facet_law(SILVER, Light(0.0, (Lamp(lamp, 140.0, 1.0, 1.0),)), view_deg=eye, view_azimuth_deg=20.0).reflectance(
            ABSORBANCES, np.zeros(1), np.zeros(1)
        )[0]
        for lamp, eye in ((25.0, 50.0), (50.0, 25.0))
    )
    np.testing.assert_allclose(there, back, rtol=0.01, atol=1e-5)
