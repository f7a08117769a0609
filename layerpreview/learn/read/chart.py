"""What a 24-patch chart in a photo says about the camera: its tone curve, and how its colours are mixed up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    RGB_LIN_TO_XYZ,
    delta_e_2000,
    encode_srgb,
    xyz_to_lab,
)
from layerpreview.errors import InputError, Problem
from layerpreview.learn.read.camera import ChartFit, ToneCurve, colour_terms
from layerpreview.learn.read.chart_values import USUAL_VALUES, chart_rgb_lin
from layerpreview.learn.read.frame_read import Patch

F64 = NDArray[np.float64]
Mask = NDArray[np.bool_]

ROWS, COLUMNS = 4, 6
_FIRST_GREY = 18
_LEAST_TRUSTED = 18
_LOWEST, _HIGHEST = 2.0, 253.0  # of 255: a mean there has been cut off by the ends of the scale
_MOST_DE00 = 6.0
_WORTH_DE00 = 0.1  # by how much nine more numbers must tell patches better that they have not seen: assumed


def chart_boxes(x: float, y: float, width: float, height: float) -> list[tuple[float, float, float, float]]:
    """The 24 patches of a chart that fills a rectangle [px], row by row from the brown one.

    That one is at the top left of a wide rectangle, at the top right of a high one, where the chart lies on its side;
    `upright` tells when it is the other end.
    """
    if height > width:
        wide, high = width / ROWS, height / COLUMNS
        return [
            (x + wide * (ROWS - 1 - row), y + high * column, wide, high)
            for row in range(ROWS)
            for column in range(COLUMNS)
        ]
    wide, high = width / COLUMNS, height / ROWS
    return [(x + wide * column, y + high * row, wide, high) for row in range(ROWS) for column in range(COLUMNS)]


def upright(patches: Sequence[Patch]) -> list[Patch]:
    """The patches from the brown one on, where the chart may lie the other way round: as its lightness says."""
    known = np.log(chart_rgb_lin(light="D65").mean(axis=1))
    read = np.log(np.maximum([patch.rgb_lin.mean() for patch in patches], 1e-4))
    return list(patches) if known @ (read - read[::-1]) >= 0 else list(patches)[::-1]


def chart_fit(patches: Sequence[Patch], *, light: str, values: str = USUAL_VALUES) -> ChartFit:
    """A tone curve through the greys, then a matrix or a root polynomial from all patches that are not clipped.

    The plain matrix unless the root polynomial tells patches better that were left out. Both are relative to the
    chart's own white, so the chart may be lit stronger or weaker than the card. `values`: which published table the
    chart is of, one of `chart_values.CHART_VALUES`. Raises InputError when the patches do not look like the chart, or
    tell each other by more than 6 CIEDE2000.
    """
    wanted = chart_rgb_lin(values, light=light)
    read = np.stack([patch.rgb_lin for patch in patches])
    good = np.array([not (patch.clipped.any() or patch.buried.any()) for patch in patches]) & _within_scale(read)
    greys = _greys(good)
    rule = f"only {int(good.sum())} of the chart's 24 patches can be read"
    few = Problem(rule, "expose so that its white is not blown out, nor its dark patches black", field="--chart")
    if greys.size < 3:
        raise InputError(few)
    power = _power(read[greys], wanted[greys])
    if good.sum() < _LEAST_TRUSTED:
        raise InputError(few)
    plain, root = (_left_out_de00(read, wanted, good, count=count) for count in (3, 6))
    count, left_out = (6, root) if root < plain - _WORTH_DE00 else (3, plain)
    if left_out > _MOST_DE00:
        rule = (
            f"the patches are {left_out:.1f} CIEDE2000 off the chart's colours with each left out in turn, "
            f"more than {_MOST_DE00:g}"
        )
        remedy = "check the rectangle, --light and --chart-values; light the chart evenly, without glare"
        raise InputError(Problem(rule, remedy, field="--chart"))
    curve, matrix = _fitted(read, wanted, good, count=count)
    error = float(_off_de00(curve, matrix, read[good], wanted[good]).mean())
    return ChartFit(power, matrix, error, left_out, curve, int(good.sum()))


def _within_scale(read: F64) -> Mask:
    code = 255.0 * encode_srgb(read)
    return np.asarray(((code > _LOWEST) & (code < _HIGHEST)).all(axis=1))


def _greys(good: Mask) -> NDArray[np.intp]:
    """The greys that can be read, from the lightest to the darkest."""
    return np.flatnonzero(good[_FIRST_GREY:]) + _FIRST_GREY


def _power(read: F64, wanted: F64) -> float:
    """Contrast over sRGB of the greys, lightest first: the middle one of three channels."""
    slopes = [np.polyfit(np.log(wanted[:, c]), np.log(read[:, c]), 1)[0] for c in range(3)]
    power = float(np.median(slopes))
    if not 0.5 <= power <= 2.0 or not (np.diff(read, axis=0) < 0).all():
        rule = "the greys of the chart do not fall from white to black"
        remedy = "give x,y,width,height of all 24 patches, from the brown one to the black one"
        raise InputError(Problem(rule, remedy, field="--chart"))
    return power


def _fitted(read: F64, wanted: F64, good: Mask, *, count: int) -> tuple[ToneCurve, F64]:
    """Curve, and matrix (3, count): least squares in L*a*b* from where linear light has its least.

    Chroma and hue count less away from grey, as in CIE 116-1995 (CIE94), so that the sum is close to that of squared
    CIEDE2000.
    """
    from scipy.optimize import least_squares

    rising = _greys(good)[::-1]
    curve = ToneCurve(np.log(read[rising]).T, np.log(wanted[rising]).T)
    terms = colour_terms(curve.light(read[good]), count=count)
    start = np.linalg.lstsq(terms, wanted[good], rcond=None)[0]
    aim = _lab(wanted[good])
    chroma = np.hypot(aim[:, 1], aim[:, 2])
    # Lengths along a* and b* are not those along chroma and hue: the mean of both weights serves.
    spread = np.stack([np.ones_like(chroma), 1.0 + 0.045 * chroma, 1.0 + 0.03 * chroma], axis=1)

    def away(numbers: F64) -> F64:
        return np.asarray(((_lab(terms @ numbers.reshape(count, 3)) - aim) / spread).ravel())

    found = least_squares(away, start.ravel(), method="lm")
    return curve, np.asarray(found.x.reshape(count, 3).T)


def _left_out_de00(read: F64, wanted: F64, good: Mask, *, count: int) -> float:
    """Mean CIEDE2000 of patches that neither curve nor matrix has seen, each left out in turn."""
    away = []
    for number in np.flatnonzero(good):
        others = good.copy()
        others[number] = False
        curve, matrix = _fitted(read, wanted, others, count=count)
        away.append(float(_off_de00(curve, matrix, read[number], wanted[number])))
    return float(np.mean(away))


def _off_de00(curve: ToneCurve, matrix: F64, read: F64, wanted: F64) -> F64:
    seen = colour_terms(curve.light(read), count=matrix.shape[1]) @ matrix.T
    return np.asarray(delta_e_2000(_lab(seen), _lab(wanted)))


def _lab(rgb_lin: F64) -> F64:
    return xyz_to_lab(rgb_lin @ RGB_LIN_TO_XYZ.T, white_xyz=DISPLAY_WHITE_XYZ)
