"""The ladder as a picture to print and hold beside the part: coats across, strengths down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from layerpreview.answers.ladder import Ladder, LadderModel, ladder_model, ladder_of
from layerpreview.errors import InputError, Problem
from layerpreview.finish.layers import dyes_in
from layerpreview.finish.look import make_look
from layerpreview.finish.stack import DyeLayer
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.output.files import write_text, written_together
from layerpreview.output.pictures import write_picture
from layerpreview.output.plain_json import plain_json
from layerpreview.output.swatches import base_cell, swatch_grid, textured_cells
from layerpreview.picture.scene import make_scene
from layerpreview.picture.spots import AS_FULL, spots_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.workflows.render import with_lights

FIGURES_WIDTH_PX = 400
PICTURE, FIGURES = "ladder_{light}.png", "ladder.json"


@dataclass(frozen=True)
class Laddered:
    """What was written, and the numbers behind it."""

    folder: Path
    files: tuple[str, ...]
    ladder: Ladder


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
    cell_mm: float = 25.0,
    cell_px: int = 150,
    agreed: tuple[float, int] | None = None,
) -> Laddered:
    """Write a grid of textured swatches per light and the figures as JSON.

    `strengths` are multiples of the scheme's; `agreed` marks the cell of a strength and a number of coats; a cell shows
    and prints as `cell_mm` [mm] of the part. Raises InputError for a mix or cell that is not there.
    """
    scheme = with_lights(load_scheme(scheme_path), lights)
    spots = spots_of(scheme, make_scene(scheme, width_px=FIGURES_WIDTH_PX, view=view))
    try:
        model = ladder_model(scheme, spots, mix)
    except ValueError as error:
        raise InputError(Problem(str(error), "name one of them", field="--mix", value=repr(mix))) from None
    marked = _marked(agreed, strengths, most_coats)
    names = [PICTURE.format(light=light) for light in scheme.lights] + [FIGURES]
    with written_together(out, names, force=force, inputs=scheme.inputs) as paths:
        ladder = ladder_of(scheme, spots, mix=mix, strengths=strengths, most_coats=most_coats, view=view)
        cell, tint = base_cell(scheme, cell_mm=cell_mm, cell_px=cell_px, view=view, face=model.below.spot.face)
        most = float(max(strengths)) * most_coats
        stack = model.below.stack(scheme, view, above=[DyeLayer(model.per_coat10 * most)])
        share = np.array([[rung.strength * rung.coats / most] for row in ladder.rows for rung in row])
        share = np.pad(share, [(0, 0), (len(stack.layers) - 1, 0)], constant_values=1.0)
        for light in scheme.lights:
            look = make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=tint)
            pictures = textured_cells(look, cell, share, cell_px=cell_px)
            grid = swatch_grid(
                [list(pictures[i * most_coats : (i + 1) * most_coats]) for i in range(len(strengths))],
                [[_label(rung.lab[light], rung.next_de00[light]) for rung in row] for row in ladder.rows],
                title=f"{scheme.name}: {ladder.mix}, coat by coat",
                notes=_notes(scheme, ladder, light, view, cell_mm),
                row_heads=[_strength_words(scheme, model, factor) for factor in strengths],
                column_heads=[f"{k} coat{'s' if k > 1 else ''}" for k in range(1, most_coats + 1)],
                marked=marked,
            )
            write_picture(grid, paths[PICTURE.format(light=light)], pixel_mm=cell_mm / cell_px)
        write_text(paths[FIGURES], plain_json({"scheme": scheme.name, "approximate": True, **asdict(ladder)}))
    return Laddered(out, tuple(names), ladder)


def strengths_from(text: str) -> list[float]:
    """Multiples of the scheme's strength as typed. Raises InputError for what is none.

    >>> strengths_from("0.5, 1, 2")
    [0.5, 1.0, 2.0]
    """
    try:
        found = [float(part) for part in text.split(",")]
    except ValueError:
        found = []
    if not found or len(found) > 24 or not all(0.01 <= factor <= 20.0 for factor in found):
        rule = "up to 24 multiples of the scheme's strength, each between 0.01 and 20"
        raise InputError(Problem(rule, "write 0.5,1,2", field="--strengths", value=text))
    return list(dict.fromkeys(found))


def agreed_from(text: str) -> tuple[float, int]:
    """The agreed cell as typed: strength and coats. Raises InputError for what is none.

    >>> agreed_from("1x3")
    (1.0, 3)
    """
    strength, _, coats = text.replace(" ", "").partition("x")
    try:
        return float(strength), int(coats)
    except ValueError:
        raise InputError(
            Problem("a strength and a number of coats", "write 1x3", field="--agreed", value=text)
        ) from None


def _marked(agreed: tuple[float, int] | None, strengths: Sequence[float], most_coats: int) -> set[tuple[int, int]]:
    if agreed is None:
        return set()
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
    return {(row, coats - 1)}


def _label(lab: tuple[float, float, float], step: float) -> list[str]:
    lightness, a, b = (f"{round(v) + 0:d}" for v in lab)
    return [f"L* {lightness}  a* {a}  b* {b}", f"next coat: {step:.1f}"]


def _strength_words(scheme: Scheme, model: LadderModel, factor: float) -> str:
    parts = [
        f"{part.name} {part.as_sold_per_L.likely * factor:.3g} {'g/L' if part.powder else 'mL/L'}"
        for part in dyes_in(scheme, scheme.mix_of(model.coat))
    ]
    head = "as in the scheme" if factor == 1.0 else f"{factor:g} times"
    return f"{head}: {', '.join(parts)}"


def _notes(scheme: Scheme, ladder: Ladder, light: str, view: View, cell_mm: float) -> list[str]:
    over = f"over {' and '.join(ladder.over)}" if ladder.over else "over the bare base"
    left = "" if abs(ladder.share - 1.0) < AS_FULL else f", {100 * ladder.share:.2g} % of each coat"
    return [
        f"At the place {ladder.spot}, {over}{left}. Wet film {ladder.film_um:g} um a coat, "
        f"{ladder.film_basis}; light {light}, {view.words}. A cell is {cell_mm:g} mm "
        f"({cell_mm / 25.4:.2g} in) of the part and prints at that size at 100 %.",
        "L*, a*, b* of the mean base against the light's white. Next coat: CIEDE2000 to the same strength with one "
        "coat more; below 0.8 hardly anyone sees it, above 1.8 most do (flat samples). Adapted to the screen; "
        "approximate.",
    ]
