"""Hostile inputs over all commands, as many as one likes: `python -m tests.campaign --cases 1000 --seed 7`.

Each case is made from the seed and its number alone; `--case 7:123` runs that one here and leaves its folder.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import re
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

from . import corpus
from .cases import LINES, case_of
from .workers import Verdict, run_all, run_here


def main() -> int:
    asked = _asked()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # so that nothing is left behind
    with tempfile.TemporaryDirectory(prefix="campaign-") as name:
        home = (asked.home or Path(name)).resolve()
        os.environ.update(XDG_CACHE_HOME=f"{home}/cache", XDG_DATA_HOME=f"{home}/data")
        if not (home / "shop" / "whole").exists():
            shutil.rmtree(home / "shop", ignore_errors=True)
            corpus.make(home / "shop")
            (home / "shop" / "whole").touch()
        if asked.case:
            return _one(asked, home)
        start = time.monotonic()
        end = start + asked.seconds if asked.seconds else float("inf")
        found = []
        for verdict in run_all(
            asked.seed,
            _numbers(asked.first, asked.cases, end),
            shop=home / "shop",
            home=home,
            workers=asked.workers,
            only=asked.only,
            limit_s=asked.limit,
        ):
            found.append(verdict)
            if verdict.faults and asked.log:
                with asked.log.open("a", encoding="utf-8") as log:
                    log.write(json.dumps([verdict.case, verdict.words, verdict.changed, verdict.faults]) + "\n")
            if len(found) % 100 == 0:
                print(f"{len(found)} cases, {sum(bool(v.faults) for v in found)} with faults", file=sys.stderr)
        print(report(found, time.monotonic() - start))
        return int(any(verdict.faults for verdict in found))


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.campaign", description=__doc__)
    parser.add_argument("--cases", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    parser.add_argument("--seconds", type=float, default=0, help="begin no case after this")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=sorted(LINES), default="", help="one command alone")
    parser.add_argument("--case", default="", help="SEED:NUMBER, run here")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--limit", type=float, default=90.0, help="seconds after which a case hangs")
    parser.add_argument("--home", type=Path, help="folder to keep the shop in for the next run")
    parser.add_argument("--log", type=Path, help="file to add each faulty case to")
    return parser.parse_args()


def _one(asked: argparse.Namespace, home: Path) -> int:
    seed, number = map(int, asked.case.split(":"))
    case = case_of(seed, number, home / "shop", asked.only)
    kept = Path(tempfile.mkdtemp(prefix="case-"))
    for name, data in case.files.items():
        (kept / name).parent.mkdir(parents=True, exist_ok=True)
        (kept / name).write_bytes(data)
    print(f"changed: {case.changed}; files in {kept}\n{list(case.words)}")
    verdict = run_here(case, home)
    print(f"exit {verdict.code}, {verdict.seconds:.2f} s\n" + "\n".join(verdict.faults or ("no fault",)))
    return int(bool(verdict.faults))


def _numbers(first: int, cases: int, end: float) -> Iterator[int]:
    for number in itertools.islice(itertools.count(first), cases):
        if time.monotonic() > end:
            return
        yield number


def report(found: list[Verdict], seconds: float) -> str:
    """The run in words: how many, how fast, how they ended, and the faults by class with an example of each."""
    exits = Counter(str(verdict.code) for verdict in found)
    classes: dict[str, list[tuple[Verdict, str]]] = defaultdict(list)
    for verdict in found:
        for fault in verdict.faults:
            classes[_class_of(fault)].append((verdict, fault))
    rate = len(found) / max(seconds, 1e-9)
    lines = [
        f"{len(found)} cases in {seconds:.0f} s ({rate:.1f} a second); exits "
        + ", ".join(f"{code}: {n}" for code, n in sorted(exits.items())),
        f"{sum(bool(verdict.faults) for verdict in found)} with faults, of {len(classes)} classes",
    ]
    for told in sorted(classes.values(), key=lambda each: -len(each)):
        verdict, fault = told[0]
        lines.append(
            f"{len(told):5}  {fault}\n       --case {verdict.case}: {' '.join(verdict.words)[:160]}"
            f" (changed: {verdict.changed})"
        )
    slow = sorted(found, key=lambda verdict: -verdict.seconds)[:5]
    lines += [f"slowest: {v.seconds:.1f} s --case {v.case}: {' '.join(v.words)[:120]}" for v in slow]
    return "\n".join(lines)


def _class_of(fault: str) -> str:
    """What is alike in faults: their words without numbers, quotes and file names."""
    return re.sub(r"\S*[\d/'\"=]\S*", "#", fault)[:70]


if __name__ == "__main__":
    sys.exit(main())
