"""The commands as help lists them: by what a person is doing, in the order of a job."""

from __future__ import annotations

import copy
from typing import Any

from typer.core import TyperGroup

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Begin: from a photo, a shape or the sample; on the desk all is one page", ("demo", "start", "desk")),
    ("Look: what it will be, before a drop is mixed", ("check", "render", "turn", "figures")),
    ("Choose: how strong, how many coats, how even, how sure", ("choose", "fade")),
    ("Learn a colour: your own dyes, and your eye", ("card", "fit", "import", "practise")),
    ("On the day: mix, spray, write down, mend", ("sheet", "diary", "progress", "touch-up", "teach")),
    ("Client and records: agree, keep, make again", ("board", "agree", "record", "remake", "book")),
)
"""What a person is doing, and the commands for it."""

FINER = (
    *("ladder", "reach", "evenness", "tolerance"),  # `choose` asks them all
    *("atlas", "render-all"),  # whole catalogues
    "fit-mix",
    "log",  # the diary leads to it
    "check-record",  # `record` of a record
    "completion",
)
"""Commands that work and are not listed: the pages tell of them, and those that lead to them."""

ORDER = (*(name for _, names in GROUPS for name in names), *FINER)
"""All commands in the order of a job."""

FOR_ALL = ("quiet",)
"""Options of the program that may also stand after a command."""


class Grouped(TyperGroup):
    """Lists commands by what a person is doing, takes an option wherever it stands, and knows the word help."""

    def list_commands(self, ctx: Any) -> list[str]:
        return sorted(super().list_commands(ctx), key=lambda name: ORDER.index(name) if name in ORDER else len(ORDER))

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """One section for each thing that a person does."""
        commands = {name: self.commands[name] for _, names in GROUPS for name in names if name in self.commands}
        widest = max(map(len, commands))
        for title, names in GROUPS:
            told = [(name.ljust(widest), commands[name].get_short_help_str(limit=100)) for name in names]
            with formatter.section(title):
                formatter.write_dl(told)

    def get_command(self, ctx: Any, cmd_name: str) -> Any:
        """The command of that name, with the options that all take."""
        command = super().get_command(ctx, cmd_name)
        if command is not None:
            there = {parameter.name for parameter in command.params}
            for option in self.params:
                if option.name in FOR_ALL and option.name not in there:
                    own = copy.copy(option)
                    own.expose_value = False
                    command.params.append(own)
        return command

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        return super().parse_args(ctx, self._command_first(args))

    def _command_first(self, args: list[str]) -> list[str]:
        """What was typed, the command before its options: `help render`, `-o DIR render JOB`."""
        if args[:1] == ["help"]:
            return [*args[1:2], "--help"]
        own = {name for parameter in self.params for name in (*parameter.opts, "--help", "-h")}
        at = next((n for n, word in enumerate(args) if word in self.commands), 0)
        if at and args[0].startswith("-") and not own.issuperset(word for word in args[:at] if word.startswith("-")):
            return [args[at], *args[:at], *args[at + 1 :]]
        return args
