"""One mix at several strengths, coat by coat, to choose from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from layerpreview.answers.ladder import Ladder, ladder_model, ladder_of
from layerpreview.errors import InputError, Problem
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.output.files import written_together
from layerpreview.output.ladder_result import ladder_names, ladder_result
from layerpreview.output.result import Result
from layerpreview.picture.spots import places_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.units import UnitError, parse_number
from layerpreview.workflows.choices import views_around, with_lights
from layerpreview.workflows.typed import numbers_typed

MOST_STRENGTHS, MOST_COATS = 24, 60


def ladder(
    scheme: Scheme,
    *,
    mix: str | None = None,
    strengths: Sequence[float] = (1.0,),
    most_coats: int = 8,
    lights: Sequence[str] | None = None,
    view: View = STRAIGHT_ON,
    cell_mm: float = 25.0,
    cell_px: int = 150,
    agreed: tuple[float, int] | None = None,
) -> Result[Ladder]:
    """Climb one mix (the first that is sprayed where none is named) over the scheme's first base, coat by coat.

    `strengths` are multiples of the scheme's, `agreed` marks the cell of a strength and a number of coats; a cell shows
    and prints as `cell_mm` [mm] of the part. Raises InputError for a mix, light or cell that is not there.
    """
    scheme = with_lights(scheme, lights)
    _check(strengths, most_coats)
    marked = _marked(agreed, strengths, most_coats)
    spots = places_of(scheme, view)
    found = ladder_of(scheme, spots, mix=mix, strengths=strengths, most_coats=most_coats, view=view)
    model = ladder_model(scheme, spots, mix)
    return ladder_result(scheme, found, model, view=view, cell_mm=cell_mm, cell_px=cell_px, marked=marked)


def ladder_files(
    scheme_path: Path,
    *,
    out: Path,
    force: bool = False,
    mix: str | None = None,
    strengths: Sequence[float] = (1.0,),
    most_coats: int = 8,
    lights: Sequence[str] | None = None,
    view: View = STRAIGHT_ON,
    around: str = "even",
    cell_mm: float = 25.0,
    cell_px: int = 150,
    agreed: tuple[float, int] | None = None,
) -> Result[Ladder]:
    """Write the ladder of the scheme at `scheme_path` into `out`: a grid of swatches per light, and figures as JSON.

    The choices are those of `ladder`; `around` names the surroundings. Raises SchemeError, InputError, PictureError or
    OutputError; nothing is written then.
    """
    scheme = with_lights(load_scheme(scheme_path), lights)
    view = views_around(scheme, [view], around)[0]
    with written_together(out, ladder_names(scheme), force=force, inputs=scheme.inputs) as paths:
        found = ladder(
            scheme,
            mix=mix,
            strengths=strengths,
            most_coats=most_coats,
            view=view,
            cell_mm=cell_mm,
            cell_px=cell_px,
            agreed=agreed,
        )
        return found.written(paths, out)


def strengths_from(text: str) -> list[float]:
    """Multiples of the scheme's strength as typed. Raises InputError for what is none.

    >>> strengths_from("0.5, 1, 2")
    [0.5, 1.0, 2.0]
    """
    found = numbers_typed(text, "--strengths", most=MOST_STRENGTHS, low=0.01, high=20.0, example="0.5,1,2")
    return list(dict.fromkeys(found))


STRENGTHS_RULE = f"up to {MOST_STRENGTHS} multiples of the scheme's strength, each between 0.01 and 20"


def _usable(strengths: Sequence[float]) -> bool:
    return 0 < len(strengths) <= MOST_STRENGTHS and all(0.01 <= factor <= 20.0 for factor in strengths)


def _check(strengths: Sequence[float], most_coats: int) -> None:
    problems = []
    if not _usable(strengths):
        shown = ",".join(f"{factor:g}" for factor in strengths)
        problems.append(Problem(STRENGTHS_RULE, "for example 0.5, 1, 2", field="strengths", value=shown))
    if not 1 <= most_coats <= MOST_COATS:
        problems.append(Problem(f"this lies between 1 and {MOST_COATS}", field="most_coats", value=str(most_coats)))
    if problems:
        raise InputError(problems)


def agreed_from(text: str) -> tuple[float, int]:
    """The agreed cell as typed: strength and coats. Raises InputError for what is none.

    >>> agreed_from("1x3")
    (1.0, 3)
    """
    strength, _, coats = text.lower().replace("×", "x").partition("x")
    try:
        factor, count = parse_number(strength, 0.01, 20.0), parse_number(coats, 1, MOST_COATS)
    except UnitError:
        count = math.nan
    if not count.is_integer():
        rule = "a strength and a number of coats with an x between are wanted"
        raise InputError(Problem(rule, "write for example 1x3", field="--agreed", value=text))
    return factor, int(count)


def _marked(agreed: tuple[float, int] | None, strengths: Sequence[float], most_coats: int) -> tuple[int, int] | None:
    """Row and column of the agreed cell, from 0."""
    if agreed is None:
        return None
    strength, coats = agreed
    row = next((i for i, factor in enumerate(strengths) if abs(factor - strength) < 1e-9), None)
    if row is None or not 1 <= coats <= most_coats:
        raise InputError(
            Problem(
                "the agreed cell is not on this grid",
                f"use one of the strengths {', '.join(f'{s:g}' for s in strengths)} and 1 to {most_coats} coats",
                field="--agreed",
                value=f"{strength:g} x {coats}",
            )
        )
    return row, coats - 1
