"""Decide: how strong, how many coats, how even, how sure, how it will fade."""

from __future__ import annotations

from typing import Annotated

import typer

from layerpreview.cli.common import (
    Force,
    Json,
    OneLight,
    OutFolder,
    ResultsFolder,
    SchemeFile,
    Width,
    app,
    give,
    next_step,
    place_for,
    reason_as_json,
    say,
    typed,
)
from layerpreview.cli.typed_values import exposure_option, years_option


@app.command()
def choose(
    scheme: SchemeFile,
    colour: Annotated[
        str | None,
        typer.Option(
            "--colour",
            "--color",
            metavar="COLOUR",
            help='To come near to: "#c88a3a", "62, 12, 48", "photo.jpg@x,y,w,h".',
        ),
    ] = None,
    what: Annotated[
        list[str] | None,
        typer.Option("--what", metavar="NAME", help="Only this: steps, even, sure or colour; repeat for more."),
    ] = None,
    width: Width = 1600,
    out: OutFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Say how the steps look, how even and how sure it will be.

    With a colour also how to come nearer to it; exit code 1 where none comes close enough. A line or two each, with
    the picture that shows it and the command that tells more.

    Writes what ladder, reach, evenness and tolerance write, each into its own folder.
    """
    from layerpreview.errors import NoAnswerError
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.choose import choose_files

    with reason_as_json(as_json):
        found = choose_files(scheme, colour=colour, what=what or [], out=out, width_px=width, force=force)
    give(plain_json(found) if as_json else found.text())
    for answer in found.answers:
        say(f"Wrote {', '.join(answer.files)} to {answer.folder}{found.aside}")
    if not found.reached:
        raise NoAnswerError(found.answers[-1].lines[0].rstrip("."))
    next_step(f"open the pictures, put what you like into {typed(scheme)}, then: layerpreview render {typed(scheme)}")


@app.command()
def fade(
    scheme: SchemeFile,
    exposure: Annotated[float | None, exposure_option("Light in million lux hours.")] = None,
    years_window: Annotated[
        float | None, years_option("--years-window", "Or years at a window, behind glass (rough).")
    ] = None,
    years_room: Annotated[float | None, years_option("--years-room", "Or years on the wall of a room (rough).")] = None,
    years_case: Annotated[
        float | None, years_option("--years-case", "Or years in a case, an hour a day out (rough).")
    ] = None,
    step: Annotated[
        list[str] | None,
        typer.Option(
            "--step", metavar="DYE=1..8", help="Light-fastness step instead of the scheme's; repeat for more."
        ),
    ] = None,
    light: OneLight = None,
    out: ResultsFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Show the look after years of light (rough).

    Every place of the finish, by the light-fastness steps that the scheme states of its dyes.

    Writes fade.png and fade.json into fade.
    """
    from layerpreview.workflows.fade import exposure_from, fade_files, steps_from

    years = {"window": years_window, "room": years_room, "case": years_case}
    folder, aside = place_for(scheme, "fade", out)
    with reason_as_json(as_json):
        found = fade_files(
            scheme,
            out=folder,
            exposure=exposure_from(Mlx_h=exposure, years=years),
            steps=steps_from(step or []),
            light=light,
            force=force,
        )
    give(found.json() if as_json else found.text())
    say(f"Wrote {', '.join(found.files)} to {found.folder}{aside}")
    next_step(f"open {folder / 'fade.png'}; for a dye that fades too far, look for one with a higher step on its sheet")
