"""How much of each known dye a sprayed mix really holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from layerpreview.errors import InputError, Problem
from layerpreview.learn.card.setting import card_of_readings
from layerpreview.learn.fit.known_dye import known_dye_of_file
from layerpreview.learn.fit.one_card import fit_mix
from layerpreview.learn.read.readings import load_readings
from layerpreview.learn.tell.fitted import look_again
from layerpreview.scheme.dyefile import load_dye_file
from layerpreview.units import Range
from layerpreview.workflows.fit_options import FitOptions, asked_of


@dataclass(frozen=True)
class MixTold:
    """Of each dye, what was meant, and what the card shows with its 90 % range, in the words of its strength."""

    meant: dict[str, str]
    share: dict[str, Range]
    misfit: float
    notes: tuple[str, ...]


def mix_of_card(source: Path, dyes: Mapping[Path, str], *, options: FitOptions) -> MixTold:
    """Tell two or more dyes apart in the readings of a mix's card; `dyes`: dye files with the strength meant of each.

    Raises InputError or SchemeError with every problem of the files.
    """
    if len(dyes) < 2:
        raise InputError(Problem("two dyes are wanted at least", "give --dye FILE=STRENGTH for each", field="--dye"))
    readings = load_readings(source)
    known, meant = [], {}
    for path, strength in dyes.items():
        file = load_dye_file(path)
        concentrate = file.concentrate_g_per_L
        one = replace(
            options, name=file.name, strength=strength, concentrate=f"{concentrate:g} g/L" if concentrate else None
        )
        asked = asked_of(one, readings.remarks, str(source))
        known.append(known_dye_of_file(file, load_mg_m2=asked.load_mg_m2))
        meant[file.name] = strength
    try:
        found = fit_mix(card_of_readings(readings, asked.setting), known)
    except InputError as error:
        raise InputError(replace(problem, file=problem.file or str(source)) for problem in error.problems) from None
    notes = (*readings.notes, *asked.notes, *look_again(found.strained))
    return MixTold(meant, found.strengths, found.misfit, notes)
