"""Learning the eye: on the desk's page for it, or as pictures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from layerpreview.cli.common import Force, OutFolder, app, next_step, say
from layerpreview.cli.typed_values import whole


@app.command()
def practise(
    show: Annotated[
        int | None,
        whole("--show", "N", "Only write round N and its answer as pictures.", low=1, high=20),
    ] = None,
    out: OutFolder = None,
    force: Force = False,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the browser.")] = False,
) -> None:
    """Train the eye: twenty small rounds in the browser.

    Guess coats or strength for a colour over a base. You see the right picture beside yours and how far off it was.
    Kept on this machine alone. Prints its address; Ctrl-C closes it.
    """
    if show is None:
        from layerpreview.cli.desk import at_once
        from layerpreview.desk.serve import serve

        serve(None, open_browser=not no_open, first="/practise", address=at_once, tell=say)
        return
    from layerpreview.workflows.practise import next_set, show_files

    folder = out or Path("out")
    question, answer = show_files(next_set(), show, out=folder, force=force)
    say(f"Wrote {folder / question} and {folder / answer}")
    next_step(f"guess from {question}, then open {answer}; all twenty in the browser: layerpreview practise")
