"""A desk for tests: in this process behind its guard, or as a process of its own that can be killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest

from layerpreview.desk import beside
from layerpreview.desk.desk import OPENING, Desk
from layerpreview.desk.jobs import OpenJob

from ..schemes import FULL

SLOW_S = 60.0


@pytest.fixture(autouse=True)
def nothing_ahead(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A desk in this process makes nothing before it is asked: that would go on beside the tests that come after."""
    monkeypatch.setattr("layerpreview.desk.ahead.make_ahead", lambda job: None)
    yield
    for thread in threading.enumerate():
        if thread.name == OPENING:
            thread.join(SLOW_S)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A job's folder with a scheme in it."""
    job = tmp_path / "lute"
    job.mkdir()
    (job / "scheme.toml").write_bytes(FULL.encode("utf-8"))
    return job


@pytest.fixture
def job(folder: Path) -> OpenJob:
    """The job in that folder, open."""
    return OpenJob(folder / "scheme.toml")


@pytest.fixture
def desk(folder: Path) -> Iterator[Desk]:
    """A desk with that job open, in this process and without a server."""
    found = Desk(folder / "scheme.toml")
    found.prepare()
    yield found
    found.close()


def settled(desk: Desk, task: dict[str, Any], *, within_s: float = SLOW_S) -> dict[str, Any]:
    """A task once it has ended, as the page is told of it."""
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        status, told = beside.GET["task"](desk, {"id": task["id"]})
        assert status == 200
        if told["state"] not in ("waiting", "running"):
            return dict(told)
        time.sleep(0.01)
    raise AssertionError(f"{task['kind']} took too long")


@dataclass
class Running:
    """A desk in a process of its own: its address, its token, and a browser that has opened it."""

    process: subprocess.Popen[str]
    url: str
    started_s: float

    @property
    def base(self) -> str:
        return self.url.partition("/?")[0]

    @property
    def port(self) -> int:
        return int(self.base.rpartition(":")[2])

    @property
    def token(self) -> str:
        return self.url.partition("token=")[2]

    @contextmanager
    def browser(self) -> Iterator[httpx.Client]:
        """A client that has opened the page and has its cookie."""
        with httpx.Client(base_url=self.base, headers={"origin": self.base}, timeout=SLOW_S) as client:
            assert client.get("/", params={"token": self.token}).status_code == 303
            yield client

    def memory_kib(self) -> int:
        """Memory that the process holds now."""
        lines = Path(f"/proc/{self.process.pid}/status").read_text(encoding="utf-8").splitlines()
        return int(next(line for line in lines if line.startswith("VmRSS")).split()[1])

    def end(self) -> tuple[int, str]:
        """Ctrl-C; gives the exit code and what was said."""
        self.process.send_signal(signal.SIGINT)
        _, err = self.process.communicate(timeout=SLOW_S)
        return self.process.returncode, err


Start = Callable[..., Running]


@pytest.fixture
def start() -> Iterator[Start]:
    """Start a desk as a person does, with what is typed after the command."""
    running: list[Running] = []

    def begin(*typed: object) -> Running:
        begun = time.perf_counter()
        process = subprocess.Popen(
            [sys.executable, "-m", "layerpreview", "desk", *map(str, typed), "--no-open"],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
        assert process.stdout is not None
        url = process.stdout.readline().strip()
        running.append(Running(process, url, time.perf_counter() - begun))
        return running[-1]

    yield begin
    for one in running:
        if one.process.poll() is None:
            one.process.kill()
        one.process.communicate()


def edit(client: httpx.Client, base: str, *changes: dict[str, Any], **more: Any) -> httpx.Response:
    """Ask for changes as the page does."""
    return client.post("/api/edit", json={"base": base, "words": "a test", "changes": list(changes), **more})


def coats(n: int, index: int = 0, **more: Any) -> dict[str, Any]:
    """The change of one coat's number."""
    return {"do": "set", "at": ["coat", index, "coats"], "to": n, **more}
