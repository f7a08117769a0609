"""How many threads work at once, one setting for every room, which changes the time and never a bit of a result;
results that several of them ask for, and those that are kept while a piece of work lasts.
"""

from __future__ import annotations

import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future, ThreadPoolExecutor
from functools import lru_cache
from typing import Generic, TypeVar

from layerpreview.errors import InputError, Problem

T = TypeVar("T")
Work = TypeVar("Work", bound=Callable[..., object])

SETTING = "LAYERPREVIEW_THREADS"
"""Environment variable that says how many; without it there are as many threads as cores this process may use."""
MOST_THREADS = 256


def thread_count() -> int:
    """Return how many threads work at once. Raises InputError where the setting is no whole number from 1 to 256."""
    said = os.environ.get(SETTING, "").strip()
    if not said:
        return min(_cores(), MOST_THREADS)
    if not (said.isascii() and said.isdecimal() and len(said) < 9 and 1 <= int(said) <= MOST_THREADS):
        rule = f"must be a whole number from 1 to {MOST_THREADS}"
        raise InputError(Problem(rule, "leave it out for one thread a core", field=SETTING, value=said))
    return int(said)


def thread_pool(threads: int | None = None) -> ThreadPoolExecutor:
    """Return a pool of `threads`, of as many as the setting says where that is not given."""
    return ThreadPoolExecutor(thread_count() if threads is None else threads)


def _cores() -> int:
    """Cores this process may use: a container or a scheduler often gives fewer than the machine has."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0)) or 1
    return os.cpu_count() or 1


_passing: list[Callable[[], None]] = []


def passing(most: int) -> Callable[[Work], Work]:
    """As `functools.lru_cache`, for large results on the way to others: `let_go` forgets them."""

    def kept(function: Work) -> Work:
        found = lru_cache(maxsize=most)(function)
        _passing.append(found.cache_clear)
        return found  # type: ignore[return-value]

    return kept


def let_go() -> None:
    """Forget what was only kept on the way to other results; what is asked for again is made again, the same."""
    for clear in _passing:
        clear()


class Made(Generic[T]):
    """The last `most` results by what they depend on; two threads that ask for the same wait for one to make it."""

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, threading.Lock()
        self._found: OrderedDict[Hashable, Future[T]] = OrderedDict()

    def forget(self, key: Hashable) -> None:
        """Make it anew the next time."""
        with self._lock:
            self._found.pop(key, None)

    def keep(self, most: int) -> None:
        """Forget all but the `most` that were asked for last."""
        with self._lock:
            while len(self._found) > most:
                self._found.popitem(last=False)

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """What was made for `key`, or what `make` makes now; what it raises all who wait get, and it is not kept."""
        with self._lock:
            future = self._found.get(key)
            mine = future is None
            if future is None:
                future = self._found[key] = Future()
                while len(self._found) > self._most:
                    self._found.popitem(last=False)
            self._found.move_to_end(key)
        if mine:
            try:
                future.set_result(make())
            except BaseException as error:
                with self._lock:
                    self._found.pop(key, None)
                future.set_exception(error)
        return future.result()
