"""A real Chromium for tests of the board: headless, drawing WebGL 2 in software, its colours unmanaged."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ARGUMENTS = [
    "--use-gl=angle",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--force-color-profile=srgb",
    "--no-sandbox",  # pages made by the tests themselves
]
NAMES = ("chromium", "chromium-browser", "google-chrome")


def chromium_path() -> str | None:
    """The browser of this machine; CHROMIUM names another."""
    return os.environ.get("CHROMIUM") or next((found for name in NAMES if (found := shutil.which(name))), None)


@contextmanager
def browser() -> Iterator[Any]:
    """A running browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=chromium_path(), args=ARGUMENTS)
        try:
            yield running
        finally:
            running.close()


def opened(page: Any, path: Path) -> int:
    """Open a board and wait until its first picture stands; milliseconds after the start of the page."""
    page.goto(path.resolve().as_uri())
    page.wait_for_selector("#stage[data-ready], #stage[data-error]", state="attached")
    error = page.get_attribute("#stage", "data-error")
    assert error is None, error
    return int(page.get_attribute("#stage", "data-ready"))


def settled(page: Any) -> None:
    """Wait until the page has drawn everything that the last change asked for."""
    page.wait_for_selector("#stage[data-settled]", state="attached")


def set_range(page: Any, selector: str, value: float) -> None:
    """Move a slider as a hand does: one input event."""
    page.eval_on_selector(
        selector,
        "(e, v) => { e.value = String(v); e.dispatchEvent(new Event('input', { bubbles: true })); }",
        value,
    )
