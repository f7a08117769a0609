"""How sure a scheme's colour is: many runs with every input drawn from its range, and which input matters most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, white_xyz, xyz_to_lab, xyz_weights
from layerpreview.film import absorbance10_of_load
from layerpreview.preview.paint import absorptivity_on_grid, dyes_in, layer_of, stack_of
from layerpreview.preview.spots import Spot
from layerpreview.preview.stack import DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.preview.view import STRAIGHT_ON, View
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.spray import load_mg_m2
from layerpreview.units import Range

F64 = NDArray[np.float64]

RUNS = 4000
BINS = 20
ENDS = (5.0, 95.0)
FILM_UNSAID = Range(0.85, 1.0, 1.15)
"""A film stated as one figure still wanders by this much from job to job (assumed, common practice, no source)."""
MEASURED = Range(0.95, 1.0, 1.05)
"""Dye measured out by syringe or balance (assumed)."""


@dataclass(frozen=True)
class Source:
    """One thing that is not known to a point, relative to its likely value, and what it rests on."""

    name: str
    factor: Range
    basis: str


@dataclass(frozen=True, eq=False)
class Parts:
    """A scheme's layers taken apart: for each coat entry the absorbance (81,) of every dye, each with the sources it
    scales by; `sources` in the order of the columns of a draw."""

    sources: tuple[Source, ...]
    dyes: tuple[tuple[tuple[F64, int], ...], ...]
    film_source: tuple[int, ...]
    layers: tuple[Layer, ...]

    def stack(self, whole: Stack, draw: F64) -> Stack:
        """The scheme's stack with every source at its factor in `draw` (sources,)."""
        layers: list[Layer] = []
        for layer, parts, film in zip(self.layers, self.dyes, self.film_source, strict=True):
            if isinstance(layer, OpaqueLayer):
                layers.append(OpaqueLayer(layer.reflectance, layer.hiding * float(draw[film])))
            else:
                layers.append(
                    DyeLayer(sum((a * draw[film] * draw[s] for a, s in parts), np.zeros(WAVELENGTHS_NM.size)))
                )
        return Stack(tuple(layers), whole.film, whole.opaque_film, whole.veil)


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
    low: F64
    high: F64
    shares: tuple[Share, ...]


def parts_of(scheme: Scheme) -> Parts:
    """Take the scheme's layers apart into dyes and sources.

    Coats with the same stated film share one source: it is the same gun, setting and hand. Transfer efficiency is no
    source: it changes how much must be sprayed for a film, not the colour of the film.
    """
    sources: list[Source] = []
    films: dict[tuple[float, float, float], int] = {}
    measures: dict[tuple[str, str], int] = {}
    dyes, film_of = [], []
    for coat in scheme.coats:
        film = coat.film_um
        key = (film.low, film.likely, film.high)
        if key not in films:
            films[key] = len(sources)
            varies = film.high > film.low
            factor = film.scaled(1.0 / film.likely) if varies else FILM_UNSAID
            basis = coat.film_basis if varies else "one figure stated; 15 % either way assumed"
            sources.append(Source(f"wet film of {film.likely:.3g} um", factor, basis))
        film_of.append(films[key])
        found: list[tuple[F64, int]] = []
        for part in dyes_in(scheme, scheme.mix_of(coat)) if isinstance(coat, DyeCoat) else ():
            assert isinstance(coat, DyeCoat)
            pair = (coat.mix, part.name)
            if pair not in measures:
                measures[pair] = len(sources)
                pure = part.pure_g_per_L
                counted = pure.high > pure.low
                factor = pure.scaled(1.0 / pure.likely) if counted else MEASURED
                basis = f"drops, {part.drops_basis}" if counted else "5 % either way assumed"
                sources.append(Source(f"{part.name} in {coat.mix}", factor, basis))
            load = load_mg_m2(dye_g_per_L=part.pure_g_per_L.likely, wet_film_um=film.likely) * coat.coats
            spectrum = absorptivity_on_grid(scheme.dyes[part.name])
            found.append((absorbance10_of_load(absorptivity_L_per_g_cm=spectrum, load_mg_m2=load), measures[pair]))
        dyes.append(tuple(found))
    return Parts(tuple(sources), tuple(dyes), tuple(film_of), tuple(layer_of(scheme, coat) for coat in scheme.coats))


def drawn(sources: Sequence[Source], *, runs: int, seed: int) -> F64:
    """Factors (runs, sources) from triangular distributions low, likely, high; the same for the same seed."""
    rng = np.random.default_rng(seed)
    columns = [
        rng.triangular(s.factor.low, s.factor.likely, s.factor.high, runs)
        if s.factor.high > s.factor.low
        else np.full(runs, s.factor.likely)
        for s in sources
    ]
    return np.stack(columns, axis=1) if columns else np.ones((runs, 0))


def spread_of(
    scheme: Scheme,
    spot: Spot,
    parts: Parts,
    *,
    within_de00: float,
    runs: int = RUNS,
    seed: int = 7,
    view: View = STRAIGHT_ON,
) -> Spread:
    """The runs of one spot, first light."""
    draws = drawn(parts.sources, runs=runs, seed=seed)
    whole = stack_of(scheme, view, base=spot.base)
    bare, build = spot.bare, spot.build
    lab = _lab(scheme, whole, bare, parts, build, draws)
    likely = _lab(scheme, whole, bare, parts, build, np.ones((1, len(parts.sources))))[0]
    de = delta_e_2000(lab, likely)
    inside = float((de <= within_de00).mean())
    order = np.argsort(lab[:, 0], kind="stable")
    deep, pale = (draws[order[min(round(runs * end / 100.0), runs - 1)]] for end in ENDS)
    shares = []
    total = float(lab.var(axis=0).sum())
    for i, source in enumerate(parts.sources):
        known = draws.copy()
        known[:, i] = 1.0
        near = delta_e_2000(_lab(scheme, whole, bare, parts, build, known), likely)
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
    what chance alone would give them."""
    order = np.argsort(values, kind="stable")
    bins = np.array_split(lab[order], BINS)
    means = np.stack([part.mean(axis=0) for part in bins])
    chance = np.mean([part.var(axis=0).sum() / len(part) for part in bins])
    return max(float(means.var(axis=0).sum() - chance), 0.0)


def _lab(scheme: Scheme, whole: Stack, bare: F64, parts: Parts, build: F64, draws: F64) -> F64:
    """L*a*b* (runs, 3): each dye of each entry is a layer of its own, its draw is its build."""
    layers: list[Layer] = []
    columns: list[F64] = []
    for i, layer in enumerate(parts.layers):
        film = draws[:, parts.film_source[i]]
        if isinstance(layer, OpaqueLayer):
            layers.append(layer)
            columns.append(build[i] * film)
            continue
        for absorbance10, source in parts.dyes[i]:
            layers.append(DyeLayer(absorbance10))
            columns.append(build[i] * film * draws[:, source])
    stack = Stack(tuple(layers), whole.film, whole.opaque_film, whole.veil)
    builds = np.stack(columns, axis=1) if columns else np.zeros((len(draws), 0))
    spectra = stack.reflectance(np.broadcast_to(bare, (len(draws), bare.size)), builds)
    light, observer = scheme.lights[0], scheme.observer_deg
    xyz = spectra @ xyz_weights(light, observer_deg=observer).T
    return xyz_to_lab(xyz, white_xyz=white_xyz(light, observer_deg=observer))
