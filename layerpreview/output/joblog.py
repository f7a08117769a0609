"""The job's log: one JSON object a line, only ever added to, by one at a time.

A line torn by a crash spoils nothing but itself, and a file that is something else is never taken for a log.
"""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from io import BufferedReader, FileIO
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, OutputError, Problem
from layerpreview.held import UnusableError, check_count, first_json, shown
from layerpreview.output.locks import leave, take
from layerpreview.output.plain_json import json_line
from layerpreview.scheme.report import as_toml
from layerpreview.stops import kept_so_far, unbroken

LOG_NAME = "job-log.jsonl"
WITHDRAWN = "withdrawn"
MOST_BYTES = 64_000_000
LONGEST_WAIT_S = 50.0  # a board of eight schemes is half a minute's work; nobody waits a minute in silence
_BEGINNING = re.compile(rb'(\xef\xbb\xbf)?\s*(\{\s*("|$)|$)')
_HALF = re.compile(r"(?<!\\)(?:\\\\)*\\ud[89a-f]")
"""A half of a pair of signs, as `json_line` writes it: bytes of a name that is not UTF-8."""
_TO_MEND = "name the job's log; if it is this one, mend the line or take it out"


@dataclass(frozen=True)
class LogEntry:
    """One line of a log: its number [from 1], what it says, and whether a later line withdraws it.

    `fault`: why what it says cannot be used, else ""; `values` are its kind alone then.
    """

    line: int
    values: Mapping[str, Any]
    withdrawn: bool = False
    fault: str = ""

    @property
    def what(self) -> str:
        """The kind of entry: board, agreed, progress, withdrawn."""
        return str(self.values["what"])

    def text(self, key: str) -> str:
        """What it says of a key, on one line without signs that could steer a terminal; "" for what is no text."""
        return shown(self.values.get(key), longest=4000)

    @property
    def stands(self) -> bool:
        """Whether it counts: it is not withdrawn, and does not withdraw another."""
        return not self.withdrawn and self.what != WITHDRAWN


@dataclass(frozen=True)
class JobLog:
    """The entries of a log in the order written, and the numbers of the lines that a crash tore."""

    entries: tuple[LogEntry, ...] = ()
    torn_lines: tuple[int, ...] = ()


class HeldLog:
    """A log that nobody else writes to meanwhile; `read` is what it held when it was taken."""

    def __init__(self, path: Path, file: FileIO) -> None:
        self.path = path
        self._file = file
        file.seek(0)
        self.read = _log_in(_all_of(file, path), path)

    @contextmanager
    def recorded(self, entry: Mapping[str, Any]) -> Iterator[None]:
        """Add an entry, on disk when the `with` begins, and take it back when what stands inside fails.

        A last line without its end (a crash, a full disk) is closed first, so that the entry stands on its own. It
        stays where a stop comes when the results that it tells of have their names already.
        """
        line = json_line(entry)
        if _HALF.search(line):
            what = "a name or note of this entry has signs that no text can hold; nothing was recorded"
            raise OutputError(f"{self.path}: {what}; write it anew, or rename the file or folder")
        before, kept_before = self._file.seek(0, os.SEEK_END), kept_so_far()
        try:
            with _told(self.path):
                self._append(line.encode("utf-8") + b"\n", before)
            yield
        except BaseException as error:
            if isinstance(error, Exception) or kept_so_far() == kept_before:
                with unbroken(), _told(self.path, "the last line could not be taken back"):
                    self._file.truncate(before)
                with suppress(OSError):
                    os.fsync(self._file.fileno())
            raise

    def _append(self, line: bytes, end: int) -> None:
        if end:
            self._file.seek(end - 1)
            if self._file.read(1) != b"\n":
                line = b"\n" + line
        while line:
            line = line[self._file.write(line) :]
        os.fsync(self._file.fileno())


@contextmanager
def locked(path: Path) -> Iterator[HeldLog]:
    """Hold the log at `path`, so that others who would write to it wait. One that stays empty is not left behind.

    Raises InputError for a file that is no log, and OutputError where it cannot be written or its folder is not there;
    nothing is written then.
    """
    until = time.monotonic() + LONGEST_WAIT_S
    held: list[FileIO] = []
    made = False
    try:
        while not held:
            with unbroken(), _told(path):
                made = not path.exists()
                file = path.open("a+b", buffering=0)
                if take(file, path):
                    held.append(file)
                    break
                leave(file, path, remove=False)
            if time.monotonic() > until:
                rule = "another layerpreview holds the log; nothing was recorded"
                raise OutputError(f"{path}: {rule}; end that one first")
            time.sleep(0.02)
        yield HeldLog(path, held[0])
    finally:
        with unbroken():
            for file in held:
                leave(file, path, remove=made and file.seek(0, os.SEEK_END) == 0)


@contextmanager
def recorded(path: Path, entry: Mapping[str, Any]) -> Iterator[JobLog]:
    """Add an entry to the log at `path` and hold the log; when what stands inside fails, the entry was never there.

    Gives what the log held before. Raises as `locked` does.
    """
    with locked(path) as held, held.recorded(entry):
        yield held.read


def read_lines(path: Path) -> JobLog:
    """Every entry that can be read; none where there is no log yet. Raises InputError for a file that is no log."""
    if not path.exists():
        return JobLog()
    try:
        if not path.is_file():
            raise InputError(Problem("the log cannot be read: this is a folder, or no plain file", _TO_MEND, str(path)))
        with path.open("rb") as file:
            return _log_in(_all_of(file, path), path)
    except OSError as error:
        problem = Problem(f"the log cannot be read: {error.strerror}", "check who may read it", str(path))
        raise InputError(problem) from error


def log_of(job: Path) -> Path:
    """The log of a job, whose folder or whose log itself `job` names."""
    return job if job.is_file() or (job.suffix == ".jsonl" and not job.is_dir()) else job / LOG_NAME


def known_log(job: Path) -> Path:
    """The log of a job that has one. Raises InputError where there is none."""
    log = log_of(job)
    if not log.exists():
        raise InputError(Problem("there is no log here", "name the job's folder, or its log", str(log)))
    return log


def time_of(now: datetime) -> str:
    """A time as an entry has it."""
    return now.astimezone(UTC).isoformat(timespec="seconds")


@contextmanager
def _told(path: Path, what: str = "nothing was recorded") -> Iterator[None]:
    """Tell what stops the log from being written in one line."""
    try:
        yield
    except FileNotFoundError as error:
        rule = f"{path}: the log cannot be written (there is no folder {path.parent}); {what}"
        raise OutputError(f"{rule}; name the job's folder as it is now") from error
    except OSError as error:
        raise OutputError(f"{path}: the log cannot be written ({error.strerror}); {what}") from error


def _all_of(file: FileIO | BufferedReader, path: Path) -> bytes:
    if os.fstat(file.fileno()).st_size > MOST_BYTES:
        raise InputError(Problem(f"this is longer than {MOST_BYTES / 1e6:g} MB, which no log is", _TO_MEND, str(path)))
    return file.read()


def _log_in(data: bytes, path: Path) -> JobLog:
    entries, torn = [], []
    try:
        check_count(data)
    except UnusableError as error:
        raise InputError(Problem(str(error), _TO_MEND, str(path))) from None
    for number, line in enumerate(data.split(b"\n"), start=1):
        if not line.strip():
            continue
        try:
            read = _values(line)
        except ValueError as error:
            rule = f"this is no line of a job's log{f' ({error})' if isinstance(error, UnusableError) else ''}"
            raise InputError(Problem(rule, _TO_MEND, str(path), number)) from None
        if read is None:
            torn.append(number)
        else:
            values, fault = read
            entries.append(LogEntry(number, {"what": values["what"]} if fault else values, fault=fault))
    return JobLog(_marked(entries, path), tuple(torn))


def _values(line: bytes) -> tuple[dict[str, Any], str] | None:
    """What a line says, and why that cannot be used, else ""; None for a torn one.

    Torn is the beginning of an entry, with or without the zeros that a crash leaves.
    Raises ValueError for anything else.
    """
    try:
        text = line.decode("utf-8-sig").strip()
        found, end, fault = first_json(text)
    except UnusableError:
        raise
    except ValueError:
        if _BEGINNING.match(line.replace(b"\0", b"")):
            return None
        raise ValueError("not the beginning of an entry") from None
    if isinstance(found, dict) and isinstance(found.get("what"), str):
        if end == len(text):
            return found, fault
        if not text[end:].strip("\0"):
            return None
    raise ValueError("no entry")


def _marked(entries: Iterable[LogEntry], path: Path) -> tuple[LogEntry, ...]:
    """The entries with those marked that a later one withdraws."""
    found: dict[int, LogEntry] = {}
    for entry in entries:
        found[entry.line] = entry
        if entry.what == WITHDRAWN:
            line = entry.values.get("line")
            if entry.fault:
                raise InputError(Problem(entry.fault, _TO_MEND, str(path), entry.line))
            other = found.get(line) if type(line) is int else None
            if other is None or other.what == WITHDRAWN:
                rule = "what it withdraws is no entry before it"
                raise InputError(Problem(rule, _TO_MEND, str(path), entry.line, "line", as_toml(line)))
            found[other.line] = replace(other, withdrawn=True)
    return tuple(found.values())
