"""Camera raw (DNG) developed with nothing to please the eye: its own white balance, its maker's matrices, no curve."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, XYZ_TO_RGB_LIN, bradford, encode_srgb

F64 = NDArray[np.float64]

# EXIF's numbers for a light source, and its colour temperature [K]: incandescent, A, D55, D65, D75, D50.
_KELVIN = {3: 2856.0, 17: 2856.0, 20: 5503.0, 21: 6504.0, 22: 7504.0, 23: 5003.0}
_TURNS = 5  # of matrix and temperature, each from the other: they settle in three


def develop(data: bytes, *, most_px: int) -> NDArray[np.uint16]:
    """The picture in a DNG (h, w, 3), upright, as 16-bit sRGB numbers in proportion to light.

    Raises rawpy.LibRawError for what cannot be developed, ValueError for a file without a usable matrix or of more than
    `most_px` pixels.
    """
    import rawpy

    with rawpy.imread(io.BytesIO(data)) as raw:
        if raw.sizes.width * raw.sizes.height > most_px:
            raise ValueError(f"larger than {most_px / 1e6:.0f} megapixels")
        light = raw.postprocess(
            output_color=rawpy.ColorSpace.raw,
            gamma=(1, 1),
            use_camera_wb=True,
            no_auto_bright=True,
            adjust_maximum_thr=0.0,
            output_bps=16,
        )
    matrix = balanced_to_srgb(*_matrices(data)).T
    rows = (encode_srgb(np.clip(row / 65535.0 @ matrix, 0.0, 1.0)) for row in light)
    return np.stack([np.rint(65535.0 * row).astype(np.uint16) for row in rows])


def balanced_to_srgb(neutral: F64, by_kelvin: dict[float, F64]) -> F64:
    """Matrix (3, 3) from a sensor's light, balanced on `neutral` (3,), to linear sRGB; white stays white.

    `by_kelvin`: one or two matrices from XYZ to the sensor, by the temperature of their light [K]. Two are mixed by the
    reciprocal of the temperature that the neutral has through them: Digital Negative Specification 1.4, chapter 6. The
    temperature is McCamy's, Color Res. Appl. 17 (1992) 142.
    """
    cold, warm = max(by_kelvin), min(by_kelvin)
    kelvin = cold
    for _ in range(_TURNS):
        share = 0.0 if cold == warm else np.clip((1 / kelvin - 1 / cold) / (1 / warm - 1 / cold), 0.0, 1.0)
        back = np.linalg.inv(share * by_kelvin[warm] + (1.0 - share) * by_kelvin[cold])
        white = back @ neutral
        x, y = white[:2] / white.sum()
        n = (x - 0.3320) / (0.1858 - y)
        kelvin = float(np.clip(449.0 * n**3 + 3525.0 * n**2 + 6823.3 * n + 5520.33, 1500.0, 25_000.0))
    adapted = bradford(white / white[1], DISPLAY_WHITE_XYZ)
    return np.asarray(XYZ_TO_RGB_LIN @ adapted @ (back * neutral) / white[1])


def _matrices(data: bytes) -> tuple[F64, dict[float, F64]]:
    """AsShotNeutral, and ColorMatrix1 and 2 by the temperature of their CalibrationIlluminant."""
    import tifffile

    with tifffile.TiffFile(io.BytesIO(data)) as file:
        tags: Any = file.pages[0].tags
        held = {number: tags[number].value for number in (50728, 50721, 50722, 50778, 50779) if number in tags}
    neutral, first, second = (_ratios(held.get(number, ())) for number in (50728, 50721, 50722))
    if neutral.size != 3 or first.size != 9:
        raise ValueError("it lacks its white balance or its matrix")
    found = {_KELVIN.get(held.get(50778, 21), 6504.0): first.reshape(3, 3)}
    if second.size == 9:
        found[_KELVIN.get(held.get(50779, 21), 6504.0)] = second.reshape(3, 3)
    return neutral, found


def _ratios(value: tuple[int, ...]) -> F64:
    over, under = np.array(value, dtype=np.float64).reshape(-1, 2).T
    return np.asarray(over / np.maximum(under, 1.0))
