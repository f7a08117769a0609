"""The command line built once a process: the library builds all commands anew for each call, a tenth of a second."""

from __future__ import annotations

import typer.main

_built = typer.main.get_command
_kept: dict[int, object] = {}


def keep() -> None:
    """From now on in this process each command line is built once."""

    def get_command(app: typer.Typer):  # type: ignore[no-untyped-def]
        if id(app) not in _kept:
            _kept[id(app)] = _built(app)
        return _kept[id(app)]

    typer.main.get_command = get_command  # type: ignore[assignment]
