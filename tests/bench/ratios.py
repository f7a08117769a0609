"""One row of what a bench measures, and a clock for things that are compared."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

CLOCK = time.process_time if time.get_clock_info("process_time").resolution < 1e-4 else time.perf_counter
"""Of the work alone, where a system counts that finely."""


@dataclass(frozen=True)
class Row:
    """`ratio`: how many times the peer. `seconds`: of ours, for the order of magnitude. `group`: its table."""

    group: str
    what: str
    peer: str
    ratio: float
    seconds: float | None = None
    note: str = ""


def in_turns(
    works: Mapping[str, Callable[[], object]], runs: int, clock: Callable[[], float] = CLOCK
) -> dict[str, float]:
    """Seconds of the fastest of `runs` runs of each, one after the other, so that a slow spell hits all of them."""
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(runs):
        for name, work in works.items():
            start = clock()
            work()
            times[name].append(clock() - start)
    return {name: min(taken) for name, taken in times.items()}
