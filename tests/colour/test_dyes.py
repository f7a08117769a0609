"""The mistakes these tests exist for: a spectrum stretched or shifted on its way to the grid, a library dye that is
negative, jagged, off the strength of real dyes, or does not look like its name."""

from __future__ import annotations

import runpy
import tomllib
from importlib.resources import files

import numpy as np
import pytest
from numpy.typing import NDArray

from layerpreview.colour import (
    WAVELENGTHS_NM,
    display_matrix,
    resample_to_grid,
    white_xyz,
    xyz_to_lab,
    xyz_weights,
)
from layerpreview.errors import InputError

DYES = files("layerpreview") / "data" / "dyes"
NAMES = [
    "amber",
    "black",
    "blue",
    "brown",
    "cherry",
    "green",
    "magenta",
    "orange",
    "red",
    "turquoise",
    "violet",
    "yellow",
]


def spectrum(name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    table = tomllib.loads((DYES / f"{name}.dye.toml").read_text(encoding="utf-8"))
    wavelength_nm, absorptivity = np.array(table["absorptivity_L_per_g_cm"]).T
    return wavelength_nm, absorptivity


def over_silver(name: str, peak_absorbance10: float) -> NDArray[np.float64]:
    """Reflectance spectrum over a flat silver, in the simplest model: density 2.1 times the single pass."""
    shape = resample_to_grid(*spectrum(name))
    reflectance: NDArray[np.float64] = 0.75 * 10 ** (-2.1 * peak_absorbance10 * shape / shape.max())
    return reflectance


def lab_over_silver(name: str, peak_absorbance10: float) -> NDArray[np.float64]:
    xyz = over_silver(name, peak_absorbance10) @ xyz_weights("C").T
    return xyz_to_lab(xyz, white_xyz=white_xyz("C"))


def hue_deg(lab: NDArray[np.float64]) -> float:
    return float(np.degrees(np.arctan2(lab[2], lab[1])) % 360)


def test_the_library_is_these_twelve() -> None:
    assert sorted(entry.name for entry in DYES.iterdir()) == [f"{name}.dye.toml" for name in NAMES]


@pytest.mark.parametrize("name", NAMES)
def test_the_script_still_makes_the_shipped_dye(name: str) -> None:
    script = runpy.run_path(str(files("layerpreview") / "data" / "make_dyes.py"))
    assert (DYES / f"{name}.dye.toml").read_bytes() == script["dye_file"](name).encode("ascii")


@pytest.mark.parametrize("name", NAMES)
def test_dye_file_has_its_fields(name: str) -> None:
    table = tomllib.loads((DYES / f"{name}.dye.toml").read_text(encoding="utf-8"))
    assert list(table) == [
        "layerpreview_dye",
        "name",
        "kind",
        "provenance",
        "concentrate",
        "absorptivity_L_per_g_cm",
    ]
    assert (table["layerpreview_dye"], table["name"], table["kind"]) == (1, name, "generic")
    assert "assumed, not measured" in table["provenance"]


@pytest.mark.parametrize("name", NAMES)
def test_dye_spectrum_is_smooth_and_of_believable_strength(name: str) -> None:
    """Peak 30 to 90 L/(g cm): assumed for metal-complex dyes for solvents, the careful end of the 50 to 200 of pure
    strong dyes (Regulation (EU) 231/2012, from memory)."""
    wavelength_nm, absorptivity = spectrum(name)
    assert wavelength_nm.tolist() == list(range(380, 781, 10))
    assert absorptivity.min() >= 0.0
    assert 30.0 <= absorptivity.max() <= 90.0
    np.testing.assert_array_equal(absorptivity, absorptivity.round(2))
    # No jags: the bend from one 10 nm step to the next is a small part of the peak.
    assert np.abs(np.diff(absorptivity, 2)).max() < 0.15 * absorptivity.max()


@pytest.mark.parametrize("name", NAMES)
def test_shop_strengths_give_workable_coats(name: str) -> None:
    """5 mL/L in 2 coats to 30 mL/L in 4 coats of 40 um wet (common practice, no source): 0.1 to 1.5 at the peak.
    A = 0.1 a m, m [g/m2] = c [g/L] * film [um] / 1000."""
    table = tomllib.loads((DYES / f"{name}.dye.toml").read_text(encoding="utf-8"))
    grams_per_litre = float(table["concentrate"].removesuffix(" g/L"))
    peak = spectrum(name)[1].max()
    weakest = 0.1 * peak * (0.005 * grams_per_litre) * (2 * 40) / 1000
    strongest = 0.1 * peak * (0.030 * grams_per_litre) * (4 * 40) / 1000
    assert 0.08 <= weakest <= 0.2
    assert 1.0 <= strongest <= 1.6


# Hue angle (C, 2 deg) over silver at a middling load (peak single-pass absorbance 0.6): common colour names, no source.
HUES_DEG = {
    "yellow": (90, 110),
    "amber": (75, 95),
    "orange": (60, 82),
    "red": (15, 45),
    "cherry": (0, 20),
    "magenta": (325, 355),
    "violet": (295, 320),
    "blue": (250, 285),
    "turquoise": (195, 225),
    "green": (135, 165),
    "brown": (50, 75),
}


@pytest.mark.parametrize("name", HUES_DEG)
def test_dyes_look_like_their_names(name: str) -> None:
    low, high = HUES_DEG[name]
    lab = lab_over_silver(name, 0.6)
    assert low <= hue_deg(lab) <= high
    assert np.hypot(lab[1], lab[2]) > 30


def test_black_is_black() -> None:
    for load in (0.1, 0.3, 0.6, 1.2):
        lab = lab_over_silver("black", load)
        assert np.hypot(lab[1], lab[2]) < 4
    assert lab[0] < 8


def test_amber_turns_from_yellow_to_red_brown_and_its_chroma_turns_over() -> None:
    """The course of the 18 colours of ASTM D1544 table 1 (C, 2 deg): hue 116 to 46 deg, b* rising to about 93 and then
    falling. The trend only: those liquids are not one liquid diluted."""
    ladder = np.array([lab_over_silver("amber", load) for load in (0.1, 0.3, 0.6, 1.0, 1.4, 2.0, 3.0, 4.5)])
    hues = [hue_deg(lab) for lab in ladder]
    assert np.all(np.diff(hues) < 0)
    assert hues[0] > 95
    assert hues[-1] < 55
    assert np.all(np.diff(ladder[:, 0]) < 0)
    best = int(np.argmax(ladder[:, 2]))
    assert 80 < ladder[best, 2] < 100
    assert 2 < best < 6
    assert ladder[-1, 2] < 0.75 * ladder[best, 2]


@pytest.mark.parametrize("name", NAMES)
def test_more_dye_is_never_brighter(name: str) -> None:
    luminance = [float(over_silver(name, load) @ xyz_weights("D65")[1]) for load in np.linspace(0, 3, 13)]
    assert np.all(np.diff(luminance) < 0)
    np.testing.assert_allclose(over_silver(name, 0.0) @ display_matrix("D65").T, 0.75, atol=1e-12)


def test_resampling_goes_in_straight_lines_and_holds_the_ends() -> None:
    wavelength_nm, values = [403.0, 500.0, 611.0], [7.0, 2.0, 13.0]
    grid = resample_to_grid(wavelength_nm, values)
    assert grid.shape == (81,)
    assert set(grid[WAVELENGTHS_NM < 403]) == {7.0}
    assert set(grid[WAVELENGTHS_NM > 611]) == {13.0}
    assert grid[WAVELENGTHS_NM == 500].item() == 2.0
    expected = 2.0 + 11.0 * (570 - 500) / (611 - 500)
    assert grid[WAVELENGTHS_NM == 570].item() == pytest.approx(expected, rel=1e-14)


def test_resampling_the_grid_changes_nothing(rng: np.random.Generator) -> None:
    values = rng.uniform(0, 80, 81)
    np.testing.assert_array_equal(resample_to_grid(WAVELENGTHS_NM, values), values)
    assert set(resample_to_grid([550], [3.5])) == {3.5}


@pytest.mark.parametrize(
    ("wavelength_nm", "values", "rule"),
    [
        ([], [], "one value for each wavelength"),
        ([400, 500], [1.0], "one value for each wavelength"),
        ([[400, 500]], [[1.0, 2.0]], "one value for each wavelength"),
        ([500, 400], [1.0, 2.0], "increasing wavelengths"),
        ([400, 400], [1.0, 2.0], "increasing wavelengths"),
        ([400, 500], [1.0, float("nan")], "plain numbers"),
        ([400, float("inf")], [1.0, 2.0], "plain numbers"),
    ],
)
def test_bad_spectra_are_refused(wavelength_nm: list[float], values: list[float], rule: str) -> None:
    with pytest.raises(InputError, match=rule):
        resample_to_grid(wavelength_nm, values)
