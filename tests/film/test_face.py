"""The clear's face against the path tracer's own (tests/reference/README.md): exists for a lobe that is too wide, a
shadow or a Fresnel term left out, and an azimuth counted from the wrong side."""

from __future__ import annotations

import csv
from collections import defaultdict

import numpy as np
import pytest

from layerpreview.film import fresnel_reflectance
from layerpreview.film.face import face_lobe
from tests.film.test_truth import REFERENCE

Row = tuple[float, float, float]


def _face() -> tuple[dict[tuple[float, float], list[Row]], dict[tuple[float, float], float]]:
    """By roughness and incidence: (exit, azimuth, radiance) of each row, and the flux."""
    radiance: dict[tuple[float, float], list[Row]] = defaultdict(list)
    flux = {}
    with (REFERENCE / "clear_face.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            case = float(row["roughness_alpha"]), float(row["incidence_deg"])
            if row["quantity"] == "flux":
                flux[case] = float(row["value"])
            else:
                radiance[case].append((float(row["exit_deg"]), float(row["azimuth_deg"]), float(row["value"])))
    return radiance, flux


RADIANCE, FLUX = _face()


def _between(incidence_deg: float, exit_deg: np.ndarray, azimuth_deg: np.ndarray) -> np.ndarray:
    """Cosine between the two directions, as vectors; azimuth 0 is back towards the light."""
    a = np.radians(incidence_deg)
    b, turn = np.broadcast_arrays(np.radians(exit_deg), np.radians(azimuth_deg))
    towards = np.stack([np.sin(b) * np.cos(turn), np.sin(b) * np.sin(turn), np.cos(b)])
    return np.einsum("k,k...->...", np.array([np.sin(a), 0.0, np.cos(a)]), towards)


def _lobe(case: tuple[float, float], exit_deg: np.ndarray, azimuth_deg: np.ndarray) -> np.ndarray:
    roughness, incidence = case
    cosines = np.cos(np.radians(incidence)), np.cos(np.radians(exit_deg))
    return face_lobe(*cosines, _between(incidence, exit_deg, azimuth_deg), roughness=roughness, index=1.5)


def test_the_table_is_whole() -> None:
    assert sum(map(len, RADIANCE.values())) == 552
    assert len(FLUX) == 12


@pytest.mark.parametrize("case", RADIANCE, ids=str)
def test_radiance(case: tuple[float, float]) -> None:
    """Within 10 % of the peak is asked for; both are the same law, so that a thousandth of each value is kept."""
    exit_deg, azimuth_deg, truth = np.array(RADIANCE[case]).T
    off = np.abs(_lobe(case, exit_deg, azimuth_deg) - truth)
    assert off.max() <= 0.1 * truth.max()
    assert np.all(off <= 1e-3 * truth + 1e-6 * truth.max())


@pytest.mark.parametrize("case", FLUX, ids=str)
def test_flux(case: tuple[float, float]) -> None:
    """Within 5 % is asked for; a smooth face's is Fresnel's."""
    roughness, incidence = case
    if roughness == 0.0:
        ours = float(fresnel_reflectance(np.cos(np.radians(incidence)), index_from=1.0, index_to=1.5))
    else:
        x, w = np.polynomial.legendre.leggauss(400)
        mu, azimuth = 0.5 * (x + 1.0), np.arange(0.5, 720.0) / 2.0
        lobe = _lobe(case, np.degrees(np.arccos(mu))[:, None], azimuth[None, :])
        ours = float((0.5 * w * mu) @ lobe.mean(axis=1) * 2.0 * np.pi)
    assert ours == pytest.approx(FLUX[case], rel=0.05)
    assert ours == pytest.approx(FLUX[case], rel=2e-3)


def test_light_goes_both_ways() -> None:
    one, other = np.array(0.35), np.array(0.8)
    there = face_lobe(one, other, 0.1, roughness=0.15, index=1.4)
    assert there == pytest.approx(face_lobe(other, one, 0.1, roughness=0.15, index=1.4), rel=1e-12)


def test_a_denser_film_mirrors_more_by_fresnel() -> None:
    """Straight on ((n - 1) / (n + 1))^2: 0.0278 at 1.4, 0.0533 at 1.6."""
    thin, dense = (float(face_lobe(1.0, 1.0, 1.0, roughness=0.15, index=n)) for n in (1.4, 1.6))
    assert dense / thin == pytest.approx((0.6 / 2.6) ** 2 / (0.4 / 2.4) ** 2, rel=1e-9)


@pytest.mark.parametrize("roughness", [0.0, -0.1, 1.01, float("nan")])
def test_a_roughness_that_cannot_be(roughness: float) -> None:
    with pytest.raises(ValueError, match="roughness is"):
        face_lobe(1.0, 1.0, 1.0, roughness=roughness)


def test_the_ends_of_the_range_are_fine() -> None:
    assert float(face_lobe(1.0, 1.0, 1.0, roughness=1.0)) == pytest.approx(0.04 / (4.0 * np.pi), rel=1e-9)
