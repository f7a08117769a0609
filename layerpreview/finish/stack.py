"""The layers of one finish as the engine needs them: spectra, hiding, and which surfaces can be seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import DiffuseFilm, Film

F64 = NDArray[np.float64]

VEIL = {"gloss": 0.0, "satin": 0.008, "matt": 0.020}
"""Share of white that the clear's surface scatters over the colour. Direction and size after offset laminates (a matt
film lifts black from L* 16 to 22, gloss adds none); the two figures are assumed."""


@dataclass(frozen=True, eq=False)
class DyeLayer:
    """All coats of one dye mix: decadic absorbance of a straight pass at build 1, `absorbance10` (81,).

    `Stack.reflectance` takes one of each point (N, 81), too.
    """

    absorbance10: F64


@dataclass(frozen=True, eq=False)
class OpaqueLayer:
    """All coats of one opaque colour: its reflectance (81,) and what hides, coverage = 1 - 10^(-hiding * build)."""

    reflectance: F64
    hiding: float


Layer = DyeLayer | OpaqueLayer


@dataclass(frozen=True, eq=False)
class Surface:
    """Something that can be seen: the base (`opaque` None) or an opaque layer, and the dye layers that lie over it."""

    opaque: int | None
    dyes: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Stack:
    """Layers in the order they are sprayed, over a base seen through `film`.

    `veil` [0..1] is the share of white that a satin or matt clear lays over everything; `opaque_film` is the film over
    an opaque coat.
    """

    layers: tuple[Layer, ...]
    film: Film
    opaque_film: DiffuseFilm
    veil: float = 0.0

    def surfaces(self) -> tuple[Surface, ...]:
        """What can be seen, the topmost opaque coat first and the base last."""
        dyes = [i for i, layer in enumerate(self.layers) if isinstance(layer, DyeLayer)]
        opaque = [i for i, layer in enumerate(self.layers) if isinstance(layer, OpaqueLayer)]
        above = [Surface(i, tuple(d for d in dyes if d > i)) for i in reversed(opaque)]
        return (*above, Surface(None, tuple(dyes)))

    def reflectance(self, bare: F64, build: F64) -> F64:
        """Full spectral reflectance of single points, the slow and literal way.

        `bare` (N, 81): what the base shows with no dye; `build` (N, layers): local build of each layer. -> (N, 81).
        """
        out = np.zeros_like(bare)
        visible = np.ones((len(bare), 1))
        for surface in self.surfaces():
            absorbance10 = np.zeros_like(bare)
            for i in surface.dyes:
                layer = self.layers[i]
                assert isinstance(layer, DyeLayer)
                absorbance10 += build[:, i : i + 1] * layer.absorbance10
            if surface.opaque is None:
                out += visible * self.film.reflectance(absorbance10, bare)
            else:
                layer = self.layers[surface.opaque]
                assert isinstance(layer, OpaqueLayer)
                hidden = 1.0 - np.power(10.0, -layer.hiding * build[:, surface.opaque : surface.opaque + 1])
                out += visible * hidden * self.opaque_film.reflectance(absorbance10, layer.reflectance)
                visible *= 1.0 - hidden
        return (1.0 - self.veil) * out + self.veil
