"""What the patches of a 24-patch chart reflect, as published: open data, by way of colour-science."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, WAVELENGTHS_NM, XYZ_TO_RGB_LIN, adapted_xyz_weights, bradford
from layerpreview.errors import InputError, Problem
from layerpreview.scheme.fields import did_you_mean, listed

F64 = NDArray[np.float64]

USUAL_VALUES = "ISO 17321-1"
_SPECTRA = (USUAL_VALUES, "BabelColor Average")
_COLOURS = (
    "ColorChecker 1976",
    "ColorChecker 2005",
    "ColorChecker24 - Before November 2014",
    "ColorChecker24 - After November 2014",
)
CHART_VALUES = _SPECTRA + _COLOURS


def chart_rgb_lin(values: str = USUAL_VALUES, *, light: str) -> F64:
    """Linear sRGB (24, 3) of the patches under `light`, balanced on white, row by row from the brown one.

    `values`, one of `CHART_VALUES`, names the published table. Spectra hold under any light; colours, published for
    illuminants C and D50, are adapted (Bradford) and hold in daylight. Raises InputError for another name.

    >>> chart_rgb_lin(light="D65")[18].round(2).tolist()
    [0.89, 0.89, 0.87]
    """
    check_chart_values(values)
    colour = _colour()
    if values in _SPECTRA:
        spectra = colour.SDS_COLOURCHECKERS[values].values()
        rows = np.stack([np.interp(WAVELENGTHS_NM, each.wavelengths, each.values) for each in spectra])
        return np.asarray(rows @ (XYZ_TO_RGB_LIN @ adapted_xyz_weights(light)).T)
    chart = colour.CCS_COLOURCHECKERS[values]
    white = _xyz(np.array([*chart.illuminant, 1.0]))
    xyz = _xyz(np.array(list(chart.data.values())))
    return np.asarray(xyz @ bradford(white, DISPLAY_WHITE_XYZ).T @ XYZ_TO_RGB_LIN.T)


def check_chart_values(values: str) -> None:
    """Raise InputError for what is no name of a published table."""
    if values not in CHART_VALUES:
        hint = did_you_mean(values, CHART_VALUES) or f"use {listed(CHART_VALUES)}"
        raise InputError(Problem("no such table of a 24-patch chart", hint, field="--chart-values", value=values))


def only_daylight(values: str) -> bool:
    """Whether a table holds colours and no spectra."""
    return values in _COLOURS


def _xyz(xyY: F64) -> F64:
    """X, Y, Z (..., 3) of chromaticities and Y (..., 3): CIE 15."""
    x, y, Y = np.moveaxis(xyY, -1, 0)
    return np.stack([x * Y / y, Y, (1.0 - x - y) * Y / y], axis=-1)


def _colour() -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of libraries that only its own pictures need
        import colour

        return colour
