"""The even space: exists for a turn or a constant that is wrong, and for greys, which have no hue."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from layerpreview.colour import delta_e_2000, lab_to_din99b


def test_as_another_implementation(colour_science: ModuleType, rng: np.random.Generator) -> None:
    """Lab_to_DIN99 of colour-science, method DIN99b."""
    lab = rng.uniform([0.0, -90.0, -90.0], [110.0, 90.0, 90.0], (500, 3))
    theirs = colour_science.models.Lab_to_DIN99(lab, method="DIN99b")
    assert lab_to_din99b(lab) == pytest.approx(theirs, abs=1e-9)
    assert lab_to_din99b(np.array([50.0, 0.0, 0.0]))[1:] == pytest.approx(0.0)


def test_distances_follow_ciede2000(rng: np.random.Generator) -> None:
    lab = rng.uniform([20.0, -60.0, -60.0], [90.0, 60.0, 60.0], (2000, 3))
    other = lab + rng.normal(0.0, 1.0, lab.shape)
    share = np.linalg.norm(lab_to_din99b(lab) - lab_to_din99b(other), axis=1) / delta_e_2000(lab, other)
    plain = np.linalg.norm(lab - other, axis=1) / delta_e_2000(lab, other)
    assert np.std(share) / np.mean(share) < 0.5 * np.std(plain) / np.mean(plain)
