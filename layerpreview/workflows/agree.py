"""The client's choice comes back: check it, record it in the job's log, and write the agreed scheme."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.output.board_code import Agreement, Choice, read_agreement, read_code
from layerpreview.output.files import write_text, written_together
from layerpreview.output.joblog import LOG_NAME, append_line, read_lines
from layerpreview.units import Strength, parse_strength

LARGEST_TEXT = 100_000


@dataclass(frozen=True)
class Agreed:
    """What was agreed and written: the new scheme, the log, what changed in words, the note, and cautions."""

    scheme: Path
    log: Path
    option: str
    name: str
    changes: tuple[str, ...]
    note: str
    cautions: tuple[str, ...]


def agree(code_or_file: str, *, job: Path = Path(), force: bool = False) -> Agreed:
    """Take a code, or a file with the text a board made, and write the agreed scheme beside the one it came from.

    `job`: the folder with the job's log (or the log itself), which knows what the board offered. The scheme is written
    as NAME.agreed.toml; its comments are kept. Raises InputError for a code or text that does not check or does not
    belong to a board in the log, OutputError where the scheme cannot be written; nothing is recorded then.
    """
    agreement = _read(code_or_file)
    choice = agreement.choice
    log = job / LOG_NAME if job.is_dir() or job.suffix != ".jsonl" else job
    offer = _offer(log, choice)
    _check_limits(offer, choice)
    source = Path(offer["scheme"])
    text, changes = agreed_text(offer["text"], offer, choice)
    target = source.with_name(f"{source.stem}.agreed.toml")
    head = f"# Agreed: option {choice.option} of board {choice.board}, code {choice.code}\n"
    if agreement.note:
        head += f"# The client's note: {_one_line(agreement.note)}\n"
    with written_together(target.parent, [target.name], force=force, inputs=[source, Path(code_or_file)]) as paths:
        write_text(paths[target.name], head + text)
    entry = {
        "what": "agreed",
        "time": datetime.now(UTC).isoformat(timespec="seconds"),
        "board": choice.board,
        "option": choice.option,
        "name": offer["name"],
        "code": choice.code,
        "coats": list(choice.coats),
        "strength_percent": list(choice.strength_percent),
        "changes": changes,
        "note": agreement.note,
        "scheme": str(target),
    }
    append_line(log, entry)
    return Agreed(target, log, choice.option, offer["name"], tuple(changes), agreement.note, _cautions(offer, source))


def _read(code_or_file: str) -> Agreement:
    """The agreement in a file of that name, else in the text itself."""
    path = Path(code_or_file)
    try:
        is_file = path.is_file()
    except (OSError, ValueError):  # a whole text was handed in, too long for a name
        is_file = False
    if not is_file:
        if re.search(r"\.[A-Za-z]{2,4}$", code_or_file.strip()) and "LP-" not in code_or_file.upper():
            raise InputError(Problem("there is no such file", "check the name, or give the code", code_or_file))
        return Agreement(read_code(code_or_file), "")
    try:
        data = path.read_bytes()[: LARGEST_TEXT + 1]
        text = data.decode("utf-8-sig")
    except (OSError, ValueError):
        raise InputError(Problem("this cannot be read as text", "save the mail as plain text", str(path))) from None
    if len(data) > LARGEST_TEXT:
        raise InputError(Problem("this is far too long for an agreement", "is this the right file?", str(path)))
    return read_agreement(text, source=str(path))


def _offer(log: Path, choice: Choice) -> dict[str, Any]:
    """What the board offered as this option, from the latest entry of the log."""
    boards = [entry for entry in read_lines(log).entries if entry.get("what") == "board"]
    for entry in reversed(boards):
        if entry.get("board") == choice.board:
            for option in entry.get("options", []):
                if option.get("option") == choice.option:
                    found: dict[str, Any] = option
                    return found
            rule = f"board {choice.board} has no option {choice.option}"
            raise InputError(Problem(rule, "ask the client again", field="the code", value=choice.code))
    known = ", ".join(dict.fromkeys(str(entry.get("board")) for entry in boards)) or "none"
    rule = f"the log knows no board {choice.board} (it knows: {known})"
    raise InputError(Problem(rule, "name the job's folder with --job", str(log), field="the code", value=choice.code))


def _check_limits(offer: dict[str, Any], choice: Choice) -> None:
    """Every number within what the board offered, all problems at once."""
    coats, mixes = offer["coats"], offer["mixes"]
    if len(coats) != len(choice.coats) or len(mixes) != len(choice.strength_percent):
        raise InputError(
            Problem("it does not fit the board's option", "ask for the code again", field="the code", value=choice.code)
        )
    problems = []
    for what, rule, value in (
        *((f"coats of {c['what']}", c, n) for c, n in zip(coats, choice.coats, strict=True)),
        *((f"strength of {m['mix']}", m, n) for m, n in zip(mixes, choice.strength_percent, strict=True)),
    ):
        if not rule["from"] <= value <= rule["to"]:
            allowed = f"the board allowed {rule['from']} to {rule['to']}"
            problems.append(Problem(allowed, "ask the client again", field=what, value=str(value)))
    if problems:
        raise InputError(problems)


def agreed_text(text: str, offer: dict[str, Any], choice: Choice) -> tuple[str, list[str]]:
    """The scheme's text with the agreed coats and strengths, comments kept, and what changed in words."""
    import tomlkit

    document: Any = tomlkit.parse(text)
    changes = []
    gone = []
    for i, (rule, coats) in enumerate(zip(offer["coats"], choice.coats, strict=True)):
        if coats == rule["proposed"]:
            continue
        changes.append(f"{rule['what']}: {rule['proposed']} -> {coats} coats")
        entry = document["coat"][rule.get("entry", i)]
        if coats == 0:
            gone.append(rule.get("entry", i))
        else:
            entry["coats"] = coats
    for i in reversed(gone):
        del document["coat"][i]
    for rule, percent in zip(offer["mixes"], choice.strength_percent, strict=True):
        if percent == 100:
            continue
        changes.append(f"strength of {rule['mix']}: {percent} % of proposed")
        dyes = document["mix"][rule["mix"]]["dyes"]
        for name in list(dyes):
            dyes[name] = scaled_strength(str(dyes[name]), percent / 100.0)
    return tomlkit.dumps(document), changes


def scaled_strength(written: str, factor: float) -> str:
    """A strength times a factor, in the words it was written in where they begin with a plain number.

    >>> scaled_strength("20 drops per 100 mL", 1.1)
    '22 drops per 100 mL'
    >>> scaled_strength("1 1/2 %", 0.9)
    '13.5 mL/L'
    """
    meant = parse_strength(written)
    number = re.match(r"\s*(\d+(?:[.,]\d+)?)(?=\s*[^\d\s.,/])", written)
    if number:
        text = f"{float(number[1].replace(',', '.')) * factor:.4g}" + written[number.end() :]
        if _same(parse_strength(text), meant, factor):
            return text
    return f"{meant.amount * factor:.4g} {meant.unit}"


def _same(found: Strength, meant: Strength, factor: float) -> bool:
    return found.unit == meant.unit and math.isclose(found.amount, meant.amount * factor, rel_tol=1e-3)


def _cautions(offer: dict[str, Any], source: Path) -> tuple[str, ...]:
    try:
        now = source.read_bytes().decode("utf-8-sig")
    except (OSError, ValueError):
        return (f"{source.name} is no longer there; the agreed scheme is made from what the board showed",)
    if now != offer["text"]:
        return (f"{source.name} has changed since; the agreed scheme is made from what the board showed",)
    return ()


def _one_line(note: str, longest: int = 500) -> str:
    return " ".join("".join(sign if sign.isprintable() else " " for sign in note).split())[:longest]
