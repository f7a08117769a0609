"""Times of a place as its clock has them: an hour that is there twice or not at all, and offsets where they change."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from layerpreview.answers.day_order import CLOCKS_APART
from layerpreview.errors import InputError, Problem

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")
_HOW = 'write a time of today as "14:20", else date and time as "2026-05-04 14:20"'

YEARS = range(1970, 3000)
"""Years that a job can be of: far from the ends of the calendar, where a zone or a wait would lead out of it."""


def is_of_our_days(time: datetime) -> bool:
    """Whether a time is of a year that a job can be of."""
    return time.year in YEARS


def instants_of(naive: datetime, zone: tzinfo | None) -> tuple[datetime, ...]:
    """Every instant [UTC] at which the clocks of a zone (None: this machine's own) show that time.

    One as a rule, none in the hour that is left out when clocks go forward, two in the one that comes twice when they
    go back.
    """
    found = []
    for fold in (0, 1):
        local = naive.replace(fold=fold) if zone is None else naive.replace(fold=fold, tzinfo=zone)
        instant = local.astimezone(UTC)
        if instant.astimezone(zone).replace(tzinfo=None, fold=0) == naive and instant not in found:
            found.append(instant)
    return tuple(sorted(found))


def instant_said(text: str, *, now: datetime, zone: tzinfo | None = None, field: str = "--at") -> datetime:
    """The instant [UTC] of a time as it is said: "14:20" (of today), "2026-05-04 14:20", or ISO 8601 with its offset.

    Raises InputError for a text that is no time, for one that is not there or there twice, and for one still to come.
    """
    said, value = text.strip(), text.strip()
    if clock := _CLOCK.fullmatch(said):
        hour, minute, second = clock[1], clock[2], clock[3] or "00"
        value = f"{now.astimezone(zone).date().isoformat()}T{int(hour):02}:{minute}:{second}"
    try:
        found = datetime.fromisoformat(value)
        whole = len(value) > len("2026-05-04")
    except ValueError:
        found, whole = now, False
    if not whole or not is_of_our_days(found):
        raise InputError(Problem("this is no time", _HOW, field=field, value=text))
    if found.tzinfo is None:
        found = _only(found, zone, field, text)
    found = found.astimezone(UTC)
    if found > now + CLOCKS_APART:
        rule = f"this is still to come: it is {now.astimezone(zone):%H:%M} now"
        raise InputError(Problem(rule, f"{_HOW}, as of yesterday", field=field, value=text))
    return found


def _only(naive: datetime, zone: tzinfo | None, field: str, text: str) -> datetime:
    there = instants_of(naive, zone)
    if len(there) == 1:
        return there[0]
    if not there:
        rule = "the clock leaves this time out on that day: it is set forward"
        before, after = ((naive + timedelta(hours=hours)).isoformat(sep=" ", timespec="minutes") for hours in (-1, 1))
        remedy = f'write "{before}" or "{after}", whichever you mean'
        raise InputError(Problem(rule, remedy, field=field, value=text))
    first, second = (instant.astimezone(zone).isoformat(timespec="minutes") for instant in there)
    rule = "this time is there twice on that day: the clock is set back"
    raise InputError(Problem(rule, f"write {first} for the first, {second} for the second", field=field, value=text))


@dataclass(frozen=True)
class Clock:
    """How times are told: as the clocks of `zone` (None: this machine's own) show them, seen from `now`.

    `offsets`: whether each is told with its offset, since that changed among what is told.
    """

    now: datetime
    zone: tzinfo | None = None
    offsets: bool = False

    @classmethod
    def over(cls, now: datetime, told: Iterable[datetime], zone: tzinfo | None = None) -> Clock:
        """The clock for telling these instants."""
        offsets = {instant.astimezone(zone).utcoffset() for instant in (now, *told)}
        return cls(now, zone, len(offsets) > 1)

    def told(self, instant: datetime) -> str:
        """The time of an instant, with its date where that is not today's."""
        local, today = instant.astimezone(self.zone), self.now.astimezone(self.zone).date()
        date = "" if local.date() == today else f"{local:%Y-%m-%d} "
        offset = local.isoformat()[-6:] if self.offsets else ""
        return f"{date}{local:%H:%M}" + (f" ({offset})" if offset else "")


def minutes_told(minutes: float) -> str:
    """A length of time in words, rounded up to a minute, never negative.

    >>> minutes_told(75.2), minutes_told(4.0), minutes_told(-3)
    ('1 h 16 min', '4 min', '0 min')
    """
    whole = max(0, -int(-minutes // 1))
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if hours and rest else f"{hours} h" if hours else f"{rest} min"
