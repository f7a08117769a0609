"""Work beside this process: exists for a result that depends on where it was made, for work that is lost with the
process that was killed, and for processes that outlive the command that began them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from layerpreview import processes
from layerpreview.output import board_data
from layerpreview.processes import Shared, each_done, process_pool, worker_pool
from layerpreview.workflows import board as workflow

from .schemes import FULL, SILVER, WHITE

NOW = datetime(2026, 5, 4, 9, 30, tzinfo=UTC)
posix = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no such pipes here")
BUSY = """
import os, sys, time
from layerpreview.processes import process_pool
from layerpreview.stops import Ended, end_cleanly, stopped
end_cleanly()
try:
    with process_pool() as pool:
        pool.submit(os.open, sys.argv[1], os.O_WRONLY).result()
        pool.submit(time.sleep, 60).result()
except (KeyboardInterrupt, Ended) as stop:
    stopped(stop)
"""

STOPPED = """
import sys
from layerpreview import cli

@cli.app.command()
def busy() -> None:
    raise KeyboardInterrupt

sys.argv = ["layerpreview", "busy"]
cli.main()
"""


@pytest.fixture(autouse=True)
def _two_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(processes, "thread_count", lambda: 2)


class Deadly:
    """Whoever opens it dies."""

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[Any, ...]]:
        return os._exit, (9,)


def test_work_is_done_elsewhere_in_its_order() -> None:
    with process_pool() as pool:
        numbers = [pool.submit(os.getpid).result() for _ in range(2)]
        assert numbers[0] == numbers[1] != os.getpid()
        assert list(pool.map(pow, [2, 3], [5, 2])) == [32, 9]


def test_what_is_printed_there_is_no_answer() -> None:
    with process_pool() as pool:
        pool.submit(os.system, "echo loud").result()
        pool.submit(print, "loud").result()
        assert pool.submit(os.getpid).result() != os.getpid()


def test_on_one_core_all_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(processes, "thread_count", lambda: 1)
    with process_pool() as pool:
        assert Shared(pool, "working", [partial(os.getpid)]).results() == [os.getpid()]
        with pytest.raises(ValueError, match="invalid literal"):
            pool.submit(int, "x").result()


def test_work_that_was_not_begun_there_is_done_here() -> None:
    with process_pool() as pool:
        pool.submit(time.sleep, 0.3)
        assert Shared(pool, "working", [partial(os.getpid), partial(os.getpid)]).results() == [os.getpid()] * 2


def test_work_of_a_process_that_dies_is_done_here() -> None:
    with process_pool() as pool:
        assert pool.submit(isinstance, Deadly(), Deadly).result()
        assert pool.submit(os.getpid).result() == os.getpid()


def test_where_no_process_can_be_begun_the_work_is_done_here(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for none in (str(tmp_path / "none"), "", None):
        monkeypatch.setattr(sys, "executable", none)
        with process_pool() as pool:
            assert pool.submit(os.getpid).result() == os.getpid()


def test_what_cannot_be_sent_is_done_here_and_errors_are_its_own() -> None:
    with process_pool() as pool:
        assert pool.submit(lambda: 7).result() == 7
    for error, piece in ((ValueError, partial(int, "x")), (TimeoutError, partial(_late))):
        with process_pool() as pool, pytest.raises(error):
            Shared(pool, "working", [piece, partial(os.getpid)]).results()


class Breaks(ThreadPoolExecutor):
    """Does `good` pieces, then is broken for good, as a pool of processes is when one of them dies."""

    def __init__(self, good: int) -> None:
        super().__init__(2)
        self.good = good

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.good -= 1
        if self.good < -2:
            raise BrokenExecutor
        return super().submit(fn if self.good >= 0 else _breaks, *args)


def _breaks() -> None:
    raise BrokenExecutor


@pytest.mark.parametrize("opened", [lambda: ThreadPoolExecutor(3), lambda: worker_pool(1), lambda: Breaks(4)])
def test_every_piece_is_done_once_whatever_breaks(opened: Callable[[], Executor]) -> None:
    """Four openings of four pieces would not do: what is left after three is done here."""
    taken: list[int] = []
    pieces = ((n, partial(pow, n, 2)) for n in range(40) if taken.append(n) is None)
    found: list[int] = []
    for name, square in each_done(pieces, opened, waiting=4):
        assert square == name**2
        found.append(name)
        assert len(taken) - len(found) <= 4, "no more is begun than may be under way"
    assert sorted(found) == list(range(40))


def test_what_a_piece_raises_is_its_own() -> None:
    with pytest.raises(ValueError, match="invalid literal"):
        list(each_done([("x", partial(int, "x"))], lambda: ThreadPoolExecutor(1), waiting=2))


@posix
def test_a_worker_that_is_killed_is_begun_anew(tmp_path: Path) -> None:
    with worker_pool(2) as pool:
        first = pool.submit(os.getpid).result()
        pieces = [(n, partial(_deadly_once, tmp_path / f"{n}")) for n in range(3)]
        found = dict(each_done(pieces, lambda: _As(pool), waiting=3))
        assert sorted(found) == [0, 1, 2]
        assert os.getpid() not in (first, *found.values())


def _deadly_once(mark: Path) -> int:
    """Kills the process that does it first of all."""
    try:
        mark.parent.joinpath("dead").touch(exist_ok=False)
    except FileExistsError:
        return os.getpid()
    os.kill(os.getpid(), signal.SIGKILL)
    return 0


class _As:
    """A pool that is open already."""

    def __init__(self, pool: Executor) -> None:
        self.pool = pool

    def __enter__(self) -> Executor:
        return self.pool

    def __exit__(self, *_: object) -> None:
        pass


def _late() -> None:
    raise TimeoutError


def test_an_error_beside_it_ends_it_at_once() -> None:
    begun = time.monotonic()
    with pytest.raises(ZeroDivisionError), process_pool() as pool:
        print(pool.submit(time.sleep, 60).running() / 0)
    assert time.monotonic() - begun < 10


def test_what_is_taken_up_while_an_error_ends_it_is_not_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """The very moment: the stop has come, and the thread takes up what was submitted just before it."""
    done: list[int] = []
    monkeypatch.setattr(processes, "thread_count", lambda: 2)
    ended, end = threading.Event(), ThreadPoolExecutor.shutdown

    def shutdown(self: ThreadPoolExecutor, **how: bool) -> None:
        ended.set()
        time.sleep(0.2)
        end(self, **how)

    def stopped() -> None:
        with process_pool() as pool:
            ThreadPoolExecutor.submit(pool, ended.wait)  # type: ignore[arg-type]
            pool.submit(done.append, 1)
            raise KeyboardInterrupt

    monkeypatch.setattr(ThreadPoolExecutor, "shutdown", shutdown)
    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert done == []


@posix
@pytest.mark.parametrize("kind", ["SIGINT", "SIGTERM", "SIGKILL"])
def test_however_a_command_ends_nothing_goes_on_beside_it(tmp_path: Path, kind: str) -> None:
    """The pipe is closed when the last that holds it is gone: the system tells, not we."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    line = [sys.executable, "-c", BUSY, str(pipe)]
    around = {**os.environ, "LAYERPREVIEW_THREADS": "2"}
    with subprocess.Popen(line, stderr=subprocess.PIPE, env=around, text=True) as process:
        with pipe.open("rb") as held:  # there as soon as the other side has it, too
            process.send_signal(getattr(signal, kind))
            assert held.read() == b""
        assert process.stderr is not None
        said = process.stderr.read()
    assert process.returncode == {"SIGINT": 130, "SIGTERM": 143}.get(kind, -signal.Signals[kind])
    assert said == ("" if kind == "SIGKILL" else "stopped; nothing was written\n")


def test_a_board_is_the_same_bytes_with_and_without(
    tmp_path: Path, save_scheme: Callable[..., Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    job, made = save_scheme(FULL.replace(SILVER, WHITE)), []
    drawn: list[str] = []
    draw = workflow.stills_of

    def seen(*asked: Any, **more: Any) -> board_data.Stills:
        drawn.append("here")
        return draw(*asked, **more)

    seen.__module__, seen.__qualname__ = draw.__module__, draw.__qualname__  # found by its name on the other side
    monkeypatch.setattr(workflow, "stills_of", seen)
    monkeypatch.setattr(board_data, "stills_of", seen)
    monkeypatch.setattr("concurrent.futures.Future.cancel", lambda _: False)  # nothing is taken back to be done here
    for cores in (1, 2):
        monkeypatch.setattr(processes, "thread_count", lambda cores=cores: cores)
        out = tmp_path / str(cores)
        workflow.board_file([job], out=out, width_px=64, now=NOW)
        made.append({file.name: file.read_bytes() for file in sorted(out.iterdir())})
    assert made[0] == made[1]
    assert len(drawn) == 1


def test_ctrl_c_within_a_command_is_told_in_one_line() -> None:
    """The parser swallows it in some releases; then nothing said what stands."""
    ended = subprocess.run([sys.executable, "-c", STOPPED], capture_output=True, text=True, check=False)
    assert (ended.returncode, ended.stderr.strip()) == (130, "stopped; nothing was written")
