"""Dye over white and over a mirror: exist for the light that the face throws back through the dye, which makes a pale
coat over white four to five times as strong as two passes, and for a mirror's 2A taken for A."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layerpreview.film import MetalBase, SolidBase, body_reflectance, diffuse_film

from .reference import diffuse_sky, mirror, thrown_back, williams_clapper

# D_T: r_i(t) n=1.5, D_R at rho = 1, .95, .9 (n = 1.5), r_i(t) n=1.53, D_R at rho = 1, .9 (n = 1.53); lamp 45, view 0.
# Williams & Clapper, JOSA 43, 595 (1953), general form; their own table was not found, this is a quadrature (1e-9).
TABLE = {
    0.0: (0.596346, -0.0017, 0.0515, 0.1039, 0.613894, -0.0001, 0.1097),
    0.01: (0.533364, 0.0826, 0.1290, 0.1754, 0.549898, 0.0878, 0.1836),
    0.02: (0.480606, 0.1505, 0.1924, 0.2347, 0.496184, 0.1580, 0.2446),
    0.05: (0.359544, 0.3055, 0.3398, 0.3750, 0.372573, 0.3171, 0.3879),
    0.10: (0.230670, 0.4918, 0.5205, 0.5504, 0.240346, 0.5066, 0.5659),
    0.15: (0.152193, 0.6407, 0.6668, 0.6942, 0.159382, 0.6569, 0.7109),
    0.20: (0.102229, 0.7722, 0.7970, 0.8229, 0.107570, 0.7893, 0.8403),
    0.30: (0.047805, 1.0112, 1.0346, 1.0591, 0.050757, 1.0289, 1.0769),
    0.40: (0.023102, 1.2357, 1.2585, 1.2825, 0.024735, 1.2534, 1.3002),
    0.50: (0.011428, 1.4543, 1.4768, 1.5005, 0.012333, 1.4716, 1.5179),
    0.70: (0.002944, 1.8847, 1.9071, 1.9306, 0.003223, 1.9011, 1.9470),
    1.00: (0.000423, 2.5260, 2.5483, 2.5718, 0.000471, 2.5406, 2.5864),
    1.50: (0.000020, 3.5931, 3.6154, 3.6389, 0.000023, 3.6047, 3.6504),
    2.00: (0.000001, 4.6601, 4.6824, 4.7058, 0.000001, 4.6685, 4.7143),
}
COLUMNS = ((1.5, 1.0, 1), (1.5, 0.95, 2), (1.5, 0.9, 3), (1.53, 1.0, 5), (1.53, 0.9, 6))


@pytest.mark.parametrize(("n", "rho", "column"), COLUMNS)
def test_williams_clapper_table(n: float, rho: float, column: int) -> None:
    density = np.array(list(TABLE))
    body = body_reflectance(density, SolidBase(albedo=rho), lamp_deg=45.0, view_deg=0.0, film_index=n)
    assert -np.log10(body) == pytest.approx([row[column] for row in TABLE.values()], abs=6e-5)


@pytest.mark.parametrize(("n", "column"), [(1.5, 0), (1.53, 4)])
def test_literal_version_is_the_published_one(n: float, column: int) -> None:
    """The textbook version used below is itself checked against the table, and its n = 1.53 constants against the
    paper's 0.193 and 2.13 (from memory)."""
    for density, row in TABLE.items():
        assert thrown_back(10.0**-density, n) == pytest.approx(row[column], abs=6e-7)
    if n == 1.53:
        flat = williams_clapper(1.0, n, 1e-9, lamp_deg=45.0, view_deg=0.0) / 1e-9
        assert flat / 2 == pytest.approx(0.193, abs=2e-4)
        legs = -np.log10(williams_clapper(0.1, n, 1e-9, lamp_deg=45.0, view_deg=0.0) / (1e-9 * flat))
        assert legs == pytest.approx(2.13, abs=3e-3)


@settings(max_examples=40)
@given(
    density=st.floats(0.0, 2.5),
    n=st.floats(1.3, 1.7),
    rho=st.floats(0.02, 1.0),
    lamp_deg=st.floats(0.0, 80.0),
    view_deg=st.floats(-80.0, 80.0),
)
def test_solver_is_the_literal_version(density: float, n: float, rho: float, lamp_deg: float, view_deg: float) -> None:
    base = SolidBase(albedo=rho)
    lamp = body_reflectance(density, base, lamp_deg=lamp_deg, view_deg=view_deg, film_index=n)
    sky = body_reflectance(density, base, view_deg=view_deg, film_index=n)
    t = 10.0**-density
    assert float(lamp) == pytest.approx(williams_clapper(t, n, rho, lamp_deg=lamp_deg, view_deg=view_deg), abs=2e-6)
    assert float(sky) == pytest.approx(diffuse_sky(t, n, rho, view_deg=view_deg), abs=2e-6)


# D: R of a white of rho = .9 under a uniform sky, seen straight on, gloss excluded (d:0), n = 1.5; quadrature.
D0 = {0.0: 0.752786, 0.1: 0.269083, 0.3: 0.083393, 0.5: 0.030234, 1.0: 0.002597}


def test_diffuse_light_table() -> None:
    assert body_reflectance(list(D0), SolidBase(albedo=0.9)) == pytest.approx(list(D0.values()), abs=1e-6)
    assert diffuse_sky(10.0**-0.3, 1.5, 0.9) == pytest.approx(D0[0.3], abs=1e-6)


# Slope of reflection density over dye density at no dye, n = 1.5, lamp 45 / view 0; from the same quadrature.
SLOPES = {1.0: 9.77, 0.9: 8.12, 0.8: 6.85, 0.6: 5.01, 0.3: 3.26, 0.1: 2.46}


@pytest.mark.parametrize("rho", SLOPES)
def test_a_pale_coat_over_white_is_far_stronger_than_two_passes(rho: float) -> None:
    step = 1e-5
    body = body_reflectance([0.0, step], SolidBase(albedo=rho), lamp_deg=45.0, view_deg=0.0)
    assert -np.log10(body[1] / body[0]) / step == pytest.approx(SLOPES[rho], abs=0.01)


# A: R over a plane mirror of rho = 1, .87, .6, gloss excluded, n = 1.5: (1-F)^2 rho t^2 / (1 - F rho t^2), recomputed.
MIRROR = {
    0.0: (0.960000, 0.830700, 0.566557),
    0.1: (0.596546, 0.517254, 0.354259),
    0.2: (0.372833, 0.323683, 0.222261),
    0.3: (0.233845, 0.203177, 0.139740),
    0.5: (0.092530, 0.080459, 0.055429),
    1.0: (0.009220, 0.008021, 0.005531),
}


@pytest.mark.parametrize(("rho", "column"), [(1.0, 0), (0.87, 1), (0.6, 2)])
def test_mirror_table(rho: float, column: int) -> None:
    """A lossless metal (kappa beyond measure) of flakes that all lie flat is that mirror; at spread 0.05 the slanted
    flakes cost up to 0.002 of the light."""
    flat = MetalBase(flake_spread=0.05, scale=rho, eta=1.0, kappa=1e6)
    expected = [row[column] for row in MIRROR.values()]
    assert [mirror(a, rho, 1.5) for a in MIRROR] == pytest.approx(expected, abs=1e-6)
    assert body_reflectance(list(MIRROR), flat) == pytest.approx(expected, abs=0.002)


def test_albedo_and_photo_are_inverses() -> None:
    """C rho / (1 - rho K) at no dye gives the photo back, whatever the photo."""
    film = diffuse_film()
    bare = np.array([0.01, 0.2, 0.55, 0.9])
    assert film.reflectance(np.zeros(4), bare) == pytest.approx(bare, abs=1e-12)
