"""What is being done and how far it is, for whoever shows it; where nobody does, saying so costs next to nothing.

Rooms say it in passing (`doing`, `each_of`) and know nothing of terminals or pages; who shows it says how (`told_to`).
Threads that a room starts say nothing: the one that waits for them does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TypeVar

T = TypeVar("T")
Teller = Callable[[str, float | None], None]
"""Takes what is done, in a few words, and the share of it that is done (0 to 1), None where that is not known."""


@dataclass
class _Loop:
    words: str
    count: int
    done: int = 0


@dataclass
class _Told:
    """Who is told, and the loops that are being gone through, outermost first."""

    teller: Teller
    loops: list[_Loop] = field(default_factory=list)

    def say(self, words: str, share: float | None, loops: list[_Loop]) -> None:
        """Tell the share of all: of the outermost loop, as far as the inner ones are."""
        start, width = 0.0, 1.0
        for loop in loops:
            width /= max(loop.count, 1)
            start += width * loop.done
        whole = share if not loops else start + width * (share or 0.0)
        told = words if not loops or words == loops[0].words else f"{loops[0].words}: {words}"
        self.teller(told, None if whole is None else min(max(whole, 0.0), 1.0))


_told: ContextVar[_Told | None] = ContextVar("told", default=None)


def doing(words: str, share: float | None = None) -> None:
    """Say what is being done and how much of it is; `share` is 0 to 1, None where nobody knows."""
    told = _told.get()
    if told is not None:
        told.say(words, share, told.loops)


def each_of(words: str, items: Iterable[T], count: int) -> Iterator[T]:
    """Give the `items` one by one, of which there are `count`, and say how many of them are done.

    >>> with told_to(lambda words, share: print(words, share)):
    ...     for letter in each_of("drawing", "ab", 2):
    ...         doing(letter, 0.5)
    drawing 0.0
    drawing: a 0.25
    drawing 0.5
    drawing: b 0.75
    drawing 1.0
    """
    told = _told.get()
    if told is None:
        yield from items
        return
    around, loop = list(told.loops), _Loop(words, count)
    told.say(words, 0.0, around)
    told.loops.append(loop)
    try:
        for item in items:
            yield item
            loop.done += 1
            told.say(words, loop.done / max(count, 1), around)
    finally:  # also where the rest is not wanted
        told.loops[:] = around


@contextmanager
def told_to(teller: Teller) -> Iterator[None]:
    """While this lasts, `teller` is told what is being done in this thread."""
    token = _told.set(_Told(teller))
    try:
        yield
    finally:
        _told.reset(token)
