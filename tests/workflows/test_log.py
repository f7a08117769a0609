"""The job's log told: exists for a reading that was a slip and could not be taken back, for a history that only a
programmer could read, and for a distance in an early log that means something else."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from layerpreview.errors import InputError
from layerpreview.output.board_code import Choice
from layerpreview.output.joblog import LOG_NAME, read_lines
from layerpreview.output.plain_json import plain_json
from layerpreview.workflows.agree import agree
from layerpreview.workflows.board import board_file
from layerpreview.workflows.log import job_log, log_text
from layerpreview.workflows.progress import Reading, log_progress

from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, PANEL, SILVER

NOON = datetime.fromisoformat("2026-05-04T12:30:00+02:00")


@pytest.fixture
def job(tmp_path: Path, quick_pages: None) -> Path:
    """A board, what was agreed, and a reading."""
    scheme = tmp_path / "job.toml"
    scheme.write_text(HEAD + PANEL + SILVER + DYES + MIXES + HONEY + GUN, encoding="utf-8")
    made = board_file([scheme, scheme], out=tmp_path / "board", width_px=64)
    agree(Choice(made.board, "B", (4,), (90,)).code, job=tmp_path)
    read(tmp_path)
    return tmp_path


def read(job: Path, **how: Any) -> None:
    reading = Reading(lab=how.pop("lab", (71.0, -13.0, 34.5)))
    log_progress(job / "job.toml", reading, coats_done=2, now=NOON, **how)


def lines_of(job: Path, **how: Any) -> list[str]:
    return log_text(job_log(job, **how), ZoneInfo("Europe/Rome")).splitlines()


@pytest.mark.slow
def test_every_entry_in_plain_words(job: Path) -> None:
    board, agreed, reading = lines_of(job)
    assert board.split()[0] == "1"
    assert "offered A Test part, B Test part" in board
    assert "agreed on B Test part of board" in agreed
    assert agreed.endswith(": honey, all over: 3 -> 4 coats; strength of honey: 90 % of proposed")
    assert reading.startswith("   3  2026-05-04 12:30  reading after 2 coats of honey: L* 71.0 a* -13.0 b* 34.5")
    known = read_lines(job / LOG_NAME).entries[-1].values
    assert f"{known['to_agreed']:.1f} CIEDE2000 from the planned colour, 1 coat left" in reading
    assert lines_of(job / LOG_NAME) == lines_of(job)


@pytest.mark.slow
def test_a_kept_reading_is_told_as_one(job: Path) -> None:
    read(job, lab=(60.0, -45.0, -30.0), keep=True, witness=True)
    *_, last = lines_of(job)
    assert "2 coats of honey on a witness card" in last
    assert "kept though 39." in last


@pytest.mark.slow
def test_the_last_that_stands_is_withdrawn_and_nothing_erased(job: Path) -> None:
    before = (job / LOG_NAME).read_bytes()
    assert job_log(job, withdraw=True).withdrawn_now == 3
    text = (job / LOG_NAME).read_bytes()
    assert text.startswith(before)
    added = json.loads(text[len(before) :])
    assert (added["what"], added["line"]) == ("withdrawn", 3)
    datetime.fromisoformat(added["time"])
    assert lines_of(job)[2].startswith("   3  2026-05-04 12:30  withdrawn: reading")
    assert lines_of(job)[3].endswith("  withdrew line 3")
    read(job)  # line 5
    assert [job_log(job, withdraw=True).withdrawn_now for _ in range(3)] == [5, 2, 1]
    before = (job / LOG_NAME).read_bytes()
    with pytest.raises(InputError, match="no entry is left to withdraw"):
        job_log(job, withdraw=True)
    assert (job / LOG_NAME).read_bytes() == before
    assert [entry.withdrawn for entry in job_log(job).entries] == [True, True, True, False, True, False, False, False]


@pytest.mark.slow
def test_as_json_with_lines_and_flags(job: Path) -> None:
    job_log(job, withdraw=True)
    found = json.loads(plain_json(job_log(job)))
    assert [(e["line"], e["withdrawn"], e["entry"]["what"]) for e in found["entries"]] == [
        (1, False, "board"),
        (2, False, "agreed"),
        (3, True, "progress"),
        (4, False, "withdrawn"),
    ]
    assert found["entries"][3]["entry"]["line"] == 3
    assert found["log"] == str(job / LOG_NAME)


@pytest.mark.slow
def test_torn_spoilt_and_unknown_lines_are_told_among_the_others(job: Path) -> None:
    log = job / LOG_NAME
    with log.open("ab") as file:
        file.write(b'{"what": "agr\n{"what": "agreed"}\n\n{"what": "polished\\u001b[2J", "time": 5}\n')
        file.write(b'{"what": "progress", "lab": [1, NaN, 3], "coats_left": "two"}\n')
    lines = lines_of(job)
    assert len(lines) == 7
    assert lines[3] == "   4  torn (a crash while writing?): passed over"
    assert "agreed: cannot be read (" in lines[4]
    assert ":5: board: this is missing (and 4 more)" in lines[4]
    assert lines[5].split() == ["7", "no", "time", "polished", "[2J:", "not", "known", "to", "this", "version"]
    assert "progress: cannot be read" in lines[6]
    assert job_log(job, withdraw=True).withdrawn_now == 8


@pytest.mark.slow
def test_the_distance_of_an_early_log_is_not_told_as_the_readings_own(job: Path) -> None:
    log = job / LOG_NAME
    *first, last = log.read_text(encoding="utf-8").splitlines()
    entry = json.loads(last)
    del entry["rung_to_agreed"]
    log.write_text("\n".join([*first, json.dumps(entry), ""]), encoding="utf-8")
    assert "reading after 2 coats" in lines_of(job)[2]
    assert "from the planned colour" not in lines_of(job)[2]


def test_an_empty_log_and_none(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no log here"):
        job_log(tmp_path)
    assert list(tmp_path.iterdir()) == []
    (tmp_path / LOG_NAME).touch()
    assert lines_of(tmp_path) == [f"{tmp_path / LOG_NAME} holds nothing yet: no board, no agreement, no reading"]


@pytest.mark.slow
def test_what_is_no_log_is_not_told_nor_written_to(job: Path) -> None:
    text = (job / "job.toml").read_bytes()
    for withdraw in (False, True):
        with pytest.raises(InputError, match=r"job\.toml:1: this is no line of a job's log"):
            job_log(job / "job.toml", withdraw=withdraw)
    assert (job / "job.toml").read_bytes() == text
