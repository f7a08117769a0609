"""What is handed on: the mix sheet for the booth, the board for the client, and the client's answer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import (
    Force,
    Json,
    ResultsFolder,
    SchemeFile,
    SchemeFiles,
    Width,
    app,
    give,
    next_step,
    place_for,
    say,
    typed,
)


@app.command()
def sheet(
    scheme: SchemeFile,
    out: ResultsFolder = None,
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
    """Write the mix sheet: what to mix, how to spray, cautions.

    Writes mix_sheet.pdf and mix_sheet.html into sheet.
    """
    from layerpreview.workflows.sheet import USUAL_FORMS, left_out, mix_sheet, sheet_files

    if show or as_json:
        found = mix_sheet(scheme)
        give(found.json() if as_json else found.text())
        next_step(f"as a sheet for the booth: layerpreview sheet {typed(scheme)}")
        return
    folder, aside = place_for(scheme, "sheet", out)
    forms = form or USUAL_FORMS
    made = sheet_files(scheme, out=folder, forms=forms, paper=paper, templates=templates, force=force)
    say(f"Wrote {', '.join(made.files)} to {made.folder}{aside}")
    if missing := left_out(made, forms, templates=templates):
        say(missing)
    next_step("read the cautions, hang the first page by the booth, and spray a card before the part")


@app.command()
def board(
    schemes: SchemeFiles,
    out: ResultsFolder = None,
    force: Force = False,
    width: Width = 1600,
    title: Annotated[str | None, typer.Option("--title", metavar="TEXT", help="Heading of the board.")] = None,
    allow: Annotated[
        list[str] | None,
        typer.Option(
            "--allow",
            metavar="TEXT",
            help='What the client may move: "honey coats 1 to 5", "coat 3 coats 1 to 4", "strength 80 to 120 %", '
            '"lock honey"; repeat for more. Usual: all that is dye; what hides stays.',
        ),
    ] = None,
    lang: Annotated[
        list[str] | None,
        typer.Option("--lang", metavar="LANG", help="A language of the client, as de; repeat for more."),
    ] = None,
    words: Annotated[
        Path | None, typer.Option("--words", metavar="FILE", help="The page's words in another language.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="Also write a PDF to print.")] = False,
    as_json: Json = False,
) -> None:
    """Write one page in which the client compares and chooses.

    Writes board.html and board.png into board, and a line into the job's log.
    """
    from layerpreview.output.board_code import LETTERS
    from layerpreview.workflows.board import board_file

    folder, aside = place_for(schemes[0], "board", out)
    made = board_file(
        schemes,
        out=folder,
        force=force,
        width_px=width,
        title=title,
        allow=allow or [],
        langs=lang or [],
        words_path=words,
        pdf=pdf,
    )
    if as_json:
        give(made.json())
    size = f"{made.size_bytes / 1e6:.1f} MB, {len(made.options)} option" + ("s" if len(made.options) > 1 else "")
    for part in made.page.too_large:
        say(f"Large: {part.what} of option {LETTERS[part.option]} takes {part.size_bytes / 1e6:.1f} MB ({part.why})")
    for line in made.moving:
        say(line[:1].upper() + line[1:])
    say(f"Wrote {', '.join(made.files)} to {made.folder}{aside}: {size}")
    next_step(f"send board.html; when the code comes back: layerpreview agree CODE --job {typed(made.log.parent)}")


@app.command()
def agree(
    code: Annotated[
        list[str],
        typer.Argument(
            metavar="CODE-OR-FILE...", help="The client's code, or a file with the text.", show_default=False
        ),
    ],
    job: Annotated[Path, typer.Option("--job", metavar="DIR", help="Folder with the job's log.")] = Path(),
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Check a client's choice and write the agreed scheme.

    Writes NAME.agreed.toml beside the log, and a line into that.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.agree import agree as agree_choice

    agreed = agree_choice(" ".join(code), job=job, force=force)
    if as_json:
        give(plain_json(agreed))
    else:
        give(f"Agreed on {agreed.time.astimezone():%Y-%m-%d %H:%M}: option {agreed.option}, {agreed.name}\n")
        for line in (*agreed.agreed, *([f"note: {agreed.note}"] if agreed.note else [])):
            give(f"  {line}\n")
    for caution in agreed.cautions:
        say(f"look again: {caution}")
    say(f"Wrote {agreed.scheme}, recorded in {agreed.log}")
    next_step(f"what to mix for it: layerpreview sheet {typed(agreed.scheme)}")


@app.command(name="log", hidden=True)
def tell_log(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job's folder, or its log.", show_default=False)],
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="First withdraw the last entry that still counts.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Show the job's log, or withdraw its last entry.

    Nothing in it is ever erased: a line is added that withdraws another. Files that were written stay as they are.
    """
    from layerpreview.output.plain_json import plain_json
    from layerpreview.workflows.log import job_log, log_text

    found = job_log(job, withdraw=withdraw)
    give(plain_json(found) if as_json else log_text(found))
    if found.withdrawn_now:
        say(f"Withdrew line {found.withdrawn_now} of {typed(found.log)}")
    next_step(f"where the job stands: layerpreview diary {typed(job)}")
