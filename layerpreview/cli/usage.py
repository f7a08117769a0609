"""What was typed and cannot be understood, in the same clear lines as every other fault."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from typing import Any

import typer

from layerpreview.cli.groups import ORDER
from layerpreview.cli.typed_values import UnfitError
from layerpreview.errors import Problem, typed

USAGE_ERROR: type[Exception] = next(kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException")
"""The root of the parser's own errors; which package it is from differs with the parser's version."""


def problem_of(error: Exception) -> Problem | None:
    """What is wrong and what to type; None where nothing was typed at all and the help is the answer."""
    kind, said = type(error).__name__, str(getattr(error, "message", "") or error)
    context: Any = getattr(error, "ctx", None)
    parameter: Any = getattr(error, "param", None)
    option = str(getattr(error, "option_name", "") or "")
    command = f"layerpreview {context.info_name}" if context is not None and context.parent else "layerpreview"
    more = f"{command} --help tells more"
    if kind == "NoArgsIsHelpError":
        return None
    if isinstance(error, UnfitError) and parameter is not None:
        remedy = error.problem.remedy.replace("for example", f"for example {_shown(parameter)}")
        return replace(error.problem, field=_shown(parameter), remedy=remedy)
    if kind == "MissingParameter" and parameter is not None:
        return Problem("this is missing", f"write {command} {_all_wanted(context)}", field=_shown(parameter))
    if kind == "NoSuchOption":
        return Problem("there is no such option here", _alike(option, error, context) or more, field=option)
    if kind == "BadOptionUsage" and "not take" in said:
        return Problem("this takes no value", f"write {option} alone", field=option)
    if kind == "BadOptionUsage":
        return Problem("its value is missing", "write it after the option, or leave the option out", field=option)
    if kind == "BadParameter" and parameter is not None:
        return Problem("this cannot be used here", more, field=_shown(parameter), value=_given(parameter))
    if found := re.match(r"No such command '(.*?)'\.", said):
        return Problem("there is no such command", _command_alike(found[1]) or more, field=found[1])
    if found := re.search(r"unexpected extra argument(?:s|\(s\))? \((.*)\)", said):
        remedy = f"a name with blanks goes in quotes; {more}"
        return Problem("this is more than the command takes", remedy, field=found[1])
    return Problem(said[:1].lower() + said[1:].rstrip("."), more)


def _shown(parameter: Any) -> str:
    """An option as it is typed, an argument as the help calls it."""
    if parameter.param_type_name == "option":
        return str(max(parameter.opts, key=len))
    return str(parameter.metavar or parameter.name.upper())


def _all_wanted(context: Any) -> str:
    """All that a command cannot do without, as the help calls it."""
    wanted = []
    for parameter in context.command.params:
        if parameter.required:
            option = parameter.param_type_name == "option"
            name = str(parameter.metavar or parameter.name.upper().replace("_", "-"))
            wanted.append(f"{_shown(parameter)} {name}" if option else name)
    return " ".join(wanted)


def _given(parameter: Any) -> str:
    """What was typed as the value of an option: the parser's error does not say."""
    typed_words = sys.argv[1:]
    for place, word in enumerate(typed_words):
        name, equals, value = word.partition("=")
        if name in parameter.opts:
            shown = value if equals else "".join(typed_words[place + 1 : place + 2])
            return "".join(sign if sign.isprintable() else "?" for sign in shown)[:60]
    return ""


def _alike(option: str, error: Exception, context: Any) -> str:
    from layerpreview.scheme.fields import did_you_mean

    known = [name for parameter in context.command.params for name in parameter.opts] if context is not None else []
    return did_you_mean(option, known or getattr(error, "possibilities", None) or ())


def _command_alike(name: str) -> str:
    from layerpreview.scheme.fields import did_you_mean

    if name.endswith(".toml"):
        return f"a command comes first: layerpreview check {typed(name)}"
    return did_you_mean(name, ORDER)
