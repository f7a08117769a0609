"""What a 24-patch chart in a photo says about the camera: its contrast, and how its colours are mixed up."""

from __future__ import annotations

import warnings
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ, WAVELENGTHS_NM, delta_e_2000, xyz_to_lab
from layerpreview.errors import InputError, Problem
from layerpreview.learn.frame_read import ChartFit, Patch
from layerpreview.learn.model import photo_eye

F64 = NDArray[np.float64]

ROWS, COLUMNS = 4, 6
_FIRST_GREY = 18
_LEAST_TRUSTED = 18


def chart_boxes(x: float, y: float, width: float, height: float) -> list[tuple[float, float, float, float]]:
    """The 24 patches of a chart that fills a rectangle [px], row by row from the brown one at the top left."""
    wide, high = width / COLUMNS, height / ROWS
    return [(x + wide * column, y + high * row, wide, high) for row in range(ROWS) for column in range(COLUMNS)]


def chart_fit(patches: Sequence[Patch], *, light: str) -> ChartFit:
    """Contrast over sRGB from the six greys, then a 3 x 3 matrix from all patches that are not clipped.

    The matrix is relative to the chart's own white, so the chart may be lit stronger or weaker than the card. Known
    reflectances: ISO 17321-1, by way of colour-science. Raises InputError when the patches do not look like the chart.
    """
    wanted = _reflectances() @ photo_eye(light).take.T
    read = np.stack([patch.rgb_lin for patch in patches])
    good = np.array([not (patch.clipped.any() or patch.buried.any()) for patch in patches])
    greys = np.flatnonzero(good[_FIRST_GREY:]) + _FIRST_GREY
    if greys.size < 3 or good.sum() < _LEAST_TRUSTED:
        rule = f"only {int(good.sum())} of the chart's 24 patches can be read"
        raise InputError(Problem(rule, "expose so that its white is not blown out", field="--chart"))
    slopes = [np.polyfit(np.log(wanted[greys, c]), np.log(read[greys, c]), 1)[0] for c in range(3)]
    power = float(np.median(slopes))
    if not 0.5 <= power <= 2.0:
        rule = "the greys of the chart do not fall from white to black"
        raise InputError(
            Problem(rule, "give x,y,width,height of all 24 patches, brown at the top left", field="--chart")
        )
    brightest = int(greys[0])
    share = (read / read[brightest]) ** (1.0 / power) * wanted[brightest]
    matrix = np.linalg.lstsq(share[good], wanted[good], rcond=None)[0].T
    error = delta_e_2000(_lab(share @ matrix.T), _lab(wanted))[good]
    mean = float(error.mean())
    if mean > 8.0:
        rule = f"the patches are {mean:.0f} CIEDE2000 off the chart's colours"
        raise InputError(
            Problem(rule, "check the rectangle, and that the brown patch is at the top left", field="--chart")
        )
    return ChartFit(power, np.asarray(matrix), mean)


def _lab(rgb_lin: F64) -> F64:
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)


def _reflectances() -> F64:
    """The chart's 24 spectra (24, 81)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science warns of libraries that only its charts need
        import colour

        spectra = colour.SDS_COLOURCHECKERS["ISO 17321-1"].values()
        rows = [np.interp(WAVELENGTHS_NM, spectrum.wavelengths, spectrum.values) for spectrum in spectra]
    return np.stack(rows)
