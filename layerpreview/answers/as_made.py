"""A scheme as it was really sprayed: strengths from what was poured, films from the gauge, coats from the diary.

What the diary says nothing about stays as the scheme has it, and is said to be as planned.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from layerpreview.answers.films import films_measured
from layerpreview.finish.layers import dyes_in
from layerpreview.job.done import BASE_COAT, CLEAR_COAT, Done
from layerpreview.job.poured import Strengths, drops_counted, strengths_poured
from layerpreview.job.products import BASE_ASSUMED, PlainCoats, details_of
from layerpreview.scheme import Coat, OpaqueCoat, Scheme
from layerpreview.told import Basis, Rest, Told


@dataclass(frozen=True)
class MixMade:
    """One mix: its strengths by dye as they were made, how many batches they rest on, and what is to be said of them.

    `strengths`: of the dye as sold in the finished mix [mL/L, g/L of a powder]. `as_made`: whether they come from what
    was poured; else they are those of the scheme. `lots` by what was poured.
    """

    name: str
    strengths: Mapping[str, Told]
    as_made: bool
    batches: int = 0
    lots: Mapping[str, str] = field(default_factory=dict)
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class CoatMade:
    """One entry of the coats: how many were planned and how many are on, and the wet film of one [um],
    the mean of those that are on.

    `said`: whether the diary counts coats at all; without it as many are taken to be on as were planned.
    """

    entry: int
    what: str
    planned: int
    done: int
    said: bool
    film_um: Told


@dataclass(frozen=True)
class AsMade:
    """The scheme as it was sprayed, with no rule of a written one kept (an entry may have no coats), and its parts.

    `plain`: the coats without dye, by entry BASE_COAT and CLEAR_COAT; a base coat only where one is planned or done.
    """

    scheme: Scheme
    mixes: tuple[MixMade, ...]
    coats: tuple[CoatMade, ...]
    plain: tuple[CoatMade, ...]


def as_made(scheme: Scheme, done: Done) -> AsMade:
    """The scheme with what the diary says in place of what was planned."""
    counted = drops_counted(done)
    dyes = {
        name: dye.model_copy(update={"drops_per_mL": counted[name].range}) if name in counted else dye
        for name, dye in scheme.dyes.items()
    }
    changed = scheme.model_copy(update={"dyes": dyes})
    poured = {name: strengths_poured(changed, mix, done.batches) for name, mix in scheme.mixes.items()}
    mixes = {
        name: mix.model_copy(update={"strengths": poured[name][0]}) if poured[name][0] else mix
        for name, mix in scheme.mixes.items()
    }
    coats = tuple(
        _coat(done, entry, coat.label, coat.coats, coat.film_um) for entry, coat in enumerate(scheme.coats, start=1)
    )
    sprayed = tuple(_sprayed(coat, made) for coat, made in zip(scheme.coats, coats, strict=True))
    changed = changed.model_copy(update={"mixes": mixes, "coats": sprayed})
    return AsMade(
        changed, tuple(_mix(changed, name, done, poured[name], counted) for name in mixes), coats, _plain(scheme, done)
    )


def _sprayed(coat: Coat, made: CoatMade) -> Coat:
    """A coat as it was sprayed; an opaque one hides in proportion to its film."""
    changes: dict[str, object] = {"coats": made.done, "film_um": made.film_um}
    if isinstance(coat, OpaqueCoat):
        changes["hiding"] = coat.hiding * made.film_um.likely / coat.film_um.likely
    return coat.model_copy(update=changes)


def _plain(scheme: Scheme, done: Done) -> tuple[CoatMade, ...]:
    details = details_of(scheme)
    base, clear = details.base or PlainCoats(coats=0, film_um=BASE_ASSUMED[1]), details.clear
    below = _coat(done, BASE_COAT, base.product.name or "base coat", base.coats, base.film_um)
    if not below.done:  # the dye lies on it, so it is there, counted or not
        below = replace(below, done=below.planned, said=False)
    above = _coat(done, CLEAR_COAT, clear.product.name or "clear", clear.coats, clear.film_um)
    return tuple(coat for coat in (below, above) if coat.planned or coat.done)


def _coat(done: Done, entry: int, what: str, planned: int, film_um: Told) -> CoatMade:
    said = bool(done.coats)
    on = done.coats_of(entry) if said else planned
    read = films_measured(done.films).get(entry)
    if read is not None:
        film_um = read.laid_um(range(1, on + 1)).scaled(1.0 / on) if on else read.film_um
    return CoatMade(entry, what, planned, on, said, film_um)


def _mix(made: Scheme, name: str, done: Done, found: Strengths, counted: Mapping[str, Told]) -> MixMade:
    strengths, batches, words = found
    told = {}
    for part in dyes_in(made, made.mixes[name]):
        sold = part.as_sold_per_L
        if strengths:
            rests = [Rest(Basis.MEASURED, f"poured, {batches} batch{'es' if batches > 1 else ''}")]
            if part.strength.unit == "drops/L":
                rests += counted.get(part.name, part.drops_per_mL).called("drops").rests_on
            sold = Told.of(sold.range, sold.unit, *rests)
        told[part.name] = sold
    lots = {
        part.name: part.lot
        for batch in done.batches
        if batch.batch.casefold() == name.casefold()
        for part in batch.poured
        if part.lot
    }
    return MixMade(name, told, bool(strengths), batches, lots, words)
