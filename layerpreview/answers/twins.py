"""A pale and a deep twin of a finish: how it may come out, as films to lay over the same picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.doubts import Parts, parts_of
from layerpreview.answers.tolerance import Spread, lab_of_draws, spectra_of_draws, spread_of
from layerpreview.colour import delta_e_2000, display_matrix, rgb_lin_to_hex
from layerpreview.finish.stack import OpaqueLayer
from layerpreview.picture.spots import Spot
from layerpreview.scheme import Scheme

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Twin:
    """One way the finish may come out, under the first light.

    `factors` (layers,): each entry's build against the likely one. `lab`, `srgb`: the colour of the place, of the run
    itself; `de00`: CIEDE2000 to the likely colour.
    """

    factors: tuple[float, ...]
    lab: tuple[float, float, float]
    srgb: str
    de00: float


@dataclass(frozen=True, eq=False)
class Twins:
    """The pale, the likely and the deep one at `spot`; one run in twenty is paler still, one in twenty deeper."""

    spot: Spot
    pale: Twin
    likely: Twin
    deep: Twin
    spread: Spread
    parts: Parts


def twins_of(scheme: Scheme, spot: Spot, *, within_de00: float, runs: int, seed: int) -> Twins:
    """The twins at a place where dye shows: the runs that `tolerance` shows as pale and deep."""
    parts = parts_of(scheme)
    spread = spread_of(scheme, spot, parts, within_de00=within_de00, runs=runs, seed=seed)
    draws = np.stack([spread.low, np.ones(len(parts.sources)), spread.high])
    labs = lab_of_draws(scheme, spot, parts, draws)
    shown = spectra_of_draws(scheme, spot, parts, draws) @ _display(scheme).T
    pale, likely, deep = (
        Twin(
            factors=tuple(factors_of(parts, draw, spot)),
            lab=(float(lab[0]), float(lab[1]), float(lab[2])),
            srgb=rgb_lin_to_hex(rgb),
            de00=float(delta_e_2000(lab, labs[1])),
        )
        for draw, lab, rgb in zip(draws, labs, shown, strict=True)
    )
    return Twins(spot, pale, likely, deep, spread, parts)


def factors_of(parts: Parts, draw: F64, spot: Spot) -> Sequence[float]:
    """What each entry's build is multiplied by in one draw (sources,): film times dye.

    Of several dyes in a mix that are off by unlike shares, or one whose spectrum is, it is the factor that comes
    nearest to the draw's absorbance over all wavelengths (least squares).
    """
    one = draw[None, :]
    found = []
    for i, layer in enumerate(parts.layers):
        film = float(parts.films(one, i, spot.base)[0])
        if isinstance(layer, OpaqueLayer):
            found.append(film)
            continue
        likely10 = np.sum([part.absorbance10 for part in parts.dyes[i]], axis=0)
        drawn10 = np.sum([a * float(f[0]) for part in parts.dyes[i] for a, f in part.pieces(one)], axis=0)
        found.append(film * float(drawn10 @ likely10) / max(float(likely10 @ likely10), 1e-12))
    return found


def _display(scheme: Scheme) -> F64:
    return display_matrix(scheme.lights[0], observer_deg=scheme.observer_deg)
