"""The mistakes these tests exist for: a shipped table that drifts from its source, a column in the wrong place, a light
made finer than its 5 nm (which moves the white of fluorescent and LED lights), a table somebody changes in passing."""

from __future__ import annotations

import runpy
from importlib.resources import files
from types import ModuleType

import numpy as np
import pytest

from layerpreview.colour import (
    LIGHT_NAMES,
    OBSERVERS_DEG,
    WAVELENGTHS_NM,
    display_matrix,
    light_spd,
    observer_cmf,
    rgb_basis,
)
from layerpreview.errors import InputError

DATA = files("layerpreview") / "data"
CMF_NAMES = {2: "CIE 1931 2 Degree Standard Observer", 10: "CIE 1964 10 Degree Standard Observer"}


def test_grid_is_380_to_780_every_5() -> None:
    assert WAVELENGTHS_NM.shape == (81,)
    assert WAVELENGTHS_NM[[0, 1, 80]].tolist() == [380.0, 385.0, 780.0]


@pytest.mark.parametrize("observer_deg", OBSERVERS_DEG)
def test_observers_are_those_of_colour_science(colour_science: ModuleType, observer_deg: int) -> None:
    table = colour_science.MSDS_CMFS[CMF_NAMES[observer_deg]]
    on_grid = np.isin(table.wavelengths, WAVELENGTHS_NM)
    np.testing.assert_array_equal(observer_cmf(observer_deg), table.values[on_grid])


@pytest.mark.parametrize("light", LIGHT_NAMES)
def test_lights_are_those_of_colour_science(colour_science: ModuleType, light: str) -> None:
    table = colour_science.SDS_ILLUMINANTS[light]
    on_grid = np.isin(table.wavelengths, WAVELENGTHS_NM)
    np.testing.assert_array_equal(light_spd(light), table.values[on_grid])


@pytest.mark.parametrize("light", ["FL2", "FL7", "FL11", "LED-B1", "LED-B3", "LED-B5"])
def test_spiky_lights_are_native_at_5_nm(colour_science: ModuleType, light: str) -> None:
    """Picked, not interpolated: the source itself has no finer values."""
    assert colour_science.SDS_ILLUMINANTS[light].shape.interval == 5


@pytest.mark.parametrize(
    ("name", "columns"),
    [
        ("observers.csv", ["x_2deg", "y_2deg", "z_2deg", "x_10deg", "y_10deg", "z_10deg"]),
        ("lights.csv", list(LIGHT_NAMES)),
        ("rgb_basis.csv", ["red", "green", "blue"]),
    ],
)
def test_files_name_their_columns_in_the_order_they_are_read(name: str, columns: list[str]) -> None:
    lines = (DATA / name).read_text(encoding="ascii").splitlines()
    assert lines[0].split(",") == ["wavelength_nm", *columns]
    assert [float(line.split(",")[0]) for line in lines[1:]] == WAVELENGTHS_NM.tolist()


def test_photo_spectra_sum_to_one_and_stay_reflectances() -> None:
    basis = rgb_basis()
    np.testing.assert_allclose(basis.sum(axis=0), 1.0, atol=1e-12)
    assert basis.min() >= 0.0
    assert basis.max() <= 1.0


def test_photo_spectra_give_the_photo_back() -> None:
    """Zero dye must give the photo back: red, green and blue to 1e-6 asked for, 1e-12 had."""
    np.testing.assert_allclose(rgb_basis() @ display_matrix("D65").T, np.eye(3), atol=1e-12)


def test_photo_spectra_are_the_published_ones_but_for_a_trace(colour_science: ModuleType) -> None:
    """Mallett & Yuksel 2019, as in colour-science; unchanged they miss by 2.9e-5."""
    published = colour_science.recovery.MSDS_BASIS_FUNCTIONS_sRGB_MALLETT2019
    on_grid = np.isin(published.wavelengths, WAVELENGTHS_NM)
    assert np.abs(rgb_basis() - published.values[on_grid].T).max() < 4e-5


def test_the_script_still_makes_the_shipped_photo_spectra(colour_science: ModuleType) -> None:
    script = runpy.run_path(str(DATA / "make_tables.py"))
    published = colour_science.recovery.MSDS_BASIS_FUNCTIONS_sRGB_MALLETT2019
    basis = script["on_grid"](published.values, published.wavelengths).T
    matrix = script["display_matrix"](observer_cmf(2), light_spd("D65"))
    # The script writes the display's matrix out by itself: an independent copy of the package's.
    np.testing.assert_allclose(matrix, display_matrix("D65"), atol=1e-14)
    np.testing.assert_allclose(script["nearest_exact_basis"](basis, matrix), rgb_basis(), atol=1e-12)


def test_tables_cannot_be_changed_in_passing() -> None:
    for table in (WAVELENGTHS_NM, observer_cmf(10), light_spd("FL2"), rgb_basis(), display_matrix("A")):
        with pytest.raises(ValueError, match="read-only"):
            table[0] = 1.0


def test_unknown_names_are_told_in_one_line() -> None:
    with pytest.raises(InputError, match=r"^light = 'D99': no such light; use one of A, C, D50"):
        light_spd("D99")
    with pytest.raises(InputError, match=r"^observer = 5: only the 2 deg and 10 deg observers are known$"):
        observer_cmf(5)
