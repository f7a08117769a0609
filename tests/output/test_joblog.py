"""The job's log: exists for JSON added to a scheme that was named by mistake, an entry of something that was never
written, two who write at once, a line torn by a crash, and folders made for a job that had moved away."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from contextlib import suppress
from io import FileIO
from pathlib import Path
from typing import Any

import pytest

from layerpreview.errors import InputError, OutputError
from layerpreview.output import joblog
from layerpreview.output.joblog import JobLog, known_log, locked, log_of, read_lines, recorded

from ..schemes import FULL

BOARD = '{"board": "K7QD2", "options": [], "time": "2026-05-04T12:30:00+00:00", "what": "board"}'
AGREED = '{"board": "K7QD2", "note": "Größe\\nzwei", "what": "agreed"}'


def add(log: Path, entry: Mapping[str, Any]) -> JobLog:
    with recorded(log, entry) as before:
        return before


def fail_inside(log: Path, error: BaseException) -> None:
    with recorded(log, {"what": "board"}):
        raise error


# What is a log --------------------------------------------------------------------------------------------------------

NO_LOG = {
    "a scheme": (FULL.encode(), 1),
    "a photo": (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 1),
    "a table of readings": (b"background,coats,L,a,b\nwhite,0,95,0,2\n", 1),
    "a result of ours": (json.dumps({"standing": {"mix": "honey"}}, indent=2).encode(), 2),
    "lines of another program": (b'{"id": 3, "name": "amber"}\n{"id": 4}\n', 1),
    "one without its kind": (f"{BOARD}\n".encode() + b'{"board": "K7QD2"}\n', 2),
    "a kind that is no text": (b'{"what": 7}\n', 1),
    "a formatted text": (b"{\\rtf1\\ansi my notes}\n", 1),
    "a list": (f"{BOARD}\n\n[1, 2]\n".encode(), 3),
    "two on a line": (f"{BOARD} {AGREED}\n".encode(), 1),
    "a remark": (f"{BOARD}\n# the client rang\n".encode(), 2),
    "the second half of an entry": (f"{BOARD}\n{BOARD[30:]}\n".encode(), 2),
    "another encoding": (BOARD.encode("utf-16"), 1),
    "nothing": (b"null\n", 1),
}


@pytest.mark.parametrize("name", NO_LOG)
def test_what_is_no_log_is_refused_and_left_as_it_is(tmp_path: Path, name: str) -> None:
    data, line = NO_LOG[name]
    path = tmp_path / "given.txt"
    path.write_bytes(data)
    for use in (read_lines, lambda path: add(path, {"what": "agreed"})):
        with pytest.raises(InputError) as caught:
            use(path)
        (problem,) = caught.value.problems
        assert (problem.file, problem.line) == (str(path), line)
        assert problem.rule
        assert problem.remedy
    assert path.read_bytes() == data


LOGS = {
    "empty": (b"", 0, ()),
    "blank lines": (b"\n \r\n\n", 0, ()),
    "two entries": (f"{BOARD}\n{AGREED}\n".encode(), 2, ()),
    "saved by another editor": (b"\xef\xbb\xbf" + f"{BOARD}\r\n\r\n{AGREED}\r\n".encode(), 2, ()),
    "no last line end": (f"{BOARD}\n{AGREED}".encode(), 2, ()),
    "torn within a letter": (f"{BOARD}\n".encode() + AGREED.encode()[: AGREED.encode().index(b"\xc3") + 1], 1, (2,)),
    "torn and gone on": (f"{BOARD[:30]}\n{AGREED}\n".encode(), 1, (1,)),
    "zeros for the end": (f"{AGREED}\n".encode() + BOARD[:40].encode() + b"\0" * 4096, 1, (2,)),
    "zeros after a whole one": (BOARD.encode() + b"\0" * 9, 0, (1,)),
    "only zeros": (f"{AGREED}\n".encode() + b"\0" * 4096 + f"\n{BOARD}\n".encode(), 2, (2,)),
}


@pytest.mark.parametrize("name", LOGS)
def test_what_is_a_log_is_read_and_added_to(tmp_path: Path, name: str) -> None:
    data, count, torn = LOGS[name]
    path = tmp_path / "job-log.jsonl"
    path.write_bytes(data)
    found = read_lines(path)
    assert (len(found.entries), found.torn_lines) == (count, torn)
    assert add(path, {"what": "again"}) == found
    assert path.read_bytes().startswith(data)
    after = read_lines(path)
    assert after.torn_lines == torn
    assert [entry.what for entry in after.entries[:-1]] == [entry.what for entry in found.entries]
    assert after.entries[-1].values == {"what": "again"}


def test_wherever_a_crash_tears_a_line_it_is_torn_and_no_more(tmp_path: Path) -> None:
    path = tmp_path / "job-log.jsonl"
    whole = json.dumps(
        {"a": [1.5, -2e3, True, None], "text": 'mix = "x"\n', "what": "board"}, ensure_ascii=False
    ).encode()
    for length in range(1, len(whole)):
        for tail in (b"", b"\0\0"):
            path.write_bytes(f"{AGREED}\n".encode() + whole[:length] + tail)
            found = read_lines(path)
            assert (len(found.entries), found.torn_lines) == (1, (2,)), whole[:length]


def test_entries_know_their_line_in_the_file(tmp_path: Path) -> None:
    path = tmp_path / "job-log.jsonl"
    path.write_text(f"\n{BOARD}\n{BOARD[:20]}\n\n{AGREED}\n", encoding="utf-8")
    assert [entry.line for entry in read_lines(path).entries] == [2, 5]
    assert read_lines(path).entries[1].values["note"] == "Größe\nzwei"


def test_a_missing_log_has_nothing_in_it(tmp_path: Path) -> None:
    assert read_lines(tmp_path / "job-log.jsonl") == JobLog()
    with pytest.raises(InputError, match="there is no log here"):
        known_log(tmp_path)


def test_a_job_is_its_folder_or_its_log(tmp_path: Path) -> None:
    (tmp_path / "other.txt").write_bytes(b"")
    assert log_of(tmp_path) == tmp_path / "job-log.jsonl"
    assert log_of(tmp_path / "other.txt") == tmp_path / "other.txt"
    assert log_of(tmp_path / "moved.jsonl") == tmp_path / "moved.jsonl"


# Recorded or not at all -----------------------------------------------------------------------------------------------


def test_the_entry_is_on_disk_before_what_stands_inside(tmp_path: Path) -> None:
    log = tmp_path / "job-log.jsonl"
    with recorded(log, {"what": "board", "name": "Größe"}):
        assert json.loads(log.read_bytes()) == {"name": "Größe", "what": "board"}
    assert len(read_lines(log).entries) == 1


@pytest.mark.parametrize("error", [ValueError("half way"), KeyboardInterrupt(), OutputError("a full disk")])
@pytest.mark.parametrize("data", [None, b"", f"{BOARD}\n".encode(), f"{AGREED}\n{BOARD[:25]}".encode()])
def test_what_fails_was_never_recorded(tmp_path: Path, data: bytes | None, error: BaseException) -> None:
    log = tmp_path / "job-log.jsonl"
    if data is not None:
        log.write_bytes(data)
    with pytest.raises(type(error), match=str(error) or None):
        fail_inside(log, error)
    assert (log.read_bytes() if log.exists() else None) == data
    assert [path.name for path in tmp_path.iterdir()] == ([] if data is None else ["job-log.jsonl"])


def test_a_disk_that_fills_up_leaves_the_log_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = tmp_path / "job-log.jsonl"
    add(log, {"what": "board"})
    before = log.read_bytes()

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(joblog.os, "fsync", full)
    with pytest.raises(OutputError, match=r"No space left on device\); nothing was recorded"):
        add(log, {"what": "agreed"})
    assert log.read_bytes() == before


def test_no_folder_is_made_for_a_log(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"there is no folder .*gone.*nothing was recorded") as caught:
        add(tmp_path / "gone" / "job" / "job-log.jsonl", {"what": "board"})
    assert len(str(caught.value).splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_its_place(tmp_path: Path) -> None:
    log = tmp_path / "job-log.jsonl"
    log.mkdir()
    with pytest.raises(OutputError, match="nothing was recorded"):
        add(log, {"what": "board"})
    with pytest.raises(InputError, match="cannot be read"):
        read_lines(log)


# One at a time --------------------------------------------------------------------------------------------------------


def test_who_waits_too_long_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(joblog, "LONGEST_WAIT_S", 0.1)
    log = tmp_path / "job-log.jsonl"
    with locked(log), pytest.raises(OutputError, match="another layerpreview holds the log; nothing was recorded"):
        add(log, {"what": "board"})
    assert add(log, {"what": "board"}) == JobLog()


def test_a_log_that_another_takes_away_meanwhile_is_made_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between opening and locking it, by one whose first entry was taken back."""
    log = tmp_path / "job-log.jsonl"
    real, calls = joblog.take, []

    def late(file: FileIO, path: Path) -> bool:
        calls.append(1)
        if len(calls) == 1:
            with suppress(PermissionError):  # some systems do not allow it at all
                path.unlink()
        return real(file, path)

    monkeypatch.setattr(joblog, "take", late)
    add(log, {"what": "board"})
    assert [entry.what for entry in read_lines(log).entries] == ["board"]


WRITER = """
import sys
from pathlib import Path
from layerpreview.output.joblog import recorded
log, name, count = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
for number in range(count):
    try:
        with recorded(log, {"what": "progress", "name": name, "number": number, "long": name * 5000}):
            if number % 2 == 0:
                raise ValueError
    except ValueError:
        pass
"""


@pytest.mark.slow
def test_three_processes_that_write_and_fail_in_turn_lose_nothing(tmp_path: Path) -> None:
    """Every other entry is taken back, at first with the whole file: none of another may go with it."""
    log = tmp_path / "job-log.jsonl"
    running = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(log), name, "200"], cwd=Path(__file__).parents[2])
        for name in "abc"
    ]
    assert [process.wait(timeout=120) for process in running] == [0, 0, 0]
    found = read_lines(log)
    assert found.torn_lines == ()
    for name in "abc":
        written = [entry.values["number"] for entry in found.entries if entry.values["name"] == name]
        assert written == list(range(1, 200, 2))
    assert [path.name for path in tmp_path.iterdir()] == ["job-log.jsonl"]


# Withdrawn ------------------------------------------------------------------------------------------------------------


def test_a_line_withdraws_another_and_neither_counts(tmp_path: Path) -> None:
    log = tmp_path / "job-log.jsonl"
    log.write_text(f'{BOARD}\n{AGREED}\n{{"what": "withdrawn", "line": 1}}\n', encoding="utf-8")
    found = read_lines(log)
    assert [entry.withdrawn for entry in found.entries] == [True, False, False]
    assert [entry.stands for entry in found.entries] == [False, True, False]


@pytest.mark.parametrize("line", ["3", "4", "2", '"1"', "null", "1.0", "[1]"])
def test_what_withdraws_nothing_is_told(tmp_path: Path, line: str) -> None:
    """Itself, a line to come, a torn one, and what is no number."""
    log = tmp_path / "job-log.jsonl"
    log.write_text(f'{BOARD}\n{AGREED[:9]}\n{{"what": "withdrawn", "line": {line}}}\n{AGREED}\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"job-log\.jsonl:3: line = .*no entry before it"):
        read_lines(log)
