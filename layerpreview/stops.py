"""How a command is ended at any moment: what was begun is put away, and one line tells what stands."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import NoReturn

INTERRUPTED = 130
"""Exit code after Ctrl-C, as shells have it: 128 and the signal's number; 143 where the system asked for the end."""
_ASKED_TO_END = tuple(getattr(signal, name) for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name))
_PUT_AWAY_S = 10.0
"""How long what was begun may be put away undisturbed: the second Ctrl-C of an impatient hand breaks nothing off."""
_kept: list[str] = []


class Ended(BaseException):
    """The system asks for the end (a shutdown, a closed console); all is put away as after Ctrl-C."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(number)


def kept(place: object) -> None:
    """Note where something stands for good, so that a later stop tells the truth."""
    _kept.append(str(place))


def kept_so_far() -> int:
    """How often something was kept: more than before means that a stop comes too late to take anything back."""
    return len(_kept)


def end_cleanly() -> None:
    """Have Ctrl-C, a shutdown and a closed console put away what was begun, once, however often they come."""
    first: list[float] = []

    def end(number: int, frame: FrameType | None) -> None:
        if first:
            if time.monotonic() - first[0] > _PUT_AWAY_S:  # it hangs: whoever asks again is right
                os._exit(128 + number)
            return
        first.append(time.monotonic())
        raise KeyboardInterrupt if number == signal.SIGINT else Ended(number)

    for kind in (signal.SIGINT, *_ASKED_TO_END):
        with suppress(ValueError, OSError):  # not this thread's to say
            if signal.getsignal(kind) in (signal.SIG_DFL, signal.default_int_handler):
                signal.signal(kind, end)


def stopped(error: BaseException) -> NoReturn:
    """Say in one line what stands, and end at once: nothing that is still at work may write or speak after that."""
    deaf()
    what = (
        f"what was written before stands: {', '.join(list(dict.fromkeys(_kept))[:3])}"
        if _kept
        else "nothing was written"
    )
    code = 128 + error.number if isinstance(error, Ended) else INTERRUPTED
    with suppress(OSError, ValueError):  # the console may be closed
        print(f"stopped; {what}", file=sys.stderr, flush=True)
    with suppress(OSError, ValueError):
        sys.stdout.flush()
    os._exit(code)


@contextmanager
def unbroken() -> Iterator[None]:
    """Have stops wait until what stands inside is done; it must be short."""
    if threading.current_thread() is not threading.main_thread():  # only that one is ever interrupted
        yield
        return
    came: list[int] = []
    before = {
        kind: signal.signal(kind, lambda number, _: came.append(number)) for kind in (signal.SIGINT, *_ASKED_TO_END)
    }
    try:
        yield
    finally:
        for kind, handler in before.items():
            signal.signal(kind, signal.SIG_DFL if handler is None else handler)
        for number in came:
            signal.raise_signal(number)


def deaf() -> None:
    """Hear no further stop."""
    for kind in (signal.SIGINT, *_ASKED_TO_END):
        with suppress(ValueError, OSError):
            signal.signal(kind, signal.SIG_IGN)
