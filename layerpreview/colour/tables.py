"""The shipped tables on one wavelength grid: observers, lights and the three spectra behind a photo's RGB.

The files are made by `data/make_tables.py` from colour-science; a test checks that they still agree.
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Final

import numpy as np
from numpy.typing import NDArray

from layerpreview.errors import InputError, Problem

Array = NDArray[np.float64]


def read_only(values: Array) -> Array:
    """Return `values` marked read-only, so that a cached table cannot be changed by whoever borrows it."""
    values.flags.writeable = False
    return values


WAVELENGTHS_NM: Final[Array] = read_only(np.arange(380.0, 781.0, 5.0))
"""The one grid of the package: 380 to 780 nm, every 5 nm (the FL and LED lights are not to be made finer)."""

LIGHT_NAMES: Final = (
    "A",
    "C",
    "D50",
    "D55",
    "D65",
    "D75",
    "FL2",
    "FL7",
    "FL11",
    "LED-B1",
    "LED-B3",
    "LED-B5",
)
"""Lights by their CIE names: lamp light, daylights, fluorescent lamps, white LEDs."""
_LIGHT_WORDS = {
    "A": "lamp light (A)",
    "D50": "daylight at noon (D50)",
    "D65": "daylight (D65)",
    "LED-B3": "white LED (LED-B3)",
    "FL2": "cool white tube (FL2)",
    "FL11": "three-band tube (FL11)",
}
_CALLED = {
    **dict.fromkeys(("daylight", "average daylight", "day light"), "D65"),
    **dict.fromkeys(("north light", "north daylight"), "D75"),
    **dict.fromkeys(("mid-morning daylight", "morning daylight"), "D55"),
    **dict.fromkeys(("noon daylight", "daylight at noon", "print booth"), "D50"),
    **dict.fromkeys(("warm lamp", "lamp", "lamp light", "lamplight", "tungsten", "incandescent", "bulb"), "A"),
    **dict.fromkeys(("office tube", "cool white tube", "cool white"), "FL2"),
    **dict.fromkeys(("daylight tube",), "FL7"),
    **dict.fromkeys(("three-band tube", "shop tube"), "FL11"),
    **dict.fromkeys(("warm led",), "LED-B1"),
    **dict.fromkeys(("shop led", "white led", "led"), "LED-B3"),
    **dict.fromkeys(("cool led", "daylight led"), "LED-B5"),
}
"""What lights are called in a shop, and the standard one that is nearest: by kind and colour temperature in CIE 15:2018
(D75 7500 K, D55 5500 K, A 2856 K, FL2 4230 K, FL7 6500 K, FL11 4000 K, LED-B1 2733 K, LED-B3 4103 K, LED-B5 6598 K)."""

OBSERVERS_DEG: Final = (2, 10)
"""CIE standard observers by field size [degrees]: 1931 2 deg and 1964 10 deg."""


@cache
def _table(name: str) -> Array:
    """Columns of a shipped CSV file as rows (columns, 81), without its wavelength column."""
    text = (files("layerpreview") / "data" / name).read_text(encoding="ascii")
    rows = [line.split(",") for line in text.splitlines()[1:]]
    return read_only(np.ascontiguousarray(np.array(rows, dtype=np.float64)[:, 1:].T))


def light_words(light: str) -> str:
    """Return what people call a light, with its CIE name; the name alone where there is no word for it."""
    return _LIGHT_WORDS.get(light, light)


def light_called(text: str) -> str:
    """Return the CIE name of a light that is written by it or by a shop's word for it, in any case.

    Raises InputError for what is neither.

    >>> light_called("d65"), light_called("warm lamp"), light_called("Shop LED")
    ('D65', 'A', 'LED-B3')
    """
    word = " ".join(text.lower().split())
    by_lower = {name.lower(): name for name in LIGHT_NAMES} | _CALLED
    if word in by_lower:
        return by_lower[word]
    from difflib import get_close_matches

    close = get_close_matches(word, by_lower, n=1)
    hint = f'did you mean "{by_lower[close[0]] if close[0] not in _CALLED else close[0]}"? ' if close else ""
    remedy = f"{hint}use one of {', '.join(LIGHT_NAMES)}, or daylight, warm lamp, office tube, shop LED"
    raise InputError(Problem("no such light", remedy, field="light", value=text))


def observer_cmf(observer_deg: int) -> Array:
    """Return the colour-matching functions of a CIE standard observer.

    observer_deg: 2 (CIE 1931) or 10 (CIE 1964) [degrees].
    Returns (81, 3): x-bar, y-bar, z-bar on `WAVELENGTHS_NM`, read-only.
    Raises InputError for any other observer. Source: CIE 015:2018, by way of colour-science.

    >>> float(observer_cmf(2)[:, 1].max())
    1.0
    """
    if observer_deg not in OBSERVERS_DEG:
        raise InputError(
            Problem("only the 2 deg and 10 deg observers are known", field="observer", value=str(observer_deg))
        )
    first = 3 * OBSERVERS_DEG.index(observer_deg)
    cmf: Array = _table("observers.csv")[first : first + 3].T
    return cmf


def light_spd(light: str) -> Array:
    """Return the relative spectral power of a light.

    light: one of `LIGHT_NAMES`.
    Returns (81,) on `WAVELENGTHS_NM`, any scale, read-only.
    Raises InputError for a light that is not in the list. Source: CIE 015:2018, by way of colour-science.

    >>> float(light_spd("D65")[WAVELENGTHS_NM == 560][0])
    100.0
    """
    if light not in LIGHT_NAMES:
        raise InputError(
            Problem("no such light", f"use one of {', '.join(LIGHT_NAMES)}", field="light", value=repr(light))
        )
    spd: Array = _table("lights.csv")[LIGHT_NAMES.index(light)]
    return spd


def rgb_basis() -> Array:
    """Return the reflectance spectra that stand for pure red, green and blue of linear sRGB.

    Returns (3, 81) on `WAVELENGTHS_NM`, read-only: each within 0..1, summing to one at every wavelength, so
    that white is a flat 1. `rgb_lin @ rgb_basis()` is a smooth spectrum, and `display_matrix("D65")` gives
    `rgb_lin` back.
    Source: I. Mallett, C. Yuksel, "Spectral Primary Decomposition for Rendering with sRGB Reflectance" (EGSR
    2019), moved by the least change that makes the way back exact (data/SOURCES.md).

    >>> bool(abs(rgb_basis().sum(axis=0) - 1).max() < 1e-9)
    True
    """
    return _table("rgb_basis.csv")
