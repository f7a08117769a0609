"""A scheme as it was really sprayed: strengths from what was poured, films from the gauge, coats from the diary.

What the diary says nothing about stays as the scheme has it, and is said to be as planned.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from layerpreview.finish.layers import dyes_in
from layerpreview.job.done import BatchMade, Done, Poured
from layerpreview.scheme import Coat, Dye, Mix, Scheme
from layerpreview.spray import DROPS_PER_ML_SOLVENT
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range, Strength

PARTS = ("carrier", "thinner", "catalyst")


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
    """One entry of the coats: how many were planned and how many are on, and the wet film of one [um].

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
    """The scheme as it was sprayed, with no rule of a written one kept (an entry may have no coats), and its parts."""

    scheme: Scheme
    mixes: tuple[MixMade, ...]
    coats: tuple[CoatMade, ...]


def as_made(scheme: Scheme, done: Done) -> AsMade:
    """The scheme with what the diary says in place of what was planned."""
    counted = drops_counted(done)
    dyes = {
        name: dye.model_copy(update={"drops_per_mL": counted[name].range}) if name in counted else dye
        for name, dye in scheme.dyes.items()
    }
    changed = scheme.model_copy(update={"dyes": dyes})
    poured = {name: _made(changed, mix, done.batches) for name, mix in scheme.mixes.items()}
    mixes = {
        name: mix.model_copy(update={"strengths": poured[name][0]}) if poured[name][0] else mix
        for name, mix in scheme.mixes.items()
    }
    coats = tuple(_coat(done, index, coat) for index, coat in enumerate(scheme.coats))
    sprayed = tuple(
        coat.model_copy(update={"coats": made.done, "film_um": made.film_um})
        for coat, made in zip(scheme.coats, coats, strict=True)
    )
    changed = changed.model_copy(update={"mixes": mixes, "coats": sprayed})
    return AsMade(changed, tuple(_mix(changed, name, done, poured[name], counted) for name in mixes), coats)


def drops_counted(done: Done) -> dict[str, Told]:
    """Drops of a dye to a millilitre as they were counted on the job: all together, and from the least to the most."""
    found: dict[str, list[tuple[int, float]]] = {}
    for count in done.drops:
        found.setdefault(count.dye, []).append((count.drops, count.volume_mL))
    told = {}
    for dye, counts in found.items():
        each = [drops / mL for drops, mL in counts]
        mean = sum(drops for drops, _ in counts) / sum(mL for _, mL in counts)
        told[dye] = Told.of(_spread(each, mean), "drops/mL", Rest(Basis.MEASURED, f"n = {len(counts)}"))
    return told


def _spread(values: Sequence[float], mean: float) -> Range:
    """The mean, from the least to the most; a mean of equal values may be off by a last digit."""
    low, high = min(values), max(values)
    return Range(low, min(max(mean, low), high), high)


def _coat(done: Done, index: int, coat: Coat) -> CoatMade:
    entry, said = index + 1, bool(done.coats)
    films = {film.number: film.readings_um for film in done.films if film.entry == entry}  # the last word on each coat
    readings = [value for each in films.values() for value in each]
    film_um = coat.film_um
    if readings:
        means = [sum(each) / len(each) for each in films.values()]
        note = f"{len(readings)} readings on {len(films)} of its coats"
        film_um = Told.of(_spread(readings, sum(means) / len(means)), "um", Rest(Basis.MEASURED, note))
    return CoatMade(entry, coat.label, coat.coats, done.coats_of(entry) if said else coat.coats, said, film_um)


Made = tuple[dict[str, Strength], int, tuple[str, ...]]


def _made(scheme: Scheme, mix: Mix, batches: Sequence[BatchMade]) -> Made:
    """Strengths of all batches of a mix together, how many there were, and words; no strengths: as planned."""
    own = [batch for batch in batches if batch.batch.casefold() == mix.name.casefold()]
    if not own:
        return {}, 0, ("no batch of it is in the diary",)
    amounts: dict[str, float] = {}
    units: dict[str, set[str]] = {}
    total_mL, words = 0.0, list[str]()
    for batch in own:
        volume = batch.total_mL or _volume_mL(scheme, mix, batch.poured)
        if not volume or not batch.poured:
            why = "what was poured" if not batch.poured else "how much it came to"
            return {}, len(own), (f"the diary does not say {why}",)
        total_mL += volume
        for part in batch.poured:
            name = _dye_of(scheme, part.name)
            if name is None:
                if _part_of(mix, part.name) is None and part.unit == "drops":
                    words.append(f"{part.name} was poured, too, which is no dye of the scheme: left out of the colour")
                continue
            found = _as_sold(scheme.dyes[name], part)
            if found is None:
                return (
                    {},
                    len(own),
                    (f"{part.amount:g} {part.unit} of {name} cannot be made a volume without a density",),
                )
            amounts[name] = amounts.get(name, 0.0) + found[0]
            units.setdefault(name, set()).add(found[1])
    missing = [name for name in mix.strengths if name not in amounts]
    if missing:
        return {}, len(own), (f"what was poured does not name {' and '.join(missing)}",)
    strengths = {}
    for name, amount in amounts.items():
        unit = units[name].pop()
        if units[name]:
            return {}, len(own), (f"{name} was poured in units that cannot be added up",)
        strengths[name] = Strength(1000.0 * amount / total_mL, unit)  # type: ignore[arg-type]
    return strengths, len(own), tuple(dict.fromkeys(words))


def _as_sold(dye: Dye, part: Poured) -> tuple[float, str] | None:
    """An amount of a dye with the unit its strength has then: drops stay drops, so that their range is kept."""
    powder = dye.concentrate_g_per_L is None
    if part.unit == "g":
        if powder:
            return part.amount, "g/L"
        return None if dye.density_g_per_mL is None else (part.amount / dye.density_g_per_mL, "mL/L")
    if powder:
        return None
    return part.amount, "drops/L" if part.unit == "drops" else "mL/L"


def _volume_mL(scheme: Scheme, mix: Mix, poured: Sequence[Poured]) -> float | None:
    """What a batch comes to; None where a part's volume is not known or nothing but dye was named."""
    total, with_dye_alone = 0.0, True
    for part in poured:
        name = _dye_of(scheme, part.name)
        with_dye_alone = with_dye_alone and name is not None
        if part.unit == "mL":
            total += part.amount
        elif part.unit == "drops":
            drops = scheme.dyes[name].drops_per_mL if name else None
            total += part.amount / (drops or DROPS_PER_ML_SOLVENT).likely
        elif name and scheme.dyes[name].concentrate_g_per_L is None:
            continue  # a powder is taken to add no volume, as in the mix sheet
        else:
            own = _part_of(mix, part.name)
            density = scheme.dyes[name].density_g_per_mL if name else mix.densities_g_per_mL.get(own or "")
            if density is None:
                return None
            total += part.amount / density
    return None if with_dye_alone else total


def _dye_of(scheme: Scheme, name: str) -> str | None:
    return next((dye for dye in scheme.dyes if dye.casefold() == name.strip().casefold()), None)


def _part_of(mix: Mix, name: str) -> str | None:
    """Which part of a mix is meant: by its own name, or by the product's in the ratio."""
    shown = name.strip().casefold()
    words = {mix.carrier.casefold(): "carrier"}
    if mix.ratio:
        words |= {word.casefold(): part for (part, _), word in zip(mix.ratio.parts, mix.ratio.words, strict=False)}
    return shown if shown in PARTS else words.get(shown)


def _mix(made: Scheme, name: str, done: Done, found: Made, counted: Mapping[str, Told]) -> MixMade:
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
