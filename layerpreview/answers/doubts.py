"""What is not known to a point about a finish, and its layers taken apart by it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import WAVELENGTHS_NM
from layerpreview.film import Film, absorbance10_of_load
from layerpreview.film.curves import MetalFilm, MixedMetalFilm, mixed_film
from layerpreview.finish.layers import (
    DyeInMix,
    End,
    absorptivity_on_grid,
    base_film,
    dyes_in,
    layer_of,
    total_load_mg_m2,
)
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.finish.texture import height_spread_um
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.picture.pools import wet_coats
from layerpreview.scheme import Base, Coat, DyeCoat, Scheme
from layerpreview.spray import load_mg_m2
from layerpreview.spray.pooling import LEAST_FILM
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range

F64 = NDArray[np.float64]

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
    laid = total_load_mg_m2(scheme, part.name)
    ends: tuple[End, ...] = ("low", "likely", "high")
    low, best, high = (
        absorbance10_of_load(absorptivity_L_per_g_cm=absorptivity_on_grid(dye, end, load_mg_m2=laid), load_mg_m2=load)
        for end in ends
    )
    return DyePart(
        absorbance10=best,
        measured=at["mix", coat.label, part.name],
        learnt=at.get(("learnt", part.name)),
        # However far below its range a draw falls, no dye lets through more than all light.
        weaker10=np.minimum(best - low, best / MOST_LEARNT),
        stronger10=high - best,
    )
