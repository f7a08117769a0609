"""What the board of both samples takes with and without a process beside it: wall and processor time, median of three.

    python tests/bench/bench_beside.py

Also says whether both gave the same bytes. Two idle cores are needed for the wall to mean anything.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parents[2]
SCHEMES = ("octave_mandolin.toml", "drum_shell.toml")


def board(samples: Path, out: Path, threads: int) -> tuple[float, float]:
    """Wall and processor time [s] of the command."""
    line = [sys.executable, "-m", "layerpreview", "board", *(str(samples / name) for name in SCHEMES), "-o", str(out)]
    around = {**os.environ, "PYTHONPATH": str(ROOT), "LAYERPREVIEW_THREADS": str(threads)}
    begun, before = time.perf_counter(), os.times()
    subprocess.run([*line, "--force"], env=around, check=True, stdout=subprocess.DEVNULL)
    after = os.times()
    used = after.children_user + after.children_system - before.children_user - before.children_system
    return time.perf_counter() - begun, used


def main() -> None:
    with TemporaryDirectory() as folder:
        samples = Path(shutil.copytree(ROOT / "samples", Path(folder, "samples")))
        outs = {threads: Path(folder, str(threads)) for threads in (1, 2)}
        took: dict[int, list[tuple[float, float]]] = {1: [], 2: []}
        for _ in range(3):  # in turns, since machines are slow at times
            for threads, out in outs.items():
                took[threads].append(board(samples, out, threads))
        for threads, times in took.items():
            wall, used = (statistics.median(column) for column in zip(*times, strict=True))
            print(f"{'beside' if threads > 1 else 'alone '}: {wall:5.1f} s, {used:5.1f} s of processors")
        html = {(out / "board.html").read_bytes() for out in outs.values()}
        print("the same bytes" if len(html) == 1 else "OTHER BYTES")


if __name__ == "__main__":
    main()
