"""The README: exists for a command that was renamed, an option that is gone, and a picture that is not there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer

from layerpreview.cli import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = re.findall(r"^(?:# or: )?layerpreview ([a-z].+)$", README, flags=re.MULTILINE)


@pytest.mark.slow
@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_can_be_typed(line: str) -> None:
    """Parsed as the shell would, without being run; tests/workflows/test_make_it_your_own.py runs the longest story."""
    name, *arguments = shlex.split(line, comments=True)
    group = typer.main.get_command(app)
    command = group.get_command(typer.Context(group), name)  # type: ignore[attr-defined]
    assert command is not None, name
    command.make_context(name, arguments)


def test_there_are_commands_to_check() -> None:
    names = {line.split()[0] for line in COMMANDS}
    assert names >= {
        "start",
        "check",
        "render",
        "figures",
        "turn",
        "fit",
        "reach",
        "evenness",
        "sheet",
        "board",
        "agree",
    }


@pytest.mark.parametrize("path", re.findall(r"(?:\]\(|src=\")((?:samples|[A-Z])[^)\"]+)", README))
def test_everything_linked_is_there(path: str) -> None:
    assert (ROOT / path.rstrip("/")).exists()


def test_nothing_is_left_to_fill_in() -> None:
    assert "MEASURED" not in README
    assert "TODO" not in README
