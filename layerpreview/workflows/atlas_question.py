"""What an atlas is asked for, as typed: jobs whose bases it is over, dyes, strengths, coats and films."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layerpreview.answers.atlas import Question
from layerpreview.answers.ladder import ground_for, others_around
from layerpreview.answers.reach import units_of
from layerpreview.doing import each_of
from layerpreview.errors import InputError, Problem
from layerpreview.finish.patches import per_mg_m2
from layerpreview.picture.spots import places_of
from layerpreview.scheme import Dye, Scheme, load_scheme
from layerpreview.workflows.choices import with_lights
from layerpreview.workflows.reach import MOST_FILMS, dyes_from
from layerpreview.workflows.typed import numbers_typed

USUAL_STRENGTHS = (0.63, 1.0, 1.6, 2.5, 4.0, 6.3, 10.0, 16.0)
"""mL/L as sold: ten steps from one to a hundred, the preferred numbers R5 of ISO 3."""
USUAL_POWDER = (0.025, 0.04, 0.063, 0.1, 0.16, 0.25, 0.4, 0.63)
"""g/L: the same steps, of dyes as strong as the library's 40 g in a litre."""
MOST_STRENGTHS, MOST_RECIPES = 64, 500_000_000


@dataclass(frozen=True)
class AtlasOptions:
    """What is asked for besides the jobs.

    `dyes`: as `dyes_from` takes them. `strengths`: "1, 2.5, 6.3" for all dyes, "black=0.2, 0.5" for one. `coats`: from
    one to so many. `films`: "40" or "20, 40" [um]. `most_dyes` in one mix. `lights`: instead of the first job's.
    `coat`: in place of this coat of each job, the others as they are. `fill`: add recipes where colours are missing.
    `part_rows`: how many recipes are made and kept together.
    """

    dyes: Sequence[str] | None = None
    strengths: Sequence[str] = ()
    coats: int = 8
    films: str = "40"
    most_dyes: int = 3
    lights: Sequence[str] | None = None
    coat: int | None = None
    fill: bool = True
    part_rows: int = 65_536


def question_from(scheme_paths: Sequence[Path], options: AtlasOptions) -> Question:
    """The question over the bases of these jobs (see `ground_for`), with dyes and lights of the first.

    Raises SchemeError for a job and InputError listing all else that is wrong.
    """
    first = with_lights(load_scheme(scheme_paths[0]), options.lights)
    schemes = [first, *(with_lights(load_scheme(path), first.lights) for path in scheme_paths[1:])]
    problems: list[Problem] = []
    for scheme in schemes[1:]:
        if scheme.observer_deg != first.observer_deg:
            rule = f"its observer is {scheme.observer_deg} degrees, that of the first job {first.observer_deg}"
            problems.append(Problem(rule, "make an atlas of its own for it", str(scheme.file)))
    dyes = dyes_from(options.dyes, first)
    films: tuple[float, ...] = ()
    strengths: tuple[tuple[float, ...], ...] = ()
    try:
        films = numbers_typed(options.films, "--films", most=MOST_FILMS, low=1.0, high=1000.0, example="20,40,65")
    except InputError as error:
        problems += error.problems
    try:
        strengths = strengths_from(options.strengths, dyes)
    except InputError as error:
        problems += error.problems
    if problems:
        raise InputError(problems)
    question = _over(schemes, dyes, options, tuple(dict.fromkeys(films)), strengths)
    if question.count > MOST_RECIPES:
        rule = f"these are {question.count:,} recipes, {MOST_RECIPES:,} at most are in one atlas"
        raise InputError(Problem(rule, "name fewer dyes, strengths, films or coats"))
    return question


def strengths_from(said: Sequence[str], dyes: dict[str, Dye]) -> tuple[tuple[float, ...], ...]:
    """The strengths of each dye, rising. Raises InputError listing all that is wrong."""
    problems: list[Problem] = []
    own: dict[str, tuple[float, ...]] = {}
    for text in said:
        name, sign, numbers = text.rpartition("=")
        name = name.strip()
        if sign and name not in dyes:
            rule, remedy = "no such dye in this atlas", f"its dyes are {', '.join(dyes)}"
            problems.append(Problem(rule, remedy, field="--strengths", value=text))
            continue
        try:
            found = numbers_typed(
                numbers, "--strengths", most=MOST_STRENGTHS, low=0.001, high=500.0, example="1,2.5,6.3,16"
            )
            own[name] = tuple(sorted(set(found)))
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    usual = {name: USUAL_POWDER if dye.concentrate_g_per_L is None else USUAL_STRENGTHS for name, dye in dyes.items()}
    return tuple(own.get(name, own.get("", usual[name])) for name in dyes)


def _over(
    schemes: Sequence[Scheme],
    dyes: dict[str, Dye],
    options: AtlasOptions,
    films: tuple[float, ...],
    strengths: tuple[tuple[float, ...], ...],
) -> Question:
    per_load, units = per_mg_m2(list(dyes.values())), units_of([dye.concentrate_g_per_L for dye in dyes.values()])
    names: list[str] = []
    patches, shares = [], []
    for scheme in each_of("looking at the parts", schemes, len(schemes)):
        places = places_of(scheme)
        at = options.coat
        ground = ground_for(scheme, places) if at is None else others_around(scheme, places, at - 1)
        patches.append(ground.patches(scheme, per_load))
        shares.append(ground.share)
        names.append(_free(scheme.name, names))
    return Question(
        bases=tuple(names),
        patches=tuple(patches),
        dyes=tuple(dyes),
        powders=tuple(dye.concentrate_g_per_L is None for dye in dyes.values()),
        load_of_unit=np.array(shares)[:, None] * units,
        strengths=strengths,
        coats=options.coats,
        films_um=films,
        most_dyes=min(options.most_dyes, len(dyes)),
        part_rows=options.part_rows,
    )


def _free(name: str, taken: Sequence[str]) -> str:
    """The name, with a number where it is taken."""
    names = (name, *(f"{name} {n}" for n in range(2, len(taken) + 3)))
    return next(free for free in names if free not in taken)
