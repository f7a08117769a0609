"""A wanted colour over a base that is dark itself: exists for a depth that is taken twice, a hue that turns with the
base's darkness, and a clear's veil that is dyed."""

from __future__ import annotations

from types import ModuleType

import numpy as np
import pytest

from layerpreview.answers.readings import readings_of, same_film
from layerpreview.colour import rgb_basis, spectrum_to_lab
from layerpreview.film import diffuse_film
from layerpreview.finish.patches import Patches, per_mg_m2

WANTED = np.array([58.0, 21.0, 47.0])


@pytest.mark.parametrize("share", [0.84, 0.31, 0.17])
def test_over_an_even_grey_hue_and_depth_stay(share: float) -> None:
    """X, Y, Z times one share: L* + 16, a*, b* times its cube root (CIE 015:2018, above the straight line)."""
    (lab,) = same_film(WANTED, np.full(81, share))
    root = share ** (1.0 / 3.0)
    assert lab == pytest.approx([74.0 * root - 16.0, 21.0 * root, 47.0 * root], abs=0.05)
    assert np.hypot(*lab[1:]) / (lab[0] + 16.0) == pytest.approx(np.hypot(21.0, 47.0) / 74.0, abs=1e-3)


def test_saturation_is_that_of_the_wanted_colour(colour_science: ModuleType) -> None:
    """The chromaticity x, y, as another program has it, does not change with the base's darkness."""
    over = [same_film(WANTED, np.full(81, share))[0] for share in (1.0, 0.23)]
    white = colour_science.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    xy = [colour_science.XYZ_to_xy(colour_science.Lab_to_XYZ(lab, white)) for lab in over]
    assert xy[0] == pytest.approx(xy[1], abs=2e-4)
    assert over[0] == pytest.approx(WANTED, abs=0.05)


def test_a_colour_of_the_base_is_its_own() -> None:
    """Through white nothing but the base is seen, a golden one; and a grey film takes the same share of everything."""
    golden = np.array([0.62, 0.44, 0.21]) @ rgb_basis()
    bare = spectrum_to_lab(golden, light="D65")
    assert same_film(np.array([100.0, 0.0, 0.0]), golden)[0] == pytest.approx(bare, abs=0.1)
    grey = same_film(np.array([60.0, 0.0, 0.0]), golden)[0]
    assert np.degrees(np.arctan2(grey[2], grey[1])) == pytest.approx(np.degrees(np.arctan2(bare[2], bare[1])), abs=0.1)


def test_the_veil_of_a_matt_clear_is_not_dyed() -> None:
    """A film that lets nothing through leaves the veil, as white as it was."""
    (lab,) = same_film(np.array([0.0, 0.0, 0.0]), np.full(81, 0.4), veil=0.02)
    assert lab == pytest.approx([116.0 * 0.02 ** (1.0 / 3.0) - 16.0, 0.0, 0.0], abs=0.05)


def test_both_are_told_and_one_is_looked_for() -> None:
    patches = Patches(diffuse_film(), np.full(81, 0.3), per_mg_m2([]), ("D65", "A"))
    read = {chosen: readings_of(patches, np.stack([WANTED, WANTED + 2.0]), chosen=chosen) for chosen in ("mean", "hue")}
    assert read["mean"].aimed == pytest.approx(np.stack([WANTED, WANTED + 2.0]))
    assert read["hue"].aimed == pytest.approx(read["mean"].hue)
    assert read["hue"].aimed.shape == read["hue"].bare.shape == (2, 3)
    assert read["hue"].bare[0] == pytest.approx(patches.lab(np.zeros((1, 0)))[0, 0])
