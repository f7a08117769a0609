"""The look after light: new, and after a stated exposure by the gentler and the harsher reading of the same steps."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layerpreview.choose.fade import STEPS, dye_left
from layerpreview.choose.patches import first_field, first_stack
from layerpreview.choose.tolerance import parts_of
from layerpreview.colour import delta_e_2000, visibility
from layerpreview.errors import InputError, Problem
from layerpreview.output.caption import labelled_sheet
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import small_pictures, write_picture
from layerpreview.preview.scene import make_scene
from layerpreview.preview.spots import spot_colour
from layerpreview.preview.stack import DyeLayer
from layerpreview.scheme import DyeCoat, Scheme, load_scheme
from layerpreview.workflows.render import MARGIN, with_lights
from layerpreview.workflows.tolerance import drawn_appearance

TILE_PX = 560
SHEET, FIGURES = "fade.png", "fade.json"
SCALES = {"museum": "after light, museum figures", "textile": "after light, textile figures"}


@dataclass(frozen=True)
class Faded:
    """Share of each dye left and the CIEDE2000 of the open field by scale, and the answer in words."""

    folder: Path
    files: tuple[str, ...]
    left: dict[str, dict[str, float]]
    de00: dict[str, float]
    lines: tuple[str, ...]


def fade_files(
    scheme_path: Path,
    *,
    out: Path,
    exposure_Mlx_h: float,
    steps: Mapping[str, int],
    force: bool = False,
    light: str | None = None,
) -> Faded:
    """Write a sheet of the finish new and after `exposure_Mlx_h` [Mlx h], dyes of blue wool `steps` [1..8] by name.

    Raises InputError for a dye or step that is not there, SchemeError, PictureError or OutputError.
    """
    scheme = with_lights(load_scheme(scheme_path), [light] if light else None)
    _check(scheme, steps, exposure_Mlx_h)
    with written_together(out, [SHEET, FIGURES], force=force, inputs=scheme.inputs) as paths:
        scene = make_scene(scheme, width_px=TILE_PX, margin=MARGIN)
        field, parts = first_field(scheme, scene), parts_of(scheme)
        whole = first_stack(scheme)
        total = np.zeros_like(field.bare)
        for build, layer in zip(field.build, whole.layers, strict=True):
            if isinstance(layer, DyeLayer):
                # Where only a burst lies, its full build stands for it.
                total += (build if field.build.any() else 1.0) * layer.absorbance10
        columns = {source.name: i for i, source in enumerate(parts.sources)}
        draws, left = {"new": np.ones(len(columns))}, {}
        for scale in SCALES:
            left[scale] = dye_left(scheme, total, steps, exposure_Mlx_h=exposure_Mlx_h, scale=scale)
            draws[scale] = np.ones(len(columns))
            for coat in scheme.coats:
                if isinstance(coat, DyeCoat):
                    for dye in scheme.mix_of(coat).strengths:
                        draws[scale][columns[f"{dye} in {coat.mix}"]] = left[scale][dye]
        seen = {
            name: spot_colour(
                parts.stack(whole, draw),
                field.bare,
                field.build,
                light=scheme.lights[0],
                observer_deg=scheme.observer_deg,
                spot=field.name,
            )
            for name, draw in draws.items()
        }
        lab = {name: np.array(colour.lab) for name, colour in seen.items()}
        de = {scale: float(delta_e_2000(lab["new"], lab[scale])) for scale in SCALES}
        looks = [drawn_appearance(scheme, scene, parts, draw) for draw in draws.values()]
        lines = tuple(_lines(steps, exposure_Mlx_h, left, de))
        words = ["new", *SCALES.values()]
        tiles = list(zip(words, small_pictures(scene, looks), strict=True))
        sheet = labelled_sheet(
            tiles, title=f"{scheme.name}: after {exposure_Mlx_h:g} Mlx h", note=" ".join(lines), columns=3
        )
        write_picture(sheet, paths[SHEET])
        document = {"scheme": scheme.name, "rough": True, "exposure_Mlx_h": exposure_Mlx_h, "steps": dict(steps)}
        document |= {"dye_left": left, "field_de00": de, "lines": lines}
        write_text(paths[FIGURES], json.dumps(document, indent=2, ensure_ascii=False) + "\n")
    return Faded(out, (SHEET, FIGURES), left, de, lines)


def steps_from(written: list[str]) -> dict[str, int]:
    """Light-fastness steps as typed, `amber=4`. Raises InputError listing every one that is none.

    >>> steps_from(["amber=4", "red = 6"])
    {'amber': 4, 'red': 6}
    """
    found, problems = {}, []
    for text in written:
        name, _, step = text.partition("=")
        if step.strip().isdigit() and int(step) in STEPS:
            found[name.strip()] = int(step)
        else:
            problems.append(
                Problem("a dye and its blue wool step from 1 to 8", "write amber=4", field="--step", value=text)
            )
    if problems:
        raise InputError(problems)
    return found


def _check(scheme: Scheme, steps: Mapping[str, int], exposure_Mlx_h: float) -> None:
    known = ", ".join(scheme.dyes) or "none"
    problems = [
        Problem("the scheme has no such dye", f"its dyes are: {known}", field="--step", value=name)
        for name in steps
        if name not in scheme.dyes
    ]
    if not steps:
        problems.append(Problem("no dye has a light-fastness step", "write --step amber=4", field="--step"))
    if not 0.0 <= exposure_Mlx_h <= 10_000.0:
        value = f"{exposure_Mlx_h:g}"
        problems.append(Problem("an exposure lies between 0 and 10000 Mlx h", field="--exposure", value=value))
    if problems:
        raise InputError(problems)


def _lines(
    steps: Mapping[str, int], exposure_Mlx_h: float, left: dict[str, dict[str, float]], de: dict[str, float]
) -> list[str]:
    kept = "; ".join(
        f"{name} (step {step}) keeps {100 * left['textile'][name]:.0f} to {100 * left['museum'][name]:.0f} % of its dye"
        for name, step in steps.items()
    )
    low, high = sorted(de.values())
    return [
        f"Rough: after {exposure_Mlx_h:g} Mlx h {kept}.",
        f"The open field shifts by {low:.1f} to {high:.1f} CIEDE2000 ({visibility(low)} to {visibility(high)}).",
        "A step stands twice as much light as the one before by the textile definition, three times by museum data.",
        "Without ultraviolet; 1 Mlx h is about a year of a bright room by day (250 lx, 11 h a day).",
    ]
