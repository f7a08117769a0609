"""Whether a finish asks for more of a dye than the card it was learnt from ever held."""

from __future__ import annotations

from collections.abc import Sequence

from layerpreview.finish.layers import dyes_in
from layerpreview.picture.spots import Spot
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.scheme.dyefile import GUESS_BEYOND


def beyond_tested(scheme: Scheme, spots: Sequence[Spot]) -> tuple[str, ...]:
    """A sentence for each learnt dye whose likely load passes what was tested, at the place that holds most of it."""
    found = []
    for name, dye in scheme.dyes.items():
        if dye.tested_to_mg_m2 is None:
            continue
        loads = [(load_at_mg_m2(scheme, spot, name), spot.name) for spot in spots]
        most, where = max(loads, default=(0.0, ""))
        if most > dye.tested_to_mg_m2 * 1.001:
            guess = ", a guess" if most > GUESS_BEYOND * dye.tested_to_mg_m2 else ""
            found.append(
                f"{name} was tested up to {dye.tested_to_mg_m2:.0f} mg/m2; at the {where} there are {most:.0f}: the "
                f"colour there goes beyond what the card showed{guess}."
            )
    return tuple(found)


def load_at_mg_m2(scheme: Scheme, spot: Spot, dye: str) -> float:
    """Load of one pure dye at a place, all coats together, at the likely film [mg/m2]."""
    total = 0.0
    for coat, build in zip(scheme.coats, spot.build, strict=True):
        if isinstance(coat, DyeCoat):
            for part in dyes_in(scheme, scheme.mix_of(coat)):
                if part.name == dye:
                    total += part.pure_g_per_L.likely * coat.film_um.likely * coat.coats * float(build)
    return total
