"""The short formula that stands for the solver in every pixel: exists for a fit that is good where it was made and poor
between, for zero dye that changes the photo by a hair, and for a fast version that computes something else."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.film import (
    LOG2_10,
    DiffuseFilm,
    Film,
    Lamp,
    Light,
    MetalBase,
    PathCurve,
    SolidBase,
    body_reflectance,
    diffuse_film,
    lamp_at,
    metal_film,
)
from layerpreview.film.curves import fit_points, with_denominator

# Between the points of the fit: evenly spread, and crowded where next to no dye is.
A = np.sort(np.concatenate([np.linspace(0.0, 3.6, 173), np.geomspace(1.3e-5, 0.4, 57)]))
SHARE_OF_THE_BASE = 8e-4
L_STAR = 0.2


def _lightness(y: np.ndarray) -> np.ndarray:
    """L* (CIE 15)."""
    return np.where(y > (6 / 29) ** 3, 116.0 * np.cbrt(np.maximum(y, 0.0)) - 16.0, 903.3 * y)


def _check(curve: PathCurve, ours: np.ndarray, exact: np.ndarray) -> None:
    """The stated error holds between the points of the fit too, and no step of lightness could be seen."""
    assert curve.error < SHARE_OF_THE_BASE
    assert np.abs(ours - exact).max() < 1.1 * curve.error + 1e-6
    assert np.abs(_lightness(ours) - _lightness(exact)).max() < L_STAR


@pytest.mark.parametrize("flake_spread", [0.05, 0.12, 0.3, 0.5])
@pytest.mark.parametrize("view_deg", [0.0, 33.0, 60.0, 85.0])
def test_metal_curve_is_the_solver(flake_spread: float, view_deg: float) -> None:
    base = MetalBase(flake_spread=flake_spread)
    tau = metal_film(base, view_deg=view_deg).tau
    exact = body_reflectance(A, base, view_deg=view_deg) / body_reflectance(0.0, base, view_deg=view_deg)
    _check(tau, tau(A), exact)


@pytest.mark.slow
@pytest.mark.parametrize("flake_spread", [0.05, 0.1, 0.3, 0.5])
@pytest.mark.parametrize("view_deg", [-30.0, 0.0, 30.0, 65.0])
def test_metal_curve_under_a_lamp(flake_spread: float, view_deg: float) -> None:
    """Where next to nothing comes back (narrow spread, far from the mirror direction) the curve is only a stand-in, and
    is wrong by less than a step of an 8-bit picture's darkest codes (3e-4 of white)."""
    base = MetalBase(flake_spread=flake_spread)
    tau = metal_film(base, lamp_at(45.0), view_deg=view_deg).tau
    body = body_reflectance(A, base, view_deg=view_deg, lamp_deg=45.0)
    assert tau(0.0) == pytest.approx(1.0, abs=1e-12)
    assert np.all(np.isfinite(tau(A)))
    assert np.abs(tau(A) * body[0] - body).max() < (2e-3 * body[0] if body[0] > 1e-3 else 3e-4)


@pytest.mark.parametrize("lamp_deg", [None, 45.0, 15.0])
@pytest.mark.parametrize("view_deg", [0.0, 60.0])
@pytest.mark.parametrize("albedo", [0.1, 0.55, 0.93])
def test_diffuse_curves_are_the_solver(lamp_deg: float | None, view_deg: float, albedo: float) -> None:
    film = diffuse_film(lamp_at(lamp_deg), view_deg=view_deg)
    exact = body_reflectance(A, SolidBase(albedo=albedo), view_deg=view_deg, lamp_deg=lamp_deg)
    ours = film.reflectance(A, exact[0])
    assert max(film.c.error, film.k.error) < SHARE_OF_THE_BASE
    assert np.abs(ours - exact).max() < SHARE_OF_THE_BASE
    assert np.abs(_lightness(ours) - _lightness(exact)).max() < L_STAR
    assert film.albedo(exact[0]) == pytest.approx(albedo, abs=1e-5)


def test_no_dye_is_the_photo_to_the_last_digits() -> None:
    photo = np.array([0.0, 0.013, 0.4, 0.88, 1.1])
    for film in (metal_film(MetalBase(flake_spread=0.3)), diffuse_film()):
        assert film.reflectance(np.zeros(5), photo) == pytest.approx(photo, abs=1e-12)


@pytest.mark.parametrize(
    "film",
    [metal_film(MetalBase(flake_spread=0.05)), metal_film(MetalBase(flake_spread=0.5)), diffuse_film()],
    ids=["mirror-like", "coarse", "diffuse"],
)
def test_more_dye_is_never_brighter(film: Film) -> None:
    shown = film.reflectance(np.linspace(0.0, 8.0, 3001), np.array(0.7))
    assert np.diff(shown).max() <= 0.0
    assert shown.min() >= 0.0
    assert shown[-1] < 1e-6


@pytest.mark.parametrize("film", [metal_film(MetalBase(flake_spread=0.3)), diffuse_film()], ids=["metal", "diffuse"])
def test_fast_fill_is_the_slow_formula(film: Film) -> None:
    for curve in (film.c, film.k) if isinstance(film, DiffuseFilm) else (film.tau,):
        a2 = (LOG2_10 * A).astype(np.float32)
        out, scratch = np.empty_like(a2), np.empty_like(a2)
        curve.fill(a2, out, scratch)
        assert out * curve.start == pytest.approx(curve(A), abs=3e-6)


def test_the_formula_by_hand() -> None:
    """A = 2/log2(10) is a = 2: D = 2 (1.1 + 0.2 x 2 + 0.3 x 4) / (1 + 0.5 x 2 + 0.7 x 4) = 5.4 / 4.8."""
    curve = PathCurve(0.8, (1.1, 0.2, 0.3), (0.5, 0.7), 0.0)
    assert float(curve(np.array(2.0 / LOG2_10))) == pytest.approx(0.8 * 2.0 ** -(5.4 / 4.8))


# Effective density over single-pass absorbance for A = 0.1 over metal, n = 1.5 (spread: ratio), by path tracing:
# tests/reference/film_truth.csv, base_scale 1, view 0: log10(0.84721 / 0.52725) / 0.1 = 2.06 and so on.
STRONGER = {0.05: 2.06, 0.3: 2.65, 0.5: 3.8}


@pytest.mark.parametrize("flake_spread", STRONGER)
def test_a_pale_coat_is_stronger_on_coarse_flake(flake_spread: float) -> None:
    tau = metal_film(MetalBase(flake_spread=flake_spread)).tau
    assert -np.log10(tau(np.array(0.1))) / 0.1 == pytest.approx(STRONGER[flake_spread], rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize(("view_deg", "lamp_deg"), [(65.0, 45.0), (30.0, 70.0)])
def test_far_from_a_sharp_lobe_light_goes_straight_in_and_out(view_deg: float, lamp_deg: float) -> None:
    """Snell by hand, n = 1.5: sin 65/1.5 is 37.17 deg, sin 45/1.5 28.13, sin 30/1.5 19.47, sin 70/1.5 38.79; the way in
    and the way out are 1/cos of these, and Beer's law does the rest."""
    film = metal_film(MetalBase(flake_spread=0.05), lamp_at(lamp_deg), view_deg=view_deg)
    assert film.bare < 1e-3
    assert film.tau.error == 0.0
    inside_deg = {65.0: 37.174, 45.0: 28.126, 30.0: 19.471, 70.0: 38.793}
    ways = sum(1.0 / np.cos(np.radians(inside_deg[angle])) for angle in (view_deg, lamp_deg))
    for absorbance10 in (0.07, 0.6):
        assert float(film.tau(np.array(absorbance10))) == pytest.approx(10.0 ** (-absorbance10 * ways), rel=1e-4)


def test_far_from_a_sharp_lobe_the_bare_base_is_the_solvers() -> None:
    base = MetalBase(flake_spread=0.12)
    exact = float(body_reflectance(0.0, base, view_deg=30.0, lamp_deg=45.0))
    assert 1e-4 < exact < 1e-3
    assert metal_film(base, lamp_at(45.0), view_deg=30.0).bare == pytest.approx(exact, rel=3e-4)


def test_of_several_lamps_the_strongest_decides_the_straight_way() -> None:
    """Both far from the lobe; the way in of a lamp at 70 degrees is 1/cos 38.793, the way out 1/cos 19.471."""
    lamps = (Lamp(60.0, 0.0, 0.0, 0.4), Lamp(70.0, 30.0, 0.0, 0.6))
    film = metal_film(MetalBase(flake_spread=0.05), Light(0.0, lamps), view_deg=30.0)
    ways = 1.0 / np.cos(np.radians(38.793)) + 1.0 / np.cos(np.radians(19.471))
    assert float(film.tau(np.array(0.3))) == pytest.approx(10.0 ** (-0.3 * ways), rel=1e-4)


def test_a_base_as_good_as_black_takes_the_straight_way() -> None:
    """Under a thousandth of white; even light straight on goes in and out once, and nothing is fitted to it."""
    black, dark = (metal_film(MetalBase(flake_spread=0.3, scale=scale)) for scale in (0.0014, 0.00175))
    assert (black.bare, dark.bare) == pytest.approx((0.00089, 0.00111), abs=0.00002)
    assert black.tau.error == 0.0
    assert float(black.tau(np.array(0.4))) == pytest.approx(10.0**-0.8)
    assert 0.0 < dark.tau.error < SHARE_OF_THE_BASE
    assert float(dark.tau(np.array(0.4))) < 0.95 * 10.0**-0.8


def test_the_fits_points_leave_no_wide_gap_up_to_the_end() -> None:
    """From none to a = 12, as the curve's stated error is for: steps of a factor 1.46 at first, of 0.7 at last."""
    points = fit_points()
    assert (points[0], points[1], points[-1]) == (0.0, pytest.approx(1e-3), pytest.approx(12.0))
    assert np.diff(points).max() < 0.692
    assert (points[2:] / points[1:-1]).max() < 1.457


def test_a_curve_with_a_given_denominator_finds_its_numerator() -> None:
    a = fit_points()
    made = PathCurve(0.37, (1.9, 0.8, 0.45), (0.6, 0.25), 0.0)
    found = with_denominator(a, made(a / LOG2_10), (0.6, 0.25))
    assert found.numerator == pytest.approx(made.numerator, rel=1e-6)
    assert (found.start, found.denominator) == (pytest.approx(0.37), (0.6, 0.25))
    assert found.error < 1e-9


def test_a_denominator_that_does_not_fit_says_how_far_it_is_off() -> None:
    """The stated error is the largest of them all, as a share of start; the shadows do not lead the fit astray."""
    a = fit_points()
    made = PathCurve(0.37, (9.0, 4.0, 2.0), (3.0, 1.5), 0.0)(a / LOG2_10)
    found = with_denominator(a, made, (0.6, 0.25))
    off = np.abs(found(a / LOG2_10) - made) / 0.37
    assert found.error == pytest.approx(float(off.max()))
    assert 0.05 < found.error < 0.055
    assert np.abs(_lightness(found(a / LOG2_10)) - _lightness(made)).max() < 2.4


def test_diffuse_light_from_all_sides_is_the_sum_of_its_parts() -> None:
    """Over a white that throws nothing back light adds up: the even part, and each lamp by its own angle."""
    lamps = (Lamp(20.0, 0.0, 0.0, 0.5), Lamp(65.0, 90.0, 0.0, 0.2))
    both = diffuse_film(Light(0.3, lamps), view_deg=40.0).c
    parts = [(0.3, None), (0.5, 20.0), (0.2, 65.0)]
    summed = sum(share * diffuse_film(lamp_at(angle), view_deg=40.0).c(A) for share, angle in parts)
    assert both(A) == pytest.approx(summed, abs=2e-4)
