"""The client's choice comes back: check it, record it in the job's log, and write the agreed scheme beside it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from layerpreview.errors import InputError, Problem, SchemeError
from layerpreview.held import bytes_of, shown, text_of
from layerpreview.output.agreement import AGREED_NAME, TEXT_KEY, text_sha256
from layerpreview.output.board_code import Agreement, Choice, read_agreement, read_code
from layerpreview.output.files import write_text, written_together
from layerpreview.output.job_entries import BoardEntry, Offer, checked, is_about, is_beside, scheme_keys, scheme_place
from layerpreview.output.joblog import JobLog, locked, time_of
from layerpreview.scheme import scheme_from_text
from layerpreview.scheme.source import LARGEST_FILE, plain_line_ends
from layerpreview.workflows.agree_near import log_with, near
from layerpreview.workflows.agreed_scheme import agreed_text, agreed_words, head_of, in_its_new_place

_MOST_TOLD = 12
LARGEST_TEXT, LONGEST_NOTE = 100_000, 500
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
    note = shown(agreement.note, longest=LONGEST_NOTE)
    choice = agreement.choice
    log = log_with(job, choice.board)
    with locked(log) as held:
        board, offer = _offered(held.read, log, choice)
        _check_limits(offer, choice)
        source = scheme_place(board, offer, log)
        schemes = [scheme_place(board, option, log) for option in board.options]
        target = _target(board, offer, log, schemes)
        text, changes = agreed_text(offer, choice)
        text = head_of(choice, note) + in_its_new_place(text, source, target)
        _check_usable(text, target)
        cautions = _changed_since(offer, source)
        before = _said_before(held.read, choice, text, target, log)
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
            "note": note,
            TEXT_KEY: text_sha256(text),
            **scheme_keys(target, log),
        }
        agreed = tuple(agreed_words(offer, choice))
        inputs = [*schemes, log, Path(code_or_file)]
        # A run that was killed between its line and the scheme: the line stands, and the scheme follows now.
        with (
            nullcontext() if before and not target.exists() else held.recorded(entry),
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
        agreed=agreed,
        changes=tuple(changes),
        note=note,
        cautions=cautions,
    )


def _said_before(read: JobLog, choice: Choice, text: str, target: Path, log: Path) -> bool:
    """Whether the log tells last of this very choice, as this text in this file."""
    said = [entry for entry in read.entries if entry.what == "agreed" and entry.stands]
    same = bool(said) and (said[-1].text("code"), said[-1].text(TEXT_KEY)) == (choice.code, text_sha256(text))
    return same and is_about(said[-1], target, log)


def _check_new(log: JobLog, target: Path, choice: Choice) -> None:
    """Raises InputError for a choice that was agreed on before: nothing is to be replaced by the same."""
    said = [entry for entry in log.entries if entry.what == "agreed" and entry.stands]
    if said and said[-1].text("code") == choice.code:
        day = said[-1].text("time")[:10]
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
    data = bytes_of(path, what="an agreement", most_bytes=LARGEST_TEXT)
    text = text_of(data, str(path), remedy="save the mail as plain text", usual=True)
    return read_agreement(text, source=str(path))


def _offered(log: JobLog, file: Path, choice: Choice) -> tuple[BoardEntry, Offer]:
    """The board of a choice, as last made, and what it offered as this option."""
    boards = [entry for entry in log.entries if entry.what == "board"]
    last = next((entry for entry in reversed(boards) if entry.text("board") == choice.board), None)
    if last is None:
        standing = dict.fromkeys(entry.text("board")[:20] for entry in boards if entry.stands and entry.text("board"))
        known = ", ".join([*standing][-_MOST_TOLD:]) or "none"
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


def _changed_since(offer: Offer, source: Path) -> tuple[str, ...]:
    try:
        remedy = "save it as UTF-8"
        data = bytes_of(source, what="a scheme", most_bytes=LARGEST_FILE)
        now = plain_line_ends(text_of(data, str(source), remedy=remedy))
    except InputError:
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
