"""The diary's entries: there and back, checked, each id once, whatever the zone its time is told in."""

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

from layerpreview.errors import InputError
from layerpreview.job import done
from layerpreview.output.diary_entries import DIARY_KINDS, done_of, entry_of
from layerpreview.output.joblog import JobLog, LogEntry, read_lines, recorded

NOON = datetime(2026, 3, 29, 12, 5, 9, tzinfo=UTC)
DEEDS = (
    done.BatchMade(id="a", time=NOON, batch="honey", poured=(done.Poured("amber", 1.4, "mL", "B12"),), total_mL=120.0),
    done.CoatDone(id="b", time=NOON, entry=2, number=1),
    done.FilmRead(id="c", time=NOON, entry=2, number=1, readings_um=(38.0, 45.0)),
    done.Conditions(id="d", time=NOON, temperature_C=21.5, humidity=0.45, gun="1.3 mm", note="windy"),
    done.Left(id="e", time=NOON, batch="honey", left_mL=22.0),
    done.DropsCounted(id="f", time=NOON, dye="amber", drops=43, volume_mL=1.0),
    done.PhotoRead(
        id="g", time=NOON, file="photos/a.jpg", of="card", entry=2, number=1,
        white=(0.1, 0.2, 0.03, 0.04), spots=((0.5, 0.5, 0.1, 0.1),), lab=(60.0, 10.0, 40.0), spread_de00=1.2,
    ),
)  # fmt: skip


def _log(*deeds: done.Deed) -> JobLog:
    return JobLog(tuple(LogEntry(line, entry_of(deed)) for line, deed in enumerate(deeds, 1)))


def test_every_kind_comes_back_as_it_was(tmp_path: Path) -> None:
    log = tmp_path / "job-log.jsonl"
    for deed in DEEDS:
        with recorded(log, entry_of(deed)):
            pass
    back = list(done_of(read_lines(log), log))
    assert sorted(deed.id for deed in back) == list("abcdefg")
    for deed in back:
        original = next(one for one in DEEDS if one.id == deed.id)
        assert deed == type(original)(**{**original.__dict__, "line": deed.line})
    assert {entry_of(deed)["what"] for deed in DEEDS} == set(DIARY_KINDS)


def test_an_id_counts_once_and_zones_are_one_time() -> None:
    east = NOON.astimezone(timezone(timedelta(hours=13)))
    again = done.CoatDone(id="b", time=NOON + timedelta(minutes=1), entry=2, number=2)
    found = done_of(_log(done.CoatDone(id="b", time=east, entry=2, number=1), again), Path("log"))
    assert [(coat.number, coat.time) for coat in found.coats] == [(1, NOON)]
    other = done.CoatDone(id="h", time=NOON, entry=2, number=1)
    assert done_of(_log(DEEDS[1], other), Path("log")).coats_of(2) == 1


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"time": "2026-03-29T12:05:09"}, "zone"),
        ({"time": "yesterday"}, "time is wanted"),
        ({"time": 5}, "time is wanted"),
        ({"time": "0001-01-01T00:00:00+14:00"}, "from 1970 to 2999"),
        ({"time": "9999-12-31T23:59:59-12:00"}, "from 1970 to 2999"),
        ({"number": 0}, "number"),
        ({"entry": "2"}, "whole number"),
        ({"id": ""}, "id"),
        ({"note": "a\x1b[2J"}, "control signs"),
    ],
)
def test_what_is_no_entry_is_told_with_its_line(changed: dict[str, object], told: str) -> None:
    log = JobLog((LogEntry(7, {**entry_of(DEEDS[1]), **changed}),))
    with pytest.raises(InputError, match=told) as caught:
        done_of(log, Path("job-log.jsonl"))
    assert "line 7" in str(caught.value) or ":7" in str(caught.value)


def test_a_photos_name_steers_no_terminal() -> None:
    photo = next(deed for deed in DEEDS if isinstance(deed, done.PhotoRead))
    log = JobLog((LogEntry(7, {**entry_of(photo), "file": "photos/\x1b[2J.jpg"}),))
    with pytest.raises(InputError, match=r"file = .*control signs"):
        done_of(log, Path("job-log.jsonl"))
