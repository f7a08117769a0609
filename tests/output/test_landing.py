"""Stops, deaths, full disks and others at work: all of a result or none of it, and nothing is left behind.

Error numbers are those of POSIX.1-2017 (errno.h); exit codes of a stop those of shells (128 and the signal's number).
"""

from __future__ import annotations

import errno
import json
import os
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from layerpreview.errors import OutputError
from layerpreview.output import landing
from layerpreview.output.files import written_together
from layerpreview.output.joblog import locked, read_lines, recorded
from layerpreview.output.landing import LOCK_NAME, alone_in, aside
from layerpreview.output.locks import leave, take
from layerpreview.output.written import WRITTEN_NAME, print_of
from layerpreview.stops import Ended, end_cleanly, unbroken

NAMES = ["a.txt", "b.txt", "c.txt"]
posix = pytest.mark.skipif(sys.platform == "win32", reason="a process cannot send itself these signals there")


def write(folder: Path, text: str, names: list[str] = NAMES) -> None:
    with written_together(folder, names, force=True, inputs=()) as paths:
        for name, path in paths.items():
            path.write_text(f"{text} {name}", encoding="ascii")


def texts(folder: Path) -> dict[str, str]:
    return {p.name: p.read_text() for p in sorted(folder.iterdir()) if p.name != WRITTEN_NAME}


@pytest.fixture
def asked_to_end() -> Iterator[None]:
    """Signals as the command line hears them."""
    before = {kind: signal.getsignal(kind) for kind in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)}
    end_cleanly()
    yield
    for kind, handler in before.items():
        signal.signal(kind, handler)


def failing(monkeypatch: pytest.MonkeyPatch, name: str, error: OSError) -> None:
    """The file of that name cannot be renamed."""
    rename = landing._patiently

    def refuse(source: Path, target: Path) -> None:
        if target.name == name and source.parent.name != "layerpreview-old":
            raise error
        rename(source, target)

    monkeypatch.setattr(landing, "_patiently", refuse)


@pytest.mark.parametrize("links", [True, False])
def test_where_the_last_name_is_refused_all_is_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """As a picture that is open elsewhere on one common system; `links`: a disk with second names, and without."""
    write(tmp_path, "old", ["a.txt", "c.txt"])
    if not links:
        monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(OSError(errno.EPERM, "no links")))
    failing(monkeypatch, "c.txt", PermissionError(errno.EACCES, "open elsewhere"))
    with pytest.raises(OutputError, match="nothing was kept"):
        write(tmp_path, "new")
    assert texts(tmp_path) == {"a.txt": "old a.txt", "c.txt": "old c.txt"}


def left_by_the_dead(folder: Path, *, ready: bool) -> Path:
    """A working folder of a run that was killed after its first file had its name."""
    work = folder / ".layerpreview-work-abcd1234"
    work.mkdir()
    for name in NAMES:
        (work / name).write_text(f"new {name}", encoding="ascii")
    if ready:
        before = {name: print_of(folder / name) for name in NAMES}
        after = {name: print_of(work / name) for name in NAMES}
        told = {"before": before, "after": after, "lasting": []}
        (work / "ready.json").write_text(json.dumps(told), encoding="ascii")
        os.replace(work / "a.txt", folder / "a.txt")
    return work


@pytest.mark.parametrize("ready", [True, False])
def test_the_next_run_finishes_what_the_dead_had_ready(tmp_path: Path, ready: bool) -> None:
    write(tmp_path, "old")
    left_by_the_dead(tmp_path, ready=ready)
    write(tmp_path, "next", ["d.txt"])
    word = "new" if ready else "old"
    assert texts(tmp_path) == {**{name: f"{word} {name}" for name in NAMES}, "d.txt": "next d.txt"}


def test_what_a_person_saved_since_is_not_finished_over(tmp_path: Path) -> None:
    write(tmp_path, "old")
    left_by_the_dead(tmp_path, ready=True)
    (tmp_path / "b.txt").write_text("a person's", encoding="ascii")
    write(tmp_path, "next", ["d.txt"])
    assert texts(tmp_path)["b.txt"] == "a person's"
    assert texts(tmp_path)["c.txt"] == "new c.txt"


def test_two_do_not_write_into_one_folder(tmp_path: Path) -> None:
    with alone_in(tmp_path, "elsewhere"), pytest.raises(OutputError, match="another layerpreview is writing"):
        write(tmp_path, "new")
    assert texts(tmp_path) == {}


def test_a_lock_that_leads_elsewhere_makes_nothing_there(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    try:
        (tmp_path / "out" / LOCK_NAME).symlink_to(tmp_path / "elsewhere")
    except OSError:
        pytest.skip("no links here")
    with pytest.raises(OutputError, match="this is a link where none belongs"):
        write(tmp_path / "out", "new")
    assert not (tmp_path / "elsewhere").exists()


@posix
@pytest.mark.usefixtures("asked_to_end")
@pytest.mark.parametrize("kind", [signal.SIGINT, signal.SIGTERM])
def test_a_stop_while_the_working_folder_is_made_leaves_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: signal.Signals
) -> None:
    make = landing.tempfile.mkdtemp

    def made(**options: object) -> str:
        signal.raise_signal(kind)
        return make(**options)  # type: ignore[call-overload,no-any-return]

    monkeypatch.setattr(landing.tempfile, "mkdtemp", made)
    with pytest.raises(KeyboardInterrupt if kind == signal.SIGINT else Ended):
        write(tmp_path / "out", "new")
    assert list(tmp_path.iterdir()) == []


@posix
@pytest.mark.usefixtures("asked_to_end")
def test_a_stop_while_names_are_given_comes_when_all_have_theirs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log's line that tells of them stays, too."""
    rename = landing._patiently

    def stopped(source: Path, target: Path) -> None:
        signal.raise_signal(signal.SIGTERM)
        rename(source, target)

    monkeypatch.setattr(landing, "_patiently", stopped)
    log = tmp_path / "job-log.jsonl"
    with pytest.raises(Ended), recorded(log, {"what": "board"}):
        write(tmp_path / "out", "new")
    assert sorted(texts(tmp_path / "out")) == NAMES
    assert len(read_lines(log).entries) == 1


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Ended(15), OSError(errno.ENOSPC, "full")])
def test_a_line_goes_with_results_that_were_not_kept(tmp_path: Path, error: BaseException) -> None:
    log = tmp_path / "job-log.jsonl"
    with (
        suppress(KeyboardInterrupt, Ended, OutputError),
        recorded(log, {"what": "board"}),
        written_together(tmp_path / "out", NAMES, force=False, inputs=()),
    ):
        raise error
    assert list(tmp_path.iterdir()) == []


@posix
@pytest.mark.usefixtures("asked_to_end")
def test_the_second_ctrl_c_of_an_impatient_hand_breaks_nothing_off() -> None:
    put_away = []

    def stopped_twice() -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        finally:
            signal.raise_signal(signal.SIGINT)
            with unbroken():
                signal.raise_signal(signal.SIGTERM)
            put_away.append("all")

    with pytest.raises(KeyboardInterrupt):
        stopped_twice()
    assert put_away == ["all"]


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES, errno.ENAMETOOLONG, errno.EIO])
def test_what_the_disk_refuses_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    write(tmp_path / "out", "old")

    def refuse(handle: int) -> None:
        raise OSError(number, os.strerror(number))

    with pytest.raises(OutputError) as told, written_together(tmp_path / "out", NAMES, force=True, inputs=()):
        refuse(0)
    assert os.strerror(number) in str(told.value)
    assert "\n" not in str(told.value)
    assert texts(tmp_path / "out") == {name: f"old {name}" for name in NAMES}
    log = tmp_path / "job-log.jsonl"
    with recorded(log, {"what": "board"}):
        pass
    monkeypatch.setattr(os, "fsync", refuse)
    with pytest.raises(OutputError, match="nothing was recorded"), recorded(log, {"what": "note"}):
        pass
    assert [entry.what for entry in read_lines(log).entries] == ["board"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
def test_an_output_that_is_full_is_told_in_one_line() -> None:
    """/dev/full: Linux's full(4)."""
    with Path("/dev/full").open("wb") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "layerpreview", "--help"], stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert ran.returncode == 2
    assert ran.stderr.decode().startswith("error: what is printed does not get where it goes")
    assert ran.stderr.count(b"\n") == 1


@posix
def test_a_command_without_any_console_ends_as_any_other() -> None:
    words = f"exec {shlex.quote(sys.executable)} -m layerpreview log nowhere >&- 2>&-"
    assert subprocess.run(["sh", "-c", words], check=False).returncode == 2


def test_no_place_for_temporary_files(monkeypatch: pytest.MonkeyPatch) -> None:
    def none() -> str:
        raise FileNotFoundError(errno.ENOENT, "No usable temporary directory found in ['/tmp', '/var/tmp']")

    monkeypatch.setattr(landing.tempfile, "gettempdir", none)
    with pytest.raises(OSError, match="temporary files is full or closed"), aside():
        pass


def test_temporary_folders_of_the_dead_go_and_those_of_the_living_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(landing.tempfile, "tempdir", str(tmp_path))
    dead, new = tmp_path / "layerpreview-aside-dead", tmp_path / "layerpreview-aside-new"
    dead.mkdir()
    new.mkdir()
    (dead / LOCK_NAME).touch()
    with aside() as mine, aside() as other:
        assert mine.is_dir()
        assert other.is_dir()
        assert not dead.exists()
        assert new.is_dir()
        os.utime(new, (time.time() - 100, time.time() - 100))
        with aside():
            assert not new.exists()
            assert mine.is_dir()
    assert list(tmp_path.iterdir()) == []


def test_who_holds_a_log_too_long_is_told_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    log = tmp_path / "job-log.jsonl"
    monkeypatch.setattr("layerpreview.output.joblog.LONGEST_WAIT_S", 0.1)
    with log.open("a+b", buffering=0) as file:
        assert take(file, log)
        with pytest.raises(OutputError, match="another layerpreview holds the log"), locked(log):
            pass
        leave(file, log, remove=False)
