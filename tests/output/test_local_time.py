"""Local times: exist for a coat an hour off when clocks change, and for a time that could be read in two ways.

Summer time of the European Union begins and ends at 01:00 UTC on the last Sunday of March and October (Directive
2000/84/EC, articles 2 and 3): 29 March and 25 October in 2026.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pytest

from layerpreview.errors import InputError
from layerpreview.output.local_time import Clock, instant_said, instants_of, minutes_told

SPRING = datetime(2026, 3, 29, 1, tzinfo=UTC)
AUTUMN = datetime(2026, 10, 25, 1, tzinfo=UTC)


@pytest.fixture(params=["machine", "named"])
def zone(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Iterator[tzinfo | None]:
    """Central European time: as this machine's own (a rule of POSIX), and by its name in the tz database."""
    if request.param == "named":
        try:
            yield ZoneInfo("Europe/Berlin")
        except ZoneInfoNotFoundError:
            pytest.skip("no time zones on this machine")
        return
    if not hasattr(time, "tzset"):
        pytest.skip("this system's zone cannot be set for a test")
    monkeypatch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
    time.tzset()
    yield None
    monkeypatch.undo()
    time.tzset()


def test_a_time_of_today(zone: tzinfo | None) -> None:
    now = datetime(2026, 5, 4, 12, 40, tzinfo=UTC)
    assert instant_said("14:20", now=now, zone=zone) == datetime(2026, 5, 4, 12, 20, tzinfo=UTC)
    assert instant_said(" 2026-05-03 23:50 ", now=now, zone=zone) == datetime(2026, 5, 3, 21, 50, tzinfo=UTC)
    assert instant_said("2026-05-04T14:20+09:00", now=now, zone=zone) == datetime(2026, 5, 4, 5, 20, tzinfo=UTC)
    assert instant_said("14:41", now=now, zone=zone) > now  # another phone's clock may be a little ahead


def test_today_is_the_date_of_the_place(zone: tzinfo | None) -> None:
    """At 23:30 UTC it is tomorrow there already."""
    now = datetime(2026, 5, 4, 23, 30, tzinfo=UTC)
    assert instant_said("1:15", now=now, zone=zone) == datetime(2026, 5, 4, 23, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "25:00",
        "14:20 h",
        "2026-05-04",
        "half two",
        "14:7",
        "-1:00",
        "2026-13-01 10:00",
        "0001-01-01T00:00+14:00",
        "9999-12-31 23:59",
    ],
)
def test_what_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"no time.*write a time of today"):
        instant_said(text, now=SPRING, zone=UTC)


def test_what_is_still_to_come_is_refused(zone: tzinfo | None) -> None:
    with pytest.raises(InputError, match="still to come: it is 00:10 now"):
        instant_said("23:50", now=datetime(2026, 5, 3, 22, 10, tzinfo=UTC), zone=zone)


def test_an_hour_that_is_not_there(zone: tzinfo | None) -> None:
    assert instants_of(datetime(2026, 3, 29, 2, 30), zone) == ()
    with pytest.raises(InputError, match="leaves this time out") as caught:
        instant_said("2:30", now=SPRING + timedelta(hours=3), zone=zone)
    assert 'write "2026-03-29 01:30" or "2026-03-29 03:30"' in str(caught.value)


def test_an_hour_that_is_there_twice(zone: tzinfo | None) -> None:
    half = timedelta(minutes=30)
    assert instants_of(datetime(2026, 10, 25, 2, 30), zone) == (AUTUMN - half, AUTUMN + half)
    with pytest.raises(InputError, match="there twice") as caught:
        instant_said("02:30", now=AUTUMN + 3 * half, zone=zone)
    first, second = "2026-10-25T02:30+02:00", "2026-10-25T02:30+01:00"
    assert f"write {first} for the first, {second} for the second" in str(caught.value)
    assert [instant_said(text, now=AUTUMN + 3 * half, zone=zone) for text in (first, second)] == [
        AUTUMN - half,
        AUTUMN + half,
    ]


def test_every_other_minute_is_there_once(zone: tzinfo | None) -> None:
    """Through both days, against the way from the instant to the clock."""
    for change in (SPRING, AUTUMN):
        for minutes in range(-1500, 1500, 30):
            instant = change + timedelta(minutes=minutes)
            shown = instant.astimezone(zone).replace(tzinfo=None, fold=0)
            assert instant in instants_of(shown, zone)


def test_offsets_are_told_where_they_change(zone: tzinfo | None) -> None:
    before, after = SPRING - timedelta(hours=1), SPRING + timedelta(hours=1)
    assert Clock.over(after, [], zone).told(after) == "04:00"
    across = Clock.over(after, [before], zone)
    assert [across.told(instant) for instant in (before, after)] == ["01:00 (+01:00)", "04:00 (+02:00)"]
    assert across.told(before - timedelta(days=1)) == "2026-03-28 01:00 (+01:00)"


def test_a_zone_of_half_an_hour() -> None:
    odd = timezone(timedelta(hours=5, minutes=45))
    assert instant_said("10:00", now=SPRING + timedelta(hours=8), zone=odd) == datetime(2026, 3, 29, 4, 15, tzinfo=UTC)


@pytest.mark.parametrize(("minutes", "told"), [(0.2, "1 min"), (60, "1 h"), (61, "1 h 1 min"), (-5, "0 min")])
def test_lengths_of_time(minutes: float, told: str) -> None:
    assert minutes_told(minutes) == told
