"""Mend: a damaged place of a finish that is there already."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import (
    Force,
    Json,
    Lights,
    ResultsFolder,
    SchemeFile,
    app,
    give,
    next_step,
    place_for,
    reason_as_json,
    say,
)
from layerpreview.cli.typed_values import exposure_option, whole, word, years_option


@app.command("touch-up")
def touch_up(
    scheme: SchemeFile,
    damage: Annotated[
        str | None,
        typer.Option("--damage", metavar="TEXT", help='Corners of the place: "120,80 150,82 148,110 mm" on its face.'),
    ] = None,
    mask: Annotated[
        Path | None,
        typer.Option(
            "--mask", metavar="FILE", help="Or a picture of the face, brushed over in green or white on black."
        ),
    ] = None,
    face: Annotated[str | None, typer.Option("--face", metavar="NAME", help="Of which face; else the first.")] = None,
    depth: Annotated[str, word("--depth", "NAME", "Sanded through: clear, dye or base.")] = "dye",
    texture: Annotated[str, word("--texture", "NAME", "Of a base laid anew: again or flat.")] = "again",
    feather: Annotated[
        str | None, typer.Option("--feather", metavar="LENGTH", help="10 to 60 mm; else the smallest that hides it.")
    ] = None,
    hand: Annotated[str, word("--hand", "NAME", "flat (perfect), good or hurried.")] = "good",
    clear: Annotated[str, word("--clear", "NAME", "Cleared again: the whole face, or a blend.")] = "face",
    exposure: Annotated[float | None, exposure_option("Light it has had, in million lux hours.")] = None,
    years_window: Annotated[float | None, years_option("--years-window", "Or years at a window (rough).")] = None,
    years_room: Annotated[float | None, years_option("--years-room", "Or years on the wall of a room (rough).")] = None,
    years_case: Annotated[float | None, years_option("--years-case", "Or years in a case (rough).")] = None,
    step: Annotated[
        list[str] | None,
        typer.Option("--step", metavar="DYE=1..8", help="Light-fastness step of a dye; repeat for more."),
    ] = None,
    light: Lights = None,
    width: Annotated[
        int | None, whole("--width", "PX", "Width of the face's picture.", low=64, high=30_000, example="1600")
    ] = None,
    out: ResultsFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Show what a repair will look like.

    The place before, after and the difference enhanced; the step along the feather, the smallest feather that hides
    it, the local mix in mL and drops, and the work step by step.

    Writes touch_up.png, touch_up_WHEN.png, touch_up.txt and touch_up.json into touch-up.
    """
    from layerpreview.workflows.fade import exposure_from, steps_from
    from layerpreview.workflows.touch_up import touch_up_files

    years = {"window": years_window, "room": years_room, "case": years_case}
    aged = exposure is not None or any(value is not None for value in years.values())
    folder, aside = place_for(scheme, "touch-up", out)
    with reason_as_json(as_json):
        found = touch_up_files(
            scheme,
            out=folder,
            force=force,
            face=face,
            damage=damage,
            mask=mask,
            depth=depth,
            texture=texture,
            feather=feather,
            hand=hand,
            clear=clear,
            exposure=exposure_from(Mlx_h=exposure, years=years) if aged else None,
            steps=steps_from(step or []),
            lights=light,
            width_px=width,
        )
    give(found.json() if as_json else found.text())
    say(f"Wrote {', '.join(found.files)} to {found.folder}{aside}")
    next_step(f"open {folder / 'touch_up.png'}, mix the small batch, and spray a card beside the part first")
