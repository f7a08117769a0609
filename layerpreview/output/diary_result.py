"""The day at the booth with its ways out: words, JSON for whoever shows it, a table of its entries."""

from __future__ import annotations

from datetime import tzinfo

from layerpreview.answers.day import Day
from layerpreview.output.diary_words import day_text, instants_in, next_words, pot_words
from layerpreview.output.local_time import Clock
from layerpreview.output.plain_json import plain
from layerpreview.output.result import Result


def diary_result(day: Day, *, zone: tzinfo | None = None) -> Result[Day]:
    """The day with its ways out; times in words are those of `zone`, of this machine where it is None.

    Its document holds all fields of `Day`, times as ISO 8601 in UTC, and the same in words. It is saved as lines of
    the job's log, by the workflows that say a deed.
    """
    clock = Clock.over(day.now, instants_in(day), zone)
    return Result(
        found=day,
        line=f"Diary {day.name}, {clock.told(day.now)}: {next_words(day, clock)}",
        document=lambda _: _document(day, clock),
        rows=lambda: [
            {"line": entry.line, "time": plain(entry.time), "words": entry.words, "withdrawn": entry.withdrawn}
            for entry in day.entries
        ],
        text=lambda: day_text(day, zone),
        names=(),
    )


def _document(day: Day, clock: Clock) -> dict[str, object]:
    found = plain(day)
    assert isinstance(found, dict)
    return {**found, "next_words": next_words(day, clock), "pot_words": pot_words(day, clock)}
