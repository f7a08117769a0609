"""The diary watched: it counts down, rings the bell when a time comes, and shows what other phones say meanwhile."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from layerpreview.cli.common import give, say

if TYPE_CHECKING:
    from layerpreview.answers.day import Day

BELL = "\a"
EVERY_S = 1.0
WIDEST = 79


def watch_job(
    job: Path,
    *,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
    sleep: Callable[[float], None] = time.sleep,
) -> None:
    """Stay until Ctrl-C. The bell rings once for each time that comes while it is watched."""
    from layerpreview.output.diary_words import big, instants_in, moments_of, next_words
    from layerpreview.output.local_time import Clock
    from layerpreview.workflows.diary import diary, scheme_and_log

    log = scheme_and_log(job)[1]
    day, stamp = diary(job, now=clock()).found, _stamp(log)
    rung = {moment for moment in moments_of(day) if moment.time <= day.now}
    say("Watching; Ctrl-C ends it")
    try:
        while True:
            _count_down(_left(day) + big(next_words(day, Clock.over(day.now, instants_in(day)))))
            sleep(EVERY_S)
            now = clock()
            come = [moment for moment in moments_of(day) if moment.time <= now and moment not in rung]
            if come or _stamp(log) != stamp:
                stamp = _stamp(log)
                result = diary(job, now=now)
                day = result.found
                give(f"\n{result.text()}")
                if not come:  # what another phone said may begin timers that are over already
                    rung |= {moment for moment in moments_of(day) if moment.time <= now}
            for moment in come:
                typer.echo(BELL, nl=False, err=True)
                say(moment.words)
            rung |= set(come)
            day = replace(day, now=now)
    except KeyboardInterrupt:
        say("\nNo longer watching; the diary stands as it was written")


def _left(day: Day) -> str:
    """Minutes and seconds until the next coat; nothing where none is waited for."""
    wait = day.next_coat.wait if day.next_coat else None
    seconds = int((wait.earliest - day.now).total_seconds()) if wait else 0
    return f"{seconds // 60}:{seconds % 60:02}  " if seconds > 0 else ""


def _count_down(words: str) -> None:
    """The next coat on a line of its own that is written over; only where somebody looks."""
    if sys.stderr.isatty():
        typer.echo(f"\r{words[:WIDEST]:<{WIDEST}}", nl=False, err=True)


def _stamp(log: Path) -> tuple[int, int]:
    """What tells whether the log was written to."""
    try:
        found = log.stat()
    except OSError:
        return (0, 0)
    return found.st_mtime_ns, found.st_size
