"""A look as plain numbers for a page: made from the very objects that the engine multiplies by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import DISPLAY_WHITE_XYZ, RGB_LIN_TO_XYZ
from layerpreview.film import DiffuseFilm, Film, PathCurve
from layerpreview.finish.look import MOST_BUILD, Look, Seen, make_look
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack

F64 = NDArray[np.float64]

P3_PRIMARIES_XY = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
"""Display P3: primaries of SMPTE RP 431-2 with the white and the transfer curve of sRGB."""

CHOOSING_HIDING = 0.15


def reaching_look(
    stack: Stack,
    *,
    light: str,
    observer_deg: int,
    tint_rgb: tuple[float, float, float] | None,
    most: Sequence[float],
) -> Look:
    """The look of `stack`, its wavelengths chosen so that they hold up to `most` times the build of each dye layer.

    While they are chosen opaque layers hide a little only: hiding is the same at every wavelength, and where a rim
    hides everything there is nothing to choose by.
    """
    factors = [
        # `make_look` itself tries builds up to MOST_BUILD.
        max(1.0, factor / MOST_BUILD) if isinstance(layer, DyeLayer) else CHOOSING_HIDING / layer.hiding
        for layer, factor in zip(stack.layers, most, strict=True)
    ]
    layers = tuple(_times(layer, factor) for layer, factor in zip(stack.layers, factors, strict=True))
    strongest = make_look(replace(stack, layers=layers), light=light, observer_deg=observer_deg, tint_rgb=tint_rgb)
    return scaled_look(strongest, [1.0 / factor for factor in factors])


def scaled_look(look: Look, factors: Sequence[float]) -> Look:
    """The look with every layer's build multiplied, (layers,), on the same wavelengths."""
    by_layer = np.asarray(factors, dtype=np.float64)

    def scaled(seen: Seen) -> Seen:
        density2 = np.ascontiguousarray(seen.density2 * by_layer[list(seen.dyes)], dtype=np.float32)
        hiding2 = seen.hiding2 if seen.layer is None else seen.hiding2 * float(by_layer[seen.layer])
        return replace(seen, density2=density2, hiding2=hiding2)

    return replace(look, seen=tuple(scaled(seen) for seen in look.seen))


def turned_look(look: Look, stack: Stack) -> Look:
    """The look with the films of `stack`, the same finish from another view, on the same wavelengths."""

    def turned(seen: Seen) -> Seen:
        if seen.layer is None:
            return replace(seen, film=stack.film)
        layer = stack.layers[seen.layer]
        assert isinstance(layer, OpaqueLayer)
        rho = stack.opaque_film.albedo(layer.reflectance[look.nodes.index])
        return replace(seen, film=stack.opaque_film, rho=np.asarray(rho[:, None], dtype=np.float32))

    return replace(look, seen=tuple(turned(seen) for seen in look.seen))


def look_json(look: Look, *, layers: int) -> dict[str, Any]:
    """Everything a page needs to draw a pixel as `Engine.pixels` does, as JSON values.

    `density2` [wavelength][layer] is zero for opaque layers; each of `seen` names the `dyes` that lie over it.
    """
    density2 = np.zeros((look.wavelength_nm.size, layers))
    for seen in look.seen:
        density2[:, list(seen.dyes)] = seen.density2
    return {
        "light": look.light,
        "wavelength_nm": _numbers(look.wavelength_nm),
        "density2": _numbers(density2),
        "basis": _numbers(look.basis),
        "tint": None if look.tint is None else _numbers(look.tint[:, 0]),
        "to_display": _numbers(look.to_display.T),
        "veil": look.veil,
        "seen": [
            {
                "dyes": list(seen.dyes),
                "layer": seen.layer,
                "hiding2": _number(seen.hiding2),
                "rho": None if seen.rho is None else _numbers(seen.rho[:, 0]),
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
    matrix: list[list[float]] = _numbers(np.linalg.solve(p3_to_xyz, RGB_LIN_TO_XYZ))
    return matrix


def _times(layer: Layer, factor: float) -> Layer:
    if isinstance(layer, DyeLayer):
        return DyeLayer(layer.absorbance10 * factor)
    return OpaqueLayer(layer.reflectance, layer.hiding * factor)


def _number(value: float) -> float:
    """A single-precision number in as few digits as hold it."""
    return float(f"{float(value):.8g}")


def _numbers(values: Any) -> Any:
    """Nested lists of numbers."""
    return [_numbers(v) for v in values] if np.ndim(values) else _number(values)
