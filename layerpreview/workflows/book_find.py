"""The jobs below a folder: found within bounds, no link followed, nothing written."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from layerpreview.answers.book import Agreement, Faulty
from layerpreview.answers.book_story import Logged, day_of
from layerpreview.errors import InputError, LayerPreviewError, Problem
from layerpreview.output.diary_entries import DIARY_KINDS, done_of
from layerpreview.output.job_entries import AgreedEntry, ReadingEntry, checked, file_name
from layerpreview.output.joblog import LOG_NAME, JobLog, LogEntry, read_lines
from layerpreview.output.written import WRITTEN_NAME
from layerpreview.scheme.source import LARGEST_FILE
from layerpreview.workflows.places import SCHEME_NAME

DEEPEST, MOST_FOLDERS, MOST_JOBS = 6, 4000, 400
"""Folders below the book's, folders looked into, and jobs; what is beyond is said to be left out."""
_VERSIONS = "history"
_AGREED = re.compile(r"\.agreed(?:-\d+)?\.toml$", re.IGNORECASE)
_IS_SCHEME = re.compile(r"^\s*layerpreview\s*=", re.MULTILINE)


@dataclass(frozen=True)
class Found:
    """One job as it was found: its folder, its scheme, how it is called in the book, and the log beside it.

    `alone`: whether everything in the log is about it, since no other job shares the folder.
    """

    place: str
    scheme: Path
    log: JobLog
    alone: bool = True
    faulty: Faulty | None = None


def jobs_below(folder: Path) -> tuple[list[Found], list[Faulty], list[str]]:
    """The jobs below `folder`, logs that cannot be read, and notes on what was left out.

    Raises InputError where there is no such folder.
    """
    if not folder.is_dir():
        rule = "there is no such folder" if not folder.exists() else "this is a file, a folder is wanted"
        raise InputError(Problem(rule, "name the folder that your jobs lie in", str(folder)))
    found: list[Found] = []
    faulty: list[Faulty] = []
    notes: list[str] = []
    for place in folders_below(folder, notes):
        for job in _jobs_in(place, folder):
            if len(found) == MOST_JOBS:
                return found, faulty, [*notes, f"more than {MOST_JOBS} jobs: the others are left out"]
            found.append(job)
            if job.faulty is not None and job.faulty not in faulty:
                faulty.append(job.faulty)
    return found, faulty, notes


def folders_below(top: Path, notes: list[str]) -> Iterator[Path]:
    """The folder and those below it, by name; hidden ones, links, kept versions and results are passed over."""
    waiting, seen = [(top, 0)], 0
    while waiting:
        folder, depth = waiting.pop()
        seen += 1
        if seen > MOST_FOLDERS:
            notes.append(f"more than {MOST_FOLDERS} folders: the others were not looked into")
            return
        try:
            with os.scandir(folder) as entries:
                listed = sorted(entries, key=lambda entry: entry.name)
        except OSError as error:
            notes.append(f"{_shown(folder, top)}: cannot be looked into ({error.strerror})")
            continue
        names = {entry.name for entry in listed}
        if WRITTEN_NAME in names and not any(name.endswith(".toml") for name in names) and folder != top:
            continue
        yield folder
        below = [entry for entry in listed if entry.is_dir(follow_symlinks=False) and not entry.name.startswith(".")]
        below = [entry for entry in below if entry.name.casefold() != _VERSIONS]
        if depth < DEEPEST:
            waiting += [(Path(entry.path), depth + 1) for entry in reversed(below)]
        elif below:
            notes.append(f"{_shown(folder, top)}: folders deeper than {DEEPEST} were not looked into")


def _jobs_in(folder: Path, top: Path) -> Iterator[Found]:
    """The job that a folder is, or those that share it."""
    schemes = sorted(path for path in folder.glob("*.toml") if _is_scheme(path))
    if not schemes:
        return
    log, faulty = JobLog(), None
    path = folder / LOG_NAME
    try:
        if path.is_symlink():
            raise InputError(
                Problem("this is a link, and links are not followed", "put the file itself here", str(path))
            )
        log = read_lines(path)
    except LayerPreviewError as error:
        faulty = Faulty(_shown(folder, top), first_line(error))
    # What was agreed on is the job; where a folder has several schemes, those offered beside it are not.
    own = [scheme for scheme in schemes if scheme.name.casefold() == SCHEME_NAME]
    plain = [scheme for scheme in schemes if not _AGREED.search(scheme.name)]
    agreed = _agreed_scheme(log, schemes)
    if own:
        jobs = [agreed or own[0]]
    elif agreed:
        offered = _offered(log)
        jobs = [agreed, *(scheme for scheme in plain if scheme.name not in offered)]
    else:
        jobs = plain or schemes
    for scheme in jobs:
        name = _shown(folder, top)
        if len(jobs) > 1:
            name = scheme.stem if name == "." else f"{name}/{scheme.stem}"
        elif name == ".":
            name = printable(Path(os.path.realpath(folder)).name)
        yield Found(name, scheme, log, len(jobs) == 1, faulty)


def _is_scheme(path: Path) -> bool:
    """Whether a TOML file is a scheme, or meant for one: a slip in it is told, not passed over."""
    try:
        if path.is_symlink() or not path.is_file():
            return False
        if path.name.casefold() == SCHEME_NAME:
            return True
        if path.name.casefold().endswith(".dye.toml") or path.stat().st_size > LARGEST_FILE:
            return False
        text = path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError:
        return False
    try:
        return "layerpreview" in tomllib.loads(text)
    except (ValueError, RecursionError):
        return _IS_SCHEME.search(text) is not None


def _agreed_scheme(log: JobLog, schemes: list[Path]) -> Path | None:
    """The scheme of the last agreement that stands, if it is there."""
    for entry in reversed(log.entries):
        if entry.what == "agreed" and entry.stands:
            return next((scheme for scheme in schemes if scheme.name == file_name(entry)), None)
    return None


def _offered(log: JobLog) -> set[str]:
    """File names of the schemes that boards offered."""
    found = set[str]()
    for entry in log.entries:
        if entry.what == "board":
            options = entry.values.get("options")
            for option in options if isinstance(options, list) else []:
                if isinstance(option, dict) and isinstance(option.get("scheme"), str):
                    found.add(file_name(LogEntry(entry.line, {"scheme": option["scheme"]})))
    return found


def logged_of(found: Found) -> Logged:
    """What the log tells of a job. Raises InputError with its line for an entry that cannot be read."""
    path = found.scheme.parent / LOG_NAME
    entries = tuple(entry for entry in found.log.entries if found.alone or _is_about(entry, found.scheme))
    done = done_of(JobLog(entries), path)
    agreed, days, read = None, [], dict[str, int]()
    for entry in entries:
        if not entry.stands or entry.what in DIARY_KINDS:
            continue
        day = _day(entry)
        days += [day] if day else []
        if entry.what == "agreed":
            said = checked(AgreedEntry, entry, path)
            agreed = Agreement(day, f"{said.option} {said.name}", tuple(said.changes), said.note)
        elif entry.what == "progress":
            reading = checked(ReadingEntry, entry, path)
            if not reading.witness:
                read[reading.mix] = max(read.get(reading.mix, 0), reading.coats_done)
    return Logged(done, agreed, tuple(days), read)


def _is_about(entry: LogEntry, scheme: Path) -> bool:
    if entry.what == "board":
        return False
    return file_name(entry) == scheme.name


def _day(entry: LogEntry) -> str:
    try:
        return day_of(datetime.fromisoformat(entry.text("time")))
    except (ValueError, OverflowError):
        return ""


def first_line(error: LayerPreviewError) -> str:
    """What is wrong first, and how much more there is."""
    first, *more = str(error).splitlines() or [type(error).__name__]
    return first + (f" (and {len(more)} more)" if more else "")


def _shown(path: Path, top: Path) -> str:
    return printable(path.relative_to(top).as_posix())


def printable(text: str) -> str:
    """A name without signs that could steer a terminal or cannot be written."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)
