"""What can be laid today and what is to come out again: dyes, mixes, films, bases, summed over places and lights."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.reach import units_of
from layerpreview.answers.recipes import DROP_PER_L, MILLIGRAMS_PER_L
from layerpreview.colour import DISPLAY_WHITE_XYZ, adapted_xyz_weights, delta_e_2000, xyz_to_lab
from layerpreview.finish.layers import dyes_in, layer_of, stack_of
from layerpreview.finish.patches import per_mg_m2
from layerpreview.finish.stack import DyeLayer, Layer, OpaqueLayer, Stack
from layerpreview.picture.spots import Spot
from layerpreview.scheme import Base, Dye, DyeCoat, Scheme
from layerpreview.units import Strength

F64 = NDArray[np.float64]

STRONGEST_PER_L = 40.0
"""Of all dyes in a mix [mL/L, g/L of powders], where the record's own mix was no stronger: as for other searches."""


@dataclass(frozen=True, eq=False)
class Wanted:
    """A place that is to look as it did: today's `spot` (base, what it shows bare, share of each coat) and the
    recorded `reflectance` (81,); `weight` in the sum, 0 for a place that is only told of."""

    spot: Spot
    reflectance: F64
    weight: float = 1.0


@dataclass(frozen=True)
class Part:
    """A dye of a mix: what is asked for."""

    mix: str
    dye: str


@dataclass(frozen=True, eq=False)
class Recipe:
    """Strengths (parts,) as sold [mL/L, g/L of powders] and whole coats by entry, with what it leaves.

    `lab`, `de00` (places, lights, 3) and (places, lights); `joint_de00`: root mean square by the places' weights.
    """

    strengths: F64
    coats: tuple[int, ...]
    lab: F64
    de00: F64
    joint_de00: float


@dataclass(frozen=True, eq=False)
class Booth:
    """What can be laid today: the scheme of today, what is wanted, and which dyes go into which mix.

    `scheme` has today's dyes, base and films; its strengths and coats are where the search begins. `extra`: dyes that
    its mixes do not hold yet, by (mix, dye).
    """

    scheme: Scheme
    wanted: tuple[Wanted, ...]
    extra: tuple[Part, ...] = ()
    more_dyes: Mapping[str, Dye] | None = None

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Every dye of every mix that is sprayed, in the order of the scheme, then what is extra."""
        mixes = dict.fromkeys(coat.mix for coat in self.scheme.coats if isinstance(coat, DyeCoat))
        own = [Part(mix, dye) for mix in mixes for dye in self.scheme.mixes[mix].strengths]
        return (*own, *self.extra)

    @cached_property
    def dyes(self) -> dict[str, Dye]:
        """The dyes by name."""
        return {**self.scheme.dyes, **(self.more_dyes or {})}

    @cached_property
    def as_written(self) -> F64:
        """Strengths (parts,) as the scheme of today says them, as sold in a litre of finished mix."""
        sold = {
            Part(mix, part.name): part.as_sold_per_L.likely
            for mix in dict.fromkeys(part.mix for part in self.parts)
            for part in dyes_in(self.scheme, self.scheme.mixes[mix])
        }
        return np.array([sold.get(part, 0.0) for part in self.parts])

    @cached_property
    def coats(self) -> tuple[int, ...]:
        """Coats of every entry as the scheme of today says them."""
        return tuple(coat.coats for coat in self.scheme.coats)

    @cached_property
    def per_um10(self) -> F64:
        """Decadic absorbance (parts, 81) of one um of wet film at a strength of 1 as sold."""
        return self.units_per_um[:, None] * per_mg_m2([self.dyes[part.dye] for part in self.parts])

    @cached_property
    def units_per_um(self) -> F64:
        """Load (parts,) of one um of wet film at a strength of 1 as sold [mg/m2]."""
        return units_of([self.dyes[part.dye].concentrate_g_per_L for part in self.parts])

    @cached_property
    def steps(self) -> F64:
        """The least step (parts,) in which each can be measured out in a litre."""
        powder = [self.dyes[part.dye].concentrate_g_per_L is None for part in self.parts]
        return np.where(powder, MILLIGRAMS_PER_L, DROP_PER_L)

    @cached_property
    def target_lab(self) -> F64:
        """What is wanted (places, lights, 3)."""
        return self._lab_of(np.stack([place.reflectance for place in self.wanted]))

    @cached_property
    def weights(self) -> F64:
        """Of every place (places,)."""
        return np.array([place.weight for place in self.wanted])

    @cached_property
    def _weights_xyz(self) -> F64:
        """X, Y, Z under each light, adapted as everywhere (`colour.spectrum_to_lab`): (3 lights, 81)."""
        observer = self.scheme.observer_deg
        return np.concatenate([adapted_xyz_weights(light, observer_deg=observer) for light in self.scheme.lights])

    @cached_property
    def _by_base(self) -> dict[Base, NDArray[np.intp]]:
        bases = [place.spot.base for place in self.wanted]
        return {base: np.array([i for i, one in enumerate(bases) if one == base]) for base in dict.fromkeys(bases)}

    @cached_property
    def _opaque(self) -> dict[int, OpaqueLayer]:
        made = {i: layer_of(self.scheme, coat) for i, coat in enumerate(self.scheme.coats)}
        return {i: layer for i, layer in made.items() if isinstance(layer, OpaqueLayer)}

    @cached_property
    def _whole(self) -> dict[Base, Stack]:
        return {base: stack_of(self.scheme, base=base, bare=True) for base in self._by_base}

    @cached_property
    def _bare(self) -> F64:
        return np.stack([place.spot.bare for place in self.wanted])

    @cached_property
    def _build(self) -> F64:
        return np.stack([place.spot.build for place in self.wanted])

    def parts_of(self, mix: str) -> list[int]:
        """Which parts a mix holds, by their numbers."""
        return [k for k, part in enumerate(self.parts) if part.mix == mix]

    def layers(self, strengths: F64, coats: Sequence[int]) -> tuple[Layer, ...]:
        """All entries as layers, at the likely film."""
        made: list[Layer] = []
        for i, coat in enumerate(self.scheme.coats):
            if isinstance(coat, DyeCoat):
                held = self.parts_of(coat.mix)
                made.append(DyeLayer(coat.film_um.likely * coats[i] * (strengths[held] @ self.per_um10[held])))
            else:
                made.append(self._opaque[i])
        return tuple(made)

    def reflectance(self, strengths: F64, coats: Sequence[int]) -> F64:
        """What all places send back (places, 81)."""
        layers, out = self.layers(strengths, coats), np.empty_like(self._bare)
        for base, here in self._by_base.items():
            whole = replace(self._whole[base], layers=layers)
            out[here] = whole.reflectance(self._bare[here], self._build[here])
        return out

    def lab(self, strengths: F64, coats: Sequence[int]) -> F64:
        """L*a*b* of all places under all lights (places, lights, 3)."""
        return self._lab_of(self.reflectance(strengths, coats))

    def recipe(self, strengths: F64, coats: Sequence[int], only: int | None = None) -> Recipe:
        """The recipe with what it leaves; `only`: the number of the one light that counts for `joint_de00`."""
        lab = self.lab(strengths, coats)
        de00 = delta_e_2000(lab, self.target_lab)
        counted = de00 if only is None else de00[:, only : only + 1]
        mean = self.weights @ np.square(counted).mean(axis=1) / max(float(self.weights.sum()), 1e-12)
        return Recipe(strengths, tuple(coats), lab, de00, float(np.sqrt(mean)))

    def as_scheme(self, recipe: Recipe) -> Scheme:
        """The scheme of today with a recipe in place of its own."""
        mixes = {}
        for name, mix in self.scheme.mixes.items():
            held = [k for k in self.parts_of(name) if recipe.strengths[k] > 0.0]
            made = {self.parts[k].dye: Strength(float(recipe.strengths[k]), self.unit_of(k)) for k in held}
            mixes[name] = mix.model_copy(update={"strengths": made or mix.strengths})
        coats = [coat.model_copy(update={"coats": n}) for coat, n in zip(self.scheme.coats, recipe.coats, strict=True)]
        return self.scheme.model_copy(update={"dyes": self.dyes, "mixes": mixes, "coats": tuple(coats)})

    def unit_of(self, part: int) -> Literal["mL/L", "g/L"]:
        """What a part is measured out in."""
        return "g/L" if self.dyes[self.parts[part].dye].concentrate_g_per_L is None else "mL/L"

    def strongest(self, mix: str) -> float:
        """Most dye that a mix may hold: what is usual, or what it held already."""
        return max(STRONGEST_PER_L, float(self.as_written[self.parts_of(mix)].sum()))

    def _lab_of(self, spectra: F64) -> F64:
        xyz = (spectra @ self._weights_xyz.T).reshape(*spectra.shape[:-1], len(self.scheme.lights), 3)
        return xyz_to_lab(xyz, white_xyz=DISPLAY_WHITE_XYZ)
