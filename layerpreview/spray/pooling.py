"""What wet coats do over a relief: they gather in its hollows and lie thin over its peaks, as far as they level."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.spray.budget import relief_left_um
from layerpreview.units import Range

F32 = NDArray[np.float32]

LEVELLING = Range(0.0, 0.3, 1.0)
"""Share of a relief that a wet coat levels out before it sets: from none to all of it, as the mix sheet takes it for
the clear; the likely share is assumed, no source."""
LEAST_FILM = 0.15
"""Share of the nominal film that stays on the sharpest peak: assumed, no source."""
SETTLED = 1e-7


@dataclass(frozen=True)
class WetCoats:
    """Coats of one entry over a relief: `wet_um` [um] each, `solids` by volume, the share `levelling` [0..1] by which
    each fills the hollows that it meets, and the share `left` [0..1] of the relief that earlier entries left."""

    wet_um: float
    coats: int
    solids: float
    levelling: float
    left: float = 1.0

    @property
    def builds_per_um(self) -> tuple[float, ...]:
        """What each coat gains for each um that a place lies below the mean of the relief, as a share of its film.

        Coat k + 1 meets what the k before left of the relief when they had dried.
        """
        return tuple(
            relief_left_um(relief_um=self.left, coats=k, solids=self.solids, levelling=self.levelling)
            * self.levelling
            / self.wet_um
            for k in range(self.coats)
        )

    def share_left(self, *, fill: float = 1.0) -> float:
        """Share of the relief they meet that is left when they have dried, at the build `fill` [0..1]."""
        return relief_left_um(relief_um=1.0, coats=self.coats, solids=self.solids, levelling=self.levelling * fill)


def pooled_build(depth_um: F32, wet: WetCoats, *, weight: F32) -> F32:
    """Return the local build of all coats together, 1 on average over the `weight`.

    depth_um: how far each place lies below the weighted mean of the relief [um], any shape; weight: of each place, of
    the same shape, not all 0. Each coat is 1 + levelling * depth left / wet film, nowhere less than LEAST_FILM; what
    the peaks keep by that is missing all over, so that no paint is made.
    """
    total = np.zeros_like(depth_um)
    for per_um in wet.builds_per_um:
        total += _not_below_least(depth_um * np.float32(per_um), weight)
    total /= np.float32(wet.coats)
    return total


def _not_below_least(gain: F32, weight: F32) -> F32:
    """max(LEAST_FILM, level + gain) at the level that makes its weighted mean 1."""
    some = weight > 0.0
    inside, share = gain[some].astype(np.float64), weight[some] / weight[some].sum(dtype=np.float64)
    level = 1.0 - float(share @ inside)
    # The mean rises with the level ever more steeply: Newton's steps come down to it from above and never pass it.
    while (over := float(share @ np.maximum(LEAST_FILM, level + inside)) - 1.0) > SETTLED:
        level -= over / float(share @ (level + inside > LEAST_FILM))
    return np.asarray(np.maximum(np.float32(LEAST_FILM), gain + np.float32(level)), dtype=np.float32)
