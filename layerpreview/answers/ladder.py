"""The ladder: one mix at several strengths, after one coat, two, three ... as colours and steps between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import delta_e_2000, rgb_lin_to_hex
from layerpreview.errors import InputError, Problem
from layerpreview.finish.layers import absorbance10_per_um, first_stack, layer_of
from layerpreview.finish.patches import Patches
from layerpreview.finish.stack import DyeLayer
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.spots import first_bare
from layerpreview.scheme import DyeCoat, Scheme

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Rung:
    """One cell: strength as a multiple of the scheme's, coats, L*a*b* under each light, the screen's swatch, and the
    CIEDE2000 to the same strength with one coat more under each light."""

    strength: float
    coats: int
    lab: dict[str, tuple[float, float, float]]
    srgb: str
    next_de00: dict[str, float]
    film_um: float


@dataclass(frozen=True)
class Ladder:
    """Rungs of one mix, a row per strength and in it a rung per number of coats.

    `over` names the mixes that lie below; `film_um` is the wet film of one coat [um], `film_basis` what it rests on.
    """

    mix: str
    over: tuple[str, ...]
    film_um: float
    film_basis: str
    lights: tuple[str, ...]
    rows: tuple[tuple[Rung, ...], ...]


@dataclass(frozen=True, eq=False)
class LadderModel:
    """What the ladder's pictures need: absorbance of what lies below and of one coat at strength 1, both (81,)."""

    below10: F64
    per_coat10: F64
    over: tuple[str, ...]
    coat: DyeCoat


def ladder_model(scheme: Scheme, mix: str | None = None) -> LadderModel:
    """The mix to climb (the first that is sprayed where none is named) over the even dye coats before it.

    Raises InputError for a mix that no coat of the scheme uses.
    """
    entries = [(i, coat) for i, coat in enumerate(scheme.coats) if isinstance(coat, DyeCoat)]
    found = next(((i, coat) for i, coat in entries if mix in (None, coat.mix)), None)
    if found is None:
        names = ", ".join(dict.fromkeys(coat.mix for _, coat in entries)) or "none"
        rule, remedy = "no coat is sprayed with this mix", f"the scheme's are: {names}"
        raise InputError(Problem(rule, remedy, field="--mix", value=repr(mix)))
    at, coat = found
    below = np.zeros(81)
    over = []
    for i, other in entries:
        layer = layer_of(scheme, other)
        if i < at and not other.bursts and isinstance(layer, DyeLayer):
            below += layer.absorbance10
            over.append(f"{other.coats} x {other.mix}")
    return LadderModel(below, absorbance10_per_um(scheme, scheme.mix_of(coat)) * coat.film_um.likely, tuple(over), coat)


def ladder_of(
    scheme: Scheme,
    bare: F64 | None = None,
    *,
    mix: str | None = None,
    strengths: Sequence[float] = (1.0,),
    most_coats: int = 8,
    view: View = STRAIGHT_ON,
) -> Ladder:
    """The ladder of a mix over the base `bare` (81,), at multiples `strengths` [> 0] of its strength in the scheme.

    `bare`: where it is not given, that of the first face, seen from `view`. Raises InputError for an unknown mix.
    """
    model = ladder_model(scheme, mix)
    bare = first_bare(scheme, view) if bare is None else bare
    stack = first_stack(scheme, view, bare=True)
    patches = Patches(
        stack.film, bare, np.stack([model.below10, model.per_coat10]), scheme.lights, scheme.observer_deg, stack.veil
    )
    coats = np.arange(1, most_coats + 2)
    amount = (np.asarray(strengths, dtype=np.float64)[:, None] * coats).ravel()
    loads = np.stack([np.ones_like(amount), amount], axis=1)
    lab = patches.lab(loads).reshape(len(strengths), coats.size, len(scheme.lights), 3)
    rgb = patches.rgb_lin(loads).reshape(len(strengths), coats.size, 3)
    step = delta_e_2000(lab[:, :-1], lab[:, 1:])
    film = model.coat.film_um.likely
    rows = tuple(
        tuple(
            Rung(
                strength=float(strength),
                coats=int(coats[k]),
                lab={light: _triple(lab[s, k, i]) for i, light in enumerate(scheme.lights)},
                srgb=rgb_lin_to_hex(np.clip(rgb[s, k], 0.0, 1.0)),
                next_de00={light: float(step[s, k, i]) for i, light in enumerate(scheme.lights)},
                film_um=film * int(coats[k]),
            )
            for k in range(most_coats)
        )
        for s, strength in enumerate(strengths)
    )
    return Ladder(model.coat.mix, model.over, film, model.coat.film_um.basis, scheme.lights, rows)


def _triple(values: F64) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
