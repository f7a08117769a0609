"""Names completed by the Tab key, for those who ask for it; nothing is installed unasked."""

from __future__ import annotations

from typing import Annotated

import typer

from layerpreview.cli.common import (
    app,
    give,
    next_step,
)

SHELLS = {
    "bash": "put it into ~/.bash_completion",
    "zsh": "put it into a file called _layerpreview in a folder of your fpath",
    "fish": "put it into ~/.config/fish/completions/layerpreview.fish",
    "powershell": "put it into your $PROFILE",
    "pwsh": "put it into your $PROFILE",
}


@app.command(hidden=True)
def completion(
    shell: Annotated[str, typer.Argument(metavar="SHELL", help="bash, zsh, fish or powershell.", show_default=False)],
) -> None:
    """Print what makes the Tab key complete commands and options.

    Nothing is installed: put what is printed where your shell reads it.
    """
    from typer.completion import get_completion_script  # type: ignore[attr-defined]

    from layerpreview.errors import InputError, Problem

    if shell not in SHELLS:
        raise InputError(
            Problem("no script for this shell", f"use one of {', '.join(SHELLS)}", value=shell, field="SHELL")
        )
    script = get_completion_script(prog_name="layerpreview", complete_var="_LAYERPREVIEW_COMPLETE", shell=shell)
    give(script.rstrip("\n") + "\n")
    next_step(f"{SHELLS[shell]}, and open a new terminal")


def ready() -> None:
    """Make this run answer the Tab key in the way in which the printed script asks."""
    from typer.completion import completion_init  # type: ignore[attr-defined]

    completion_init()
