"""Work in processes beside this one, through an executor as the standard library has them.

It changes the time and never a result: what cannot be done there (no process to be had, one that was killed, anything
that is raised) is done here, and so is all of it on one core. The processes end with this one, however that ends, and
no stop that is typed reaches them; they hold nothing but memory.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ThreadPoolExecutor,
    wait,
)
from contextlib import AbstractContextManager, suppress
from functools import partial
from itertools import chain, islice
from pathlib import Path
from queue import SimpleQueue
from types import TracebackType
from typing import Generic, ParamSpec, TypeVar

from layerpreview.doing import each_of
from layerpreview.threads import SETTING, thread_count

P = ParamSpec("P")
T = TypeVar("T")
K = TypeVar("K")
Opened = Callable[[], AbstractContextManager[Executor]]
"""Opens an executor: any of `concurrent.futures`, or one of a cluster that has its form."""
_OF_ITS_OWN = getattr(subprocess, "CREATE_NO_WINDOW", 0) | getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)
_LISTEN_S = 0.2
"""How often a wait looks up: one common system hears no Ctrl-C in the midst of one."""
_OPENINGS, _LIVES = 3, 3


def process_pool(most: int = 1) -> Executor:
    """Return an executor of up to `most` processes beside this one, of fewer where there are fewer threads to be had.

    What is submitted must be found by its name in this package; what it takes and gives must pickle. To be used in a
    `with`: an error or a stop that leaves it ends what is done there. Raises InputError as `thread_count` does.
    """
    count = min(most, thread_count() - 1)
    return _Beside(count) if count > 0 else _Here()


def worker_pool(count: int) -> Executor:
    """Return an executor of `count` processes that do all the work, while this one only collects it; one works here.

    As `process_pool`, but that a process which died is begun anew, and that each takes its share of the threads.
    """
    return _Beside(count, lives=_LIVES, threads=max(1, thread_count() // count)) if count > 1 else _Here()


def each_done(pieces: Iterable[tuple[K, partial[T]]], opened: Opened, *, waiting: int) -> Iterator[tuple[K, T]]:
    """Do the pieces in an executor that is `opened` for them; give the name and result of each as it is done, once.

    At most `waiting` of them are under way, and no more is taken of `pieces` before. Those that an executor broke over
    go to a fresh one, all that is left is done here where three broke; a piece that fails elsewhere is done here, so
    that what it raises then is its own. No result depends on where or when it was made.

    >>> pieces = [("a", partial(max, 1, 2)), ("b", partial(max, 3, 4))]
    >>> sorted(each_done(pieces, lambda: ThreadPoolExecutor(2), waiting=2))
    [('a', 2), ('b', 4)]
    """
    left = iter(pieces)
    for openings in range(_OPENINGS + 1):
        under_way: dict[Future[T], tuple[K, partial[T]]] = {}
        with suppress(BrokenExecutor), opened() if openings < _OPENINGS else _Here() as pool:
            while True:
                for name, piece in islice(left, waiting - len(under_way)):
                    try:
                        under_way[pool.submit(piece)] = name, piece
                    except BrokenExecutor:
                        left = chain([(name, piece)], left)
                        raise
                if not under_way:
                    return
                for future in wait(under_way, _LISTEN_S, return_when=FIRST_COMPLETED).done:
                    failed = CancelledError() if future.cancelled() else future.exception()
                    if isinstance(failed, BrokenExecutor):
                        raise failed
                    name, piece = under_way.pop(future)
                    yield name, piece() if failed is not None else future.result()
        left = chain(under_way.values(), left)


class Shared(Generic[T]):
    """Pieces of work that were given to a pool; those it has not begun when their results are asked for are done here.

    `words` say what is done.

    >>> with process_pool(0) as pool:
    ...     print(Shared(pool, "choosing", [partial(max, 1, 2), partial(max, 3, 4)]).results())
    [2, 4]
    """

    def __init__(self, pool: Executor, words: str, pieces: Sequence[partial[T]]) -> None:
        self._words = words
        self._begun = [(pool.submit(piece), piece) for piece in each_of(words, pieces, len(pieces))]

    def results(self) -> list[T]:
        """The results in their order. Raises what a piece raises, of several the last."""
        back = each_of(self._words, reversed(self._begun), len(self._begun))  # the pool goes forward
        return [piece() if future.cancel() else _awaited(future) for future, piece in back][::-1]


def _awaited(future: Future[T]) -> T:
    while True:
        with suppress(TimeoutError):
            return future.result(_LISTEN_S)
        if future.done():  # it was the work's own
            return future.result()


class _Here(Executor):
    """Does at once what is submitted."""

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        future: Future[T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


class _Beside(ThreadPoolExecutor):
    """A thread for each process, which waits for what is done there."""

    def __init__(self, count: int, *, lives: int = 1, threads: int | None = None) -> None:
        super().__init__(count)
        self._lives, self._around = lives, surroundings() | ({} if threads is None else {SETTING: str(threads)})
        self._mine, self._lock = threading.local(), threading.Lock()
        self._processes: list[subprocess.Popen[bytes]] = []
        self._usable, self._stopped = True, False

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        return super().submit(self._done, partial(fn, *args, **kwargs))

    def _done(self, piece: partial[T]) -> T:
        for life in range(1, self._lives + 1):
            if not self._usable:
                break
            try:
                process = self._process()
                assert process.stdin is not None
                assert process.stdout is not None
                process.stdin.write(pickle.dumps(pickle.dumps(piece)))
                process.stdin.flush()
                is_done, found = pickle.load(process.stdout)
                if is_done:
                    return found  # type: ignore[no-any-return]
                break
            except Exception:  # whatever is in the way there is not in the way here
                self._usable = life < self._lives
                self._mine.__dict__.pop("process", None)
        if self._stopped:
            raise CancelledError
        return piece()

    def _process(self) -> subprocess.Popen[bytes]:
        """This thread's own, begun when it is first needed."""
        if not hasattr(self._mine, "process"):
            with self._lock:  # none is begun once those there are have been ended
                if self._stopped:
                    raise CancelledError
                self._mine.process = subprocess.Popen(
                    [sys.executable, "-P", *(f"-W{one}" for one in sys.warnoptions), "-m", "layerpreview.processes"],
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    env=self._around,
                    creationflags=_OF_ITS_OWN,
                    start_new_session=True,
                )
                self._processes.append(self._mine.process)
        return self._mine.process  # type: ignore[no-any-return]

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        super().shutdown(wait=wait, cancel_futures=cancel_futures)
        if wait:
            self._end()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.shutdown()
            return
        self._stopped, self._usable = True, False  # in this order: what is not done there is not done here then
        super().shutdown(wait=False, cancel_futures=True)
        self._end()

    def _end(self) -> None:
        with self._lock:
            self._stopped = True
        for process in self._processes:
            process.kill()
            process.wait()
            for pipe in (process.stdin, process.stdout):
                assert pipe is not None
                with suppress(OSError):
                    pipe.close()


def surroundings() -> dict[str, str]:
    """What a process beside this one finds around it: the very package that runs here, found first."""
    here = str(Path(__file__).parents[1])
    found = os.pathsep.join(filter(None, (here, os.environ.get("PYTHONPATH"))))
    return {**os.environ, "OPENBLAS_NUM_THREADS": "1", "PYTHONIOENCODING": "utf-8", "PYTHONPATH": found}


def _serve() -> None:
    """The other side: one piece of work after another, until whoever sends them is gone."""
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # whatever is printed is no answer
    pieces: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_listen, args=(pieces,), daemon=True).start()
    while True:
        try:
            told = pickle.dumps((True, pickle.loads(pieces.get())()))
        except Exception:
            told = pickle.dumps((False, None))
        answers.write(told)
        answers.flush()


def _listen(pieces: SimpleQueue[bytes]) -> None:
    """Hear what is sent while work is done, so that its end is heard, too."""
    with suppress(Exception):
        while True:
            pieces.put(pickle.load(sys.stdin.buffer))
    os._exit(0)


if __name__ == "__main__":
    _serve()
