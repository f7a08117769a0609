"""The mistakes these tests exist for: the correction taken the wrong way round or left out, the two lights swapped."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, metamerism_de00, white_xyz, xyz_to_lab, xyz_weights

SPECTRUM = 0.45 + 0.2 * np.tanh((WAVELENGTHS_NM - 560.0) / 40.0)
OTHER = SPECTRUM + 0.08 * np.sin(WAVELENGTHS_NM / 18.0)


def test_as_the_cie_writes_it(colour_science: ModuleType) -> None:
    """Step by step with another package's observer, lights, L*a*b* and CIEDE2000 (colour-science, from CIE tables)."""

    def xyz(spectrum: NDArray[np.float64], light: str) -> NDArray[np.float64]:
        shape = colour_science.SpectralShape(380, 780, 5)
        cmfs = colour_science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
        spd = colour_science.SDS_ILLUMINANTS[light].copy().align(shape)
        weight = spd.values[:, None] * cmfs.values
        return np.asarray(spectrum @ weight / weight[:, 1].sum())

    def lab(values: NDArray[np.float64]) -> NDArray[np.float64]:
        white = xyz(np.ones(81), "A")
        xy = white[:2] / white.sum()
        return np.asarray(colour_science.XYZ_to_Lab(values, xy))

    corrected = xyz(OTHER, "A") * xyz(SPECTRUM, "D65") / xyz(OTHER, "D65")
    wanted = colour_science.delta_E(lab(xyz(SPECTRUM, "A")), lab(corrected), method="CIE 2000")
    assert float(metamerism_de00(SPECTRUM, OTHER, light="D65", other="A")) == pytest.approx(float(wanted), abs=2e-3)


def test_no_index_without_a_metamer() -> None:
    """Of one spectrum as much of it as one likes: all that differs is taken off; under the light itself as well."""
    assert metamerism_de00(SPECTRUM, 0.7 * SPECTRUM, light="D65", other="A") == pytest.approx(0.0, abs=1e-9)
    assert metamerism_de00(SPECTRUM, OTHER, light="A", other="A") == pytest.approx(0.0, abs=1e-9)


def test_of_a_pair_that_matches_it_is_the_difference() -> None:
    """Where nothing differs under the first light the correction is none, and what is seen under the other is told."""
    rng = np.random.default_rng(4)
    weights = xyz_weights("D65")
    noise = 0.05 * rng.standard_normal(81)
    unseen = noise - np.linalg.pinv(weights) @ (weights @ noise)  # no X, Y or Z of its own under D65
    pair = SPECTRUM + unseen
    other = xyz_weights("A")
    seen = [xyz_to_lab(other @ each, white_xyz=white_xyz("A")) for each in (SPECTRUM, pair)]
    wanted = float(delta_e_2000(seen[0], seen[1]))
    assert wanted > 0.3
    assert float(metamerism_de00(SPECTRUM, pair, light="D65", other="A")) == pytest.approx(wanted, rel=1e-6)


def test_black_is_black_under_every_light() -> None:
    grey = np.full(81, 0.3)
    for one, other in ((grey, 0.0 * grey), (0.0 * grey, grey), (0.0 * grey, 0.0 * grey)):
        assert np.isfinite(metamerism_de00(one, other, light="D65", other="A"))
    assert metamerism_de00(0.0 * grey, 0.0 * grey, light="D65", other="A") == 0.0
