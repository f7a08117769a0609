"""The parts of a finished mix as exact shares of it, in the order they are poured."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from layerpreview.errors import InputError, Problem
from layerpreview.units import Range

PartName = Literal["carrier", "thinner", "catalyst"]
Kind = Literal["dye", "powder"] | PartName


@dataclass(frozen=True)
class Ratio:
    """Parts of what a mix holds besides dye: `parts` in the order written, each with its share (they sum to 1).

    `words` are the parts' names as written (clear, hardener, reducer), in the same order.
    """

    parts: tuple[tuple[PartName, Fraction], ...]
    by: Literal["volume", "weight"]
    written: str = field(default="", compare=False)
    words: tuple[str, ...] = field(default=(), compare=False)


@dataclass(frozen=True)
class Ingredient:
    """One part of a finished mix: `share` in [mL] per mL of mix, for a powder in [g] per mL.

    With `counted` the dye is measured in whole drops, `drops_per_mL` of them to a millilitre.
    """

    name: str
    kind: Kind
    share: Fraction
    density_g_per_mL: Fraction | None = None
    drops_per_mL: Range | None = None
    counted: bool = False

    @property
    def weight_share(self) -> Fraction | None:
        """Grams per mL of mix, None where the density is not known."""
        if self.kind == "powder":
            return self.share
        return None if self.density_g_per_mL is None else self.share * self.density_g_per_mL


def exact(value: float | int | str | Fraction) -> Fraction:
    """Return the decimal number a person wrote: 1.2 is 6/5, not its binary neighbour.

    >>> exact(1.2)
    Fraction(6, 5)
    """
    return value if isinstance(value, Fraction) else Fraction(str(value))


def ingredients_of(
    dyes: Sequence[Ingredient],
    ratio: Ratio | None,
    *,
    names: Mapping[str, str] | None = None,
    densities_g_per_mL: Mapping[str, Fraction] | None = None,
    place: str = "mix",
) -> tuple[Ingredient, ...]:
    """Return the parts of a finished mix in the order they are poured: dyes, carrier, thinner, catalyst.

    `ratio` splits what is not dye; without it that is all carrier. `names` and `densities_g_per_mL` [g/mL] are by part
    ("carrier", "thinner", "catalyst"). A ratio by weight becomes one by volume through the densities.

    Raises InputError naming every density that a ratio by weight lacks, and for dyes that leave no room.
    """
    names, densities = names or {}, densities_g_per_mL or {}
    room = 1 - sum((dye.share for dye in dyes if dye.kind == "dye"), Fraction(0))
    problems = []
    if room <= 0:
        rule = "the dyes leave no room for a carrier"
        problems.append(Problem(rule, "lower their strengths", field=f"{place}.dyes"))
    problems += [
        Problem(f"{dye.share} of {dye.name} is less than nothing", "give 0 or more", field=f"{place}.dyes")
        for dye in dyes
        if dye.share < 0
    ]
    parts = ratio.parts if ratio else (("carrier", Fraction(1)),)
    if ratio and ratio.by == "weight":
        problems += [
            Problem(
                f"a ratio by weight needs the density of the {part}",
                f'add {part}_density = "0.95 g/mL" (from the product\'s sheet), or give the ratio by volume',
                field=f"{place}.ratio",
                value=ratio.written,
            )
            for part, _ in parts
            if part not in densities
        ]
    problems += [
        Problem("a density must be more than 0", 'give for example "0.95 g/mL"', field=f"{place}.{part}_density")
        for part, density in densities.items()
        if density <= 0
    ]
    if problems:
        raise InputError(problems)
    shares = dict(parts)
    if ratio and ratio.by == "weight":
        volumes = {part: share / densities[part] for part, share in parts}
        shares = {part: volume / sum(volumes.values()) for part, volume in volumes.items()}
    rest = [
        Ingredient(names.get(part, part), part, room * shares[part], densities.get(part))
        for part in ("carrier", "thinner", "catalyst")
        if part in shares
    ]
    return (*dyes, *rest)
