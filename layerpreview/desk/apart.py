"""Work in a process of its own: it can be ended at any moment, its memory goes back, and the page stays quick.

The other side is `made_apart`. A stop closes what it listens to; it then has `GRACE_S` to put its own files away.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import threading
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from layerpreview.desk.tasks import Stopped, Task
from layerpreview.errors import InputError, Problem
from layerpreview.output.landing import LOCK_NAME, sweep_file
from layerpreview.processes import surroundings

GRACE_S = 0.2
_WORKING = ".layerpreview-*"
_NO_WINDOW = getattr(subprocess, "CREATE_NO_WINDOW", 0)


def run_apart(task: Task, what: str, out: Path, asked: Mapping[str, Any]) -> dict[str, Any]:
    """The answer of `made_apart` to `what` with all that is `asked`; its files land in the folder `out`.

    Raises Stopped, and InputError with the lines that the other side tells.
    """
    before = _working(out)
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", "layerpreview.desk.made_apart"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env=surroundings(),
        creationflags=_NO_WINDOW,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    try:
        with suppress(OSError):  # it ended already: what it said tells why
            process.stdin.write(json.dumps({"what": what, "out": str(out), **asked}).encode() + b"\n")
            process.stdin.flush()
        task.when_stopped(lambda: _end(process))
        said = process.stdout.read()
    finally:
        _end(process)
        process.wait()
        process.stdout.close()
        for left in _working(out) - before:
            if left.is_dir():
                shutil.rmtree(left, ignore_errors=True)
            elif left.name == LOCK_NAME:
                sweep_file(left)
    if task.state == "stopped":
        raise Stopped
    try:
        told = json.loads(said)
    except ValueError:
        raise InputError(Problem("this did not work, and it is a fault of the program")) from None
    if "problems" in told:
        raise InputError([Problem(line) for line in told["problems"]])
    return dict(told["made"])


def _end(process: subprocess.Popen[bytes]) -> None:
    """Have it end, whatever it is doing, without waiting for that."""
    assert process.stdin is not None
    with suppress(OSError):
        process.stdin.close()
    killing = threading.Timer(GRACE_S, process.kill)
    killing.daemon = True
    killing.start()


def _working(out: Path) -> set[Path]:
    return set(out.glob(_WORKING))
