"""What is a fault of ours: everything that the most trusted tools never do, whatever they are handed."""

from __future__ import annotations

import contextlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from . import judge_files
from .cases import Case

LONGEST_LINE, MOST_LINES = 400, 22
LONGEST_S, MOST_GIB = 60.0, 1.5
MAY_CHANGE = ("job-log.jsonl", ".layerpreview-written.json", "shop.toml")
"""Files of a job that commands add to."""
_PYTHON = re.compile(
    r"Traceback|not foreseen|could not convert|invalid literal|index out of range|NoneType|object has no|Input should"
    r"|\[Errno|unexpected keyword|must be real number|cannot convert float|<class '| at 0x[0-9a-f]{8,}|ValidationError"
)
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\x80-\x9f\u202a-\u202e\u2066-\u2069]")


@dataclass(frozen=True)
class Ran:
    """What a case did: its exit code, what it printed, the seconds and GiB it took, and files before and after."""

    code: object
    out: str
    err: str
    seconds: float
    gib: float
    before: Mapping[str, bytes]
    after: Mapping[str, bytes]
    folders: tuple[str, ...]
    """Folders that are empty now and were not there before."""
    strays: tuple[str, ...] = ()
    """What lies beside the case's folder, or among files in passing, after the end."""


def faults(case: Case, ran: Ran) -> list[str]:
    """Every fault of a run, each as one line whose beginning tells the class."""
    return [*_said(case, ran), *_took(ran), *_left(case, ran), *_wrote(case, ran)]


def _said(case: Case, ran: Ran) -> Iterator[str]:
    if ran.code not in (0, 1, 2):
        yield f"exit {ran.code}: {ran.err.strip()[-300:]}"
    elif found := _PYTHON.search(ran.err):
        line = next(line for line in ran.err.splitlines() if found[0] in line)
        yield f"python's words ({found[0]}): {line[:200]}"
    if ran.code == 2 and not ran.err.strip():
        yield "exit 2 without a word"
    lines = ran.err.splitlines()
    if long := [line for line in lines if len(line) > LONGEST_LINE and line.startswith("error")]:
        yield f"line of {len(long[0])} signs: {long[0][:120]}"
    errors = [line for line in lines if line.startswith("error:")]
    if len(errors) > MOST_LINES:
        yield f"{len(errors)} error lines"
    for name, text in (("stdout", ran.out), ("stderr", ran.err)):
        if found := _CONTROL.search(text):
            yield f"control sign {found[0]!r} on {name}: {text[max(0, found.start() - 60) : found.end() + 20]!r}"
    if "--json" in case.words and ran.code == 0:
        yield from judge_files.as_json("stdout", ran.out)
    if ran.code == 0 and errors:
        yield f"exit 0 with {errors[0][:200]}"
    if ran.code == 1 and not (ran.err + ran.out).strip():
        yield "exit 1 without a word"
    elif ran.code == 2 and not any(line.startswith(("error:", "Usage:")) for line in lines):
        yield f"exit 2 without an error line: {ran.err[:200]!r}"
    yield from _told_to_do(case, ran)


def _told_to_do(case: Case, ran: Ran) -> Iterator[str]:
    """Commands and options that are named to the user, but that there are not."""
    commands, options = known()
    text = "\n".join(line for line in f"{ran.out if '--json' not in case.words else ''}\n{ran.err}".splitlines())
    own = " ".join(
        (*case.words, *(data.decode("utf-8", "replace") for data in case.files.values() if len(data) < 99_999))
    )
    for found in _OPTION.finditer(text):
        if found[0] not in options and found[0] not in own:
            yield f"names an option that there is not: {found[0]}"
            break
    for found in _COMMAND.finditer(text):
        if found[1] not in commands and found[0] not in own:
            yield f"names a command that there is not: {found[0]}"
            break


_OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]+\b")
_COMMAND = re.compile(r'(?<!")\blayerpreview ([a-z][a-z-]+)\b')  # in quotes it is the heading of a text


@cache
def known() -> tuple[frozenset[str], frozenset[str]]:
    """All commands and all options, as the command line itself knows them."""
    import typer

    from layerpreview.cli import app

    line = typer.main.get_command(app)
    commands = line.commands  # type: ignore[attr-defined]
    options = {
        name for one in (line, *commands.values()) for each in one.params for name in (*each.opts, *each.secondary_opts)
    }
    return frozenset(commands), frozenset(options | {"--help", "--debug", "--version"})


def _took(ran: Ran) -> Iterator[str]:
    if ran.seconds > LONGEST_S:
        yield f"slow: {ran.seconds:.0f} s"
    if ran.gib > MOST_GIB:
        yield f"memory: {ran.gib:.2f} GiB"


def _left(case: Case, ran: Ran) -> Iterator[str]:
    new = sorted(set(ran.after) - set(ran.before))
    for name, data in ran.before.items():
        if name.rsplit("/", 1)[-1] in MAY_CHANGE and ran.code in (0, 1):
            continue
        if ran.after.get(name) != data and "--force" not in case.words:
            yield f"input changed: {name}"
    if ran.code == 2 and new and case.words[0] != "render-all":  # it tells of the faulty and makes the others
        yield f"refused, yet wrote {new[:3]}"
    if stray := [name for name in ran.after if "/.layerpreview-" in f"/{name}" and not name.endswith("written.json")]:
        yield f"left behind: {stray[:3]}"
    if ran.folders:
        yield f"empty folders left: {ran.folders[:3]}"
    if ran.strays:
        yield f"left outside: {ran.strays[:3]}"


def _wrote(case: Case, ran: Ran) -> Iterator[str]:
    for name in sorted(set(ran.after) - set(ran.before)):
        yield from judge_files.faults(name, ran.after[name])
    if ran.code == 0 and "--json" in case.words:
        with contextlib.suppress(ValueError):
            yield from judge_files.sense("stdout", json.loads(ran.out))


def unlike(ran: Ran, again: Ran) -> list[str]:
    """What differs in files between two runs of one case; entries that record a time may."""
    one, two = ({name: data for name, data in each.after.items() if not _of_time(name)} for each in (ran, again))
    if bad := sorted(name for name in {*one, *two} if one.get(name) != two.get(name)):
        return [f"not the same bytes twice: {bad[:3]}"]
    return []


def _of_time(name: str) -> bool:
    return name.endswith((*MAY_CHANGE, ".record.zip")) or "/book" in f"/{name}"
