"""The overlap of a repair: what sanding leaves of old coats, what is sprayed again over it, and how a hand strays.

All by the distance from the damage [mm], negative inside it. Old coats are sanded from nothing at the border of the
damage to whole over the feather, u^2 (3 - 2 u) with u = distance / feather, as a soft burst falls off; new ones are
sprayed so that they make up for it. Only a perfect hand makes the sum 1.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layerpreview.spray.passes import GUNS, Hand
from layerpreview.units import Range

F64 = NDArray[np.float64]

LEAST_FEATHER_MM, MOST_FEATHER_MM = 10.0, 60.0
FEATHERS_MM = (10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0)
"""Feathers that are tried, the smallest first."""
ATTEMPTS = 40


@dataclass(frozen=True, eq=False)
class Strays:
    """How far each of T attempts strays from what is meant; nothing for a perfect hand with the very same dye.

    `sanded_mm` (T,) and `laid_mm` (T, coats): how far the middle of a feather lies outwards of where it is meant;
    `level` (T, coats): what is sprayed again against what is meant; `dye` (T, layers): how strong the dye is against
    that of the old coats.
    """

    sanded_mm: F64
    laid_mm: F64
    level: F64
    dye: F64


def kept_share(away_mm: ArrayLike, *, feather_mm: float) -> F64:
    """Share [0..1] of the old coats that sanding leaves at distances from the damage, any shape.

    >>> kept_share([-5.0, 0.0, 10.0, 20.0, 30.0], feather_mm=20.0).tolist()
    [0.0, 0.0, 0.5, 1.0, 1.0]
    """
    u = np.clip(np.asarray(away_mm, dtype=np.float64) / feather_mm, 0.0, 1.0)
    return np.asarray(u * u * (3.0 - 2.0 * u))


def new_share(away_mm: ArrayLike, *, feather_mm: float) -> F64:
    """Share [0..1] of the coats that is to be sprayed again, by a perfect hand: what sanding took."""
    return np.asarray(1.0 - kept_share(away_mm, feather_mm=feather_mm))


def shares(away_mm: F64, strays: Strays, *, feather_mm: float) -> tuple[F64, F64]:
    """What is left of the old coats (T, P) and what is sprayed again of each coat (T, coats, P), as hands leave it.

    `away_mm` (P,). Both together are 1 only where nothing strays.
    """
    old = kept_share(away_mm[None, :] - strays.sanded_mm[:, None], feather_mm=feather_mm)
    new = new_share(away_mm[None, None, :] - strays.laid_mm[:, :, None], feather_mm=feather_mm)
    return old, strays.level[:, :, None] * new


def strays_of(
    hand: Hand, *, coats: Sequence[int], dyes: Sequence[Range], attempts: int = ATTEMPTS, seed: int = 7
) -> Strays:
    """Attempts of a hand at a repair of coat entries of so many `coats`, with `dyes` as strong as these ranges say.

    The middle of a feather strays by the hand's `spacing` of the small gun's fan, once in sanding and for every coat
    again; the level by its `speed` and `distance` for every coat. N coats stray by 1 / sqrt N. Factors of dyes come
    from triangular distributions. The same seed strays alike whatever the feather.
    """
    rng = np.random.default_rng(seed)
    root = np.sqrt(np.maximum(np.asarray(coats, dtype=np.float64), 1.0))
    place_mm = hand.spacing * GUNS["detail"].width_mm
    normal = np.clip(rng.standard_normal((attempts, 1 + 2 * len(root))), -2.5, 2.5)
    laid, level = np.split(normal[:, 1:], 2, axis=1)
    drawn = rng.random((attempts, len(dyes)))
    return Strays(
        sanded_mm=place_mm * normal[:, 0],
        laid_mm=place_mm * laid / root,
        level=np.exp(math.hypot(hand.speed, hand.distance) * level / root),
        dye=_triangular(drawn, dyes),
    )


def _triangular(share: F64, ranges: Sequence[Range]) -> F64:
    """Values (T, n) below which the `share` (T, n) of triangular distributions lies."""
    out = np.ones_like(share)
    for i, r in enumerate(ranges):
        wide = r.high - r.low
        if wide > 0.0:
            turn, p = (r.likely - r.low) / wide, share[:, i]
            rising = r.low + np.sqrt(p * wide * (r.likely - r.low))
            out[:, i] = np.where(p < turn, rising, r.high - np.sqrt((1.0 - p) * wide * (r.high - r.likely)))
    return out
