"""Flat patches: many recipes in, their colours out, in one call. Everything in this room stands on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import (
    DISPLAY_WHITE_XYZ,
    WAVELENGTHS_NM,
    adapted_xyz_weights,
    display_matrix,
    spectrum_to_lab,
    xyz_to_lab,
)
from layerpreview.film import Film, absorbance10_of_load
from layerpreview.finish.layers import absorptivity_on_grid
from layerpreview.finish.stack import DyeLayer, OpaqueLayer, Stack
from layerpreview.scheme import Dye

F64 = NDArray[np.float64]

BLOCK = 1024
"""Recipes at once: their spectra stay near the processor. Four times as many take twice the time."""
LEAST_SEEN = 1e-5
"""Share of what is seen below which a surface that opaque coats hide is left out."""
_STEP = 1e-4
_KNEE = (6.0 / 29.0) ** 3


@dataclass(frozen=True, eq=False)
class Ground:
    """A surface that lies under the dyes asked about, the base or an opaque coat.

    `share` [0..1] of what is seen; the `film` over it; `bare` (81,): what it shows with no dye; `absorbance10` (81,) of
    the dye that lies over it already. `on_top`: it lies over the dyes asked about.
    """

    share: float
    film: Film
    bare: F64
    absorbance10: F64
    on_top: bool = False


def grounds_of(stack: Stack, bare: F64, *, asked: int | None = None) -> tuple[Ground, ...]:
    """What shows of a base `bare` (81,) and of the layers over it, at their full build: the topmost first.

    `asked`: how many layers lie below the dyes asked about; all of them where it is not said.
    """
    found, seen = [], 1.0
    for surface in stack.surfaces():
        dyes = [layer for i in surface.dyes if isinstance(layer := stack.layers[i], DyeLayer)]
        absorbance10 = np.sum([np.zeros_like(bare), *(dye.absorbance10 for dye in dyes)], axis=0)
        if surface.opaque is None:
            found.append(Ground(seen, stack.film, bare, absorbance10))
            continue
        layer = stack.layers[surface.opaque]
        assert isinstance(layer, OpaqueLayer)
        left = seen * float(np.power(10.0, -layer.hiding))
        on_top = asked is not None and surface.opaque >= asked
        found.append(Ground(seen - left, stack.opaque_film, layer.reflectance, absorbance10, on_top))
        seen = left
    return tuple(ground for ground in found if ground.share > LEAST_SEEN)


@dataclass(frozen=True, eq=False)
class Patches:
    """One even base under some dyes, seen under some lights.

    `film`: the optics of base and film; `bare` (81,): what the base shows with no dye; `absorbance10_per_mg_m2`
    (dyes, 81) decadic, of one straight pass; `lights`: CIE names, L*a*b* under each adapted to D65; `veil` [0..1]: the
    share of white that a satin or matt clear lays over everything; `grounds`: what shows of the base and of coats that
    are on it already, where there are any, else it is the base alone.
    """

    film: Film
    bare: F64
    absorbance10_per_mg_m2: F64
    lights: tuple[str, ...] = ("D65",)
    observer_deg: int = 2
    veil: float = 0.0
    grounds: tuple[Ground, ...] = ()

    def reflectance(self, load_mg_m2: F64) -> F64:
        """Reflectance spectra (N, 81) of loads (N, dyes) [mg/m2, >= 0]."""
        return self._under(load_mg_m2 @ self.absorbance10_per_mg_m2)

    def lab(self, load_mg_m2: F64) -> F64:
        """L*a*b* (N, lights, 3) of loads (N, dyes) [mg/m2, >= 0]; the full sum over 81 wavelengths."""
        load = np.asarray(load_mg_m2, dtype=np.float64)
        blocks = [self._lab(self.reflectance(load[i : i + BLOCK])) for i in range(0, max(len(load), 1), BLOCK)]
        return np.concatenate(blocks)

    def rgb_lin(self, load_mg_m2: F64) -> F64:
        """Linear display RGB (N, 3) under the first light, adapted to the display's white, unclipped."""
        matrix = display_matrix(self.lights[0], observer_deg=self.observer_deg)
        return np.asarray(self.reflectance(load_mg_m2) @ matrix.T)

    def lab_and_slope(self, load_mg_m2: F64, used: NDArray[np.intp]) -> tuple[F64, F64]:
        """L*a*b* (N, lights, 3) and its derivative (N, lights, 3, k) by the loads of the dyes `used` (N, k)."""
        absorbance10 = load_mg_m2 @ self.absorbance10_per_mg_m2
        reflected = self._under(absorbance10)
        fall = (self._under(absorbance10 + _STEP) - reflected) / _STEP
        labs, slopes = [], []
        per_load = fall[:, None, :] * self.absorbance10_per_mg_m2[used]
        for light in self.lights:
            weights = adapted_xyz_weights(light, observer_deg=self.observer_deg) / DISPLAY_WHITE_XYZ[:, None]
            ratio = reflected @ weights.T
            labs.append(xyz_to_lab(ratio, white_xyz=np.ones(3)))
            root = np.maximum(ratio, _KNEE) ** (-2.0 / 3.0) / 3.0  # a straight line below the knee
            d_root = root[:, :, None] * np.swapaxes(per_load @ weights.T, 1, 2)
            x, y, z = d_root[:, 0], d_root[:, 1], d_root[:, 2]
            slopes.append(np.stack([116.0 * y, 500.0 * (x - y), 200.0 * (y - z)], axis=1))
        return np.stack(labs, axis=1), np.stack(slopes, axis=1)

    def _under(self, absorbance10: F64) -> F64:
        if not self.grounds:
            return np.asarray((1.0 - self.veil) * self.film.reflectance(absorbance10, self.bare) + self.veil)
        out = np.zeros_like(absorbance10)
        for ground in self.grounds:
            over = 0.0 * absorbance10 if ground.on_top else absorbance10
            out += ground.share * ground.film.reflectance(over + ground.absorbance10, ground.bare)
        return np.asarray((1.0 - self.veil) * out + self.veil)

    def _lab(self, reflectance: F64) -> F64:
        observer = self.observer_deg
        return np.stack([spectrum_to_lab(reflectance, light=light, observer_deg=observer) for light in self.lights], 1)


def per_mg_m2(dyes: Sequence[Dye]) -> F64:
    """Decadic absorbance of one straight pass through 1 mg/m2 of each dye, (dyes, 81)."""
    spectra = [absorbance10_of_load(absorptivity_L_per_g_cm=absorptivity_on_grid(dye), load_mg_m2=1.0) for dye in dyes]
    return np.stack(spectra) if spectra else np.zeros((0, WAVELENGTHS_NM.size))
