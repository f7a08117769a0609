"""What leaves the computer: the mix sheet for the booth."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import Force, Json, OutFolder, SchemeFile, app, say


@app.command()
def sheet(
    scheme: SchemeFile,
    out: OutFolder = None,
    force: Force = False,
    form: Annotated[
        list[str] | None,
        typer.Option("--form", metavar="NAME", help="pdf, html, text or json; repeat for more. Usual: pdf and html."),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="A4 or Letter.")] = "A4",
    templates: Annotated[bool, typer.Option("--templates", help="Also outlines and burst lines at true size.")] = False,
    show: Annotated[bool, typer.Option("--show", help="Print the sheet here instead of writing files.")] = False,
    as_json: Json = False,
) -> None:
    """Write the mix sheet: what to mix, how to spray, cautions."""
    from layerpreview.output.sheet_text import sheet_json, sheet_text
    from layerpreview.workflows.sheet import mix_sheet, sheet_files

    if show or as_json:
        found = mix_sheet(scheme)
        typer.echo(sheet_json(found) if as_json else sheet_text(found), nl=False)
        return
    made = sheet_files(
        scheme,
        out=out or Path("out", scheme.stem),
        forms=form or ["pdf", "html"],
        paper=paper,
        templates=templates,
        force=force,
    )
    say(f"Wrote {', '.join(made.files)} to {made.folder}")
    say("Next: read the cautions, hang it by the booth, and spray a card before the part")
