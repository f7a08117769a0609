"""Do it again: the same colour after a record."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import Force, Json, OutFolder, app, give, next_step, reason_as_json, say, typed


@app.command()
def remake(
    record: Annotated[Path, typer.Argument(metavar="RECORD", help="The record of the job (.zip).", show_default=False)],
    more: Annotated[
        list[Path] | None,
        typer.Argument(metavar="[DYE...]", help="Today's dye files, as after --dyes.", show_default=False),
    ] = None,
    dyes: Annotated[
        list[Path] | None,
        typer.Option("--dyes", metavar="FILE", help="Today's dye files (.dye.toml), or a folder of them."),
    ] = None,
    stand_for: Annotated[
        list[str] | None,
        typer.Option("--as", metavar="NAME=FILE", help="Which of today's files stands for a dye of the record."),
    ] = None,
    also: Annotated[
        list[str] | None,
        typer.Option("--also", metavar="NAME", help="Add one of today's further dyes to the mixes, too."),
    ] = None,
    today: Annotated[
        Path | None,
        typer.Option("--today", metavar="SCHEME", help="A scheme whose base and gun are today's; else the record's."),
    ] = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="Work it out even where all is the same within doubt.")
    ] = False,
    out: OutFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Make the colour of a recorded job again with today's dyes.

    Strengths and coats that come closest under the record's lights, what is left and how sure that is, old beside new
    as a picture, and which one card to spray first. Where today's dyes are the same within doubt it says so and
    changes nothing.

    Writes scheme.toml, remake.png and remake.json into a folder of its own.
    """
    from layerpreview.workflows.remake import Asked, remake_files, remake_place

    asked = Asked(
        dyes=[*(dyes or []), *(more or [])], stand_for=stand_for or [], also=also or [], today=today, anyway=anyway
    )
    with reason_as_json(as_json):
        found = remake_files(record, asked, out=out or remake_place(record), force=force)
    give(found.json() if as_json else found.text())
    say(f"Wrote {', '.join(found.files)} to {found.folder}")
    scheme = (found.folder or Path()) / "scheme.toml"
    next_step(f"spray the card, learn it with fit, then the part; what to mix: layerpreview sheet {typed(scheme)}")
