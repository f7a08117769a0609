"""Two learnings of one dye compared: how much stronger the second is, what hue is left, and whether that is doubt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.learn.card.model import (
    Ground,
    Lab,
    lab_eye,
    lab_pair,
    reading_and_slope,
)
from layerpreview.learn.fit.prior import DYE_REACH_NM, alike
from layerpreview.units import Range

F64 = NDArray[np.float64]

CHANCE = 0.025
"""A difference is told where chance alone makes one as large in fewer cards: strength and hue together 5 %."""
_DIRECTIONS = 3  # hue, depth of colour and how both go with the load: what a change that is no strength does to colours
_NEUTRAL = 5.0  # chroma below which a colour has no hue to turn
_WORTH_A_WORD = 0.3  # weighted L*a*b* steps


@dataclass(frozen=True)
class ColourLeft:
    """A colour once the strength is taken out: `load` coats over `ground`, D65, the first and the second L*a*b*."""

    ground: str
    load: float
    first_lab: Lab
    second_lab: Lab
    de00: float


@dataclass(frozen=True)
class Changed:
    """What became of a dye from its first learning to its second.

    `strength`: the second over the first, 90 % range. `strength_sure`, `hue_sure` [0..1]: how seldom an unchanged dye
    would have looked as different; a change is told from `1 - CHANCE` on. `colours`: what no strength mends, with
    `hue_words` for it where it is told.
    """

    strength: Range
    strength_sure: float
    hue_sure: float
    colours: tuple[ColourLeft, ...]
    hue_words: tuple[str, ...]

    @property
    def stronger_or_weaker(self) -> bool:
        """Whether the strength differs by more than the doubt."""
        return self.strength_sure > 1.0 - CHANCE

    @property
    def other_hue(self) -> bool:
        """Whether the hue differs by more than the doubt."""
        return self.hue_sure > 1.0 - CHANCE

    @property
    def mean_left_de00(self) -> float:
        """CIEDE2000 that is left once the strength is taken out, mean of the colours asked about."""
        return float(np.mean([colour.de00 for colour in self.colours]))

    @property
    def worst_left(self) -> ColourLeft:
        """Where most is left."""
        return max(self.colours, key=lambda colour: colour.de00)


@dataclass(frozen=True)
class Drift:
    """A bottle of a dye beside an earlier one, learnt into the file `earlier`.

    `changed`: the new over the earlier, by volume as sold where the card's strength is one, else by weight of pure dye.
    `used`, `use`: the card's strength, and how much of the new bottle is as strong as that of the earlier one, with its
    90 % range, in `unit`.
    """

    earlier: str
    changed: Changed
    used: float
    use: Range
    unit: str
    notes: tuple[str, ...]


def compare(
    first10: F64, second10: F64, doubts: Sequence[F64], *, grounds: Sequence[Ground], loads: Sequence[float]
) -> Changed:
    """Compare two absorbances (81,) of one coat by the colours of `loads` coats over `grounds`, D65 and 2 degrees.

    `doubts`: roots (81, K) of the covariance of the logarithm of either, independent of each other. The strength is the
    one factor that leaves least of the difference in colour (weights of CIE94). Of what is left only the three
    directions of colour count that smooth changes of a spectrum move most: a chi-square of three.
    """
    from scipy.stats import chi2, norm

    log, middle = np.log(second10 / first10), np.sqrt(first10 * second10)
    slopes = np.concatenate([_colour_slopes(ground, load * middle) for ground in grounds for load in loads])
    by_strength = slopes.sum(axis=1)
    weights = by_strength @ slopes / (by_strength @ by_strength)
    strength = float(weights @ log)
    sd = float(np.sqrt(sum(np.square(weights @ root).sum() for root in doubts)))
    left = slopes - np.outer(by_strength, weights)  # colours moved by what is no strength
    seen = _seen_most(left) @ left
    away = seen @ log
    covariance = sum((seen @ root) @ (seen @ root).T for root in doubts)
    square = float(away @ np.linalg.solve(covariance, away))
    factor = float(np.exp(strength))
    colours = tuple(_colour(ground, load, factor * first10, second10) for ground in grounds for load in loads)
    hue_sure = float(chi2.cdf(square, _DIRECTIONS))
    return Changed(
        strength=Range.of_log(factor, sd),
        strength_sure=float(1.0 - 2.0 * norm.sf(abs(strength) / sd)),
        hue_sure=hue_sure,
        colours=colours,
        hue_words=_words(colours) if hue_sure > 1.0 - CHANCE else (),
    )


def _colour_slopes(ground: Ground, dye10: F64) -> F64:
    """Lightness, chroma and hue, weighed as in CIE94, over the logarithm of the absorbance (3, 81)."""
    _, lab, by_log = reading_and_slope(lab_eye("D65", 2), ground.film, dye10, ground.bare())
    return np.asarray(_weighed(lab) @ by_log)


def _weighed(lab: F64) -> F64:
    """L*a*b* differences to those of lightness, chroma and hue as CIE94 weighs them, at a colour: (3, 3)."""
    chroma = float(np.hypot(lab[1], lab[2]))
    along = np.array([lab[1], lab[2]]) / chroma if chroma else np.array([1.0, 0.0])
    turned = np.array([[1.0, 0.0, 0.0], [0.0, *along], [0.0, -along[1], along[0]]])
    return np.asarray(turned / np.array([1.0, 1.0 + 0.045 * chroma, 1.0 + 0.015 * chroma])[:, None])


def _seen_most(left: F64) -> F64:
    """Directions of colour (3, colours) that smooth changes of the spectrum move most."""
    _, directions = np.linalg.eigh(left @ alike(DYE_REACH_NM) @ left.T)
    return np.asarray(directions[:, -_DIRECTIONS:].T)


def _colour(ground: Ground, load: float, first10: F64, second10: F64) -> ColourLeft:
    eye, bare = lab_eye("D65", 2), ground.bare()
    first, second = (reading_and_slope(eye, ground.film, load * dye, bare)[1] for dye in (first10, second10))
    return ColourLeft(ground.name, load, *lab_pair(first, second))


def _words(colours: Sequence[ColourLeft]) -> tuple[str, ...]:
    """How the second looks beside the first, the most striking first: redder, yellower, greener, bluer, duller ..."""
    first = np.array([colour.first_lab for colour in colours])
    second = np.array([colour.second_lab for colour in colours])
    steps = [_weighed(lab) @ away for lab, away in zip(first, second - first, strict=True)]
    light, chroma, hue = np.mean(steps, axis=0)
    lab, moved = first.mean(axis=0), (second - first).mean(axis=0)
    if np.hypot(lab[1], lab[2]) < _NEUTRAL:
        turns = [(abs(moved[1]), _towards(1, moved[1])), (abs(moved[2]), _towards(2, moved[2]))]
    else:
        # Across the chroma: an orange turns redder or greener, a red yellower or bluer.
        across = np.array([-lab[2], lab[1]]) * hue
        axis = int(np.argmax(np.abs(across)))
        turns = [(abs(hue), _towards(axis + 1, across[axis])), (abs(chroma), "brighter" if chroma > 0 else "duller")]
    found = sorted([*turns, (abs(light), "lighter" if light > 0 else "darker")], reverse=True)
    return tuple(word for k, (size, word) in enumerate(found) if not k or size > _WORTH_A_WORD)


def _towards(axis: int, step: float) -> str:
    return {1: ("greener", "redder"), 2: ("bluer", "yellower")}[axis][int(step > 0)]
