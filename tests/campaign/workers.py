"""Runs cases in processes of their own: each is ended when a case hangs, and made anew when it has grown."""

from __future__ import annotations

import contextlib
import io
import multiprocessing
import os
import shutil
import sys
import tempfile
import time
import warnings
from collections.abc import Iterator
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from . import corpus, judge, kept_line
from .cases import Case, case_of

MOST_BYTES = 6 * 2**30


@dataclass(frozen=True)
class Verdict:
    """What came of one case; `code` is None where the process hung or died."""

    case: str
    command: str
    words: tuple[str, ...]
    changed: str
    code: object
    seconds: float
    faults: tuple[str, ...]


def run_here(case: Case, folder: Path) -> Verdict:
    """Run a case in this process, in a new folder below `folder`, which is gone afterwards; one in thirty twice."""
    ran = _ran_apart(case, folder)
    found = judge.faults(case, ran)
    if ran.code == 0 and int(case.id.rsplit(":", 1)[-1]) % 30 == 0 and ran.seconds < 5:
        found += judge.unlike(ran, _ran_apart(case, folder))
    return Verdict(case.id, case.command, case.words, case.changed, ran.code, ran.seconds, tuple(found))


def _ran_apart(case: Case, folder: Path) -> judge.Ran:
    around = Path(tempfile.mkdtemp(prefix="case-", dir=folder))
    work, passing = around / "work", around / "passing"
    passing.mkdir()
    tempfile.tempdir = str(passing)
    try:
        for name, data in case.files.items():
            path = work / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        work.mkdir(exist_ok=True)
        ran = _ran(case, work)
        strays = sorted(path.name for path in (*passing.iterdir(), *around.iterdir()) if path not in (work, passing))
        return replace(ran, strays=tuple(strays))
    finally:
        os.chdir(folder)
        tempfile.tempdir = None
        shutil.rmtree(around, ignore_errors=True)


def _ran(case: Case, work: Path) -> judge.Ran:
    from layerpreview import cli

    kept_line.keep()
    _measure_anew()
    before, folders = _held(work), _folders(work)
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    start = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        code = corpus.run_main(cli.main, case.words, work, out, err)
    seconds = time.perf_counter() - start
    said = [stream.buffer.getvalue().decode("utf-8", "replace") for stream in (out, err)]  # type: ignore[attr-defined]
    empty = tuple(name for name in _folders(work) - folders if not any((work / name).iterdir()))
    return judge.Ran(code, *said, seconds, _gib(), before, _held(work), empty)


def _held(work: Path) -> dict[str, bytes]:
    return {path.relative_to(work).as_posix(): path.read_bytes() for path in work.rglob("*") if path.is_file()}


def _folders(work: Path) -> set[str]:
    return {path.relative_to(work).as_posix() for path in work.rglob("*") if path.is_dir()}


_STATUS, _CLEAR = Path("/proc/self/status"), Path("/proc/self/clear_refs")


def _measure_anew() -> None:
    """Where the system can: let the most memory so far begin again with this case."""
    with contextlib.suppress(OSError):
        _CLEAR.write_text("5", encoding="ascii")


def _gib() -> float:
    """The most memory this process has had so far, where the system tells."""
    with contextlib.suppress(OSError, StopIteration, ValueError):
        line = next(
            line
            for line in _STATUS.read_text(encoding="ascii", errors="replace").splitlines()
            if line.startswith("VmHWM")
        )
        return int(line.split()[1]) / 2**20
    with contextlib.suppress(ImportError):
        import resource

        unit = 1 if sys.platform == "darwin" else 1024
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 2**30
    return 0.0


def _serve(pipe: Connection, shop: str, home: str, only: str) -> None:
    """The other side: one case after another until there are no more."""
    os.environ.update(XDG_CACHE_HOME=f"{home}/cache", XDG_DATA_HOME=f"{home}/data", OPENBLAS_NUM_THREADS="1")
    os.environ.update(HOME=home, LAYERPREVIEW_THREADS="1")
    sys.stdin = io.TextIOWrapper(io.BytesIO(), encoding="utf-8")
    with contextlib.suppress(ImportError):
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    folder = Path(tempfile.mkdtemp(prefix="worker-", dir=home))
    while True:
        asked = pipe.recv()
        verdict = run_here(case_of(*asked, Path(shop), only), folder)
        pipe.send(verdict)
        if _gib() > judge.MOST_GIB:
            return


class _Worker:
    def __init__(self, shop: Path, home: Path, only: str) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        self.process = context.Process(target=_serve, args=(other, str(shop), str(home), only), daemon=True)
        self.process.start()
        other.close()
        self.asked: tuple[int, int] | None = None
        self.since = time.monotonic()

    def ask(self, seed: int, number: int) -> None:
        self.asked, self.since = (seed, number), time.monotonic()
        self.pipe.send(self.asked)

    def end(self) -> None:
        self.process.kill()
        self.process.join()


def run_all(
    seed: int, numbers: Iterator[int], *, shop: Path, home: Path, workers: int, only: str = "", limit_s: float = 90.0
) -> Iterator[Verdict]:
    """Run the cases of these numbers, and give what came of each as it comes."""
    running = [_Worker(shop, home, only) for _ in range(workers)]
    try:
        for worker in running:
            _next(worker, seed, numbers)
        while any(worker.asked for worker in running):
            wait([worker.pipe for worker in running if worker.asked], timeout=1.0)
            for i, worker in enumerate(running):
                if not worker.asked:
                    continue
                found = _heard(worker, shop, only, limit_s)
                if found is None:
                    continue
                yield found
                worker.asked = None
                if not worker.process.is_alive() or found.code is None or any("memory" in f for f in found.faults):
                    worker.end()
                    running[i] = worker = _Worker(shop, home, only)
                _next(worker, seed, numbers)
    finally:
        for worker in running:
            worker.end()


def _next(worker: _Worker, seed: int, numbers: Iterator[int]) -> None:
    number = next(numbers, None)
    if number is not None:
        worker.ask(seed, number)


def _heard(worker: _Worker, shop: Path, only: str, limit_s: float) -> Verdict | None:
    """What a worker says of its case, or that it hangs or has died; None while it is at work."""
    assert worker.asked is not None
    took = time.monotonic() - worker.since
    if worker.pipe.poll():
        with contextlib.suppress(EOFError, OSError):
            heard: Any = worker.pipe.recv()
            return heard  # type: ignore[no-any-return]
        worker.process.join(5)
        why = f"died: process ended with {worker.process.exitcode}"
    elif took > limit_s:
        why = f"hang: over {limit_s:.0f} s"
    else:
        return None
    case = case_of(*worker.asked, shop, only)
    return Verdict(case.id, case.command, case.words, case.changed, None, took, (why,))
