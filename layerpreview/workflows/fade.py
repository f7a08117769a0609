"""The look after light: how much light, by what steps of the dyes, and what is then seen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from layerpreview.answers.fade import MLX_H_A_YEAR, Exposure, Faded, Step, faded_of
from layerpreview.errors import InputError, NoAnswerError, Problem, typed
from layerpreview.output.fade_result import FADE_NAMES, fade_result
from layerpreview.output.files import written_together
from layerpreview.output.result import Result
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.scheme.fields import FieldError
from layerpreview.scheme.report import table_told
from layerpreview.scheme.work_fields import light_fastness
from layerpreview.units import Range
from layerpreview.workflows.choices import MARGIN, with_lights

TILE_PX = 560
MOST_MLX_H, MOST_YEARS = 10_000.0, 500.0


def fade(
    scheme: Scheme,
    *,
    exposure_Mlx_h: float | None = None,
    years_window: float | None = None,
    years_room: float | None = None,
    years_case: float | None = None,
    steps: Mapping[str, str | float | Range] | None = None,
    light: str | None = None,
) -> Result[Faded]:
    """See the scheme's places after light: `exposure_Mlx_h` [Mlx h], or years at a window, in a room or in a case.

    `steps`: light fastness by dye on the blue wool scale, 4 or "3 to 4", instead of what the scheme says of it.
    Raises InputError for a dye that is not there or where no step is known, NoAnswerError where no dye shows, or
    PictureError.
    """
    years = {"window": years_window, "room": years_room, "case": years_case}
    typed = [f"{name}={step}" for name, step in (steps or {}).items() if not isinstance(step, Range)]
    asked = {name: step for name, step in (steps or {}).items() if isinstance(step, Range)} | steps_from(typed)
    return faded(scheme, exposure_from(Mlx_h=exposure_Mlx_h, years=years), steps=asked, light=light)


def faded(
    scheme: Scheme, exposure: Exposure, *, steps: Mapping[str, Range] | None = None, light: str | None = None
) -> Result[Faded]:
    """The same for an exposure that was read already."""
    scheme = with_lights(scheme, [light] if light else None)
    known = steps_known(scheme, steps or {})
    scene = make_scene(scheme, width_px=TILE_PX, margin=MARGIN)
    return fade_result(scheme, scene, faded_of(scheme, scene, known, exposure))


def fade_files(
    scheme_path: Path,
    *,
    out: Path,
    exposure: Exposure,
    steps: Mapping[str, Range] | None = None,
    force: bool = False,
    light: str | None = None,
) -> Result[Faded]:
    """Write a sheet of the finish new and after `exposure`; `steps` instead of what the scheme says of its dyes.

    Raises InputError for a dye that is not there or where no step is known at all, NoAnswerError where no dye shows,
    SchemeError, PictureError or OutputError.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    with written_together(out, FADE_NAMES, force=force, inputs=scheme.inputs) as paths:
        return faded(scheme, exposure, steps=steps).written(paths, out)


def exposure_from(*, Mlx_h: float | None = None, years: Mapping[str, float | None] | None = None) -> Exposure:
    """The exposure as typed: million lux hours, or years at a "window", in a "room" or in a "case"; exactly one.

    Raises InputError for none, several or one out of range.

    >>> exposure_from(years={"case": 20.0}).Mlx_h
    Range(low=0.4, likely=2.0, high=6.0)
    """
    options = {"--exposure": Mlx_h} | {f"--years-{where}": value for where, value in (years or {}).items()}
    given = {name: value for name, value in options.items() if value is not None}
    if len(given) != 1:
        rule = f"exactly one exposure is wanted, got {' and '.join(given) or 'none'}"
        raise InputError(Problem(rule, "write --exposure 20 (million lux hours), --years-window 5 or --years-case 20"))
    name, value = next(iter(given.items()))
    most = MOST_MLX_H if name == "--exposure" else MOST_YEARS
    if not 0.0 <= value <= most:
        raise InputError(Problem(f"this lies between 0 and {most:g}", field=name, value=f"{value:g}"))
    if name == "--exposure":
        return Exposure(Range.point(value), f"{value:g} Mlx h")
    where = name.removeprefix("--years-")
    light = MLX_H_A_YEAR[where].scaled(value)
    place = {"window": "at a window", "room": "in a bright room", "case": "in its case, an hour a day out of it"}[where]
    shown = f"{value:g} year{'' if value == 1 else 's'} {place}"
    return Exposure(light, f"{shown} ({_short(light.low)} to {_short(light.high)} Mlx h, rough)")


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 10.0 else f"{value:.2g}"


def steps_from(written: Sequence[str]) -> dict[str, Range]:
    """Light-fastness steps as typed, `amber=4`, `red=3 to 4`. Raises InputError listing every one that is none.

    >>> steps_from(["amber=4"])
    {'amber': Range(low=4.0, likely=4.0, high=4.0)}
    """
    found, problems = {}, []
    for text in written:
        name, _, step = text.partition("=")
        try:
            found[name.strip()] = light_fastness(step)
        except FieldError:
            rule = "a dye and its blue wool step from 1 to 8"
            problems.append(Problem(rule, 'write amber=4, or "amber=3 to 4"', field="--step", value=text))
    if problems:
        raise InputError(problems)
    return found


def steps_known(scheme: Scheme, asked: Mapping[str, Range]) -> dict[str, Step]:
    """The step of every dye, option before scheme; dyes of which neither says anything are left out.

    Raises InputError for a dye that is not there or where no step is known, NoAnswerError where there is no dye.
    """
    known = ", ".join(scheme.dyes) or "none"
    problems = [
        Problem("the scheme has no such dye", f"its dyes are: {known}", field="--step", value=name)
        for name in asked
        if name not in scheme.dyes
    ]
    found = {name: Step(dye.light_fastness, "scheme") for name, dye in scheme.dyes.items() if dye.light_fastness}
    found |= {name: Step(step, "option") for name, step in asked.items()}
    if not found and not problems:
        if not scheme.dyes:
            raise NoAnswerError(f"{scheme.name}: there is no dye in it, so nothing fades")
        example = next(iter(scheme.dyes))
        below, option = table_told("dye", example), typed(f"{example}=4")
        remedy = f"add light_fastness = 4 below {below} (the product's sheet has it), or --step {option}"
        problems.append(Problem("no dye has a light-fastness step", remedy, scheme.shown_file))
    if problems:
        raise InputError(problems)
    return {name: found[name] for name in scheme.dyes if name in found}
