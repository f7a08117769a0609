"""The ladder: one mix at several strengths, after one coat, two, three ... as colours and steps between them.

What lies beneath is what the scheme puts there before it, at the place where the coat is fullest.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.landing import HARDLY_ANY
from layerpreview.colour import delta_e_2000, rgb_lin_to_hex
from layerpreview.errors import InputError, Problem
from layerpreview.finish.layers import absorbance10_per_um, layer_of, stack_of
from layerpreview.finish.patches import Patches, grounds_of
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.spots import AS_FULL, Spot, fullest_spot, hidden_above, main_spot
from layerpreview.scheme import DyeCoat, OpaqueCoat, Scheme

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

    `over` names the coats that lie below; `film_um` is the wet film of one coat [um], `film_basis` what it rests on.
    It is for the place `spot`; `share` of a whole coat is what one leaves there (a burst, or what cutting back leaves).
    """

    mix: str
    over: tuple[str, ...]
    film_um: float
    film_basis: str
    lights: tuple[str, ...]
    rows: tuple[tuple[Rung, ...], ...]
    spot: str
    share: float


@dataclass(frozen=True, eq=False)
class Beneath:
    """What lies under a coat at a `spot`: the `layers` with what lands there at build 1, and the same in words.

    `later`: layers that come on top of the coat, where those are told. `share`: what a whole coat leaves at the spot.
    """

    spot: Spot
    layers: tuple[Layer, ...]
    over: tuple[str, ...]
    later: tuple[Layer, ...] = ()
    share: float = 1.0

    def undyed(self) -> Beneath:
        """The same with no dye: the base and what hides it."""
        below, later = (
            tuple(one for one in layers if not isinstance(one, DyeLayer)) for layers in (self.layers, self.later)
        )
        return replace(self, layers=below, later=later)

    def stack(self, scheme: Scheme, view: View = STRAIGHT_ON, *, above: Sequence[Layer] = ()) -> Stack:
        """These layers, those `above` them and what comes later, over the base of the spot."""
        return replace(stack_of(scheme, view, base=self.spot.base), layers=(*self.layers, *above, *self.later))

    def patches(self, scheme: Scheme, absorbance10: F64, view: View = STRAIGHT_ON) -> Patches:
        """Flat patches of the spot under more dye, of `absorbance10` (dyes, 81) for each unit of it."""
        stack, bare = self.stack(scheme, view), self.spot.bare
        grounds = grounds_of(stack, bare, asked=len(self.layers))
        return Patches(stack.film, bare, absorbance10, scheme.lights, scheme.observer_deg, stack.veil, grounds)


def beneath(scheme: Scheme, spot: Spot, count: int) -> Beneath:
    """The first `count` coats of the scheme as they end up at `spot`: zones, bursts and what cutting back leaves."""
    return Beneath(spot, *_laid(scheme, spot, range(count)))


def _laid(scheme: Scheme, spot: Spot, numbers: Iterable[int]) -> tuple[tuple[Layer, ...], tuple[str, ...]]:
    """What the coats of these numbers leave at a place, as layers and in words."""
    layers, told = [], []
    for i in numbers:
        coat, build = scheme.coats[i], float(spot.build[i])
        if build > 0.0:
            layers.append(_times(layer_of(scheme, coat), build))
        if build > HARDLY_ANY:
            part = "" if abs(build - 1.0) < AS_FULL else f" ({percent(build)} of it)"
            told.append(f"{coat.coats} x {coat.label}{part}")
    return tuple(layers), tuple(told)


def percent(share: float) -> str:
    """A share of a coat in two digits, in whole percent above 100.

    >>> percent(0.6384), percent(0.0022), percent(1.04)
    ('64 %', '0.22 %', '104 %')
    """
    return f"{100 * share:{'.0f' if share > 1.0 else '.2g'}} %"


def ground_for(scheme: Scheme, spots: Sequence[Spot], mix: str | None = None) -> Beneath:
    """What a new recipe in place of `mix` (the first that is sprayed where none is named) would lie over.

    That is the base, or the scheme up to the last opaque coat before the mix; dye coats after that it takes the place
    of. It is told for the place where the mix is fullest; where none is sprayed, for the main one. `spots`: all places.
    """
    dyed = (i for i, coat in enumerate(scheme.coats) if isinstance(coat, DyeCoat) and mix in (None, coat.mix))
    at = next(dyed, len(scheme.coats))
    spot = fullest_spot(spots, at) if at < len(scheme.coats) else main_spot(spots)
    opaque = (i for i in range(at) if isinstance(scheme.coats[i], OpaqueCoat) and spot.build[i] > HARDLY_ANY)
    return beneath(scheme, spot, max((i + 1 for i in opaque), default=0))


def others_around(scheme: Scheme, spots: Sequence[Spot], at: int) -> Beneath:
    """What a new recipe in place of the coat entry `at` (from 0) would lie among: every other coat stays as it is.

    It is told for the place where that coat shows most. `spots`: all places. Raises InputError where there is no coat
    of dye of that number, or it lands nowhere.
    """
    if not 0 <= at < len(scheme.coats) or not isinstance(scheme.coats[at], DyeCoat):
        dyed = ", ".join(f"{i + 1} ({c.label})" for i, c in enumerate(scheme.coats) if isinstance(c, DyeCoat))
        rule = "this is no coat of dye"
        raise InputError(Problem(rule, f"those of this scheme are {dyed or 'none'}", field="--coat", value=f"{at + 1}"))

    def shown(spot: Spot) -> float:
        return float(spot.build[at] * (1.0 - hidden_above(scheme.coats, spot.build[:, None], at)[0]))

    most = max(map(shown, spots))
    if most <= HARDLY_ANY:
        raise InputError(Problem("this coat shows nowhere", "name another", field="--coat", value=f"{at + 1}"))
    spot = next(spot for spot in spots if shown(spot) >= most - AS_FULL)
    below, under = _laid(scheme, spot, range(at))
    later, above = _laid(scheme, spot, range(at + 1, len(scheme.coats)))
    return Beneath(spot, below, (*under, *above), later, share=float(spot.build[at]))


@dataclass(frozen=True, eq=False)
class LadderModel:
    """What the ladder's pictures need: what lies `below`, the `coat`, and what one coat of it at strength 1 absorbs
    there, `per_coat10` (81,), where it leaves a `share` of a whole coat."""

    below: Beneath
    per_coat10: F64
    coat: DyeCoat
    share: float

    @property
    def over(self) -> tuple[str, ...]:
        """The coats that lie below, in words."""
        return self.below.over


def ladder_model(scheme: Scheme, spots: Sequence[Spot], mix: str | None = None) -> LadderModel:
    """The mix to climb (the first that is sprayed where none is named) over the coats before it, where it is fullest.

    `spots`: all places of the scheme. A coat that lands at none of them is laid whole at the main one.
    Raises InputError for a mix that no coat of the scheme uses.
    """
    entries = [(i, coat) for i, coat in enumerate(scheme.coats) if isinstance(coat, DyeCoat)]
    found = next(((i, coat) for i, coat in entries if mix in (None, coat.mix)), None)
    if found is None:
        names = ", ".join(dict.fromkeys(coat.mix for _, coat in entries)) or "none"
        rule, remedy = "no coat is sprayed with this mix", f"the scheme's are: {names}"
        raise InputError(Problem(rule, remedy, field="--mix", value=repr(mix)))
    at, coat = found
    spot = fullest_spot(spots, at)
    share = float(spot.build[at]) if spot.build[at] > HARDLY_ANY else 1.0
    whole10 = absorbance10_per_um(scheme, scheme.mix_of(coat)) * coat.film_um.likely
    return LadderModel(beneath(scheme, spot, at), whole10 * share, coat, share)


def ladder_of(
    scheme: Scheme,
    spots: Sequence[Spot],
    *,
    mix: str | None = None,
    strengths: Sequence[float] = (1.0,),
    most_coats: int = 8,
    view: View = STRAIGHT_ON,
) -> Ladder:
    """The ladder of a mix at multiples `strengths` [> 0] of its strength in the scheme.

    `spots`: all places of the scheme, what their bases show seen from `view`. Raises InputError for an unknown mix.
    """
    model = ladder_model(scheme, spots, mix)
    patches = model.below.patches(scheme, model.per_coat10[None, :], view)
    coats = np.arange(1, most_coats + 2)
    loads = (np.asarray(strengths, dtype=np.float64)[:, None] * coats).reshape(-1, 1)
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
                srgb=rgb_lin_to_hex(rgb[s, k]),
                next_de00={light: float(step[s, k, i]) for i, light in enumerate(scheme.lights)},
                film_um=film * int(coats[k]),
            )
            for k in range(most_coats)
        )
        for s, strength in enumerate(strengths)
    )
    basis, spot = model.coat.film_um.basis, model.below.spot.name
    return Ladder(model.coat.mix, model.over, film, basis, scheme.lights, rows, spot, model.share)


def _times(layer: Layer, build: float) -> Layer:
    if isinstance(layer, OpaqueLayer):
        return OpaqueLayer(layer.reflectance, layer.hiding * build)
    return DyeLayer(layer.absorbance10 * build)


def _triple(values: F64) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
