"""Every claim of speed from one run, each as a ratio to something that everyone can run beside it: docs/performance.md.

    OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_all            prints a page, writes out/bench/performance.json
    OPENBLAS_NUM_THREADS=1 python -m tests.bench.bench_all --write    the same, and makes docs/performance.md of it

About four minutes and 3 GB. All is processor time of what runs in turns: a machine's other work makes waits longer, but
hardly that. With mitsuba installed (`trace_whole_picture.py` says how) one picture is traced, too.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

import numpy as np

from tests.bench.bench_commands import commands
from tests.bench.bench_pixels import growth_of_the_core, growth_with_faces, one_picture, traced
from tests.bench.performance_page import HOME, KEPT, PAGE, page_of


def measured() -> dict[str, object]:
    """All rows of one run and what it ran on."""
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        # Whole processes first: a child's peak memory is counted from that of the process that starts it.
        rows = commands(folder) + one_picture() + traced() + growth_of_the_core() + growth_with_faces(folder)
    return {
        "cores": os.cpu_count(),
        "machine": f"{platform.system()}, {platform.machine()}",
        "python": platform.python_version(),
        "numpy": np.__version__,
        "minutes": round((time.perf_counter() - started) / 60, 1),
        "rows": [asdict(row) for row in rows],
    }


def main() -> None:
    parser = argparse.ArgumentParser(description="Measure every claim of speed as a ratio.")
    parser.add_argument("--write", action="store_true", help="make docs/performance.md of this run")
    options = parser.parse_args()
    if os.environ.get("OPENBLAS_NUM_THREADS") != "1":
        sys.exit("set OPENBLAS_NUM_THREADS=1: threads that wait for each other would count as work")
    load = os.getloadavg()[0]
    found = {**measured(), "load_before": load}
    place = KEPT if options.write else HOME / "out" / "bench" / "performance.json"
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    page = page_of(found)
    print(page)
    if options.write:
        PAGE.write_text(page, encoding="utf-8")


if __name__ == "__main__":
    main()
