"""Few wavelengths for many: exists for weights that go negative, colours that are right only where they were chosen,
a white that drifts, and a failure that is not said."""

from __future__ import annotations

import numpy as np
import pytest

from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, rgb_basis, xyz_to_lab, xyz_weights
from layerpreview.film import MetalBase, SpectralNodes, choose_nodes, metal_film

BASIS = rgb_basis()


def _spectra(seed: int, count: int = 200) -> np.ndarray:
    """Metal under up to three dyes of our own making: bell curves of different place, width and strength."""
    rng = np.random.default_rng(seed)
    dyes = np.stack(
        [
            strength * np.exp(-(((WAVELENGTHS_NM - peak_nm) / width_nm) ** 2))
            for peak_nm, width_nm, strength in ((440.0, 50.0, 0.9), (530.0, 45.0, 0.7), (610.0, 60.0, 1.1))
        ]
    )
    absorbance10 = rng.uniform(0.0, 1.3, (count, 3)) @ dyes
    bare = rng.uniform(0.05, 1.0, (count, 1)) * ((1.0 + rng.uniform(-0.1, 0.1, (count, 3))) @ BASIS)
    return metal_film(MetalBase(flake_spread=0.3)).reflectance(absorbance10, bare)


CHOOSE, CHECK, THIRD = (_spectra(seed) for seed in (11, 12, 13))


@pytest.mark.parametrize("light", ["D65", "A", "FL11", "LED-B3"])
def test_colours_come_out_as_from_the_full_sum(light: str) -> None:
    weights = xyz_weights(light)
    nodes = choose_nodes(CHOOSE, CHECK, xyz_weights=weights, exact=BASIS)
    assert nodes.within_limits
    assert 8 <= nodes.index.size <= 32
    assert np.all(nodes.weight > 0.0)
    assert np.all(np.diff(nodes.index) > 0)
    # A third set of samples, which neither chose nor checked.
    white = weights.sum(axis=1)
    full, few = THIRD @ weights.T, (THIRD[:, nodes.index] * nodes.weight) @ weights[:, nodes.index].T
    error = delta_e_2000(xyz_to_lab(full, white_xyz=white), xyz_to_lab(few, white_xyz=white))
    assert np.percentile(error, 99) < 0.15
    assert error.max() < 0.4
    assert nodes.max_delta_e < 0.3


def test_its_errors_are_those_of_the_samples_to_check_by() -> None:
    weights = xyz_weights("D65")
    nodes = choose_nodes(CHOOSE, CHECK, xyz_weights=weights, exact=BASIS)
    white = weights.sum(axis=1)
    full, few = CHECK @ weights.T, (CHECK[:, nodes.index] * nodes.weight) @ weights[:, nodes.index].T
    error = np.sort(delta_e_2000(xyz_to_lab(full, white_xyz=white), xyz_to_lab(few, white_xyz=white)))
    assert nodes.max_delta_e == pytest.approx(error[-1])
    # Of 200 samples the 99th percentile lies a hundredth of the way from the third to the second largest.
    assert nodes.p99_delta_e == pytest.approx(error[-3] + 0.01 * (error[-2] - error[-3]))


def test_the_bare_base_is_exact() -> None:
    weights = xyz_weights("D65", observer_deg=10)
    nodes = choose_nodes(CHOOSE, CHECK, xyz_weights=weights, exact=BASIS)
    few = (BASIS[:, nodes.index] * nodes.weight) @ weights[:, nodes.index].T
    assert few == pytest.approx(BASIS @ weights.T, abs=1e-9)


def test_a_failure_is_said() -> None:
    """Eleven wavelengths cannot hold spectra of pure noise: the best found comes back and says so."""
    rng = np.random.default_rng(4)
    noise = rng.uniform(0.0, 1.0, (150, WAVELENGTHS_NM.size))
    nodes = choose_nodes(noise[:100], noise[100:], xyz_weights=xyz_weights("D65"), exact=BASIS, most=11)
    assert not nodes.within_limits
    assert nodes.index.size <= 11
    assert nodes.p99_delta_e > 0.1
    assert np.all(nodes.weight >= 0.0)


def test_the_same_choice_every_time() -> None:
    first, second = (choose_nodes(CHOOSE, CHECK, xyz_weights=xyz_weights("D50"), exact=BASIS) for _ in range(2))
    assert np.array_equal(first.index, second.index)
    assert np.array_equal(first.weight, second.weight)


@pytest.mark.parametrize(("p99", "largest", "within"), [(0.1, 0.3, True), (0.11, 0.2, False), (0.05, 0.31, False)])
def test_both_limits_count(p99: float, largest: float, within: bool) -> None:
    """0.1 for 99 % and 0.3 at most: an eighth and three eighths of what is just seen (0.8)."""
    assert SpectralNodes(np.array([3]), np.array([81.0]), p99, largest).within_limits is within


def test_what_is_easy_takes_eight() -> None:
    """A base that only gets lighter and darker has one direction: three wavelengths would do, eight are the fewest."""
    grey = np.linspace(0.1, 0.9, 30)[:, None] * (np.array([0.5, 0.5, 0.5]) @ BASIS)
    nodes = choose_nodes(grey, grey, xyz_weights=xyz_weights("D65"), exact=grey[:1])
    assert nodes.index.size == 8
    assert nodes.max_delta_e < 1e-6


@pytest.mark.parametrize(("light", "enough"), [("LED-B3", 16), ("FL11", 18)])
def test_what_is_held_already_takes_no_further_wavelength(light: str, enough: int) -> None:
    """Exact directions are taken out of the others. The counts were measured here, no outside source: one more is time
    in every pixel."""
    assert choose_nodes(CHOOSE, CHECK, xyz_weights=xyz_weights(light), exact=BASIS).index.size <= enough
