"""How many threads work at once: one setting for every room, which changes the time and never a bit of a result."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

from layerpreview.errors import InputError, Problem

SETTING = "LAYERPREVIEW_THREADS"
"""Environment variable that says how many; without it there are as many threads as cores this process may use."""
MOST_THREADS = 256


def thread_count() -> int:
    """Return how many threads work at once. Raises InputError where the setting is no whole number from 1 to 256."""
    said = os.environ.get(SETTING, "").strip()
    if not said:
        return min(_cores(), MOST_THREADS)
    if not (said.isdecimal() and 1 <= int(said) <= MOST_THREADS):
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
