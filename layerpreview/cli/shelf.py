"""What is kept of all jobs together: the shop book."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import Force, Json, OutFolder, app, give, next_step, say, typed


@app.command()
def book(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder your jobs lie in.", show_default=False)],
    like: Annotated[
        str | None,
        typer.Option("--like", metavar="COLOUR", help='The nearest finishes to a colour: "#8a3a1c over silver".'),
    ] = None,
    dye: Annotated[str | None, typer.Option("--dye", metavar="NAME", help="Only jobs with this dye.")] = None,
    words: Annotated[
        str | None, typer.Option("--words", metavar="TEXT", help='Only jobs with all these words: "dark edges".')
    ] = None,
    beside: Annotated[
        tuple[str, str] | None, typer.Option("--beside", metavar="JOB JOB", help="Two jobs, and what differs.")
    ] = None,
    order: Annotated[
        bool, typer.Option("--order", help="What to order for the jobs that are not done, instead of the page.")
    ] = False,
    out: OutFolder = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Write one page and two tables of all jobs below a folder.

    A card for each job, its picture first; search by colour, dye and words; two jobs side by side; what to order.
    The jobs are only read. With a question, the answer is printed and nothing is written.

    Writes book.html, book.csv and order.csv into book.
    """
    from layerpreview.workflows.book import ask_book, book_files
    from layerpreview.workflows.places import book_place

    if like or dye or words or beside or order:
        asked = ask_book(folder, like=like, dye=dye, words=words, pair=beside, order=order, tell=say)
        give(asked.json() if as_json else asked.text())
        next_step(f"see them with their pictures: layerpreview book {typed(folder)}")
        return
    place, aside = (out, "") if out else book_place(folder)
    made = book_files(folder, out=place, force=force, tell=say)
    give(made.json() if as_json else made.text())
    say(f"Wrote {', '.join(made.files)} to {place}{aside}")
    next_step(f"open {place / made.files[0]}; what to order: layerpreview book {typed(folder)} --order")
