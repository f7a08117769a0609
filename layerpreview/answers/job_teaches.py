"""What one job's diary says of the shop that sprayed it: film of a pass, share that lands, drops in a millilitre."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from layerpreview.answers.films import tooth_um
from layerpreview.answers.own_values import ASSUMED, BOUNDS, mean_of
from layerpreview.job.done import BASE_COAT, CLEAR_COAT, BatchMade, Done
from layerpreview.job.needed import needed_of
from layerpreview.job.products import details_of
from layerpreview.job.sprayed import Sprayed, sprayed_stages
from layerpreview.picture.faces import FaceShape
from layerpreview.scheme import Scheme
from layerpreview.scheme.fields import film_word
from layerpreview.scheme.shop_values import UNKNOWN_GUN, JobMean
from layerpreview.scheme.work import TRANSFER_UNKNOWN, PlainEntry
from layerpreview.spray import DROPS_PER_ML_SOLVENT
from layerpreview.told import Basis, Rest, Told
from layerpreview.units import NINETY, Range

_DOUBTED = 0.5 * TRANSFER_UNKNOWN.low, 0.5 * (1.0 + TRANSFER_UNKNOWN.high)
"""Shares beyond which something that was said is likely wrong."""

Means = dict[tuple[str, str], JobMean]


@dataclass(frozen=True)
class Teaching:
    """Means by kind and by what of it, and what could not be used and why."""

    means: Means
    notes: tuple[str, ...]


def job_teaches(scheme: Scheme, done: Done, shapes: Sequence[FaceShape], builds: Sequence[Sequence[float]]) -> Teaching:
    """What a job teaches, from its scheme (read without the shop's own values) and its diary.

    Film: the gauge's readings on coats whose film the scheme tells in a word, a coat's mean counting once, half a tooth
    added to those of a comb; a coat that the diary asked to be laid otherwise is no such coat.
    Drops: each count. Transfer, for each batch whose left-over was measured: (on the part + past the edges) / (made -
    left), the former the job's own sum for the coats that were laid, with the measured film of each entry that was
    read and the scheme's where none was; what is left in the gun is in the left-over.
    `builds[face][coat]` as in `sprayed_stages`.
    """
    means, notes = _films(scheme, done), []
    shares: list[float] = []
    unsure: list[float] = []
    landed = _batches(scheme, done, shapes, builds)
    for batch in dict.fromkeys(each.batch for each in done.left):
        if batch not in landed:
            notes.append(f"transfer, {batch}: the mix sheet has no batch of this name")
            continue
        told = landed[batch]
        made = math.fsum(_made_mL(scheme, each) for each in done.batches if each.batch == batch)
        left = math.fsum(each.left_mL for each in done.left if each.batch == batch)
        why = _unusable(batch, told, made, left)
        if why:
            notes.append(why)
        else:
            share = told.likely / (made - left)
            if not _DOUBTED[0] <= share <= _DOUBTED[1]:
                usual = f"{100 * TRANSFER_UNKNOWN.low:g} to {100 * TRANSFER_UNKNOWN.high:g} %"
                notes.append(f"transfer, {batch}: {100 * share:.2g} % is far from the usual {usual}; look again")
            shares.append(share)
            unsure.append(math.log(told.high / told.low) / (2.0 * NINETY))
    if shares:
        doubt = math.fsum(unsure) / len(unsure)
        means["transfer", scheme.gun.kind or UNKNOWN_GUN] = mean_of([[share] for share in shares], unsure=doubt)
    strange = sorted({count.dye for count in done.drops} - set(scheme.dyes))
    notes += [f"drops of {dye}: the scheme has no dye of this name" for dye in strange]
    for dye in scheme.dyes:
        counts = [[count.drops / count.volume_mL] for count in done.drops if count.dye == dye]
        if counts:
            means["drops_per_mL", dye] = mean_of(counts)
    return _within_bounds(means, notes)


def _made_mL(scheme: Scheme, batch: BatchMade) -> float:
    """How much a batch is [mL]: as said, else the sum of its parts; 0 where one of them was weighed."""
    if batch.total_mL is not None:
        return batch.total_mL
    if any(part.unit == "g" for part in batch.poured):
        return 0.0
    drops = {name: dye.drops_per_mL or DROPS_PER_ML_SOLVENT for name, dye in scheme.dyes.items()}
    return math.fsum(
        part.amount / (drops.get(part.name, DROPS_PER_ML_SOLVENT).likely if part.unit == "drops" else 1.0)
        for part in batch.poured
    )


def _within_bounds(means: Means, notes: list[str]) -> Teaching:
    kept: Means = {}
    for (kind, name), mean in means.items():
        least, most = BOUNDS[kind]
        if least <= mean.likely <= most:
            kept[kind, name] = mean
        else:
            notes.append(f"{kind} {name}: {mean.likely:.3g} cannot be right (from {least:g} to {most:g} is possible)")
    return Teaching(kept, tuple(notes))


def _entries(scheme: Scheme) -> dict[int, Told]:
    """Film of a coat by the number that the diary has for its entry."""
    details = details_of(scheme)
    found = {BASE_COAT: details.base.film_um} if details.base else {}
    found |= {index + 1: coat.film_um for index, coat in enumerate(scheme.coats)}
    return {**found, CLEAR_COAT: details.clear.film_um}


def _films(scheme: Scheme, done: Done) -> Means:
    """Means by film word: a coat that was read twice is one group."""
    by_word: dict[str, list[list[float]]] = {}
    films, (read, comb_um) = _entries(scheme), _read_um(done)
    otherwise = {(coat.entry, coat.number) for coat in done.coats if coat.asked}
    for (entry, number), readings in read.items():
        word = film_word(films[entry]) if entry in films else None
        if word is not None and (entry, number) not in otherwise:
            by_word.setdefault(word, []).append(readings)
    found = {word: mean_of(coats) for word, coats in by_word.items()}
    # A film lies anywhere between two teeth of a comb: a step's rectangle, the same for all readings with that comb.
    return {
        ("film", word): replace(mean, unsure=comb_um / math.sqrt(12.0) / mean.likely) for word, mean in found.items()
    }


def _read_um(done: Done) -> tuple[dict[tuple[int, int], list[float]], float]:
    """Readings of the gauge by entry and coat [um], half a tooth added to those of a comb, and that comb's step."""
    comb_um = tooth_um([value for film in done.films for value in film.readings_um]) if done.films else None
    found: dict[tuple[int, int], list[float]] = {}
    for film in done.films:
        readings = [value + 0.5 * (comb_um or 0.0) for value in film.readings_um]
        found.setdefault((film.entry, film.number), []).extend(readings)
    return found, comb_um or 0.0


def _measured_um(entry: int, planned: Told, done: Done) -> Told:
    """Film of a coat of an entry as it was laid in this job, where that was read: mean, and how well it is known."""
    read, comb_um = _read_um(done)
    coats = [readings for (of, _), readings in read.items() if of == entry]
    if not coats:
        return planned
    mean = mean_of(coats)
    # How far this job's own mean may be off: the readings' scatter alone, not that from job to job.
    usual = ASSUMED["film"]
    spread = max(mean.within, usual.readings) / math.sqrt(mean.n)
    if len(coats) < done.coats_of(entry):
        spread = math.hypot(spread, max(mean.between, usual.groups) / math.sqrt(len(coats)))
    spread = math.hypot(spread, comb_um / math.sqrt(12.0) / mean.likely)
    return Told.of(Range.of_log(mean.likely, spread), "um", Rest(Basis.MEASURED, f"{mean.n} readings"))


def _batches(
    scheme: Scheme, done: Done, shapes: Sequence[FaceShape], builds: Sequence[Sequence[float]]
) -> dict[str, Told]:
    """What of each batch landed and went past the edges [mL] in the coats that were laid, by its title."""
    films = _entries(scheme)
    laid = {entry: (done.coats_of(entry), _measured_um(entry, film, done)) for entry, film in films.items()}
    changed = _as_laid(scheme, laid)
    stages = sprayed_stages(changed, details_of(changed), shapes, builds)
    first = sum(stage.kind == "base" for stage in stages)
    entries = [*[BASE_COAT] * first, *range(1, len(scheme.coats) + 1), CLEAR_COAT]
    went = {id(stage): laid[entry][0] > 0 for stage, entry in zip(stages, entries, strict=True)}
    found = {}
    for batch in needed_of(changed, stages):
        mine = [stage for stage in batch.stages if went[id(stage)]]
        found[batch.title] = Told.total([_all_mL(stage) for stage in mine]) if mine else Told.of(0.0, "mL")
    return found


def _all_mL(stage: Sprayed) -> Told:
    return Told.total([stage.on_part_mL, stage.past_edges_mL])


def _as_laid(scheme: Scheme, laid: dict[int, tuple[int, Told]]) -> Scheme:
    """The scheme with the coats that were laid and their films; an entry that was not begun keeps one coat."""

    def plain(entry: PlainEntry, number: int) -> PlainEntry:
        coats, film = laid[number]
        return entry.model_copy(update={"stated_coats": max(1, coats), "stated_film_um": film})

    coats = []
    for index, coat in enumerate(scheme.coats):
        count, film = laid[index + 1]
        coats.append(coat.model_copy(update={"coats": max(1, count), "film_um": film}))

    update: dict[str, object] = {"coats": tuple(coats), "clear": plain(scheme.clear, CLEAR_COAT)}
    if scheme.base.coat is not None:
        update["base"] = scheme.base.model_copy(update={"coat": plain(scheme.base.coat, BASE_COAT)})
    return scheme.model_copy(update=update)


def _unusable(batch: str, landed: Told, made: float, left: float) -> str:
    """Why a batch says nothing about the share that lands; nothing where it does."""
    if made <= 0.0:
        return f"transfer, {batch}: how much was made is not in the diary"
    if landed.likely <= 0.0:
        return f"transfer, {batch}: no coat of it is in the diary"
    if left >= made:
        return f"transfer, {batch}: {left:g} mL were left of {made:g} mL made: nothing was sprayed"
    share = landed.likely / (made - left)
    if not BOUNDS["transfer"][0] <= share <= 1.0:
        return (
            f"transfer, {batch}: {landed.likely:.3g} mL on the part of {made - left:.3g} mL sprayed cannot be right; "
            "check what was made, what was left and how many coats are in the diary"
        )
    return ""
