"""The ladder as a picture to print and hold beside the part: coats across, strengths down; and as figures."""

from __future__ import annotations

from dataclasses import asdict
from functools import cache

import numpy as np
from numpy.typing import NDArray

from layerpreview.answers.ladder import Ladder, LadderModel, Rung, percent
from layerpreview.finish.layers import dyes_in
from layerpreview.finish.look import make_look
from layerpreview.finish.stack import DyeLayer
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.output.pictures import write_picture
from layerpreview.output.plain_json import text_table
from layerpreview.output.result import Paths, Result
from layerpreview.output.swatches import Cell, base_cell, swatch_grid, textured_cells
from layerpreview.picture.spots import AS_FULL
from layerpreview.scheme import Scheme

PICTURE, FIGURES = "ladder_{light}.png", "ladder.json"


def ladder_names(scheme: Scheme) -> tuple[str, ...]:
    """The files of a ladder: a picture under each light, and the figures."""
    return (*(PICTURE.format(light=light) for light in scheme.lights), FIGURES)


def ladder_result(
    scheme: Scheme,
    ladder: Ladder,
    model: LadderModel,
    *,
    view: View = STRAIGHT_ON,
    cell_mm: float = 25.0,
    cell_px: int = 150,
    marked: tuple[int, int] | None = None,
) -> Result[Ladder]:
    """The ladder of a scheme, computed from `model`, with its ways out; the table has a row for every rung and light.

    A cell shows and prints as `cell_mm` [mm] of the part in `cell_px` [px]; `marked`: row and column of a cell, from 0.
    """

    cell = cache(lambda: base_cell(scheme, cell_mm=cell_mm, cell_px=cell_px, view=view, face=model.below.spot.face))

    def drawn(light: str) -> NDArray[np.uint8]:
        pictures = _cells(scheme, ladder, model, light, cell(), view=view, cell_px=cell_px)
        return _grid(scheme, ladder, model, pictures, _notes(ladder, light, view, cell_mm), light=light, marked=marked)

    def write(paths: Paths) -> None:
        for light in ladder.lights:
            write_picture(drawn(light), paths[PICTURE.format(light=light)], pixel_mm=cell_mm / cell_px)

    size = f"{len(ladder.rows)} strength{'s' if len(ladder.rows) > 1 else ''} x {len(ladder.rows[0])} coats"
    rungs = [rung for row in ladder.rows for rung in row]
    return Result(
        found=ladder,
        line=f"Ladder {ladder.mix}, {size}, {' '.join(ladder.lights)}",
        document=lambda _: {"scheme": scheme.name, "approximate": True, **asdict(ladder)},
        rows=lambda: [_row(rung, light) for rung in rungs for light in ladder.lights],
        text=lambda: _text(ladder),
        names=ladder_names(scheme),
        write=write,
        json_name=FIGURES,
        picture=lambda: drawn(ladder.lights[0]),
        inputs=scheme.inputs,
    )


def _row(rung: Rung, light: str) -> dict[str, object]:
    lightness, a, b = rung.lab[light]
    return {
        "strength": rung.strength,
        "coats": rung.coats,
        "film_um": rung.film_um,
        "light": light,
        "L": lightness,
        "a": a,
        "b": b,
        "next_de00": rung.next_de00[light],
        "srgb": rung.srgb,
    }


def _text(ladder: Ladder) -> str:
    """L*a*b* and the step to the next coat, a line a rung and light."""
    rows = [["strength", "coats", "light", "L*", "a*", "b*", "next coat"]]
    for rung in (rung for row in ladder.rows for rung in row):
        for light in ladder.lights:
            lab = (f"{value:.1f}" for value in rung.lab[light])
            rows.append([f"{rung.strength:g}", f"{rung.coats}", light, *lab, f"{rung.next_de00[light]:.1f}"])
    return "\n".join([f"{ladder.mix}, coat by coat:", *text_table(rows), ""])


def _cells(
    scheme: Scheme,
    ladder: Ladder,
    model: LadderModel,
    light: str,
    cell: Cell,
    *,
    view: View,
    cell_px: int,
) -> list[NDArray[np.uint8]]:
    """The base's cell under every rung, row by row."""
    most = max(row[0].strength for row in ladder.rows) * len(ladder.rows[0])
    stack = model.below.stack(scheme, view, above=[DyeLayer(model.per_coat10 * most)])
    look = make_look(stack, light=light, observer_deg=scheme.observer_deg, tint_rgb=cell.tint_rgb)
    share = np.array([[rung.strength * rung.coats / most] for row in ladder.rows for rung in row])
    share = np.pad(share, [(0, 0), (len(stack.layers) - 1, 0)], constant_values=1.0)
    return list(textured_cells(look, cell, share, cell_px=cell_px, rolled_from=view.rolled_from))


def _grid(
    scheme: Scheme,
    ladder: Ladder,
    model: LadderModel,
    pictures: list[NDArray[np.uint8]],
    notes: list[str],
    *,
    light: str,
    marked: tuple[int, int] | None,
) -> NDArray[np.uint8]:
    """The swatches under one light with their words, a row for every strength."""
    across = len(ladder.rows[0])
    return swatch_grid(
        [pictures[i * across : (i + 1) * across] for i in range(len(ladder.rows))],
        [[_label(rung.lab[light], rung.next_de00[light]) for rung in row] for row in ladder.rows],
        title=f"{scheme.name}: {ladder.mix}, coat by coat",
        notes=notes,
        row_heads=[_strength_words(scheme, model, row[0].strength) for row in ladder.rows],
        column_heads=[f"{k} coat{'s' if k > 1 else ''}" for k in range(1, across + 1)],
        marked=set() if marked is None else {marked},
    )


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


def _notes(ladder: Ladder, light: str, view: View, cell_mm: float) -> list[str]:
    over = f"over {' and '.join(ladder.over)}" if ladder.over else "over the bare base"
    left = "" if abs(ladder.share - 1.0) < AS_FULL else f", {percent(ladder.share)} of each coat"
    return [
        f"At the place {ladder.spot}, {over}{left}. Wet film {ladder.film_um:g} um a coat, {ladder.film_basis}; light "
        f"{light}, {view.words}. A cell is {cell_mm:g} mm ({cell_mm / 25.4:.2g} in) of the part and prints at that "
        "size at 100 %.",
        "L*, a*, b* of the mean base against the light's white. Next coat: CIEDE2000 to the same strength with one "
        "coat more; below 0.8 hardly anyone sees it, above 1.8 most do (flat samples). Adapted to the screen; "
        "approximate.",
    ]
