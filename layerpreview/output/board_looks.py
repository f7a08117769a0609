"""A finish's looks as plain numbers for the page, made from the very objects that the engine multiplies by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ
from layerpreview.film import DiffuseFilm, Film, PathCurve
from layerpreview.finish.look import Look

F64 = NDArray[np.float64]

P3_PRIMARIES_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
"""Display P3: primaries of SMPTE RP 431-2 with the white and the transfer curve of sRGB."""


def look_json(look: Look, *, layers: int) -> dict[str, Any]:
    """Everything a page needs to draw a pixel as `Engine.pixels` does, as JSON values.

    `density2` [wavelength][layer] is zero for opaque layers; each of `seen` names the `dyes` that lie over it.
    """
    density2 = np.zeros((look.wavelength_nm.size, layers))
    for seen in look.seen:
        density2[:, list(seen.dyes)] = seen.density2
    return {
        "light": look.light,
        "wavelength_nm": numbers(look.wavelength_nm),
        "density2": numbers(density2),
        "basis": numbers(look.basis),
        "tint": None if look.tint is None else numbers(look.tint[:, 0]),
        "to_display": numbers(look.to_display.T),
        "veil": look.veil,
        "seen": [
            {
                "dyes": list(seen.dyes),
                "layer": seen.layer,
                "hiding2": _number(seen.hiding2),
                "rho": None if seen.rho is None else numbers(seen.rho[:, 0]),
                **_film(seen.film),
            }
            for seen in look.seen
        ],
    }


@dataclass(frozen=True)
class _Curves:
    metal: bool
    curves: tuple[PathCurve, ...]


def _film(film: Film) -> dict[str, Any]:
    found = _Curves(False, (film.c, film.k)) if isinstance(film, DiffuseFilm) else _Curves(True, (film.tau,))
    return {
        "metal": found.metal,
        "curves": [[_number(v) for v in (c.start, *c.numerator, *c.denominator)] for c in found.curves],
    }


def srgb_to_p3() -> list[list[float]]:
    """The matrix from linear sRGB to linear Display P3, both with the display's white."""
    primaries = np.stack([np.array([x / y, 1.0, (1.0 - x - y) / y]) for x, y in P3_PRIMARIES_XY], axis=1)
    p3_to_xyz = primaries * np.linalg.solve(primaries, DISPLAY_WHITE_XYZ)
    matrix: list[list[float]] = numbers(np.linalg.solve(p3_to_xyz, RGB_LIN_TO_XYZ))
    return matrix


def _number(value: float) -> float:
    """A single-precision number in as few digits as hold it."""
    return float(f"{float(value):.8g}")


def numbers(values: Any) -> Any:
    """Nested lists of numbers."""
    return [numbers(v) for v in values] if np.ndim(values) else _number(values)
