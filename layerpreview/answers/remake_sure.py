"""How sure a remade colour is, and which one card of today's mixes takes most of the doubt away."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.doubts import FILM_UNSAID, Parts, Source, parts_of
from layerpreview.answers.progress import READING_NOISE
from layerpreview.answers.remake_booth import Booth, Recipe
from layerpreview.answers.tolerance import drawn
from layerpreview.colour import WAVELENGTHS_NM, delta_e_2000, metric_de00, rgb_basis, spectrum_to_lab
from layerpreview.film import Film, diffuse_film
from layerpreview.finish.layers import stack_of
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.finish.view import STRAIGHT_ON
from layerpreview.picture.spots import Spot
from layerpreview.scheme import DyeCoat, Scheme
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import NINETY, Range

F64 = NDArray[np.float64]

RUNS = 800
COAT_SCATTER = 0.06
"""How far one coat of a card may be off the nominal film, as a share (as for cards that dyes are learnt from)."""
WHITE = 0.86  # of a white card: assumed
WHITE_CARD, PART_BASE = "a white card", "the part's own base"
_FURTHEST = 2.0  # of ln absorbance, beyond which no draw goes: a factor of seven
_STEP = 0.05
_RATHER_PART = 1.05  # by how much better a white card must be: the part's own base shows the base, too


@dataclass(frozen=True, eq=False)
class Doubts:
    """What is not known of the dyes: roots (81, K) of the covariance of the logarithm of `today`'s by name, and of
    those they take the place of, `then`; and what both jobs have in common, `same_films` and `same_base`.

    What is wrong alike on both jobs hardly parts them: of films laid by the same gun what wanders from job to job is
    left, of the same base nothing, and of the very same dye nothing (not in `then`, and of no doubt in `today`).
    """

    today: Mapping[str, F64]
    then: Mapping[str, F64] = field(default_factory=dict)
    same_films: bool = False
    same_base: bool = False

    def sources(self, sources: Sequence[Source]) -> tuple[Source, ...]:
        """The sources as far as they part the two jobs."""
        found = []
        for source in sources:
            if self.same_films and source.kind == "film" and source.factor.high > FILM_UNSAID.high:
                rest = Rest(Basis.ASSUMED, "from job to job")
                source = replace(source, factor=Told.of(FILM_UNSAID, "", rest))
            found.append(source)
        return tuple(found)

    def apart(self, source: Source) -> bool:
        """Whether a source can part the two jobs; what is known of a learnt dye the roots say, and say better."""
        return source.kind != "learnt" and not (self.same_base and source.kind in ("flakes", "levelling"))


@dataclass(frozen=True, eq=False)
class Sure:
    """What may come out: CIEDE2000 to what is wanted, of every place (places,) and light: 5 %, half, 95 % of runs.

    `joint_de00`: the same of the root mean square over places and lights.
    """

    places: tuple[tuple[Range, ...], ...]
    joint_de00: Range


@dataclass(frozen=True)
class FirstCard:
    """The card to spray first: `mix` as it is now mixed, in steps of 1 to `coats` coats over `over`.

    Doubt [CIEDE2000]: the size expected (root mean square) of the difference between what is foretold and what comes
    out, mean over places and lights, before and after the card was read. `others`: what other cards would leave.
    """

    mix: str
    coats: int
    over: str
    before_de00: float
    after_de00: float
    others: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True, eq=False)
class _Model:
    """The remade scheme taken apart into what is not known: `roots` of ln absorbance of each dye, then `parts`.

    `of_today`: which unknowns are of today's things alone, so that a card of today tells of them; `apart`: which of the
    sources part the two jobs.
    """

    booth: Booth
    scheme: Scheme
    parts: Parts
    names: tuple[str, ...]
    roots: tuple[F64, ...]
    of_today: NDArray[np.bool_]
    apart: NDArray[np.bool_]

    @property
    def size(self) -> int:
        return sum(int(root.shape[1]) for root in self.roots) + len(self.parts.sources)

    def factors(self, unknowns: F64) -> tuple[dict[str, F64], F64]:
        """Spectral factors of each dye (runs, 81) of standard unknowns (runs, size), and the sources' draws."""
        found, at = {}, 0
        for name, root in zip(self.names, self.roots, strict=True):
            away = unknowns[:, at : at + root.shape[1]] @ root.T
            found[name] = np.exp(np.clip(away, -_FURTHEST, _FURTHEST))
            at += root.shape[1]
        spread = [(s.factor.high - s.factor.low) / 2.0 / NINETY for s in self.parts.sources]
        return found, 1.0 + unknowns[:, at:] * (np.array(spread) * self.apart)

    def layers(self, factors: Mapping[str, F64], draws: F64, spot: Spot) -> tuple[tuple[Layer, ...], F64]:
        """The entries over the base of `spot`, dyes as spectra (runs, 81), and their builds (runs, layers)."""
        made: list[Layer] = []
        builds = np.empty((len(draws), len(self.parts.layers)))
        for i, (layer, coat) in enumerate(zip(self.parts.layers, self.scheme.coats, strict=True)):
            builds[:, i] = spot.build[i] * self.parts.films(draws, i, spot.base)
            if isinstance(layer, OpaqueLayer) or not isinstance(coat, DyeCoat):
                made.append(layer)
                continue
            total = np.zeros((len(draws), WAVELENGTHS_NM.size))
            for name, part in zip(self.scheme.mix_of(coat).strengths, self.parts.dyes[i], strict=True):
                total += part.absorbance10 * draws[:, part.measured, None] * factors[name]
            made.append(DyeLayer(total))
        return tuple(made), builds

    def lab(self, factors: Mapping[str, F64], draws: F64) -> F64:
        """L*a*b* (runs, places, lights, 3)."""
        out = []
        for place in self.booth.wanted:
            spot = place.spot
            whole = stack_of(self.scheme, base=spot.base, bare=True)
            layers, builds = self.layers(factors, draws, spot)
            over = self.parts.film_over(whole.film, draws, spot.base, STRAIGHT_ON)
            seen = Stack(layers, over, whole.opaque_film, whole.veil).reflectance(
                np.broadcast_to(spot.bare, (len(draws), spot.bare.size)), builds
            )
            out.append(self._under_lights(seen))
        return np.stack(out, axis=1)

    def card(self, entry: int, coats: int, over: str, factors: Mapping[str, F64], draws: F64) -> F64:
        """L*a*b* under D65 (runs, coats, 3) of 1, 2 ... coats of an entry's mix over a card's ground."""
        ground = self._main
        film: Film = diffuse_film()
        bare = np.full(3, WHITE) @ rgb_basis()
        if over == PART_BASE:
            film, bare = (
                self.parts.film_over(
                    stack_of(self.scheme, base=ground.base, bare=True).film, draws, ground.base, STRAIGHT_ON
                ),
                ground.bare,
            )
        layers, _ = self.layers(factors, draws, ground)
        layer = layers[entry]
        assert isinstance(layer, DyeLayer)
        one = layer.absorbance10 * (draws[:, self.parts.film_source[entry], None] / self.scheme.coats[entry].coats)
        seen = [film.reflectance(n * one, np.broadcast_to(bare, one.shape)) for n in range(1, coats + 1)]
        return np.stack([spectrum_to_lab(each, light="D65", observer_deg=2) for each in seen], axis=1)

    @property
    def _main(self) -> Spot:
        return max(self.booth.wanted, key=lambda place: place.weight).spot

    def _under_lights(self, spectra: F64) -> F64:
        observer = self.scheme.observer_deg
        return np.stack([spectrum_to_lab(spectra, light=n, observer_deg=observer) for n in self.scheme.lights], axis=1)


def how_sure(booth: Booth, recipe: Recipe, doubts: Doubts, *, runs: int = RUNS, seed: int = 7) -> Sure:
    """What may come out of the recipe: every dye drawn from its doubt, every film, amount and base from its range."""
    model = _model(booth, recipe, doubts)
    rng = np.random.default_rng(seed)
    draws = np.where(model.apart, drawn(model.parts.sources, runs=runs, seed=seed), 1.0)
    factors, _ = model.factors(rng.standard_normal((runs, model.size)))
    de00 = delta_e_2000(model.lab(factors, draws), booth.target_lab)
    mean = np.square(de00).mean(axis=2) @ booth.weights / max(float(booth.weights.sum()), 1e-12)
    return Sure(
        tuple(tuple(_ends(de00[:, p, n]) for n in range(de00.shape[2])) for p in range(de00.shape[1])),
        _ends(np.sqrt(mean)),
    )


def base_doubt_de00(booth: Booth, recipe: Recipe) -> float:
    """How far a base that is told alike may take the colour: the furthest end of what is not known of it.

    CIEDE2000, root mean square over all places and lights.
    """
    names = {part.dye for part in booth.parts}
    model = _model(booth, recipe, Doubts({name: plain_roots(0.0) for name in names}))
    ends = [np.ones(len(model.parts.sources))]
    for i, source in enumerate(model.parts.sources):
        if source.kind in ("flakes", "levelling"):
            for end in (source.factor.low, source.factor.high):
                ends.append(np.where(np.arange(len(model.parts.sources)) == i, end, 1.0))
    factors, _ = model.factors(np.zeros((len(ends), model.size)))
    lab = model.lab(factors, np.stack(ends))
    return float(np.sqrt(np.square(delta_e_2000(lab, lab[0])).mean(axis=(1, 2))).max())


def first_card(booth: Booth, recipe: Recipe, doubts: Doubts) -> FirstCard | None:
    """The card that takes most of the doubt away; None where nothing is sprayed from a mix.

    Linear theory: readings with slopes J over the unknowns (of variance 1) and noise R leave I - J' (R + J J')^-1 J.
    R holds the noise of a reading and the scatter of the coats. The same batch is taken for the card and the part.
    """
    model = _model(booth, recipe, doubts)
    unknowns = np.concatenate([np.zeros((1, model.size)), _STEP * np.eye(model.size)])
    factors, draws = model.factors(unknowns)
    card_factors, _ = model.factors(unknowns * model.of_today)

    def slopes(lab: F64) -> F64:
        return np.moveaxis((lab[1:] - lab[0]) / _STEP, 0, -1)  # (..., 3, size)

    lab = model.lab(factors, draws)
    counted = booth.weights > 0.0
    half = np.swapaxes(np.linalg.cholesky(metric_de00(lab[0])), -1, -2)
    aims = (half @ slopes(lab))[counted]
    weight = booth.weights[counted]
    before = _doubt(aims, weight, np.eye(model.size))
    found: list[tuple[float, str, int, str]] = []
    for entry, mix in _each_mix(model.scheme):
        most = max(model.scheme.coats[entry].coats, 2)
        for over in (PART_BASE, WHITE_CARD):
            read = model.card(entry, most, over, card_factors, draws)
            seen = slopes(read).reshape(-1, model.size)
            by_load = read[0] - model.card(entry, most, over, card_factors, _thinner(model, entry, draws))[0]
            left = np.eye(model.size) - seen.T @ np.linalg.solve(_noise(by_load / _STEP) + seen @ seen.T, seen)
            found.append((_doubt(aims, weight, left), mix, most, over))
    if not found:
        return None
    after, mix, coats, over = min(found, key=lambda one: one[0] * (1.0 if one[3] == PART_BASE else _RATHER_PART))
    others = tuple((m, o, left) for left, m, _, o in sorted(found) if (m, o) != (mix, over))
    return FirstCard(mix, coats, over, before, after, others)


def _model(booth: Booth, recipe: Recipe, doubts: Doubts) -> _Model:
    scheme = booth.as_scheme(recipe)
    used = [name for name in scheme.dyes if any(part.dye == name for part in booth.parts)]
    roots, of_today = [], []
    for name in used:
        today, then = doubts.today[name], doubts.then.get(name, plain_roots(0.0))
        roots.append(np.concatenate([today, then], axis=1))
        of_today += [True] * today.shape[1] + [False] * then.shape[1]
    parts = parts_of(scheme)
    parts = replace(parts, sources=doubts.sources(parts.sources))
    known = np.array(of_today + [True] * len(parts.sources))
    apart = np.array([doubts.apart(source) for source in parts.sources], dtype=bool)
    return _Model(booth, scheme, parts, tuple(used), tuple(roots), known, apart)


def _each_mix(scheme: Scheme) -> list[tuple[int, str]]:
    """Every mix with the entry that lays most coats of it."""
    best: dict[str, int] = {}
    for i, coat in enumerate(scheme.coats):
        if isinstance(coat, DyeCoat) and (coat.mix not in best or coat.coats > scheme.coats[best[coat.mix]].coats):
            best[coat.mix] = i
    return [(entry, mix) for mix, entry in best.items()]


def _thinner(model: _Model, entry: int, draws: F64) -> F64:
    """The draws with the film of an entry a step thinner."""
    less = draws.copy()
    less[:, model.parts.film_source[entry]] *= 1.0 - _STEP
    return less


def _noise(by_load: F64) -> F64:
    """Covariance of readings (coats, 3) as one row: noise of each, and coats that scatter, shared by what follows."""
    count = len(by_load)
    coats = np.arange(1, count + 1)
    shared = COAT_SCATTER**2 * np.minimum(coats[:, None], coats) / np.outer(coats, coats)
    scatter = np.einsum("ia,ij,jb->iajb", by_load, shared, by_load).reshape(3 * count, 3 * count)
    return np.asarray(scatter + np.diag(np.tile(np.square(READING_NOISE), count)))


def _doubt(aims: F64, weight: F64, covariance: F64) -> float:
    """Root mean square over places (by weight) and lights of what `covariance` does to the aims (places, lights, 3)."""
    variance = np.einsum("plak,kj,plaj->pl", aims, covariance, aims).mean(axis=1)
    return float(np.sqrt(max(float(weight @ variance / weight.sum()), 0.0)))


def _ends(values: F64) -> Range:
    low, likely, high = np.percentile(values, [5.0, 50.0, 95.0])
    return Range(float(low), float(likely), float(high))


def plain_roots(spread: float) -> F64:
    """Roots (81, 1) of a dye that is doubted by one factor alone: standard deviation `spread` of its logarithm."""
    return np.full((WAVELENGTHS_NM.size, 1), spread)
