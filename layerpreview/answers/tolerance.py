"""How sure a scheme's colour is: many runs with every input drawn from its range, and which input matters most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.doubts import MOST_LEARNT, Parts, Source, parts_of
from layerpreview.colour import delta_e_2000, spectrum_to_lab
from layerpreview.doing import each_of
from layerpreview.errors import NoAnswerError
from layerpreview.finish.layers import stack_of
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.scene import Scene
from layerpreview.picture.spots import Spot, dye_shows, main_spot, spots_of
from layerpreview.scheme import Scheme
from layerpreview.units import NINETY

F64 = NDArray[np.float64]

RUNS = 4000
BINS, LEAST_IN_BIN = 20, 5
"""Of the runs, to see what one input explains: fewer bins where each would hold too few to have a mean."""
ENDS = (5.0, 95.0)


@dataclass(frozen=True)
class Share:
    """How much of the colour's variance one source makes on its own [0..1], and the share of runs that would stay
    within the tolerance if it were known."""

    source: Source
    variance_share: float
    within_if_known: float


@dataclass(frozen=True, eq=False)
class Spread:
    """The runs of one spot: `lab` (runs, 3), CIEDE2000 to the likely colour (runs,), the share within `within_de00`.

    `low`, `high` are the draws (sources,) of the palest and the deepest usual run: 5 % of all runs are lighter or
    darker. `shares` by importance.
    """

    spot: str
    lab: F64
    de00: F64
    within_de00: float
    share_within: float
    median_de00: float
    p90_de00: float
    low: F64 = field(repr=False)
    high: F64 = field(repr=False)
    shares: tuple[Share, ...]


@dataclass(frozen=True, eq=False)
class Tolerance:
    """The spread of every spot where dye shows, the one that stands for the finish first, over `runs` from `seed`.

    `parts`: the scheme's layers taken apart, which `Spread.low` and `Spread.high` are draws of.
    """

    light: str
    runs: int
    seed: int
    spreads: tuple[Spread, ...]
    parts: Parts = field(repr=False)


def tolerance_of(scheme: Scheme, scene: Scene, *, within_de00: float, runs: int, seed: int) -> Tolerance:
    """The spread of every spot of the scheme in `scene`. Raises NoAnswerError where no dye shows."""
    parts = parts_of(scheme)
    spots = dyed_spots(scheme, scene, nothing="there is nothing to be unsure of")
    spreads = [
        spread_of(scheme, spot, parts, within_de00=within_de00, runs=runs, seed=seed)
        for spot in each_of("trying what may come out", spots, len(spots))
    ]
    return Tolerance(scheme.lights[0], runs, seed, tuple(spreads), parts)


def dyed_spots(scheme: Scheme, scene: Scene, *, nothing: str) -> list[Spot]:
    """Places where dye shows, the one that stands for the finish first.

    Raises NoAnswerError where there is none, so that `nothing` is true.
    """
    return dyed_among(scheme, spots_of(scheme, scene), nothing=nothing)


def dyed_among(scheme: Scheme, spots: Sequence[Spot], *, nothing: str) -> list[Spot]:
    """The same of all `spots` of a scheme."""
    main = main_spot(spots)
    found = [spot for spot in (main, *(other for other in spots if other is not main)) if dye_shows(scheme, spot)]
    if not found:
        raise NoAnswerError(f"{scheme.name}: no dye shows anywhere, so {nothing}")
    return found


def drawn(sources: Sequence[Source], *, runs: int, seed: int) -> F64:
    """Factors (runs, sources) from triangular distributions low, likely, high; the same for the same seed.

    What was learnt has a 90 % range, which one in ten draws must leave: those are normal.
    """
    rng = np.random.default_rng(seed)

    def column(s: Source) -> F64:
        if s.kind == "learnt":
            return np.clip(rng.normal(1.0, 1.0 / NINETY, runs), 1.0 - MOST_LEARNT, 1.0 + MOST_LEARNT)
        if s.factor.high > s.factor.low:
            return rng.triangular(s.factor.low, s.factor.likely, s.factor.high, runs)
        return np.full(runs, s.factor.likely)

    return _side_by_side([column(s) for s in sources], runs)


def _side_by_side(columns: Sequence[F64], rows: int) -> F64:
    """The columns (rows,) as one array (rows, columns), of no width where there is none."""
    return np.reshape(columns, (len(columns), rows)).T


def spread_of(
    scheme: Scheme,
    spot: Spot,
    parts: Parts,
    *,
    within_de00: float,
    runs: int,
    seed: int,
    view: View = STRAIGHT_ON,
) -> Spread:
    """The runs of one spot, first light."""
    draws = drawn(parts.sources, runs=runs, seed=seed)
    lab_of = partial(lab_of_draws, scheme, spot, parts, view=view)
    lab = lab_of(draws)
    (likely,) = lab_of(np.ones((1, len(parts.sources))))
    de = delta_e_2000(lab, likely)
    inside = float((de <= within_de00).mean())
    order = np.argsort(lab[:, 0], kind="stable")
    deep, pale = (draws[order[min(round(runs * end / 100.0), runs - 1)]] for end in ENDS)
    shares = []
    total = float(lab.var(axis=0).sum())
    for i, source in enumerate(parts.sources):
        known = draws.copy()
        known[:, i] = 1.0
        near = delta_e_2000(lab_of(known), likely)
        explained = _explained(draws[:, i], lab) / total if total > 0.0 else 0.0
        shares.append(Share(source, explained, float((near <= within_de00).mean())))
    return Spread(
        spot=spot.name,
        lab=lab,
        de00=de,
        within_de00=within_de00,
        share_within=inside,
        median_de00=float(np.median(de)),
        p90_de00=float(np.percentile(de, 90.0)),
        low=pale,
        high=deep,
        shares=tuple(sorted(shares, key=lambda s: -s.variance_share)),
    )


def _explained(values: F64, lab: F64) -> float:
    """Variance of L*a*b* that one input explains on its own: of the means over equally full bins of its values, less
    what chance alone would give them. Nothing where the runs are too few to tell."""
    order = np.argsort(values, kind="stable")
    bins = np.array_split(lab[order], max(1, min(BINS, len(values) // LEAST_IN_BIN)))
    means = np.stack([part.mean(axis=0) for part in bins])
    chance = np.mean([part.var(axis=0).sum() / len(part) for part in bins])
    return max(float(means.var(axis=0).sum() - chance), 0.0)


def lab_of_draws(scheme: Scheme, spot: Spot, parts: Parts, draws: F64, view: View = STRAIGHT_ON) -> F64:
    """L*a*b* (runs, 3) of a place in the draws (runs, sources), first light."""
    spectra = spectra_of_draws(scheme, spot, parts, draws, view)
    return spectrum_to_lab(spectra, light=scheme.lights[0], observer_deg=scheme.observer_deg)


def spectra_of_draws(scheme: Scheme, spot: Spot, parts: Parts, draws: F64, view: View = STRAIGHT_ON) -> F64:
    """Reflectance (runs, 81): each piece of each dye of an entry is a layer of its own, its draw is its build."""
    whole, bare, build = stack_of(scheme, view, base=spot.base), spot.bare, spot.build
    layers: list[Layer] = []
    columns: list[F64] = []
    for i, layer in enumerate(parts.layers):
        film = parts.films(draws, i, spot.base)
        if isinstance(layer, OpaqueLayer):
            layers.append(layer)
            columns.append(build[i] * film)
            continue
        for absorbance10, factor in (piece for part in parts.dyes[i] for piece in part.pieces(draws)):
            layers.append(DyeLayer(absorbance10))
            columns.append(build[i] * film * factor)
    film_over = parts.film_over(whole.film, draws, spot.base, view)
    stack = Stack(tuple(layers), film_over, whole.opaque_film, whole.veil)
    builds = _side_by_side(columns, len(draws))
    return stack.reflectance(np.broadcast_to(bare, (len(draws), bare.size)), builds)
