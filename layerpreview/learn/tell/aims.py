"""The colours of a scheme as aims: what a fitted dye has to foretell of the finish at hand."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layerpreview.film import Film
from layerpreview.finish.layers import absorptivity_on_grid, dyes_in, stack_of
from layerpreview.finish.stack import OpaqueLayer, Stack
from layerpreview.learn.tell.next_step import Aim
from layerpreview.picture.spots import MOSTLY_HIDDEN, Spot, places_of
from layerpreview.scheme import DyeCoat, Scheme

F64 = NDArray[np.float64]


def scheme_aims(scheme: Scheme, *, dye: str, load_mg_m2: float) -> list[Aim]:
    """Every place of `scheme` that holds `dye`, under each of its lights.

    `dye`: by its name in the scheme or in its file; where the scheme has none of that name, all its dyes count as this
    one. `load_mg_m2` [mg/m2, above 0]: of pure dye in one coat of the card. A place is told for what shows there most,
    the base or an opaque coat, with the dyes over it; the little that a satin clear takes off is left out. Empty where
    no dye is seen.
    """
    named = {name for name, known in scheme.dyes.items() if dye in (name, known.name)} or set(scheme.dyes)
    found = []
    for spot in places_of(scheme):
        film, bare, seen = _shown(stack_of(scheme, base=spot.base), spot)
        loads = _loads_mg_m2(scheme, spot, seen)
        own = sum(load for name, load in loads.items() if name in named)
        if own > 0.0:
            other10 = np.zeros_like(bare)
            for name in loads.keys() - named:
                other10 += 1e-4 * loads[name] * absorptivity_on_grid(scheme.dyes[name])
            found += [Aim(film, bare, own / load_mg_m2, light, scheme.observer_deg, other10) for light in scheme.lights]
    return found


def _shown(stack: Stack, spot: Spot) -> tuple[Film, F64, tuple[int, ...]]:
    """What shows most at a place: its film, what it shows with no dye (81,), and the layers of dye over it."""
    for surface in stack.surfaces():
        if surface.opaque is not None:
            layer = stack.layers[surface.opaque]
            assert isinstance(layer, OpaqueLayer)
            if 1.0 - np.power(10.0, -layer.hiding * spot.build[surface.opaque]) > MOSTLY_HIDDEN:
                return stack.opaque_film, layer.reflectance, surface.dyes
    return stack.film, spot.bare, surface.dyes  # the base is the last surface of every stack


def _loads_mg_m2(scheme: Scheme, spot: Spot, layers: tuple[int, ...]) -> dict[str, float]:
    """Load of each pure dye [mg/m2] that some layers leave at a place, at the likely film."""
    loads: dict[str, float] = {}
    for i in layers:
        coat = scheme.coats[i]
        assert isinstance(coat, DyeCoat)
        for part in dyes_in(scheme, scheme.mix_of(coat)):
            laid = part.pure_g_per_L.likely * coat.film_um.likely * coat.coats * float(spot.build[i])
            loads[part.name] = loads.get(part.name, 0.0) + laid
    return loads
