"""From what was poured to strengths: drops through the dye's drops, grams through densities, batches by volume."""

from __future__ import annotations

from collections.abc import Sequence

from layerpreview.job.done import BatchMade, Done, Poured
from layerpreview.scheme import Dye, Mix, Scheme
from layerpreview.scheme.work import PARTS
from layerpreview.spray import DROPS_PER_ML_SOLVENT
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import Range, Strength

Strengths = tuple[dict[str, Strength], int, tuple[str, ...]]
"""Of a mix's dyes, from how many batches, and words; no strengths: as planned."""


def drops_counted(done: Done) -> dict[str, Told]:
    """Drops of a dye to a millilitre as they were counted on the job: all together, and from the least to the most."""
    found: dict[str, list[tuple[int, float]]] = {}
    for count in done.drops:
        found.setdefault(count.dye, []).append((count.drops, count.volume_mL))
    told = {}
    for dye, counts in found.items():
        each = [drops / mL for drops, mL in counts]
        mean = sum(drops for drops, _ in counts) / sum(mL for _, mL in counts)
        told[dye] = Told.of(spread_of(each, mean), "drops/mL", Rest(Basis.MEASURED, f"n = {len(counts)}"))
    return told


def spread_of(values: Sequence[float], mean: float) -> Range:
    """The mean, from the least to the most; a mean of equal values may be off by a last digit."""
    low, high = min(values), max(values)
    return Range(low, min(max(mean, low), high), high)


def strengths_poured(scheme: Scheme, mix: Mix, batches: Sequence[BatchMade]) -> Strengths:
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
