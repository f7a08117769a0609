"""The look after light: new, and after a stated exposure by the gentler and the harsher reading of the same steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layerpreview.answers.fade import MLX_H_A_YEAR, Fading, faded_scene, fading_of
from layerpreview.colour import delta_e_2000, visibility
from layerpreview.errors import InputError, NoAnswerError, Problem, typed
from layerpreview.finish.layers import stack_of
from layerpreview.finish.look import Appearance, make_look
from layerpreview.job.colours import spot_lab
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import small_pictures, write_picture
from layerpreview.output.plain_json import plain_json
from layerpreview.picture.scene import Scene, make_scene
from layerpreview.picture.spots import Spot, SpotKind, dye_shows, main_spot, spots_of
from layerpreview.scheme import DyeCoat, Scheme, load_scheme
from layerpreview.scheme.fields import FieldError
from layerpreview.scheme.report import table_told
from layerpreview.scheme.work_fields import light_fastness
from layerpreview.units import Range
from layerpreview.workflows.render import MARGIN, with_lights

TILE_PX = 560
SHEET, FIGURES = "fade.png", "fade.json"
SCALES = {"museum": "after light, museum figures", "textile": "after light, textile figures"}
"""The gentler reading (steps three times apart, least light) and the harsher (twice apart, most light)."""
MOST_MLX_H, MOST_YEARS = 10_000.0, 500.0


@dataclass(frozen=True)
class Exposure:
    """How much light [Mlx h], and in words."""

    Mlx_h: Range
    words: str


@dataclass(frozen=True)
class Step:
    """Light-fastness of a dye on the blue wool scale [1..8], and whether an option or the scheme says so."""

    step: Range
    source: str


@dataclass(frozen=True)
class FadedSpot:
    """One place: CIEDE2000 from new, and the share left of each dye there, by scale."""

    spot: str
    kind: SpotKind
    at_mm: tuple[float, float]
    de00: dict[str, float]
    dye_left: dict[str, dict[str, float]]


@dataclass(frozen=True)
class Faded:
    """What fades where: `spots`, the place that stands for the finish first; `left` and `de00` are of that place."""

    folder: Path
    files: tuple[str, ...]
    exposure_Mlx_h: Range
    exposure: str
    steps: dict[str, Step]
    spots: tuple[FadedSpot, ...]
    lines: tuple[str, ...]

    @property
    def left(self) -> dict[str, dict[str, float]]:
        """Share of each dye left at the place that stands for the finish, by scale."""
        return self.spots[0].dye_left

    @property
    def de00(self) -> dict[str, float]:
        """CIEDE2000 from new at the place that stands for the finish, by scale."""
        return self.spots[0].de00

    def to_dict(self) -> dict[str, object]:
        """The result ready for JSON."""
        return {
            "rough": True,
            "exposure_Mlx_h": self.exposure_Mlx_h.likely,
            "exposure_range_Mlx_h": self.exposure_Mlx_h,
            "exposure": self.exposure,
            "steps": {name: step.step.likely for name, step in self.steps.items()},
            "step_ranges": self.steps,
            "dye_left": self.left,
            "field_de00": self.de00,
            "spots": self.spots,
            "lines": self.lines,
        }


def fade_files(
    scheme_path: Path,
    *,
    out: Path,
    exposure: Exposure,
    steps: Mapping[str, Range] | None = None,
    force: bool = False,
    light: str | None = None,
) -> Faded:
    """Write a sheet of the finish new and after `exposure`; `steps` instead of what the scheme says of its dyes.

    Raises InputError for a dye that is not there or where no step is known at all, NoAnswerError where no dye shows,
    SchemeError, PictureError or OutputError.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    known = _steps(scheme, steps or {})
    with written_together(out, [SHEET, FIGURES], force=force, inputs=scheme.inputs) as paths:
        scene = make_scene(scheme, width_px=TILE_PX, margin=MARGIN)
        fadings = {"new": fading_of(scheme, {}, exposure_Mlx_h=0.0, scale="museum")}
        fadings |= {scale: _fading(scheme, known, exposure.Mlx_h, scale) for scale in SCALES}
        spots = [_faded_spot(scheme, spot, fadings) for spot in _spots(scheme, scene)]
        lines = tuple(_lines(scheme, known, exposure, spots))
        shown = [small_pictures(faded_scene(scene, f), [_appearance(scheme, scene, f)])[0] for f in fadings.values()]
        tiles = list(zip(["new", *SCALES.values()], shown, strict=True))
        title = f"{scheme.name}: after {exposure.words}"
        note = f"{' '.join(_head_lines(scheme, known, exposure))} {_worst_line(spots)} Light {scheme.lights[0]}."
        sheet = labelled_sheet(tiles, title=title, note=note, columns=3)
        write_picture(sheet, paths[SHEET])
        result = Faded(out, (SHEET, FIGURES), exposure.Mlx_h, exposure.words, known, tuple(spots), lines)
        write_text(paths[FIGURES], plain_json({"scheme": scheme.name, **result.to_dict()}))
    return result


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


def _steps(scheme: Scheme, asked: Mapping[str, Range]) -> dict[str, Step]:
    """Option before scheme; dyes of which neither says anything are left out."""
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
        problems.append(Problem("no dye has a light-fastness step", remedy, str(scheme.file)))
    if problems:
        raise InputError(problems)
    return {name: found[name] for name in scheme.dyes if name in found}


def _fading(scheme: Scheme, steps: Mapping[str, Step], exposure_Mlx_h: Range, scale: str) -> Fading:
    gentle = scale == "museum"
    chosen = {name: step.step.high if gentle else step.step.low for name, step in steps.items()}
    light = exposure_Mlx_h.low if gentle else exposure_Mlx_h.high
    return fading_of(scheme, chosen, exposure_Mlx_h=light, scale=scale)


def _spots(scheme: Scheme, scene: Scene) -> list[Spot]:
    spots = spots_of(scheme, scene)
    main = main_spot(spots)
    found = [spot for spot in (main, *(other for other in spots if other is not main)) if dye_shows(scheme, spot)]
    if not found:
        raise NoAnswerError(f"{scheme.name}: no dye shows anywhere, so nothing fades")
    return found


def _faded_spot(scheme: Scheme, spot: Spot, fadings: Mapping[str, Fading]) -> FadedSpot:
    whole = stack_of(scheme, base=spot.base)
    builds = spot.build[:, None]
    lab = {
        name: spot_lab(
            fading.stack(whole),
            spot.bare,
            fading.builds(builds)[:, 0].astype(np.float64),
            light=scheme.lights[0],
            observer_deg=scheme.observer_deg,
        )
        for name, fading in fadings.items()
    }
    here = {
        dye
        for coat, build in zip(scheme.coats, spot.build, strict=True)
        if isinstance(coat, DyeCoat) and build > 0.0
        for dye in scheme.mix_of(coat).strengths
    }
    return FadedSpot(
        spot=spot.name,
        kind=spot.kind,
        at_mm=spot.at_mm,
        de00={scale: float(delta_e_2000(lab["new"], lab[scale])) for scale in SCALES},
        dye_left={
            scale: {
                name: float(left)
                for name, left in zip(fadings[scale].names, fadings[scale].left(builds)[:, 0], strict=True)
                if name in here
            }
            for scale in SCALES
        },
    )


def _appearance(scheme: Scheme, scene: Scene, fading: Fading) -> Appearance:
    light = scheme.lights[0]
    looks = []
    for face in scene.faces:
        stack = fading.stack(stack_of(scheme, base=scheme.base_for(face.name)))
        tint = face.picture.bare.tint_rgb
        looks.append(make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=tint))
    return Appearance(light, tuple(looks))


def _lines(scheme: Scheme, steps: Mapping[str, Step], exposure: Exposure, spots: Sequence[FadedSpot]) -> list[str]:
    lines = _head_lines(scheme, steps, exposure)
    for spot in spots:
        low, high = sorted(spot.de00.values())
        kept = "; ".join(
            f"{name} keeps {100 * spot.dye_left['textile'][name]:.0f} to {100 * spot.dye_left['museum'][name]:.0f} %"
            for name in spot.dye_left["museum"]
            if name in steps
        )
        seen = visibility(low) if visibility(low) == visibility(high) else f"{visibility(low)} to {visibility(high)}"
        place = spot.spot[0].upper() + spot.spot[1:]
        if not kept:
            lines.append(
                f"{place}: how far it shifts is not known, as no step is of {', '.join(spot.dye_left['museum'])}."
            )
            continue
        lines.append(f"{place}: shifts by {low:.1f} to {high:.1f} CIEDE2000 ({seen}); {kept}.")
    return [
        *lines,
        *([_worst_line(spots)] if len(spots) > 1 else []),
        "A step stands twice as much light as the one before by the textile definition, three times by museum data.",
        "Without ultraviolet; 1 Mlx h is about a year of a bright room by day (250 lx, 11 h a day).",
    ]


def _head_lines(scheme: Scheme, steps: Mapping[str, Step], exposure: Exposure) -> list[str]:
    told = ", ".join(f"{name} {_ends(step.step)} ({step.source})" for name, step in steps.items())
    lines = [f"Rough: after {exposure.words}. Blue wool steps: {told}."]
    mixed = {dye for mix in scheme.mixes.values() for dye in mix.strengths}
    unknown = [name for name in scheme.dyes if name not in steps and name in mixed]
    if unknown:
        lines.append(f"No step is known of {', '.join(unknown)}: drawn as if it did not fade, which every dye does.")
    return lines


def _worst_line(spots: Sequence[FadedSpot]) -> str:
    worst = max(spots, key=lambda spot: max(spot.de00.values()))
    low, high = sorted(worst.de00.values())
    return f"It changes most at the {worst.spot}, by {low:.1f} to {high:.1f} CIEDE2000."


def _ends(step: Range) -> str:
    return f"{step.low:g}" if step.low == step.high else f"{step.low:g} to {step.high:g}"
