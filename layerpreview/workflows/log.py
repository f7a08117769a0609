"""The job's log told in plain words, and an entry withdrawn: nothing in it is ever erased."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from functools import partial
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, Problem
from layerpreview.held import shown
from layerpreview.output.diary_entries import DIARY_KINDS, deed_of
from layerpreview.output.diary_words import deed_words
from layerpreview.output.job_entries import AgreedEntry, BoardEntry, ReadingEntry, checked, file_name
from layerpreview.output.joblog import WITHDRAWN, JobLog, LogEntry, known_log, locked, read_lines
from layerpreview.output.local_time import is_of_our_days

DAY_BEGUN = "day-begun"
"""The entry that begins a diary: which scheme it is of, as that was then."""


@dataclass(frozen=True)
class LoggedEntry:
    """One line of the log: its number [from 1], whether it was withdrawn, what it says, and that in plain words."""

    line: int
    withdrawn: bool
    words: str
    entry: Mapping[str, Any]


@dataclass(frozen=True)
class LogTold:
    """The log, its entries in the order written, the lines a crash tore, and the line withdrawn just now, if any."""

    log: Path
    entries: tuple[LoggedEntry, ...]
    torn_lines: tuple[int, ...]
    withdrawn_now: int | None


def job_log(job: Path, *, withdraw: bool = False) -> LogTold:
    """Read the log of a job (its folder, or the log itself), and first `withdraw` the last entry still standing.

    Raises InputError where there is no log, or nothing in it to withdraw, and OutputError where it cannot be written.
    """
    log = known_log(job)
    line = withdraw_entry(log) if withdraw else None
    read = read_lines(log)
    units = next((entry.text("units") for entry in read.entries if "units" in entry.values), "metric")
    return LogTold(log, tuple(_told(entry, log, units) for entry in read.entries), read.torn_lines, line)


def log_text(found: LogTold, zone: tzinfo | None = None) -> str:
    """What to show a person: a line for each entry, with the number it has in the file; times are those of `zone`, of
    this machine where it is None, as in the diary."""
    lines = {
        entry.line: f"{_time(entry, zone)}  {'withdrawn: ' if entry.withdrawn else ''}{entry.words}"
        for entry in found.entries
    }
    lines |= dict.fromkeys(found.torn_lines, "torn (a crash while writing?): passed over")
    told = [f"{line:4}  {_printable(words)}" for line, words in sorted(lines.items())]
    return "\n".join([*(told or [f"{found.log} holds nothing yet: no board, no agreement, no reading"]), ""])


def _time(entry: LoggedEntry, zone: tzinfo | None) -> str:
    written = shown(entry.entry.get("time"), longest=40) or "no time"
    try:
        instant = datetime.fromisoformat(written)
    except ValueError:
        return written
    if instant.tzinfo is None or not is_of_our_days(instant):
        return written
    return f"{instant.astimezone(zone):%Y-%m-%d %H:%M}"


def withdraw_entry(
    log: Path,
    line: int | None = None,
    *,
    mine: Callable[[LogEntry], bool] = lambda _: True,
    now: datetime | None = None,
) -> int:
    """Add the line that withdraws another, the last one still standing where none is named; its number.

    `mine`: which entries may be withdrawn here. Raises InputError where there is none, or it cannot be withdrawn.
    """
    with locked(log) as held:
        entry = _last_standing(held.read, mine) if line is None else _named(held.read, line, mine, log)
        if entry is None:
            raise InputError(Problem("no entry is left to withdraw", "layerpreview log shows what is in it", str(log)))
        time = (now or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds")
        with held.recorded({"what": WITHDRAWN, "time": time, "line": entry.line}):
            return entry.line


def _last_standing(log: JobLog, mine: Callable[[LogEntry], bool]) -> LogEntry | None:
    return next((entry for entry in reversed(log.entries) if entry.stands and mine(entry)), None)


def _named(log: JobLog, line: int, mine: Callable[[LogEntry], bool], path: Path) -> LogEntry:
    """The entry of that line, if it can be withdrawn."""
    entry = next((entry for entry in log.entries if entry.line == line), None)
    if entry is not None and entry.stands and mine(entry):
        return entry
    rule = "there is no entry of this number here that could be withdrawn"
    if entry is not None and entry.withdrawn:
        rule = "this entry is withdrawn already"
    raise InputError(Problem(rule, "use the number of a line that counts", str(path), value=str(line)))


def _told(entry: LogEntry, log: Path, units: str) -> LoggedEntry:
    deed: Callable[[LogEntry, Path], str] = partial(_deed, units=units)
    kinds = {"board": _board, "agreed": _agreed, "progress": _reading, WITHDRAWN: _withdrawal, DAY_BEGUN: _day_begun}
    tell = {**kinds, **dict.fromkeys(DIARY_KINDS, deed)}.get(entry.what)
    try:
        words = tell(entry, log) if tell else f"{entry.what}: not known to this version"
    except InputError as error:  # one entry that was spoilt keeps no one from reading the others
        words = f"{entry.what}: cannot be read ({error})"
    return LoggedEntry(entry.line, entry.withdrawn, words, entry.values)


def _board(entry: LogEntry, log: Path) -> str:
    board = checked(BoardEntry, entry, log)
    return f"board {board.board} offered " + ", ".join(f"{option.option} {option.name}" for option in board.options)


def _agreed(entry: LogEntry, log: Path) -> str:
    agreed = checked(AgreedEntry, entry, log)
    changes = "; ".join(agreed.changes) or "as proposed"
    note = f"; note: {agreed.note}" if agreed.note else ""
    return f"agreed on {agreed.option} {agreed.name} of board {agreed.board}, code {agreed.code}: {changes}{note}"


def _reading(entry: LogEntry, log: Path) -> str:
    read = checked(ReadingEntry, entry, log)
    lab = "L* {:.1f} a* {:.1f} b* {:.1f}".format(*read.lab)
    # What earlier logs call to_agreed is the distance of a computed colour, not that of the reading.
    known = read.rung_to_agreed is not None
    apart = f", {read.to_agreed:.1f} CIEDE2000 from the planned colour" if known else ""
    low, likely, high = (round(coats) for coats in read.coats_left)
    left = f"{_coats(likely)} left" + (f" ({low} to {high})" if high > low else "")
    kept = f"; kept though {read.off_ladder:.1f} CIEDE2000 from what it should look like" if read.kept else ""
    spot = f"{read.mix} on a witness card" if read.witness else read.mix
    return f"reading after {_coats(read.coats_done)} of {spot}: {lab} under {read.light}{apart}, {left}{kept}"


def _deed(entry: LogEntry, log: Path, *, units: str) -> str:
    about = entry.text("about")
    return deed_words(deed_of(entry, log), lambda number: about or f"coat entry {number}", units=units)


def _day_begun(entry: LogEntry, log: Path) -> str:
    return f"diary of {file_name(entry) or 'a scheme'} begun"


def _withdrawal(entry: LogEntry, log: Path) -> str:
    return f"withdrew line {entry.values['line']}"


def _coats(count: int) -> str:
    return f"{count} coat" if count == 1 else f"{count} coats"


def _printable(text: str) -> str:
    """On one line, without signs that could steer the terminal: the log can be edited by anyone."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
