"""Memory given back: a desk stands open all day beside the browser that needs it."""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress

_MMAP_THRESHOLD, _ARENA_MAX = -3, -8  # as glibc's malloc.h has them
LARGE_BYTES = 4 * 2**20


def give_back_early() -> None:
    """Have large arrays go back to the system as soon as they are freed, where its C library can be asked for that.

    With the usual settings of Linux the sample's desk holds a third more: every thread keeps what it freed.
    """
    if sys.platform != "linux":
        return
    with suppress(OSError, AttributeError):
        mallopt = ctypes.CDLL(None).mallopt
        mallopt(_ARENA_MAX, 2)
        mallopt(_MMAP_THRESHOLD, LARGE_BYTES)
