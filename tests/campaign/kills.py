"""Commands killed at random moments: `python -m tests.campaign.kills --kills 1000 --seed 5`.

Afterwards every file is whole, old or absent, what was read is as it was, logs can be read; and once the next command
has written into the same folder nothing hidden is left there.
"""

from __future__ import annotations

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from random import Random

from layerpreview.errors import LayerPreviewError
from layerpreview.output.files import write_text, written_together
from layerpreview.output.joblog import read_lines

from . import corpus, judge_files
from .judge import MAY_CHANGE

COMMANDS = {
    "render": "render full.toml -o out --width 300 --force",
    "board": "board full.toml -o out --width 64 --force",
    "sheet": "sheet full.toml -o out --force",
    "fit": "fit readings.csv --name house -o out --force",
    "agree": "agree {code} --job job --force",
    "diary": "diary job --note windy",
    "record": "record job -o out --width 64 --force",
    "touch-up": "touch-up full.toml --damage 20,10|30,12|24,20|mm -o out --width 64 --force",
    "desk": "desk job/scheme.toml --no-open",
}
SIGNALS = tuple(getattr(signal, name) for name in ("SIGKILL", "SIGTERM", "SIGINT", "SIGHUP") if hasattr(signal, name))
CODES = {signal.SIGTERM: 143, signal.SIGINT: 130}
DESK_S = 4.0


@dataclass(frozen=True)
class Killed:
    """A command, the signal, when it came, how the process ended and what was wrong."""

    command: str
    signal: str
    after_s: float
    code: int
    faults: tuple[str, ...]


def heard() -> None:
    """Have the commands hear every signal: what a shell began in the background is deaf to Ctrl-C, and so are those
    that it begins.
    """
    for kind in SIGNALS:
        if signal.getsignal(kind) == signal.SIG_IGN:
            signal.signal(kind, signal.default_int_handler if kind == signal.SIGINT else signal.SIG_DFL)


def begun(words: list[str], work: Path, home: Path) -> subprocess.Popen[bytes]:
    env = {
        **os.environ,
        "XDG_CACHE_HOME": f"{home}/cache",
        "XDG_DATA_HOME": f"{home}/data",
        "TMPDIR": str(work / "tmp"),
    }
    env["PYTHONPATH"] = os.pathsep.join([str(Path(__file__).parents[2]), env.get("PYTHONPATH", "")])
    return subprocess.Popen(
        [sys.executable, "-m", "layerpreview", *words],
        cwd=work / "shop",
        env=env,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
        start_new_session=True,
    )


def words_of(command: str, shop: Path) -> list[str]:
    line = COMMANDS[command].replace("{code}", (shop / "code.txt").read_text(encoding="utf-8").strip())
    return [word.replace("|", " ") for word in line.split(" ")]


def kill_one(
    seed: int,
    number: int,
    *,
    shop: Path,
    home: Path,
    lasts: dict[str, float],
    which: tuple[str, signal.Signals] | None = None,
) -> Killed:
    """Begin a command on what an earlier run has left, kill it at a moment drawn at random, and judge.

    `which`: the command and the signal; drawn at random, too, where none is said.
    """
    rng = Random(f"{seed}/{number}")
    command, kind = which or (rng.choice(list(COMMANDS)), rng.choice(SIGNALS))
    whole = lasts[command]
    after_s = rng.choice((rng.uniform(0.02, 1.1 * whole), rng.uniform(0.75 * whole, 1.1 * whole)))
    work = Path(tempfile.mkdtemp(prefix="kill-", dir=home))
    try:
        shutil.copytree(shop, work / "shop")
        (work / "tmp").mkdir()
        before = _held(work / "shop")
        process = begun(words_of(command, shop), work, home)
        try:
            process.wait(after_s)
        except subprocess.TimeoutExpired:
            process.send_signal(kind)
        said = process.communicate(timeout=60)[1].decode("utf-8", "replace")
        faults = tuple(_judged(command, kind, process.returncode, said, before, work))
        return Killed(command, kind.name, after_s, process.returncode, faults)
    finally:
        shutil.rmtree(work, ignore_errors=True)


def _judged(
    command: str, kind: signal.Signals, code: int, said: str, before: dict[str, bytes], work: Path
) -> Iterator[str]:
    shop = work / "shop"
    if "Traceback" in said or "not foreseen" in said:
        yield f"words after {kind.name}: {said.strip()[-200:]}"
    if code not in (0, CODES.get(kind, -kind), -kind, 128 + kind):
        yield f"exit {code} after {kind.name}: {said.strip()[-200:]}"
    if code == -kind and kind in CODES and said.strip() and "Next:" not in said:
        yield f"ended by {kind.name} itself: {said[-200:]}"
    for name, data in _held(shop).items():
        if name.endswith(".jsonl"):
            continue
        if name in before and before[name] != data and not name.startswith("out/"):
            if name.rsplit("/", 1)[-1] in MAY_CHANGE or name == "job/scheme.agreed.toml":
                continue
            yield f"input changed: {name}"
        elif "/.layerpreview" not in f"/{name}":
            yield from judge_files.faults(name, data)
    yield from _next_run(shop)
    if code != -signal.SIGKILL and (left := list((work / "tmp").glob("layerpreview-*"))):
        yield f"left in the system's folder: {left[0].name}"


def _next_run(shop: Path) -> Iterator[str]:
    """What the next command finds, and leaves."""
    log = shop / "job" / "job-log.jsonl"
    try:
        read_lines(log)
        for folder in (shop / "out", shop / "job"):
            if folder.is_dir():
                with written_together(folder, ["next.txt"], force=True, inputs=()) as paths:
                    write_text(paths["next.txt"], "next")
    except LayerPreviewError as error:
        yield f"the next command: {error}"
    hidden = [p for p in shop.rglob(".layerpreview-*") if p.name != ".layerpreview-written.json"]
    if hidden:
        yield f"left behind: {hidden[0].relative_to(shop)}"
    if (shop / "out").is_dir() and not any((shop / "out").iterdir()):
        yield "an empty folder"


def _held(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def lasts_of(shop: Path, home: Path) -> dict[str, float]:
    """Seconds that each command takes here, undisturbed; its results are what later runs find."""
    found = {}
    for command in COMMANDS:
        work = Path(tempfile.mkdtemp(prefix="time-", dir=home))
        shutil.copytree(shop, work / "shop")
        (work / "tmp").mkdir()
        start = time.monotonic()
        process = begun(words_of(command, shop), work, home)
        try:
            process.communicate(timeout=DESK_S if command == "desk" else 120)
        except subprocess.TimeoutExpired:
            process.terminate()
            process.communicate(timeout=20)
        found[command] = time.monotonic() - start
        shutil.rmtree(work, ignore_errors=True)
    return found


def run_kills(kills: int, seed: int, *, home: Path, at_once: int) -> list[Killed]:
    heard()
    corpus.make(home / "shop")
    lasts = lasts_of(home / "shop", home)
    with ThreadPoolExecutor(at_once) as pool:
        asked = [
            pool.submit(kill_one, seed, number, shop=home / "shop", home=home, lasts=lasts) for number in range(kills)
        ]
        return [one.result() for one in asked]


def report(found: list[Killed]) -> str:
    lines = [f"{len(found)} kills, {sum(bool(one.faults) for one in found)} with faults"]
    for (command, kind), n in sorted(Counter((one.command, one.signal) for one in found).items()):
        codes = Counter(one.code for one in found if (one.command, one.signal) == (command, kind))
        lines.append(f"  {command:9} {kind:8} {n:4}  exits {dict(sorted(codes.items()))}")
    for fault, n in Counter(fault for one in found for fault in one.faults).most_common(30):
        lines.append(f"{n:5}  {fault}")
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.campaign.kills", description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--at-once", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="kills-") as name:
        os.environ.update(XDG_CACHE_HOME=f"{name}/cache", XDG_DATA_HOME=f"{name}/data")
        found = run_kills(asked.kills, asked.seed, home=Path(name), at_once=asked.at_once)
    print(report(found))
    return int(any(one.faults for one in found))


if __name__ == "__main__":
    sys.exit(main())
