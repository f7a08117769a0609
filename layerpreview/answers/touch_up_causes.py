"""What makes a repair show: the hand, the dye mixed once more, what light has left of the old, the base's texture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.along_feather import Colours, Strip, differences, untouched_builds, usual_fading
from layerpreview.answers.doubts import parts_of
from layerpreview.answers.fade import Fading
from layerpreview.answers.feather import Strays, strays_of
from layerpreview.colour import delta_e_2000, spectrum_to_lab
from layerpreview.finish.layers import stack_of
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.spray.passes import HANDS, Hand
from layerpreview.units import Range

F64 = NDArray[np.float64]

_PAIRS = 400
_EVEN = 1e-3
"""Standard deviation of a base's light below which it has no texture."""


def dye_doubts(scheme: Scheme) -> list[Range]:
    """How strong each dye of each coat entry, mixed once more, may come out against the first time; 1 for paint."""
    parts, found = parts_of(scheme), list[Range]()
    for i, coat in enumerate(scheme.coats):
        dyed = [parts.sources[part.measured].factor.range for part in parts.dyes[i]]
        found += dyed if isinstance(coat, DyeCoat) else [Range.point(1.0)]
    return found


def hand_strays(scheme: Scheme, hand: Hand, fading: Fading, seed: int, *, dyes: bool) -> Strays:
    """Attempts of a hand at all coats of a scheme; with `dyes` mixed once more, else the very same."""
    doubts = dye_doubts(scheme) if dyes else [Range.point(1.0)] * len(fading.layers)
    return strays_of(hand, coats=[coat.coats for coat in scheme.coats], dyes=doubts, seed=seed)


def one_attempt(strays: Strays, attempt: int) -> Strays:
    """One of many attempts."""
    row = slice(attempt, attempt + 1)
    return Strays(strays.sanded_mm[row], strays.laid_mm[row], strays.level[row], strays.dye[row])


def worst_of(away_de00: F64) -> float:
    """Of CIEDE2000 (lights, views, attempts, P) that of the usual attempt, by the light and view where most shows."""
    return float(np.median(away_de00.max(axis=3), axis=2).max())


def each_alone(
    colours: Colours, strip: Strip, fadings: Sequence[Fading], feather_mm: float, *, hand: Hand, seed: int
) -> dict[str, float]:
    """The worst step that the hand, the dye mixed once more and the light of years leave, each alone."""
    scheme, perfect = colours.scheme, HANDS["flat"]
    new = (replace(fadings[0], k_h=np.zeros_like(fadings[0].k_h)),)
    alone: dict[str, tuple[Strays, Sequence[Fading]]] = {
        "the hand": (hand_strays(scheme, hand, fadings[0], seed, dyes=False), new),
        "the dye mixed once more": (hand_strays(scheme, perfect, fadings[0], seed, dyes=True), new),
    }
    if any(fading.k_h.any() for fading in fadings):
        unlike = [usual_fading(fadings)]
        alone["the light of the years"] = (hand_strays(scheme, perfect, fadings[0], seed, dyes=False), unlike)
    return {
        name: worst_of(differences(colours, strip, strays, some, feather_mm, touched=True))
        for name, (strays, some) in alone.items()
    }


def dye_left(strip: Strip, fadings: Sequence[Fading]) -> dict[str, Range]:
    """Share of each fading dye that is left beside the repair, harsh to gentle."""
    beside = strip.builds[:, int(np.argmax(strip.away_mm))][:, None]
    left = np.stack([fading.left(beside).ravel() for fading in fadings])
    there = {fadings[0].names[d] for d in fadings[0].of_dye[beside[fadings[0].of_coat, 0] > 0.0] if d >= 0}
    return {
        name: Range(float(left[:, d].min()), float(np.median(left[:, d])), float(left[:, d].max()))
        for d, name in enumerate(fadings[0].names)
        if name in there and float(left[:, d].min()) < 1.0 - 1e-6
    }


def weakened_de00(colours: Colours, strip: Strip, fadings: Sequence[Fading], feather_mm: float) -> float | None:
    """The worst step of a perfect hand with every dye weakened to what the light has left of it beside the repair."""
    fading = usual_fading(fadings)
    if not fading.k_h.any():
        return None
    perfect = hand_strays(colours.scheme, HANDS["flat"], fading, 0, dyes=False)
    left = np.append(fading.left(strip.builds[:, int(np.argmax(strip.away_mm))][:, None]).ravel(), 1.0)
    matched = replace(one_attempt(perfect, 0), dye=left[None, fading.of_dye])
    return worst_of(differences(colours, strip, matched, [fading], feather_mm, touched=True))


def texture_de00(colours: Colours, strip: Strip, gains: F64, *, flat: bool, seed: int) -> float | None:
    """How much two places of the base's texture differ under the finish, or one from a flat spot; half of them less.

    `gains` (N,): places of the base against its mean. Nothing for a base without texture, or wood, whose grain stays.
    """
    if colours.base.kind == "wood" or float(gains.std()) < _EVEN:
        return None
    picked = np.random.default_rng(seed).choice(gains, (2, _PAIRS))
    if flat:
        picked[1] = 1.0
    whole = colours.fading.stack(stack_of(colours.scheme, base=colours.base))
    build = untouched_builds(strip, colours.fading)[int(np.argmax(strip.away_mm))]
    builds = np.broadcast_to(build, (_PAIRS, build.size))
    one, other = (
        spectrum_to_lab(
            whole.reflectance(gain[:, None] * colours.bare, builds),
            light=colours.scheme.lights[0],
            observer_deg=colours.scheme.observer_deg,
        )
        for gain in picked
    )
    return float(np.median(delta_e_2000(one, other)))
