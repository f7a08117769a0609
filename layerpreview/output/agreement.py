"""What a job's log says of a scheme's agreement: the one place where it is decided whether something was agreed."""

from __future__ import annotations

import hashlib
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from layerpreview.job.agreed import HowAgreed
from layerpreview.output.job_entries import file_name, is_about
from layerpreview.output.joblog import LOG_NAME, JobLog, LogEntry, read_lines
from layerpreview.scheme.source import plain_line_ends

AGREED_NAME = re.compile(r"\.agreed(?:-\d+)?$")
"""How the stem of an agreed scheme's file ends."""
TEXT_KEY = "scheme_sha256"
"""Of an agreement's entry: the SHA-256 of the agreed scheme's text; logs had none at first."""


def how_agreed_beside(scheme: Path, *, text: str) -> HowAgreed:
    """What the log in a scheme's folder says of it. Raises InputError for a log that cannot be read."""
    log = scheme.parent / LOG_NAME
    return how_agreed(scheme, read_lines(log), log, text=text)


def how_agreed(scheme: Path, read: JobLog, log: Path, *, text: str) -> HowAgreed:
    """Whether the scheme at that place is what was last agreed, another is, or nothing was agreed yet.

    `text`: the scheme's, as it was read for all else: the file may be saved anew meanwhile.

    An agreement has to do with a scheme that it names, that its board offered, or whose name the agreed file has.
    """
    offering = {entry.text("board") for entry in read.entries if _offers(entry, scheme, log)} - {""}
    last = next(
        (
            entry
            for entry in reversed(read.entries)
            if entry.what == "agreed"
            and entry.stands
            and (is_about(entry, scheme, log) or entry.text("board") in offering or _named_after(entry, scheme))
        ),
        None,
    )
    if last is None:
        return HowAgreed()
    own = is_about(last, scheme, log)
    code, board, option = (last.text(key)[:100] for key in ("code", "board", "option"))
    return HowAgreed(
        code=code or "not in the log",
        board=board,
        option=option,
        day=_day(last),
        instead="" if own else file_name(last)[:100],
        way="" if own else last.text("scheme_from_log") or file_name(last),
        changed=own and last.values.get(TEXT_KEY) not in (None, text_sha256(text)),
    )


def text_sha256(text: str) -> str:
    """SHA-256 of a scheme's text with plain line ends."""
    return hashlib.sha256(plain_line_ends(text).encode("utf-8")).hexdigest()


def _offers(entry: LogEntry, scheme: Path, log: Path) -> bool:
    options: Any = entry.values.get("options")
    if entry.what != "board" or not isinstance(options, list):
        return False
    return any(isinstance(each, dict) and is_about(LogEntry(entry.line, each), scheme, log) for each in options)


def _named_after(entry: LogEntry, scheme: Path) -> bool:
    stem = Path(file_name(entry)).stem
    return AGREED_NAME.search(stem) is not None and AGREED_NAME.sub("", stem) == AGREED_NAME.sub("", scheme.stem)


def _day(entry: LogEntry) -> str:
    try:
        return datetime.fromisoformat(entry.text("time")).astimezone(UTC).date().isoformat()
    except (ValueError, OverflowError):
        return ""
