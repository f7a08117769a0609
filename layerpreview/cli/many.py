"""Whole catalogues: all colours that can be reached, and every scheme below a folder, on any number of workers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import (
    Force,
    Json,
    Lights,
    ResultsFolder,
    Width,
    app,
    give,
    next_step,
    place_for,
    say,
    scheme_in,
    typed,
)
from layerpreview.cli.typed_values import MOST_NUMBER, whole

On = Annotated[
    str | None,
    typer.Option("--on", metavar="ADDRESS", help="A cluster that is there already, as tcp://10.0.0.5:8786."),
]
Hands = Annotated[
    int | None,
    whole("--workers", "N", "Processes of this machine; without it one a core.", low=1, high=256, example="2"),
]


def _found(places: list[Path]) -> list[Path]:
    return [found for place in places if (found := scheme_in(place)) is not None]


@app.command(hidden=True)
def atlas(
    schemes: Annotated[
        list[Path],
        typer.Argument(
            metavar="JOB...", help="Folders or schemes, one for each base.", show_default=False, callback=_found
        ),
    ],
    dyes: Annotated[
        list[str] | None, typer.Option("--dyes", metavar="NAME", help='Repeat for more, or "library" for all.')
    ] = None,
    strengths: Annotated[
        list[str] | None,
        typer.Option("--strengths", metavar="X,...", help='mL/L of all dyes; "black=0.2,0.5" of one; repeat for more.'),
    ] = None,
    coats: Annotated[int, whole("--coats", "N", "From one coat to so many.", low=1, high=60, example="8")] = 8,
    films: Annotated[str, typer.Option("--films", metavar="UM,...", help="Wet films of a coat.")] = "40",
    most_dyes: Annotated[int, whole("--most-dyes", "N", "Most dyes in a mix.", low=1, high=3, example="3")] = 3,
    coat: Annotated[
        int | None,
        whole("--coat", "N", "In place of this coat, the others as they are; not of all dye.", low=1, high=MOST_NUMBER),
    ] = None,
    light: Lights = None,
    fill: Annotated[
        bool, typer.Option("--fill/--as-asked", help="Also add recipes where colours are missing between them.")
    ] = True,
    on: On = None,
    workers: Hands = None,
    out: ResultsFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Work out every colour of many recipes, to a table.

    What a run that was stopped has made stays; the same line goes on with it. `reach` answers from it at once.

    Writes atlas.png, atlas.json, part-NUMBER.parquet and between-NUMBER.parquet into atlas.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.atlas import atlas_files
    from layerpreview.workflows.atlas_question import AtlasOptions
    from layerpreview.workflows.workers import workers_from

    folder, aside = place_for(schemes[0], "atlas", out)
    options = AtlasOptions(dyes, strengths or (), coats, films, most_dyes, light, coat, fill)
    found = atlas_files(schemes, out=folder, options=options, force=force, workers=workers_from(on, workers))
    if as_json:
        give(plain_json(found))
    for name in found.mended:
        say(f"{name} was damaged or not from here, and was made again")
    if found.kept:
        say(f"{found.kept} of {found.parts} parts were there already")
    added = f", and {found.added:,} between them where colours were missing" if found.added else ""
    say(f"{found.recipes:,} recipes over {', '.join(found.bases)}{added} (approximate)")
    size = f"{found.size_bytes / 1e6:.1f} MB" if found.size_bytes > 1e6 else f"{found.size_bytes / 1e3:.0f} kB"
    say(f"Wrote atlas.png, atlas.json and {found.parts} parts, {size}, to {folder}{aside}")
    ask = f'layerpreview reach {typed(schemes[0])} "#74561f" --atlas {typed(folder)}'
    next_step(f"open {folder / 'atlas.png'}, then ask it for a colour: {ask}")


@app.command(name="render-all", hidden=True)
def render_all(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="A folder with schemes anywhere below it.", show_default=False)
    ],
    width: Width = 1600,
    board: Annotated[bool, typer.Option("--board/--no-board", help="Also the client's board of each.")] = True,
    on: On = None,
    workers: Hands = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Make pictures, board and figures of all schemes below a folder.

    Each in its own job's folder. What is up to date is left; one that is faulty stops no other: exit code 2 then.

    Writes what render, board and figures write, each into its own folder.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.render_all import render_all_files
    from layerpreview.workflows.workers import workers_from

    found = render_all_files(folder, width_px=width, board=board, force=force, workers=workers_from(on, workers))
    if as_json:
        give(plain_json(found))
    for job in found.jobs:
        for line in job.problems:
            say(f"error: {line}")
    if found.left:
        say(f"{found.left} of {len(found.jobs)} were up to date")
    what, schemes = f"pictures{', board' if board else ''} and figures", "scheme" if found.made == 1 else "schemes"
    say(f"Wrote {what} of {found.made} {schemes}, each beside its own")
    if found.faulty:
        next_step(f"mend the {found.faulty} named above, then the same again: what is done is left")
        raise typer.Exit(2)
    next_step(f"open {found.look_at}, or make the book of all jobs: layerpreview book {typed(folder)}")
