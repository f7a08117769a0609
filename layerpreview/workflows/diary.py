"""The booth diary: one line of the job's log for each thing done, and the day as it stands after it."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from functools import cached_property
from os import PathLike
from pathlib import Path
from typing import Any

from layerpreview.answers.day import Day, DiaryEntry, day_of
from layerpreview.errors import InputError, Problem
from layerpreview.job.booth import Booth, booth_of
from layerpreview.output.diary_entries import DIARY_KINDS, deed_of, done_of, entry_of
from layerpreview.output.diary_result import diary_result
from layerpreview.output.diary_words import deed_words
from layerpreview.output.files import write_text, written_together
from layerpreview.output.job_entries import entries_of, is_about, scheme_keys
from layerpreview.output.joblog import LOG_NAME, HeldLog, JobLog, LogEntry, locked, read_lines
from layerpreview.output.local_time import Clock
from layerpreview.output.result import Result
from layerpreview.output.shop_result import shop_text
from layerpreview.picture.spots import Spot, places_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.scheme.shop_values import HELD_NAME, ShopValues
from layerpreview.threads import Made
from layerpreview.workflows.diary_rules import Before, completed, heard, problems_of
from layerpreview.workflows.log import DAY_BEGUN, withdraw_entry
from layerpreview.workflows.places import SCHEME_NAME, scheme_of_job

Said = tuple[str, Mapping[str, Any]]
"""A deed as it is said: the kind of its entry, and what is known of it; time, id, coat and batch are found."""


class _Kept:
    """What a scheme's day needs beside its diary: steps at once, places where they are first asked for."""

    def __init__(self, scheme: Scheme) -> None:
        self._scheme = scheme
        self.booth: Booth = booth_of(scheme)

    @cached_property
    def spots(self) -> Sequence[Spot]:
        return places_of(self._scheme)


_kept: Made[_Kept] = Made(3)


@dataclass(frozen=True)
class _Job:
    scheme: Scheme
    path: Path
    log: Path

    @property
    def kept(self) -> _Kept:
        stamps = tuple((str(path), path.stat().st_mtime_ns, path.stat().st_size) for path in self.scheme.inputs)
        return _kept.get((str(self.path.resolve()), self.scheme.text, stamps), lambda: _Kept(self.scheme))

    def mine(self, entry: LogEntry) -> bool:
        """Whether an entry is about this scheme: a log may stand beside several."""
        return is_about(entry, self.path, self.log)

    def of_diary(self, entry: LogEntry) -> bool:
        return entry.what in DIARY_KINDS and self.mine(entry)


def scheme_and_log(job: Path) -> tuple[Scheme, Path, JobLog]:
    """The scheme of a job, the path of its log, which stands beside it, and what that holds.

    `job`: a scheme's file, or a folder with scheme.toml, else with one scheme. Raises InputError or SchemeError.
    """
    found = _job(job)
    return found.scheme, found.log, read_lines(found.log)


def booth_for(job: Path) -> Booth:
    """The steps and batches of a job's scheme. Raises as `diary` does."""
    return _job(job).kept.booth


def diary(job: str | PathLike[str], *, now: datetime | None = None, zone: tzinfo | None = None) -> Result[Day]:
    """Where a job stands by its diary at `now`; nothing is written. Times in words are those of `zone`.

    Raises InputError, SchemeError, or PictureError where a picture of the scheme cannot be used.
    """
    return _told(_job(Path(job)), _clock(now), zone)


def said(
    job: Path,
    what: str,
    values: Mapping[str, Any],
    now: datetime | None = None,
    *,
    zone: tzinfo | None = None,
) -> Result[Day]:
    """Write one deed into the diary, as `all_said` does."""
    return all_said(job, [(what, values)], now=now, zone=zone)


def all_said(
    job: Path,
    deeds: Sequence[Said],
    *,
    now: datetime | None = None,
    zone: tzinfo | None = None,
    besides: Sequence[Mapping[str, Any]] = (),
) -> Result[Day]:
    """Write deeds into the diary, a line each, and other lines of the log `besides` if any is new, all or none.

    One whose `id` is in the log already changes nothing. Without a time it is done now; without a coat it is about the
    next one due or, of a film or photo, the last one that is on; without a batch, about the one in use. Raises
    InputError with all that is wrong, SchemeError or OutputError; nothing is written then.
    """
    found, now = _job(job), _clock(now)
    unknown = [what for what, _ in deeds if what not in DIARY_KINDS]
    if unknown:
        known = ", ".join(DIARY_KINDS)
        raise InputError(Problem("the diary has no such entry", f"it has {known}", field="what", value=unknown[0]))
    _today(found, read_lines(found.log), now)  # what takes time is done before others have to wait
    with locked(found.log) as held, ExitStack() as lines:
        log = held.read
        for what, values in deeds:
            log = _write(found, held, log, what, values, lines, now, zone)
        for line in besides if log is not held.read else ():
            lines.enter_context(held.recorded(line))
    return _told(found, now, zone)


def withdraw(
    job: Path, line: int | None = None, *, now: datetime | None = None, zone: tzinfo | None = None
) -> tuple[int, Result[Day]]:
    """Withdraw a line of the diary, its last one still standing where none is named; its number and the day after it.

    Nothing is erased: a line is added that says so. Raises InputError where there is nothing to withdraw, OutputError.
    """
    found, now = _job(job), _clock(now)
    _today(found, read_lines(found.log), now)  # what is wrong in the log is told before a line is added to it
    gone = withdraw_entry(found.log, line, mine=found.of_diary, now=now)
    return gone, _told(found, now, zone)


def _clock(now: datetime | None) -> datetime:
    return (now or datetime.now(UTC)).astimezone(UTC)


def _job(job: Path) -> _Job:
    path = scheme_of_job(job)
    scheme = load_scheme(path)
    return _Job(scheme, path, path.parent / LOG_NAME)


def _write(
    job: _Job,
    held: HeldLog,
    log: JobLog,
    what: str,
    values: Mapping[str, Any],
    lines: ExitStack,
    now: datetime,
    zone: tzinfo | None,
) -> JobLog:
    """Write one deed under the lock; the log with it. `lines` takes back what was written where a later one fails."""
    given = {"id": f"{what}-{uuid.uuid4().hex[:16]}", "time": now.isoformat(timespec="seconds"), **values}
    if any(entry.values.get("id") == given["id"] for entry in log.entries):
        return log
    done = done_of(entries_of(log, job.path, job.log), job.log)
    clock = Clock.over(now, [deed.time for deed in done], zone)
    before = Before(_today(job, log, now), done, job.kept.booth, clock)
    deed = heard(what, completed(what, given, values, before))
    if problems := problems_of(deed, job.scheme, before):
        raise InputError(problems)
    keys = scheme_keys(job.path, job.log)
    step = job.kept.booth.step(getattr(deed, "entry", 0)) if hasattr(deed, "entry") else None
    begun = _begun_in(job, log) is not None
    entries = [] if begun else [_begun(job, now)]
    if not begun:
        lines.enter_context(_shop_held(job))
    entries.append({**entry_of(deed), **({"about": step.name} if step else {}), **keys})
    for entry in entries:
        lines.enter_context(held.recorded(entry))
        log = JobLog((*log.entries, LogEntry(_next_line(log), entry)), log.torn_lines)
    return log


def _next_line(log: JobLog) -> int:
    return max((*(entry.line for entry in log.entries), *log.torn_lines), default=0) + 1


def _begun_in(job: _Job, log: JobLog) -> LogEntry | None:
    """The line that began the diary; without one that stands the next deed begins it anew."""
    return next((entry for entry in log.entries if entry.what == DAY_BEGUN and entry.stands and job.mine(entry)), None)


def _begun(job: _Job, now: datetime) -> dict[str, Any]:
    """The line that begins a diary: the scheme's text as it is now, by its hash, the shop's values and units."""
    time = now.isoformat(timespec="seconds")
    return {
        "what": DAY_BEGUN,
        "time": time,
        "scheme_sha256": _hash(job.scheme),
        "shop": _shop(job.scheme),
        "units": job.scheme.shop.units,
        **scheme_keys(job.path, job.log),
    }


@contextmanager
def _shop_held(job: _Job) -> Iterator[None]:
    """Keep the shop's own values of now for this job, in its folder: what is taught later moves none of its colours.

    A scheme that shares its folder with others goes on with the values of the day, and the diary says when they change.
    """
    place = job.path.with_name(HELD_NAME)
    if job.path.name.casefold() != SCHEME_NAME or place.exists():
        yield
        return
    own = job.scheme.own or ShopValues()
    head = ["The shop's own values as they were when this job's diary was begun: the job goes on with them."]
    with written_together(place.parent, [HELD_NAME], force=False, inputs=(), lasting=[HELD_NAME]) as paths:
        write_text(paths[HELD_NAME], shop_text(replace(own, jobs=()), head=head))
        yield


def _shop(scheme: Scheme) -> dict[str, Any]:
    """The shop's own values in force."""
    return {} if scheme.own is None else dict(scheme.own.told)


def _hash(scheme: Scheme) -> str:
    return hashlib.sha256(scheme.text.encode("utf-8")).hexdigest()


def _today(job: _Job, log: JobLog, now: datetime) -> Day:
    kept, done = job.kept, done_of(entries_of(log, job.path, job.log), job.log)
    return day_of(job.scheme, done, now=now, booth=kept.booth, spots=lambda: kept.spots)


def _told(job: _Job, now: datetime, zone: tzinfo | None) -> Result[Day]:
    log = read_lines(job.log)
    day = _today(job, log, now)
    notes = (*day.notes, *_about_scheme(job, log), *_torn(log.torn_lines))
    return diary_result(replace(day, entries=_entries(job, log), notes=notes), zone=zone)


def _entries(job: _Job, log: JobLog) -> tuple[DiaryEntry, ...]:
    """The lines of the diary in words, those withdrawn among them."""
    found = []
    for entry in log.entries:
        if job.of_diary(entry):
            deed = deed_of(entry, job.log)
            words = deed_words(deed, lambda number: _name(job.kept.booth, number), units=job.scheme.shop.units)
            found.append(DiaryEntry(entry.line, deed.id, entry.what, words, deed.time, entry.withdrawn))
    return tuple(found)


def _name(booth: Booth, entry: int) -> str:
    step = booth.step(entry)
    return step.name if step else f"coat entry {entry}"


def _about_scheme(job: _Job, log: JobLog) -> list[str]:
    """What to say of the scheme: it was changed since the diary was begun, or another one was agreed on."""
    found = []
    begun = _begun_in(job, log)
    if begun is not None and begun.values.get("scheme_sha256") != _hash(job.scheme):
        found.append(
            f"{job.path.name} was changed since this diary was begun: what is told here is by the scheme as it is now"
        )
    if begun is not None and begun.values.get("shop", {}) != _shop(job.scheme):
        found.append(
            "this shop's own values (shop.toml) were changed since this diary was begun: told here is by those of now, "
            "the planned films and their colour, too"
        )
    agreed = job.path.with_name(f"{job.path.stem}.agreed{job.path.suffix}")
    if agreed.is_file():
        found.append(f"beside it is {agreed.name}: name that one if it is what is sprayed")
    return found


def _torn(lines: Collection[int]) -> list[str]:
    return [f"line {number} of the log is torn (a crash while writing?): passed over" for number in lines]
