"""Recipes for a wanted colour: what each costs in coats, film and stripes, and what to do if none comes near."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.alternatives import Alternative, alternatives
from layerpreview.answers.gun import GunSet
from layerpreview.answers.ladder import Beneath
from layerpreview.answers.reach import Limits, Reach, units_of
from layerpreview.answers.uneven import one_coat_cv
from layerpreview.colour import JUST_SEEN_DE00, visibility
from layerpreview.film import MetalBase, diffuse_film, metal_film
from layerpreview.finish.layers import colour_spectrum, first_stack
from layerpreview.finish.patches import Patches, per_mg_m2
from layerpreview.scheme import Dye, Scheme, library_names, load_library_dye
from layerpreview.spray.passes import HANDS

F64 = NDArray[np.float64]

MANY = 5
STEADY = "good"
OTHER_BASES = {"a white base": ("solid", "#f4f4f1"), "a bright, smooth silver base": ("metal", "#dcdde0")}


@dataclass(frozen=True, eq=False)
class Reached:
    """The answer: `alternatives` closest first; `reached` when the closest is within `within_de00` under every light;
    `advice` says what would bring it nearer where it is not. Stripes are those of `gun` in a practised hand, `reach` is
    all that was within the limits."""

    wanted: str
    wanted_lab: dict[str, tuple[float, float, float]]
    lights: tuple[str, ...]
    dyes: tuple[str, ...]
    within_de00: float
    reached: bool
    nearest_de00: float
    alternatives: tuple[Alternative, ...]
    advice: tuple[str, ...]
    ground: Beneath = field(repr=False)
    gun: GunSet = field(repr=False)
    reach: Reach = field(repr=False)

    @property
    def verdict(self) -> str:
        """The answer in one line."""
        wanted = self.wanted[0].upper() + self.wanted[1:]
        if self.reached:
            return f"{wanted}: can be reached, {self.nearest_de00:.1f} away ({visibility(self.nearest_de00)})"
        return (
            f"{wanted}: cannot be reached over this base with {listed(self.dyes)} within these limits; the "
            f"nearest is {self.nearest_de00:.1f} away ({visibility(self.nearest_de00)})"
        )


def recipes_for(
    scheme: Scheme,
    ground: Beneath,
    wanted_lab: F64,
    *,
    wanted: str,
    dyes: Mapping[str, Dye],
    limits: Limits,
    gun: GunSet,
    within_de00: float,
) -> Reached:
    """Find recipes over what the scheme has under them, for `wanted_lab` (lights, 3), `wanted` in words."""
    reach = reach_of(scheme, ground, dyes, limits)
    found = alternatives(
        reach,
        reach.nearest(wanted_lab),
        wanted_lab,
        names=list(dyes),
        powders=[dye.concentrate_g_per_L is None for dye in dyes.values()],
        ripple_cv=one_coat_cv(gun.how, HANDS[STEADY]),
    )
    nearest = min(recipe.worst_de00 for recipe in found)
    reached = nearest <= within_de00
    return Reached(
        wanted=wanted,
        wanted_lab={light: _triple(wanted_lab[i]) for i, light in enumerate(scheme.lights)},
        lights=scheme.lights,
        dyes=tuple(dyes),
        within_de00=within_de00,
        reached=reached,
        nearest_de00=nearest,
        alternatives=tuple(found),
        advice=() if reached else tuple(_what_helps(scheme, ground, wanted_lab, dyes, limits, nearest)),
        ground=ground,
        gun=gun,
        reach=reach,
    )


def reach_of(scheme: Scheme, ground: Beneath, dyes: Mapping[str, Dye], limits: Limits) -> Reach:
    """All that can be reached over what the scheme has under it (see `ground_for`)."""
    return _over(ground.patches(scheme, per_mg_m2([])), dyes, limits)


def _what_helps(
    scheme: Scheme, ground: Beneath, wanted_lab: F64, dyes: Mapping[str, Dye], limits: Limits, now_de00: float
) -> list[str]:
    """Other dyes, wider limits and other bases, each with the distance it would leave; the nearest first."""
    more = {**dyes} | {name: load_library_dye(name) for name in library_names() if name not in dyes}
    wide = replace(
        limits,
        strongest_per_L=limits.strongest_per_L * 2.0,
        most_coats=limits.most_coats * 2,
        most_film_um=limits.most_film_um * 2.0,
    )
    de, used = _best(reach_of(scheme, ground, more, limits), wanted_lab, list(more))
    found = [
        (de, f"over this base with {used}"),
        (
            _best(reach_of(scheme, ground, dyes, wide), wanted_lab, list(dyes))[0],
            "with twice the strength and twice the film",
        ),
    ]
    veil = first_stack(scheme, bare=True).veil
    for words, (kind, colour) in OTHER_BASES.items():
        film = diffuse_film() if kind == "solid" else metal_film(MetalBase(flake_spread=scheme.base.flake_spread))
        other = Patches(film, colour_spectrum(colour), per_mg_m2([]), scheme.lights, scheme.observer_deg, veil)
        same, _ = _best(_over(other, dyes, limits), wanted_lab, list(dyes))
        de, used = _best(_over(other, more, limits), wanted_lab, list(more))
        found.append(
            (same, f"over {words} with the same dyes") if same < de + 0.3 else (de, f"over {words} with {used}")
        )
    # What is not seen is equally good: then another dye comes before another base, as it is less work.
    better = sorted((item for item in found if item[0] < now_de00 - 0.3), key=lambda f: max(f[0], JUST_SEEN_DE00))
    if not better:
        return ["Neither another dye of the library, another base nor wider limits would bring it nearer."]
    return [f"{words}: {de:.1f} away ({visibility(de)})" for de, words in better]


def _over(base: Patches, dyes: Mapping[str, Dye], limits: Limits) -> Reach:
    patches = replace(base, absorbance10_per_mg_m2=per_mg_m2(list(dyes.values())))
    return Reach(patches, units_of([dye.concentrate_g_per_L for dye in dyes.values()]), limits)


def _best(reach: Reach, wanted_lab: F64, names: Sequence[str]) -> tuple[float, str]:
    """The nearest distance, and the fewest dyes that come within 0.1 of it."""
    near = reach.nearest(wanted_lab)
    close = near.load_mg_m2[near.de00 <= near.de00[0] + 0.1]
    fewest = close[np.argmin((close > 0.0).sum(axis=1))]
    return float(near.de00[0]), listed([name for name, load in zip(names, fewest, strict=True) if load > 0.0])


def listed(names: Sequence[str]) -> str:
    """Names in a row, as in a sentence."""
    if not names:
        return "no dye at all"
    if len(names) > MANY:
        return f"these {len(names)} dyes"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _triple(values: F64) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])
