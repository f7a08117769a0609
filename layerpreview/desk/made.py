"""Results that take time, made once for whoever asks and kept while they are of use."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from concurrent.futures import Future
from typing import Generic, TypeVar

T = TypeVar("T")


class Made(Generic[T]):
    """The last `most` results by what they depend on; two threads that ask for the same wait for one to make it."""

    def __init__(self, most: int) -> None:
        self._most, self._lock = most, threading.Lock()
        self._found: OrderedDict[Hashable, Future[T]] = OrderedDict()

    def forget(self, key: Hashable) -> None:
        """Make it anew the next time."""
        with self._lock:
            self._found.pop(key, None)

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
