"""The desk: the whole job on one page of one's own browser."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import app, say
from layerpreview.cli.typed_values import whole


@app.command()
def desk(
    job: Annotated[
        Path | None, typer.Argument(metavar="JOB", help="The job's folder, or its scheme (.toml).", show_default=False)
    ] = None,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the browser.")] = False,
    port: Annotated[
        int | None,
        whole("--port", "N", "The port; a free one without it.", low=1024, high=65535, example="8080"),
    ] = None,
    phone: Annotated[
        bool, typer.Option("--phone", help="Also let a phone in the local network come; asks first.")
    ] = False,
) -> None:
    """Work on a job in the browser, all on one live page.

    Picture, colour, amounts and plan. For this machine alone, without a network, unless a phone is let in. Every
    change is kept in the scheme at once. Prints its address; Ctrl-C closes it.
    """
    from layerpreview.desk.found import found_job
    from layerpreview.desk.serve import serve

    path = None if job is None else found_job(job)
    serve(path, port=port, open_browser=not no_open, phone=phone and _let_in(), address=at_once, tell=say)


def at_once(line: str) -> None:
    """To stdout without waiting: whoever started the desk may be reading it there."""
    print(line, flush=True)


def _let_in() -> bool:
    """Ask plainly; only a yes is one. The question goes where people read, the first line on stdout is the address."""
    say("Let a phone in this room's network reach this desk? y/n")
    return sys.stdin.readline().strip().lower() in ("y", "yes")
