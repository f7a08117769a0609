"""A browser for the tests that need one, and boards of the samples to look at."""

from __future__ import annotations

import os
import shutil
import subprocess
import tarfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from .chromium import browser, chromium_path
from .desk_page import READY, ChromiumPage, RunningDesk, running_desk
from .live_page import LiveServer, live_server

SAMPLES = Path(__file__).parents[2] / "samples"
SIZES = {"phone": (390, 844), "small": (320, 640), "laptop": (1366, 768), "tablet": (1180, 820), "wall": (3840, 2160)}
SAMPLE = SAMPLES / "octave_mandolin.toml"
AXE = "axe-core@4.10.3"
COARSE = 0.5
"""Pixels of the screen for one of the page: drawing in software costs by the pixel. Places, sizes and words stay;
a module whose tests do not look at what is drawn says `SCALE = COARSE`."""


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "browser: needs Chromium and the package playwright")


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A running browser; without one the tests are skipped and say what is missing.

    It is closed before tests of other files: while it is driven, its event loop is this thread's, and no other runs.
    """
    pytest.importorskip(
        "playwright.sync_api", reason="the package playwright is not installed (pip install playwright)"
    )
    if chromium_path() is None:
        pytest.skip("no Chromium on this machine (apt-get install chromium, or name one in CHROMIUM)")
    with browser() as running:
        yield running


@pytest.fixture(scope="session")
def axe(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The text of axe-core, fetched for this run with npm; AXE_CORE names a copy that is here already."""
    if named := os.environ.get("AXE_CORE"):
        return Path(named).read_text(encoding="utf-8")
    if shutil.which("npm") is None:
        pytest.skip("npm is not installed, so axe-core cannot be fetched (or name a copy in AXE_CORE)")
    folder = tmp_path_factory.mktemp("axe")
    subprocess.run(["npm", "pack", AXE], cwd=folder, check=True, capture_output=True, timeout=120)
    with tarfile.open(next(folder.glob("*.tgz"))) as packed:
        file = packed.extractfile("package/axe.min.js")
        assert file is not None
        return file.read().decode("utf-8")


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    """A desk of the sample, copied."""
    scheme = tmp_path_factory.mktemp("jobs") / "my-mandolin" / "scheme.toml"
    scheme.parent.mkdir()
    shutil.copy(SAMPLE, scheme)
    with running_desk(scheme) as running:
        yield running


class Opened:
    """Opens pages of a desk, and sees afterwards that nothing went wrong on any."""

    def __init__(self, chromium: Any, desk: RunningDesk, scale: float = 1.0) -> None:
        self._chromium, self._desk, self._scale = chromium, desk, scale
        self.wrong: list[str] = []
        self.contexts: list[Any] = []

    def __call__(self, size: str = "laptop", *, ready: str = READY, before: str = "", **how: Any) -> ChromiumPage:
        width, height = SIZES[size]
        viewport = {"width": width, "height": height}
        context = self._chromium.new_context(viewport=viewport, device_scale_factor=self._scale, **how)
        self.contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: self.wrong.append(message.text))
        page.on("pageerror", lambda error: self.wrong.append(str(error)))
        if before:
            page.add_init_script(before)
        page.goto(self._desk.url)
        opened = ChromiumPage(page)
        opened.wait_for(ready)
        return opened


@pytest.fixture
def open_desk(chromium: Any, desk: RunningDesk, request: pytest.FixtureRequest) -> Iterator[Opened]:
    """Open the desk, its job being the sample again."""
    shutil.copy(SAMPLE, desk.scheme)
    opened = Opened(chromium, desk, getattr(request.module, "SCALE", 1.0))
    yield opened
    for context in opened.contexts:
        context.close()
    assert opened.wrong == []


@pytest.fixture(scope="module")
def server() -> Iterator[LiveServer]:
    """What gives the live picture's own page and textures to a browser."""
    with live_server() as running:
        yield running


@pytest.fixture
def page(chromium: Any, server: LiveServer) -> Iterator[Any]:
    """An empty page for the live picture; what goes wrong on it fails the test."""
    page = chromium.new_page(viewport={"width": 900, "height": 900})
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(server.address)
    yield page
    page.close()
    assert wrong == []
