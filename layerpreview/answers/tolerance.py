"""How sure a scheme's colour is: many runs with every input drawn from its range, and which input matters most."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, spectrum_to_lab
from layerpreview.errors import NoAnswerError
from layerpreview.film import Film, absorbance10_of_load
from layerpreview.film.curves import MetalFilm, MixedMetalFilm, mixed_film
from layerpreview.finish.layers import DyeInMix, End, absorptivity_on_grid, base_film, dyes_in, layer_of, stack_of
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.finish.texture import height_spread_um
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.pools import wet_coats
from layerpreview.picture.scene import Scene
from layerpreview.picture.spots import Spot, dye_shows, main_spot, spots_of
from layerpreview.scheme import Base, Coat, DyeCoat, Scheme
from layerpreview.spray import load_mg_m2
from layerpreview.spray.pooling import LEAST_FILM
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import NINETY, Range

F64 = NDArray[np.float64]

RUNS = 4000
BINS, LEAST_IN_BIN = 20, 5
"""Of the runs, to see what one input explains: fewer bins where each would hold too few to have a mean."""
ENDS = (5.0, 95.0)
FILM_UNSAID = Range(0.85, 1.0, 1.15)
"""A film stated as one figure still wanders by this much from job to job (assumed, common practice, no source)."""
MEASURED = Range(0.95, 1.0, 1.05)
"""Dye measured out by syringe or balance (assumed)."""
FLAKES_NAMED, FLAKES_SAID = Range(0.8, 1.0, 1.25), Range(0.9, 1.0, 1.1)
"""How far the flakes of a base may spread from what its silver, or the scheme in figures, says (assumed)."""
LEARNT = Range(0.0, 1.0, 2.0)
"""Of a learnt dye: 0 and 2 are the ends of its 90 % range, all wavelengths moving together (assumed: the safe side)."""
MOST_LEARNT = 2.0
"""How many times the range a draw may leave the best by."""


@dataclass(frozen=True)
class Source:
    """One thing that is not known to a point, relative to its likely value, and what it rests on."""

    name: str
    factor: Told
    kind: Literal["film", "measured", "learnt", "flakes", "levelling"] = field(repr=False)
    also_in_json: ClassVar = ("basis",)

    @property
    def basis(self) -> str:
        """What it rests on, in words."""
        return self.factor.basis


@dataclass(frozen=True, eq=False)
class DyePart:
    """One dye of one coat entry: its absorbance (81,) at the likely amounts, and the sources it depends on.

    `measured` scales it. `learnt`, where its file says how far it may be off: a factor of 2 adds `stronger10` (81,),
    the upper end of the 90 % range less the best, a factor of 0 takes `weaker10` away.
    """

    absorbance10: F64
    measured: int
    learnt: int | None
    weaker10: F64
    stronger10: F64

    def pieces(self, draws: F64) -> list[tuple[F64, F64]]:
        """Absorbances (81,) and what each is multiplied by in the draws (runs, sources) -> (runs,)."""
        amount = draws[:, self.measured]
        if self.learnt is None:
            return [(self.absorbance10, amount)]
        away = draws[:, self.learnt] - 1.0
        return [
            (self.absorbance10, amount),
            (self.stronger10, amount * np.maximum(away, 0.0)),
            (self.weaker10, amount * np.minimum(away, 0.0)),
        ]


@dataclass(frozen=True)
class BaseDoubt:
    """What is not known of a metal base: the sources of its `flakes` and, where its relief is known, of `levelling`.

    `follows` (layers,): by how much of the levelling's factor each entry's film moves; the one that pools most by all.
    """

    flakes: int
    levelling: int | None = None
    follows: tuple[float, ...] = ()

    def films(self, draws: F64, layer: int) -> F64:
        """What the film of a layer is multiplied by (runs,) in the draws (runs, sources)."""
        if self.levelling is None:
            return np.ones(len(draws))
        return np.asarray(1.0 + self.follows[layer] * (draws[:, self.levelling] - 1.0))


@dataclass(frozen=True, eq=False)
class Parts:
    """A scheme's layers taken apart: the dyes of each entry, and the `sources` in the order of a draw's columns.

    `bases`: the doubts of each metal base.
    """

    sources: tuple[Source, ...]
    dyes: tuple[tuple[DyePart, ...], ...]
    film_source: tuple[int, ...]
    layers: tuple[Layer, ...]
    bases: Mapping[Base, BaseDoubt] = field(default_factory=dict)

    def films(self, draws: F64, layer: int, base: Base | None) -> F64:
        """What the film of a layer over a base is multiplied by (runs,) in the draws (runs, sources)."""
        film = draws[:, self.film_source[layer]]
        doubt = None if base is None else self.bases.get(base)
        return film if doubt is None else film * doubt.films(draws, layer)

    def film_over(self, film: Film, draws: F64, base: Base | None, view: View) -> Film:
        """The film over a base, each run (runs,) over flakes of its own spread: from likely ones towards the widest.

        What flakes send up with no dye stays: in light from all round it hardly changes (0.4 % at the widest).
        """
        doubt = None if base is None else self.bases.get(base)
        if base is None or doubt is None or not isinstance(film, MetalFilm):
            return film
        widest = self.sources[doubt.flakes].factor.high
        other = base_film(_with_wider_flakes(base, widest), view)
        assert isinstance(other, MetalFilm)
        return mixed_film(film, other, (draws[:, doubt.flakes] - 1.0) / (widest - 1.0))

    def stack(self, whole: Stack, draw: F64, base: Base | None = None, view: View = STRAIGHT_ON) -> Stack:
        """The scheme's stack with every source at its factor in `draw` (sources,).

        `base`: what it lies over, as it is seen from `view`; without it the base is as it is likely.
        """
        film_over = self.film_over(whole.film, draw[None, :], base, view)
        layers: list[Layer] = []
        for i, layer in enumerate(self.layers):
            film = float(self.films(draw[None, :], i, base)[0])
            if isinstance(layer, OpaqueLayer):
                layers.append(OpaqueLayer(layer.reflectance, layer.hiding * film))
            else:
                pieces = [piece for part in self.dyes[i] for piece in part.pieces(draw[None, :])]
                total = sum((a * factor.item() for a, factor in pieces), np.zeros(WAVELENGTHS_NM.size))
                layers.append(DyeLayer(film * total))
        of_draw = film_over.at(0) if isinstance(film_over, MixedMetalFilm) else film_over
        return Stack(tuple(layers), of_draw, whole.opaque_film, whole.veil)


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
    spreads = [
        spread_of(scheme, spot, parts, within_de00=within_de00, runs=runs, seed=seed)
        for spot in dyed_spots(scheme, scene, nothing="there is nothing to be unsure of")
    ]
    return Tolerance(scheme.lights[0], runs, seed, tuple(spreads), parts)


def dyed_spots(scheme: Scheme, scene: Scene, *, nothing: str) -> list[Spot]:
    """Places where dye shows, the one that stands for the finish first.

    Raises NoAnswerError where there is none, so that `nothing` is true.
    """
    spots = spots_of(scheme, scene)
    main = main_spot(spots)
    found = [spot for spot in (main, *(other for other in spots if other is not main)) if dye_shows(scheme, spot)]
    if not found:
        raise NoAnswerError(f"{scheme.name}: no dye shows anywhere, so {nothing}")
    return found


def parts_of(scheme: Scheme) -> Parts:
    """Take the scheme's layers apart into dyes and sources.

    Coats with the same stated film share one source: it is the same gun, setting and hand. Transfer efficiency is no
    source: it changes how much must be sprayed for a film, not the colour of the film.
    """
    sources: dict[tuple[object, ...], Source] = {}
    for coat in scheme.coats:
        film = coat.film_um
        alike = [other.label for other in scheme.coats if other.film_um.range == film.range]
        sources.setdefault(("film", film.range), _film_source(film, alike))
    held = [(c, part) for c in scheme.coats if isinstance(c, DyeCoat) for part in dyes_in(scheme, scheme.mix_of(c))]
    for dyed, part in held:
        sources.setdefault(("mix", dyed.label, part.name), _measured_source(part, dyed.label))
    used = {part.name for _, part in held}
    for name, dye in scheme.dyes.items():
        if dye.learnt_with_doubt and name in used:
            doubt = Told.of(LEARNT, "", Rest(Basis.MEASURED, f"{dye.kind}, 90 % range"))
            sources["learnt", name] = Source(f"{name} as learnt", doubt, "learnt")
    bases_of_faces = dict.fromkeys(scheme.base_for(face.name) for face in scheme.faces) if held else {}
    metals = [base for base in bases_of_faces if base.kind == "metal"]
    follows = {base: _add_doubts(scheme, base, sources, alone=len(metals) == 1) for base in metals}
    at = {key: i for i, key in enumerate(sources)}
    bases = {
        base: BaseDoubt(at["flakes", base], at.get(("levelling", base)), shares) for base, shares in follows.items()
    }
    dyes = [
        tuple(_dye_part(scheme, coat, part, at) for part in dyes_in(scheme, scheme.mix_of(coat)))
        if isinstance(coat, DyeCoat)
        else ()
        for coat in scheme.coats
    ]
    films = tuple(at["film", coat.film_um.range] for coat in scheme.coats)
    layers = tuple(layer_of(scheme, coat) for coat in scheme.coats)
    return Parts(tuple(sources.values()), tuple(dyes), films, layers, bases)


def _add_doubts(
    scheme: Scheme, base: Base, sources: dict[tuple[object, ...], Source], *, alone: bool
) -> tuple[float, ...]:
    """Add what is not known of a metal base to the sources; the share by which each entry follows its levelling.

    Where it is not known how much of a relief a coat fills, the film is not known that lies one standard deviation of
    height above or below the mean: the factor is of such a place, as far off as the furthest end of the levelling.
    """
    first = next(face.name for face in scheme.faces if scheme.base_for(face.name) == base)
    where = "" if alone else f" on {first}"
    said = base.flake_spread is not None
    rest = Rest(Basis.ASSUMED, "10 % either way" if said else "20 % less to 25 % more")
    flakes = Told.of(FLAKES_SAID if said else FLAKES_NAMED, "", rest)
    sources["flakes", base] = Source(f"flake spread of the base{where}", flakes, "flakes")
    height_um = height_spread_um(base)
    if height_um is None:
        return ()
    away = [height_um * _pooling_doubt(scheme, coat, base.levelling) for coat in scheme.coats]
    most = min(max(away, default=0.0), 1.0 - LEAST_FILM)
    if most <= 0.0:
        return ()
    factor = Told.from_inputs(Range(1.0 - most, 1.0, 1.0 + most), "", levelling=base.levelling)
    sources["levelling", base] = Source(f"levelling over the relief{where}", factor, "levelling")
    return tuple(each / max(away) for each in away)


def _with_wider_flakes(base: Base, factor: float) -> Base:
    """The base with its narrow lobe that much wider, all else said as it is."""
    metal = base.metal
    said = {"broad_spread": metal.broad_spread, "broad_share": metal.broad_share, "brightness": metal.scale}
    return base.model_copy(update={"flake_spread": metal.flake_spread * factor, **said})


def _pooling_doubt(scheme: Scheme, coat: Coat, levelling: Range) -> float:
    """How far the build of an entry may be off for each um below the mean of the relief [1/um]."""
    low, likely, high = (
        sum(wet_coats(scheme, coat, levelling=share).builds_per_um) / coat.coats
        for share in (levelling.low, levelling.likely, levelling.high)
    )
    return max(high - likely, likely - low)


def _film_source(film: Told, coats: Sequence[str]) -> Source:
    unsaid = Told.of(FILM_UNSAID, "", Rest(Basis.ASSUMED, "one figure stated, 15 % either way"))
    factor = film.scaled(1.0 / film.likely, "") if film.high > film.low else unsaid
    *first, last = dict.fromkeys(coats)
    labels = f"{', '.join(first)} and {last}" if first else last
    return Source(f"wet film of {labels} ({film.likely:.3g} um)", factor, "film")


def _measured_source(part: DyeInMix, mix: str) -> Source:
    pure = part.pure_g_per_L
    counted = pure.high > pure.low
    if counted:
        factor = Told.from_inputs(pure.range.scaled(1.0 / pure.likely), "", drops=part.drops_per_mL)
    else:
        factor = Told.of(MEASURED, "", Rest(Basis.ASSUMED, "5 % either way"))
    return Source(f"{part.name} in {mix}", factor, "measured")


def _dye_part(scheme: Scheme, coat: DyeCoat, part: DyeInMix, at: Mapping[tuple[object, ...], int]) -> DyePart:
    load = load_mg_m2(dye_g_per_L=part.pure_g_per_L.likely, wet_film_um=coat.film_um.likely) * coat.coats
    dye = scheme.dyes[part.name]
    ends: tuple[End, ...] = ("low", "likely", "high")
    low, best, high = (
        absorbance10_of_load(absorptivity_L_per_g_cm=absorptivity_on_grid(dye, end), load_mg_m2=load) for end in ends
    )
    return DyePart(
        absorbance10=best,
        measured=at["mix", coat.label, part.name],
        learnt=at.get(("learnt", part.name)),
        # However far below its range a draw falls, no dye lets through more than all light.
        weaker10=np.minimum(best - low, best / MOST_LEARNT),
        stronger10=high - best,
    )


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
    lab_of = partial(_lab, scheme, spot, parts, view)
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


def _lab(scheme: Scheme, spot: Spot, parts: Parts, view: View, draws: F64) -> F64:
    """L*a*b* (runs, 3): each piece of each dye of an entry is a layer of its own, its draw is its build."""
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
    spectra = stack.reflectance(np.broadcast_to(bare, (len(draws), bare.size)), builds)
    return spectrum_to_lab(spectra, light=scheme.lights[0], observer_deg=scheme.observer_deg)
