"""Learn a dye from a spray-out: readings or a photo in, a dye file and pictures of what was found out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.learn.read.chart_values import USUAL_VALUES
from layerpreview.learn.read.columns import as_columns
from layerpreview.learn.read.frame import COLUMNS
from layerpreview.learn.read.readings import Readings, load_readings
from layerpreview.learn.tell.aims import scheme_aims
from layerpreview.learn.tell.fitted import Fitted, fitted_of
from layerpreview.learn.tell.next_step import Aim
from layerpreview.output.files import written_together
from layerpreview.output.fit_result import dye_files, fit_names, fit_result
from layerpreview.output.result import Result
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.scheme.dyefile import dye_name
from layerpreview.workflows.fit_compare import beside_before, beside_earlier
from layerpreview.workflows.fit_options import FitOptions, asked_of
from layerpreview.workflows.fit_read import card_read, is_text

_READ_TWICE = "two photos differ by more than a clear does: read the card twice with an instrument and give both tables"


def fit(card: str | Path | Readings, *, options: FitOptions | None = None, **said: Any) -> Result[Fitted]:
    """Fit the dye on a card: a file of readings, a photo, or `Readings` in memory.

    `options`: what is said of the card; every field of it may be given by name instead (`strength="12 mL/L"`).
    Raises InputError, PictureError or NoAnswerError.
    """
    asked = replace(options or FitOptions(), **said)
    asked = replace(asked, name=dye_name(asked.name))
    source = () if isinstance(card, Readings) else (Path(card),)
    return fit_result(_fitted(card, asked), inputs=(*source, *asked.beside))


def fit_files(
    source: Path, *, out: Path, options: FitOptions, scheme: Path | None = None, force: bool = False
) -> Result[Fitted]:
    """Fit the dye on the card in `source` (readings or a photo) and write NAME.dye.toml, pictures and figures to `out`.

    `scheme`: the file of the finish that the next card is to serve. A dye file that is there is never replaced without
    `force`: a scheme may name it. Raises InputError, SchemeError, PictureError, NoAnswerError or OutputError; nothing
    is written then.
    """
    options = replace(options, name=dye_name(options.name), scheme=load_scheme(scheme) if scheme else options.scheme)
    names = fit_names(options.name, photo=not is_text(source))
    # Of a scheme only itself: what is learnt anew of its dye may take the place of the dye's file.
    inputs = [source, *options.beside, *([scheme] if scheme else [])]
    with written_together(out, names, force=force, inputs=inputs, lasting=dye_files(names)) as paths:
        return fit(source, options=options).written(paths, out)


def _fitted(card: str | Path | Readings, options: FitOptions) -> Fitted:
    """One card fitted, and set beside an earlier dye or the same card before its clear where that is asked for."""
    if options.after_clear is not None:
        return _before_and_after(card, options, options.after_clear)
    if isinstance(card, Readings) or is_text(Path(card)):
        refuse_photo_options(options)
    read = card_read(card, options)
    aims = aims_of(options.scheme, dye=options.name, load_mg_m2=read.asked.load_mg_m2)
    try:
        fitted = fitted_of(
            read.card_of,
            read.asked,
            name=options.name,
            source=read.name,
            notes=[*read.notes, *aims_notes(options.scheme, dye=options.name)],
            found=read.found,
            aims=aims,
        )
    except InputError as error:
        file = card.file if isinstance(card, Readings) else str(card)
        raise type(error)(replace(problem, file=problem.file or file) for problem in error.problems) from None
    return beside_earlier(fitted, options.earlier, read.strength)


def refuse_photo_options(options: FitOptions) -> None:
    """Raise InputError for options that only a photo answers to: with readings they would be passed over."""
    given = {
        "--coats": as_columns(options.coats) != as_columns(range(COLUMNS)),
        "--corners": options.corners is not None,
        "--grey": options.grey is not None,
        "--chart": options.chart is not None,
        "--chart-values": options.chart_values != USUAL_VALUES,
    }
    if names := [name for name, is_given in given.items() if is_given]:
        rule = "only a photo has corners, a grey card, a chart or a frame's columns; readings are a table"
        raise InputError(Problem(rule, "leave it out", field=" and ".join(names)))


def _before_and_after(card: str | Path | Readings, options: FitOptions, after: Path) -> Fitted:
    """The dye as it is once the clear is on, beside what it was; either file may say what the card is."""
    for file in (card, after):
        if not isinstance(file, Readings) and not is_text(Path(file)):
            rule = "only readings can be compared before and after the clear"
            raise InputError(Problem(rule, _READ_TWICE, str(file)))
    before = card if isinstance(card, Readings) else load_readings(Path(card))
    later = load_readings(after)
    if Path(before.file).resolve() == after.resolve():
        rule = "this file is the card before its clear, too: nothing could have changed"
        raise InputError(Problem(rule, "name the readings taken after the clear", str(after), field="--after-clear"))
    remarks = {**before.remarks, **later.remarks}
    alone = replace(options, after_clear=None)
    fitted = _fitted(replace(later, remarks=remarks), alone)
    return beside_before(fitted, before, asked_of(alone, remarks, before.file).setting)


def aims_of(scheme: Scheme | None, *, dye: str, load_mg_m2: float) -> list[Aim]:
    """The colours of the scheme that the next card of `dye` is to serve; none without a scheme.

    `load_mg_m2` [mg/m2]: what a coat of the card holds of it. Raises InputError for a scheme that shows no dye.
    """
    if scheme is None:
        return []
    aims = scheme_aims(scheme, dye=dye, load_mg_m2=load_mg_m2)
    if not aims:
        rule = "no place of this scheme shows a dye, so no card can serve it"
        raise InputError(Problem(rule, "leave --for out, or name another scheme", scheme.shown_file, field="--for"))
    return aims


def aims_notes(scheme: Scheme | None, *, dye: str) -> list[str]:
    """That a scheme holds no dye of that name, so that each of its dyes is taken for this one."""
    if scheme is None or any(dye in (name, known.name) for name, known in scheme.dyes.items()):
        return []
    names = " and ".join(scheme.dyes)
    return [f"{scheme.shown_file} has no dye called {dye}: the next card is to serve {names} as if they were this one"]
