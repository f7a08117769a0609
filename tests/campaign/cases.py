"""One case: a command line and the files beside it, all made from a seed and a number."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

import typer

from .hostile import NUMBERS, PATHS, WORDS, changed_file
from .lines import GOOD, LINES, SCHEMES
from .valid import still_valid

_NAMED = re.compile(r"[\w.-]+\.(?:toml|svg|png|jpg|tif|csv|cgats|zip|txt)\b")


CODE_FILE, JOBS = "code.txt", ("job", "kept", "asked")


@dataclass(frozen=True)
class Case:
    """`words` of the command line, `files` by name with their bytes; `changed` names what is not as in the corpus."""

    id: str
    command: str
    words: tuple[str, ...]
    files: dict[str, bytes]
    changed: str


def case_of(seed: int, number: int, shop: Path, only: str = "") -> Case:
    """The case of this number, the same for ever on the same commands; `shop` is the corpus."""
    rng = Random(f"{seed}/{number}")
    names = [only] if only else list(LINES)
    command = rng.choices(names, [LINES[name][0] for name in names])[0]
    line = rng.choice(LINES[command][1]).replace("{scheme}", rng.choice(SCHEMES))
    words = _words(line, shop)
    files = {name: (shop / name).read_bytes() for name in sorted(_needed(line, shop))}
    said = []
    schemes = sorted({name.rsplit("/", 1)[-1] for name in files if _is_scheme(name)})
    if schemes and rng.random() < 0.45:
        said += _changed_well(rng, rng.choice(schemes), files)
    if command in GOOD and rng.random() < 0.3:
        said += _added_well(rng, command, words)
    if files and not said and (rng.random() < 0.75 or command in ("check", "check-record")):
        name = rng.choice(sorted(files) + [n for n in files if n.endswith((".toml", ".jsonl", ".csv"))])
        files[name] = changed_file(rng, shop / name)
        said.append(name)
    if not said or rng.random() < 0.15:
        said.append(_change_words(rng, command, words))
    return Case(f"{seed}:{number}", command, tuple(words), files, ", ".join(said))


def plain_case(command: str, line: str, shop: Path) -> Case:
    """A line on files as they are: it has to end well."""
    return Case(
        "plain",
        command,
        tuple(_words(line, shop)),
        {name: (shop / name).read_bytes() for name in _needed(line, shop)},
        "",
    )


def _is_scheme(name: str) -> bool:
    return name.rsplit("/", 1)[-1] in (*SCHEMES, "scheme.toml", "today.toml")


def _changed_well(rng: Random, name: str, files: dict[str, bytes]) -> list[str]:
    """Change a scheme so that it stays one; a job's log then tells of another text, as after a change by hand."""
    full = next(each for each in files if each.rsplit("/", 1)[-1] == name)
    files[full] = still_valid(rng, files[full].decode("utf-8"))
    return [f"{full} (still valid)"]


def _added_well(rng: Random, command: str, words: list[str]) -> list[str]:
    some = rng.sample(GOOD[command], min(len(GOOD[command]), rng.choice((1, 2, 3))))
    words.extend(some)
    return [each.split("=")[0] for each in some]


def _words(line: str, shop: Path) -> list[str]:
    code = (shop / CODE_FILE).read_text(encoding="utf-8").strip()
    return [word.replace("{code}", code) for word in shlex.split(line)]


def _needed(line: str, shop: Path) -> set[str]:
    """The files a line names, those that these name, and the whole job where it names that."""
    found = {name for name in _NAMED.findall(line) if (shop / name).is_file()}
    if "{code}" in line:
        found.add(CODE_FILE)
    for job in JOBS:
        if job in line or line.startswith("book ."):
            found |= {path.relative_to(shop).as_posix() for path in (shop / job).rglob("*") if path.is_file()}
    for name in list(found):
        if name.endswith(".toml") and "/" not in name:
            text = (shop / name).read_text(encoding="utf-8")
            found |= {other for other in _NAMED.findall(text) if (shop / other).is_file()}
    return found


@cache
def _options(command: str) -> tuple[tuple[str, bool], ...]:
    """Every option of a command and whether it takes a value, as the command line itself knows them."""
    from layerpreview.cli import app

    known = typer.main.get_command(app).commands[command].params  # type: ignore[attr-defined]
    unsafe = {"--watch", "--help", "--open", "--no-open"}  # those that wait for a person
    found = [
        (max(one.opts, key=len), not getattr(one, "is_flag", False))
        for one in known
        if one.param_type_name == "option" and not unsafe & set(one.opts)
    ]
    return tuple(sorted(found))


def _change_words(rng: Random, command: str, words: list[str]) -> str:
    """Change one word of a command line, or add an option with a hostile value; what was done, in words."""
    options = _options(command)
    if not options or (rng.random() < 0.2 and len(words) > 1):
        at = rng.randrange(1, len(words))
        words[at] = _no_zero(rng.choice(WORDS + NUMBERS + PATHS))
        return f"word {at}"
    option, takes = rng.choice(options)
    if not takes:
        words.append(option)
        return option
    pool = PATHS if option == "--out" else rng.choice((NUMBERS, NUMBERS, WORDS, PATHS, _lists(rng)))
    value = _no_zero(rng.choice(pool))
    words.extend([f"{option}={value}"] if rng.random() < 0.6 else [option, value])
    return option


def _lists(rng: Random) -> tuple[str, ...]:
    some = [rng.choice(NUMBERS) for _ in range(rng.choice((2, 3, 4)))]
    return (
        ",".join(some),
        " ".join(some),
        f"{some[0]} to {some[1]} um",
        f"{some[0]}x{some[1]}",
        f"yellow={some[0]}",
        ",".join(["1"] * 5000),
    )


def _no_zero(word: str) -> str:
    """Words that a system can hand to a program: none holds a zero byte or half a sign."""
    return word.replace("\0", "").encode("utf-8", "ignore").decode("utf-8")[:60_000]
