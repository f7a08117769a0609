"""A value that is not known to a point together with what it rests on, kept by every sum and product made of it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import ClassVar

from layerpreview.units import Range


class Basis(StrEnum):
    """What a figure rests on, from the firmest to the weakest."""

    COMPUTED = "computed"
    MEASURED = "measured"
    STATED = "stated"
    TABLE = "table"
    ASSUMED = "assumed"


@dataclass(frozen=True)
class Rest:
    """One thing a figure rests on: what kind of ground that is, a note on it, and `about` which of its inputs it is.

    >>> Rest(Basis.ASSUMED, "medium", "film").words
    'film assumed (medium)'
    """

    basis: Basis
    note: str = ""
    about: str = ""

    @property
    def words(self) -> str:
        return " ".join(filter(None, (self.about, self.grounds)))

    @property
    def grounds(self) -> str:
        """The words without what they are about: "assumed (medium)"."""
        return f"{self.basis} ({self.note})" if self.note else str(self.basis)


@dataclass(frozen=True, repr=False)
class Told(Range):
    """A range in `unit` and what it rests on, in the order in which its inputs came in.

    >>> film_um = Told.of(Range(28.0, 40.0, 55.0), "um", Rest(Basis.ASSUMED, "medium"))
    >>> film_um
    <40 (28..55) um: assumed (medium)>
    >>> Told.from_inputs(Range(2.0, 3.0, 4.0), "mL", film=film_um, residue=Rest(Basis.STATED)).basis
    'film assumed (medium); residue stated'
    """

    unit: str = ""
    rests_on: tuple[Rest, ...] = ()
    also_in_json: ClassVar = ("basis",)

    def __repr__(self) -> str:
        ends = f" ({self.low:.3g}..{self.high:.3g})" if self.high > self.low else ""
        return f"<{self.likely:.3g}{ends}{' ' + self.unit if self.unit else ''}: {self.basis}>"

    @classmethod
    def of(cls, value: Range | float, unit: str, *rests_on: Rest) -> Told:
        """A value that comes from outside: a point or a range, and what it rests on."""
        found = value if isinstance(value, Range) else Range.point(value)
        return cls(found.low, found.likely, found.high, unit, rests_on)

    @classmethod
    def from_inputs(cls, value: Range | float, unit: str, **inputs: Told | Rest) -> Told:
        """A value computed elsewhere: it rests on all that its `inputs` rest on, each under its own name.

        An input that was itself made of named inputs keeps their names. An underscore in a name is read as a space.
        """
        return cls.of(value, unit, *merged(_named(each, name.replace("_", " ")) for name, each in inputs.items()))

    @property
    def range(self) -> Range:
        """Low, likely and high alone."""
        return Range(self.low, self.likely, self.high)

    @property
    def weakest(self) -> Basis:
        """The weakest of all it rests on; assumed where nothing is said."""
        order = list(Basis)
        return max((rest.basis for rest in self.rests_on), key=order.index, default=Basis.ASSUMED)

    @property
    def basis(self) -> str:
        """What it rests on, in words: one phrase for each input."""
        phrases: dict[str, list[str]] = {}
        for rest in self.rests_on:
            phrases.setdefault(rest.about, []).append(rest.grounds)
        return "; ".join(" ".join(filter(None, (about, ", ".join(grounds)))) for about, grounds in phrases.items())

    def scaled(self, factor: float, unit: str | None = None) -> Told:
        """The value times a known factor (>= 0), in `unit` where that changes."""
        return Told.of(super().scaled(factor), self.unit if unit is None else unit, *self.rests_on)

    def times(self, other: Range, unit: str | None = None) -> Told:
        """The product of two independent, non-negative values: it rests on both."""
        rests = other.rests_on if isinstance(other, Told) else ()
        return Told.of(super().times(other), self.unit if unit is None else unit, *merged([self.rests_on, rests]))

    def called(self, about: str) -> Told:
        """The same value as the input `about` of another."""
        return replace(self, rests_on=_named(self, about))

    @staticmethod
    def total(values: Sequence[Told]) -> Told:
        """Low with low, likely with likely, high with high: the sum rests on every part."""
        units = {value.unit for value in values}
        return Told.of(summed(values), units.pop() if len(units) == 1 else "", *merged(v.rests_on for v in values))


def summed(ranges: Sequence[Range]) -> Range:
    """Sum low with low, likely with likely, high with high."""
    return Range(
        math.fsum(r.low for r in ranges), math.fsum(r.likely for r in ranges), math.fsum(r.high for r in ranges)
    )


def merged(rests: Iterable[Iterable[Rest]]) -> tuple[Rest, ...]:
    """Everything that is rested on, each once, in the order of first use."""
    return tuple(dict.fromkeys(rest for group in rests for rest in group))


def _named(told: Told | Rest, about: str) -> tuple[Rest, ...]:
    rests = (told,) if isinstance(told, Rest) else told.rests_on
    return tuple(rest if rest.about else replace(rest, about=about) for rest in rests)
