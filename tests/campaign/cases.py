"""One case: a command line and the files beside it, all made from a seed and a number."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

import typer

from .hostile import NUMBERS, PATHS, WORDS, changed_file

SCHEMES = ("full.toml", "drawn.toml", "masked.toml", "photo.toml")
LINES: dict[str, tuple[int, tuple[str, ...]]] = {
    "check": (16, ("check {scheme}", "check {scheme} --json")),
    "figures": (10, ("figures {scheme} --json", "figures {scheme}")),
    "render": (10, ("render {scheme} -o out --width 64", "render full.toml -o out --width 64 --lifelike --json")),
    "turn": (1, ("turn full.toml -o out --width 64 --frames 8",)),
    "card": (2, ("card -o out",)),
    "fit": (6, ("fit readings.csv --name house -o out", "fit readings.csv --for full.toml --json -o out")),
    "fit-mix": (3, ("fit-mix readings.csv --dye|house.dye.toml=12 mL/L",)),
    "import": (
        8,
        tuple(
            f"import {file} --strength|0.02 g/L --path|10 mm --concentrate|40 g/L -o out"
            for file in ("spectrum.csv", "spectrum.cgats")
        ),
    ),
    "progress": (
        5,
        (
            "progress job/scheme.toml --coats-done 1 --lab 60,12,40 --json",
            "progress full.toml --coats-done 1 --photo base.png --patch 2,3,20,10 --white 30,5,20,20",
        ),
    ),
    "diary": (
        9,
        (
            "diary job --wet|38, 45, 41 um",
            "diary job --coat next",
            "diary job --batch honey --poured|yellow 1.4 mL",
            "diary job --json",
        ),
    ),
    "log": (4, ("log job", "log job --withdraw --json")),
    "ladder": (2, ("ladder {scheme} -o out --coats 3 --strengths 1,2",)),
    "reach": (2, ("reach full.toml #c88a3a -o out --most-coats 2 --json",)),
    "evenness": (2, ("evenness full.toml -o out --width 64",)),
    "tolerance": (2, ("tolerance full.toml -o out --runs 50 --json",)),
    "fade": (3, ("fade {scheme} --years-room 5 --step yellow=3 -o out --json",)),
    "sweep": (3, ("sweep full.toml ranges.toml -o out.csv",)),
    "sheet": (2, ("sheet {scheme} -o out --form html --form text --form json",)),
    "board": (2, ("board full.toml -o out --width 64 --words words.toml",)),
    "agree": (6, ("agree code.txt --job job", "agree {code} --job job --json")),
    "teach": (3, ("teach job", "teach job --json")),
    "record": (1, ("record job -o out --width 64",)),
    "check-record": (8, ("check-record test_part.record.zip", "check-record test_part.record.zip --json")),
    "remake": (1, ("remake test_part.record.zip house.dye.toml -o out --json",)),
    "book": (2, ("book job -o out", "book job --order --json")),
    "touch-up": (1, ("touch-up full.toml --damage|20,10 30,12 24,20|mm -o out --width 64",)),
    "start": (3, ("start out/new --shape teardrop", "start out/new --photo bench.jpg --part-width|320 mm")),
    "practise": (1, ("practise --show 3 -o out",)),
}
"""Each command with how often it is drawn, and lines that work; | stands where a word holds a blank."""
_NAMED = re.compile(r"[\w.-]+\.(?:toml|svg|png|jpg|tif|csv|cgats|zip|txt)\b")


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
    code = (shop / "code.txt").read_text(encoding="utf-8").strip()
    words = [_blanks(word).replace("{code}", code) for word in line.split(" ")]
    files = {name: (shop / name).read_bytes() for name in sorted(_needed(line, shop))}
    said = []
    if files and (rng.random() < 0.75 or command in ("check", "check-record")):
        name = rng.choice(sorted(files) + [n for n in files if n.endswith((".toml", ".jsonl", ".csv"))])
        files[name] = changed_file(rng, shop / name)
        said.append(name)
    if not said or rng.random() < 0.25:
        said.append(_change_words(rng, command, words))
    return Case(f"{seed}:{number}", command, tuple(words), files, ", ".join(said))


def _blanks(word: str) -> str:
    return word.replace("|", "=", 1).replace("|", " ") if word.startswith("--") else word.replace("|", " ")


def _needed(line: str, shop: Path) -> set[str]:
    """The files a line names, those that these name, and the whole job where it names that."""
    found = {name for name in _NAMED.findall(line) if (shop / name).is_file()}
    if "{code}" in line:
        found.add("code.txt")
    if re.search(r"\bjob\b", line):
        found |= {str(path.relative_to(shop).as_posix()) for path in (shop / "job").iterdir() if path.is_file()}
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
