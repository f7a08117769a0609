"""Every option and argument of every command, given nonsense: exists for one that is read by a way of its own."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import typer

from layerpreview import cli

from .schemes import FULL

Run = Callable[..., tuple[int, str, str]]
COMMANDS = typer.main.get_command(cli.app).commands  # type: ignore[attr-defined]
CARD = Path(__file__).parents[1] / "samples" / "spray_out.csv"
SPECTRUM = "nm;dye absorbance\n" + "".join(f"{nm};{0.2 + nm / 1000}\n" for nm in range(380, 790, 20))
NO_NUMBER = "\u00b2"
"""A digit to some parsers, a number to none."""
WHOLE = {  # lines that are right but for what is put behind them
    "agree": "agree LP-1 --job .",
    "atlas": "atlas job.toml -o out",
    "book": "book .",
    "card": "card -o out",
    "check-record": "check-record no.zip",
    "choose": "choose job.toml -o out",
    "fit": "fit card.csv -o out",
    "fit-mix": "fit-mix card.csv",
    "import": "import cell.csv --strength=0.02\u00a0g/L -o out",
    "remake": "remake no.zip -o out",
    "sheet": "sheet job.toml -o out",
    "start": "start out/new",
    "touch-up": "touch-up job.toml -o out --damage=20,10\u00a030,12\u00a024,20\u00a0mm",
}
WORDS = {  # options that take no free text; `test_typed` has those of other commands
    "agree": "--job",
    "atlas": "--dyes --strengths --films --light --on",
    "board": "--allow --lang --words --light",
    "book": "--like",
    "card": "--coats --paper",
    "choose": "--what --colour",
    "fit": "--strength --film --concentrate --light --observer --base --flake-spread --geometry --sprayed --coats"
    " --corners --chart --chart-values --for --earlier --after-clear",
    "fit-mix": "--dye",
    "import": "--strength --path --sample --quantity --blank --baseline --concentrate",
    "remake": "--dyes --as --today",
    "sheet": "--form --paper",
    "start": "--shape --like --photo --part-width --paper --marks --at --background --holes --drawn --depth --back"
    " --lamp-sides --lamp-heights --kind",
    "touch-up": "--damage --mask --face --depth --texture --feather --hand --clear --step --light",
    "turn": "--light --around",
}


@pytest.fixture
def shop(run: Run, tmp_path: Path) -> Run:
    """A folder with a scheme, a card and a spectrum, in which every command must leave all as it was."""
    (tmp_path / "job.toml").write_text(FULL, encoding="utf-8")
    (tmp_path / "cell.csv").write_text(SPECTRUM, encoding="utf-8")
    shutil.copy(CARD, tmp_path / "card.csv")

    def refused(*words: str) -> tuple[int, str, str]:
        code, out, err = run(*words)
        told = [line for line in err.splitlines() if not line.startswith(("light: ", "Looking for", "  "))]
        assert code == 2, (words, out, err)
        assert out == "", words
        assert all(line.startswith("error: ") and 10 < len(line) <= 400 for line in told), (words, err)
        assert "not foreseen" not in err, (words, err)
        assert sorted(path.name for path in tmp_path.iterdir()) == ["card.csv", "cell.csv", "job.toml"], words
        return code, out, err

    return refused


def _values(command: str) -> list[Any]:
    """The options of a command that take a value."""
    return [
        one
        for one in COMMANDS[command].params
        if one.param_type_name == "option" and not one.is_flag and "--help" not in one.opts
    ]


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_an_empty_text_is_no_folder_and_no_value(shop: Run, command: str) -> None:
    """As a script writes it whose variable is empty: nothing goes into the folder one is in."""
    options = {max(option.opts, key=len): option.nargs for option in _values(command)}
    typed = [word for name, count in options.items() for word in (name, *[""] * count)]
    has_argument = any(one.param_type_name == "argument" for one in COMMANDS[command].params)
    _, _, err = shop(command, *typed, *[""] * has_argument)
    told = err.splitlines()
    assert len(told) >= min(len(options) + has_argument, 20)
    assert all("this must not be empty" in line for line in told[:20])
    assert not options or any(line.startswith(f"error: {next(iter(options))}: ") for line in told)


@pytest.mark.parametrize("command", sorted(COMMANDS))
def test_what_is_no_number_begins_nothing(shop: Run, command: str) -> None:
    for option in _values(command):
        described = getattr(option, "type_descriptor", None)  # the parser's versions differ
        parser = described.parameter_info.parser if described else getattr(option.type, "func", None)
        if getattr(parser, "__name__", "") not in ("number", "whole number"):
            continue
        name = max(option.opts, key=len)
        arguments = [one for one in COMMANDS[command].params if one.param_type_name == "argument" and one.required]
        _, _, err = shop(command, *["job.toml"] * len(arguments), f"{name}={NO_NUMBER}")
        assert name in err, (command, name)


@pytest.mark.parametrize("command", sorted(WORDS))
def test_words_that_are_none_begin_nothing(shop: Run, command: str) -> None:
    line = WHOLE.get(command, f"{command} job.toml -o out").split(" ")
    for option in WORDS[command].split():
        shop(*[word for word in line if not word.startswith(f"{option}=")], option, NO_NUMBER)
