"""Memory given back: a desk stands open all day beside the browser that needs it."""

from __future__ import annotations

import ctypes
import sys
from contextlib import suppress

from layerpreview.threads import let_go

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


def give_back() -> None:
    """Forget what was kept on the way to a picture or figures that stand now, and give the system back what it took."""
    let_go()
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).malloc_trim(0)
