"""The law of solids: exists for a film that leans and is reckoned as if it lay level, a lamp taken from the wrong side
or below the horizon, and a table too coarse for the lobes in it."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import xyz_to_lab
from layerpreview.film import (
    LOG2_10,
    BodyLaw,
    FaceLaw,
    Lamp,
    Light,
    MetalBase,
    body_law,
    body_reflectance,
    diffuse_film,
    direction,
    face_law,
    from_disc,
    on_disc,
)
from layerpreview.film.body_law import lamps_over
from layerpreview.film.curves import left

ABSORBANCES = np.array([0.0, 0.05, 0.2, 0.6, 1.5])
SILVER = MetalBase(flake_spread=0.13, broad_spread=0.45, broad_share=0.6, scale=0.4)
ROOM = Light(0.35, (Lamp(42.0, -130.0, 12.0, 0.45), Lamp(60.0, 10.0, 6.0, 0.2)))
UP = np.array([0.0, 0.0, 1.0])


def _lightness(factor: np.ndarray) -> np.ndarray:
    return xyz_to_lab(np.repeat(factor[..., None], 3, axis=-1), white_xyz=np.ones(3))[..., 0]


def _of(numbers: np.ndarray, denominator: tuple[float, float]) -> np.ndarray:
    """Reflectance (P, absorbances) of what `at` gives."""
    start, *path = numbers.astype(np.float64)[:, :, None]
    n0, n1, n2 = (n / start for n in path)
    return np.asarray(start * left(LOG2_10 * ABSORBANCES, (n0, n1, n2), denominator))


def _solved(film: np.ndarray, facet: np.ndarray) -> np.ndarray:
    """The same by the solver of single facets, in coordinates of the film and azimuths from the eye's side."""
    zenith = float(np.degrees(np.arccos(film[2])))
    along = UP - film * film[2]
    along = np.array([1.0, 0.0, 0.0]) if zenith < 1e-6 else along / np.linalg.norm(along)
    across = np.cross(film, along)

    def told(way: np.ndarray) -> tuple[float, float]:
        away = float(np.degrees(np.arccos(np.clip(way @ film, -1.0, 1.0))))
        return away, float(np.degrees(np.arctan2(way @ across, way @ along)))

    lean, side = told(facet)
    leans = {"facet_tilt_deg": lean, "facet_azimuth_deg": side}
    total = ROOM.even * body_reflectance(ABSORBANCES, SILVER, view_deg=zenith, **leans)
    for lamp in ROOM.lamps:
        middle = direction(np.cos(np.radians(np.array(lamp.zenith_deg))), np.radians(np.array(lamp.azimuth_deg)))
        high, turn = told(middle)
        part = body_reflectance(
            ABSORBANCES,
            SILVER,
            view_deg=zenith,
            lamp_deg=high,
            lamp_half_angle_deg=lamp.half_angle_deg,
            lamp_azimuth_deg=turn,
            **leans,
        )
        total = total + lamp.share * part * (middle @ film) / middle[2]
    return total


@pytest.fixture(scope="module")
def law() -> BodyLaw:
    return body_law(SILVER, ROOM)


@pytest.mark.slow
def test_it_is_the_solver_for_any_film_and_facet(law: BodyLaw) -> None:
    """Twelve films to 45 degrees with facets about them: half within 0.3 L*, nine of ten within 1.2, all within 4."""
    rng = np.random.default_rng(4)
    films = from_disc(rng.uniform(-0.55, 0.55, (12, 2)))
    facets = films + rng.normal(0.0, 0.25, films.shape)
    facets /= np.linalg.norm(facets, axis=1, keepdims=True)
    truth = np.stack([_solved(film, facet) for film, facet in zip(films, facets, strict=True)])
    ours = _of(law.at(films.T.astype(np.float32), facets.T.astype(np.float32)), law.denominator)
    off = np.abs(_lightness(ours) - _lightness(truth))
    assert np.median(off) < 0.3
    assert np.quantile(off, 0.9) < 1.2
    assert off.max() < 4.0


@pytest.mark.slow
def test_a_level_film_is_the_law_of_flat_pictures(law: BodyLaw) -> None:
    facets = np.array([[0.0, 0.0, 1.0], [0.1, -0.2, 1.0], [-0.4, 0.05, 1.0]])
    facets /= np.linalg.norm(facets, axis=1, keepdims=True)
    ours = _of(law.at(np.tile(UP[:, None], 3).astype(np.float32), facets.T.astype(np.float32)), law.denominator)
    truth = np.stack([_solved(UP, facet) for facet in facets])
    np.testing.assert_allclose(_lightness(ours), _lightness(truth), atol=0.4)


@pytest.mark.slow
def test_no_seam_where_a_facet_lies_in_its_film(law: BodyLaw) -> None:
    """Across zero slope the light goes on without a step, under every film."""
    films = from_disc(np.array([[0.0, 0.0], [0.3, -0.2], [-0.6, 0.5]])).T.astype(np.float32)
    for hair in (1e-4, -1e-4):
        facets = films + np.array([[hair], [0.0], [0.0]], dtype=np.float32)
        facets /= np.sqrt((facets**2).sum(axis=0))
        np.testing.assert_allclose(law.at(films, facets)[0], law.at(films, films)[0], rtol=2e-3)


@pytest.mark.slow
def test_dye_takes_from_every_facet(law: BodyLaw) -> None:
    rng = np.random.default_rng(9)
    films = from_disc(rng.uniform(-0.8, 0.8, (300, 2))).T.astype(np.float32)
    facets = films + rng.normal(0.0, 0.2, films.shape).astype(np.float32)
    facets /= np.sqrt((facets**2).sum(axis=0))
    seen = _of(law.at(films, facets), law.denominator)
    lit = seen[:, 0] > 0.01
    assert lit.mean() > 0.9
    assert np.all(np.diff(seen[lit], axis=1) < 0.0)


@pytest.fixture(scope="module")
def face() -> FaceLaw:
    return face_law(ROOM)


def test_a_level_face_is_that_of_flat_pictures(face: FaceLaw) -> None:
    numbers = face.at(UP[:, None].astype(np.float32))
    np.testing.assert_allclose(_of(numbers, face.denominator)[0], diffuse_film(ROOM).c(ABSORBANCES), rtol=2e-3)


def test_a_white_that_turns_from_its_lamp_darkens_by_the_cosine() -> None:
    """Lambert's law; what enters the film and leaves it changes little up to 35 degrees (Fresnel), as 1 - r does."""
    lamp = face_law(Light(0.0, (Lamp(0.0, 0.0, 1.0, 1.0),)))
    films = np.array([[0.0, np.sin(np.radians(35.0))], [0.0, 0.0], [1.0, np.cos(np.radians(35.0))]], dtype=np.float32)
    straight, leaning = lamp.at(films)[0]
    assert leaning / straight == pytest.approx(np.cos(np.radians(35.0)), rel=0.02)


def test_lamps_from_where_they_stand() -> None:
    """A lamp straight above a film that leans 30 degrees away from it, and one that it cannot see."""
    film = direction(np.cos(np.radians(np.array(30.0))), np.radians(np.array(180.0)))
    light = Light(0.2, (Lamp(40.0, 0.0, 4.0, 0.5), Lamp(75.0, 0.0, 4.0, 0.3)))
    (seen,) = lamps_over(light, film)
    assert seen.zenith_deg == pytest.approx(70.0)
    assert np.cos(np.radians(seen.azimuth_deg)) == pytest.approx(1.0)  # on the eye's side: the film leans from both
    assert seen.share == pytest.approx(0.5 * np.cos(np.radians(70.0)) / np.cos(np.radians(40.0)), rel=2e-3)


def test_places_on_the_disc_come_back() -> None:
    place = np.array([[0.0, 0.0], [0.4, -0.7], [-1.2, 0.3]])
    normals = from_disc(place)
    np.testing.assert_allclose(np.linalg.norm(normals, axis=1), 1.0)
    np.testing.assert_allclose(on_disc(normals.T.astype(np.float32)).T, place, atol=1e-5)
    assert normals[1, 2] == pytest.approx(1.0 - 0.5 * (0.4**2 + 0.7**2))
