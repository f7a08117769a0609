"""The client's choice comes back: check it, record it in the job's log, and write the agreed scheme beside it."""

from __future__ import annotations

import math
import os
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem, SchemeError
from layerpreview.output.agreement import AGREED_NAME, TEXT_KEY, text_sha256
from layerpreview.output.board_code import Agreement, Choice, read_agreement, read_code
from layerpreview.output.files import write_text, written_together
from layerpreview.output.job_entries import BoardEntry, Offer, checked, is_beside, scheme_keys, scheme_place
from layerpreview.output.joblog import JobLog, locked, time_of
from layerpreview.scheme import scheme_from_text
from layerpreview.scheme.locate import line_of_each
from layerpreview.scheme.rules import file_places
from layerpreview.scheme.source import plain_line_ends
from layerpreview.units import Strength, parse_strength
from layerpreview.workflows.agree_near import log_with, near

LARGEST_TEXT = 100_000
ANOTHER_JOB = "copy the job with its log to another folder and name that with --job"


@dataclass(frozen=True)
class Agreed:
    """What was agreed and written: the new scheme, the log, all that was agreed and what of it changed in words, the
    note, and cautions; `time` as the log has it."""

    scheme: Path
    log: Path
    board: str
    option: str
    name: str
    code: str
    time: datetime
    agreed: tuple[str, ...]
    changes: tuple[str, ...]
    note: str
    cautions: tuple[str, ...]


def agree(code_or_file: str, *, job: Path = Path(), force: bool = False, now: datetime | None = None) -> Agreed:
    """Take a code, or a file with the text a board made, and write the agreed scheme beside the job's log.

    `job`: the folder with the log (or the log itself), which knows what the board offered. The scheme is written as
    NAME.agreed.toml; its comments are kept. Others who agree wait until this is done.
    Raises InputError for a code or text that does not check or does not belong to a board in the log and where the
    agreed scheme could not be used, OutputError where the scheme or the log cannot be written; nothing is written or
    recorded then.
    """
    time = now or datetime.now(UTC)
    agreement = _read(code_or_file)
    choice = agreement.choice
    log = log_with(job, choice.board)
    with locked(log) as held:
        board, offer = _offered(held.read, log, choice)
        _check_limits(offer, choice)
        source = scheme_place(board, offer, log)
        schemes = [scheme_place(board, option, log) for option in board.options]
        target = _target(board, offer, log, schemes)
        text, changes = agreed_text(offer, choice)
        text = _head(agreement) + in_its_new_place(text, source, target)
        _check_usable(text, target)
        cautions = _changed_since(offer, source)
        if target.exists() and not force:
            _check_new(held.read, target, choice)
        entry = {
            "what": "agreed",
            "time": time_of(time),
            "board": choice.board,
            "option": choice.option,
            "name": offer.name,
            "code": choice.code,
            "coats": list(choice.coats),
            "strength_percent": list(choice.strength_percent),
            "changes": changes,
            "note": agreement.note,
            TEXT_KEY: text_sha256(text),
            **scheme_keys(target, log),
        }
        inputs = [*schemes, log, Path(code_or_file)]
        with (
            held.recorded(entry),
            written_together(
                target.parent,
                [target.name],
                force=force,
                inputs=inputs,
                lasting=[target.name],
                elsewhere=ANOTHER_JOB,
            ) as paths,
        ):
            write_text(paths[target.name], text)
    return Agreed(
        scheme=target,
        log=log,
        board=choice.board,
        option=choice.option,
        name=offer.name,
        code=choice.code,
        time=time.astimezone(UTC).replace(microsecond=0),
        agreed=tuple(agreed_words(offer, choice)),
        changes=tuple(changes),
        note=_one_line(agreement.note),
        cautions=cautions,
    )


def _check_new(log: JobLog, target: Path, choice: Choice) -> None:
    """Raises InputError for a choice that was agreed on before: nothing is to be replaced by the same."""
    said = [entry for entry in log.entries if entry.what == "agreed" and entry.stands]
    if said and said[-1].values.get("code") == choice.code:
        day = str(said[-1].values.get("time", ""))[:10]
        rule = f"this was agreed on already, on {day}; nothing was written"
        raise InputError(Problem(rule, f"go on with {target.name}", field="the code", value=choice.code))


def _read(code_or_file: str) -> Agreement:
    """The agreement in a file of that name, else in the text itself."""
    path = Path(code_or_file)
    try:
        is_file = path.is_file()
    except (OSError, ValueError):  # a whole text was handed in, too long for a name
        is_file = False
    if not is_file:
        try:
            return Agreement(read_code(code_or_file), "")
        except InputError:
            if re.search(r"\.[A-Za-z]{2,4}$", code_or_file.strip()) and not re.search(r"\bLP\W", code_or_file, re.I):
                told = Problem("there is no such file", "check the name, or give the code", code_or_file)
                raise InputError(told) from None
            raise
    try:
        data = path.read_bytes()[: LARGEST_TEXT + 1]
        text = data.decode("utf-8-sig")
    except (OSError, ValueError):
        raise InputError(Problem("this cannot be read as text", "save the mail as plain text", str(path))) from None
    if len(data) > LARGEST_TEXT:
        raise InputError(Problem("this is far too long for an agreement", "is this the right file?", str(path)))
    return read_agreement(text, source=str(path))


def _offered(log: JobLog, file: Path, choice: Choice) -> tuple[BoardEntry, Offer]:
    """The board of a choice, as last made, and what it offered as this option."""
    boards = [entry for entry in log.entries if entry.what == "board"]
    last = next((entry for entry in reversed(boards) if entry.values.get("board") == choice.board), None)
    if last is None:
        standing = [str(entry.values.get("board")) for entry in boards if entry.stands]
        known = ", ".join(dict.fromkeys(standing)) or "none"
        rule = f"the log knows no board {choice.board} (it knows: {known})"
        remedy = near(file.parent, choice.board) or "name the job's folder with --job"
        raise InputError(Problem(rule, remedy, str(file), field="the code", value=choice.code))
    if last.withdrawn:
        rule, remedy = f"board {choice.board} was withdrawn", "make the board again, or ask the client to choose anew"
        raise InputError(Problem(rule, remedy, str(file), last.line, "the code", choice.code))
    board = checked(BoardEntry, last, file)
    for option in board.options:
        if option.option == choice.option:
            return board, option
    rule = f"board {choice.board} has no option {choice.option}; it has {', '.join(o.option for o in board.options)}"
    raise InputError(Problem(rule, "ask the client again", field="the code", value=choice.code))


def _check_limits(offer: Offer, choice: Choice) -> None:
    """Every number within what the board offered, all problems at once."""
    coats, mixes = offer.coats, offer.mixes
    if len(coats) != len(choice.coats) or len(mixes) != len(choice.strength_percent):
        raise InputError(
            Problem("it does not fit the board's option", "ask for the code again", field="the code", value=choice.code)
        )
    problems = []
    strengths = zip(mixes, choice.strength_percent, strict=True)
    for what, rule, value in (
        *((f"coats of {c.what}", (c.fewest, c.most), n) for c, n in zip(coats, choice.coats, strict=True)),
        *((f"strength of {m.mix}", (m.weakest, m.strongest), n) for m, n in strengths),
    ):
        if not rule[0] <= value <= rule[1]:
            allowed = f"the board allowed {rule[0]}" + (f" to {rule[1]}" if rule[1] > rule[0] else " alone")
            problems.append(Problem(allowed, "ask the client again", field=what, value=str(value)))
    if problems:
        raise InputError(problems)


def agreed_text(offer: Offer, choice: Choice) -> tuple[str, list[str]]:
    """The offered scheme's text with the agreed coats and strengths, comments kept, and what changed in words."""
    import tomlkit

    document: Any = tomlkit.parse(offer.text)
    changes = []
    gone = []
    for i, (rule, coats) in enumerate(zip(offer.coats, choice.coats, strict=True)):
        if coats == rule.proposed:
            continue
        changes.append(f"{rule.what}: {rule.proposed} -> {coats} coats")
        entry = i if rule.entry is None else rule.entry
        if coats == 0:
            gone.append(entry)
        else:
            document["coat"][entry]["coats"] = coats
    orphans = _painted(document) - _painted(document, gone)
    for i in reversed(gone):
        del document["coat"][i]
    for mix, percent in zip(offer.mixes, choice.strength_percent, strict=True):
        if percent == 100:
            continue
        changes.append(f"strength of {mix.mix}: {percent} % of proposed")
        dyes = document["mix"][mix.mix]["dyes"]
        for name in list(dyes):
            dyes[name] = scaled_strength(str(dyes[name]), percent / 100.0)
    text = tomlkit.dumps(document)
    for name in sorted(orphans & set(document.get("paint", {}))):
        text = _without_paint(text, name)
    return text, changes


def agreed_words(offer: Offer, choice: Choice) -> list[str]:
    """All that was agreed, a line for each coat and each strength, and what was proposed where that was other."""
    lines = []
    for rule, coats in zip(offer.coats, choice.coats, strict=True):
        told = "no coats" if coats == 0 else "1 coat" if coats == 1 else f"{coats} coats"
        lines.append(f"{rule.what}: {told}" + (f" ({rule.proposed} proposed)" if coats != rule.proposed else ""))
    for mix, percent in zip(offer.mixes, choice.strength_percent, strict=True):
        lines.append(f"strength of {mix.mix}: {'as proposed' if percent == 100 else f'{percent} % of proposed'}")
    return lines


def _painted(document: Any, gone: Sequence[int] = ()) -> set[str]:
    """The names of the opaque coats, which are those that a [paint] can have."""
    coats = [coat for i, coat in enumerate(document.get("coat", [])) if i not in gone]
    return {str(coat["name"]).strip() for coat in coats if "opaque" in coat and "name" in coat}


def _without_paint(text: str, name: str) -> str:
    """Make [paint.NAME], which belongs to no coat any more, a remark; a painter may want it back."""
    import tomlkit

    document: Any = tomlkit.parse(text)
    del document["paint"][name]
    without = tomlkit.dumps(document)
    own = [line for place, line in line_of_each(text).items() if place[:2] == ("paint", name)]
    first, last = min(own), max(own)
    lines = text.split("\n")
    lines[first - 1 : last] = [f"# {line}" if line.strip() else line for line in lines[first - 1 : last]]
    remarked = "\n".join([*lines[: first - 1], "# (its coat was taken out)", *lines[first - 1 :]])
    try:
        # Written on lines of its own, as it mostly is; else it goes altogether.
        return remarked if _paints_of(remarked) == _paints_of(without) else without
    except tomllib.TOMLDecodeError:
        return without


def _paints_of(text: str) -> tuple[dict[str, Any], dict[str, Any]]:
    raw = tomllib.loads(text)
    return raw.pop("paint", {}), raw


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


def _changed_since(offer: Offer, source: Path) -> tuple[str, ...]:
    try:
        now = plain_line_ends(source.read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError):
        return (f"{source.name} is no longer there; the agreed scheme is made from what the board showed",)
    if now != offer.text:
        return (f"{source.name} has changed since; the agreed scheme is made from what the board showed",)
    return ()


def _target(board: BoardEntry, offer: Offer, log: Path, schemes: Sequence[Path]) -> Path:
    """Where the agreed scheme goes: beside the log, under the scheme's name where that tells the option apart.

    A scheme that was agreed before gets the next number that is free, and none takes the place of another's scheme.
    """
    stems = [AGREED_NAME.sub("", place.stem).casefold() for place in schemes]
    stem = AGREED_NAME.sub("", schemes[board.options.index(offer)].stem)
    if stems.count(stem.casefold()) > 1 or not is_beside(board, offer):
        stem = f"{stem}.option-{offer.option}"
    again = AGREED_NAME.search(Path(schemes[board.options.index(offer)]).stem) is not None
    target, number = log.with_name(f"{stem}.agreed.toml"), 1
    offered = {place.resolve() for place in schemes}
    while (again and target.exists()) or target.resolve() in offered:
        number += 1
        target = log.with_name(f"{stem}.agreed-{number}.toml")
    return target


def in_its_new_place(text: str, source: Path, target: Path) -> str:
    """The text with the files it names seen from `target`, and its own name in the commands that its remarks tell."""
    own = re.compile(rf"(layerpreview [a-z-]+ +){re.escape(source.name)}\b")
    text = "\n".join(own.sub(rf"\g<1>{target.name}", li) if li.startswith("#") else li for li in text.split("\n"))
    here, there = source.parent.resolve(), target.parent.resolve()
    if here == there or not here.is_dir():
        return text
    import tomlkit

    document: Any = tomlkit.parse(text)
    for place, value in file_places(tomllib.loads(text)):
        table = document
        for step in place[:-1]:
            table = table[step]
        file = here / value.strip().replace("\\", "/")
        try:
            table[place[-1]] = Path(os.path.relpath(file, there)).as_posix()
        except ValueError:  # another drive
            table[place[-1]] = file.as_posix()
    return tomlkit.dumps(document)


def _check_usable(text: str, target: Path) -> None:
    """Raises InputError for an agreed scheme that could not be read where it is to stand: a photo not moved along."""
    try:
        scheme_from_text(text, target)
    except SchemeError as error:
        rule, remedy = "the agreed scheme could not be used; nothing was written or recorded", "mend this first"
        raise InputError(
            [
                Problem(rule, remedy, str(target)),
                # Lines are those of a file that is not there.
                *(replace(p, file="", line=None) if p.file == str(target) else p for p in error.problems),
            ]
        ) from None


def _head(agreement: Agreement) -> str:
    """The remarks at the top of an agreed scheme."""
    choice = agreement.choice
    head = f"# Agreed: option {choice.option} of board {choice.board}, code {choice.code}\n"
    return head + (f"# The client's note: {_one_line(agreement.note)}\n" if agreement.note else "")


def _one_line(note: str, longest: int = 500) -> str:
    return " ".join("".join(sign if sign.isprintable() else " " for sign in note).split())[:longest]
