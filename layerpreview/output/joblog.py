"""The job's log: one JSON object a line, only ever added to; a line torn by a crash spoils nothing but itself."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layerpreview.errors import InputError, OutputError, Problem

LOG_NAME = "job-log.jsonl"


@dataclass(frozen=True)
class JobLog:
    """The entries of a log in the order written, and the numbers of the lines that could not be read."""

    entries: tuple[dict[str, Any], ...]
    torn_lines: tuple[int, ...]


def append_line(path: Path, entry: Mapping[str, Any]) -> None:
    """Add one entry to the log at `path`, on disk when this returns.

    A last line without its end (a crash, a full disk) is closed first, so that the new entry stands on its own.
    Raises OutputError where the log cannot be written.
    """
    line = json.dumps(entry, ensure_ascii=False, allow_nan=False, sort_keys=True).encode("utf-8") + b"\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("a+b") as file:
            end = file.seek(0, os.SEEK_END)
            if end:
                file.seek(end - 1)
                if file.read(1) != b"\n":
                    line = b"\n" + line
            file.write(line)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise OutputError(f"{path}: the log cannot be written ({error.strerror}); nothing was recorded") from error


def read_lines(path: Path) -> JobLog:
    """Every entry that can be read; none where there is no log yet. Raises InputError for a file that is no log."""
    if not path.exists():
        return JobLog((), ())
    try:
        lines = path.read_bytes().split(b"\n")
    except OSError as error:
        problem = Problem(f"the log cannot be read: {error.strerror}", "check who may read it", str(path))
        raise InputError(problem) from error
    entries, torn = [], []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            entry = json.loads(line)
        except ValueError:  # not UTF-8, or not JSON
            entry = None
        if isinstance(entry, dict):
            entries.append(entry)
        else:
            torn.append(number)
    return JobLog(tuple(entries), tuple(torn))
