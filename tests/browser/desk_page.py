"""A desk that runs, and a browser's page of it that is used as a person does: pointed at, touched, typed into."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

PATIENCE_S = 60.0
STILL = 8  # looks in a row, 30 ms apart and more
SETTLED = "!!desk.spot.told && desk.spot.told.version === desk.store.state.version"
"""The section stands where a change has put it."""
READY = (
    "window.desk && !document.body.dataset.waiting && !!desk.picture.shown && !!document.querySelector('#strips li')"
)


@dataclass
class RunningDesk:
    """A desk of one job in a process of its own."""

    process: subprocess.Popen[str]
    url: str
    scheme: Path

    def kill(self) -> None:
        self.process.kill()
        self.process.communicate()

    def text(self) -> str:
        """What the scheme's file says now."""
        return self.scheme.read_text(encoding="utf-8")


@contextmanager
def running_desk(scheme: Path, *typed: str) -> Iterator[RunningDesk]:
    """Start a desk on a scheme's folder, as a person does."""
    process = subprocess.Popen(
        [sys.executable, "-m", "layerpreview", "desk", str(scheme.parent), "--no-open", *typed],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    assert process.stdout is not None
    running = RunningDesk(process, process.stdout.readline().strip(), scheme)
    try:
        yield running
    finally:
        if process.poll() is None:
            running.kill()


class Page(Protocol):
    """What the stories need of a browser's page, whichever browser it is."""

    def evaluate(self, script: str) -> Any: ...
    def wait_for(self, script: str) -> Any: ...
    def middle_of(self, selector: str) -> tuple[int, int]: ...
    def drag(self, places: Sequence[tuple[int, int]], *, touch: bool = False) -> None: ...
    def click(self, selector: str, *, touch: bool = False) -> None: ...
    def press(self, *keys: str) -> None: ...
    def set_files(self, selector: str, *files: Path) -> None: ...


class ChromiumPage:
    """A page of Chromium."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self._raw = page.context.new_cdp_session(page)

    def evaluate(self, script: str) -> Any:
        return self.page.evaluate(f"async () => ({script})")

    def wait_for(self, script: str) -> Any:
        """Wait until an expression is true; asked from outside, since the page forbids scripts made of texts."""
        return waited(lambda: self.evaluate(f"!!({script})"), script)

    def middle_of(self, selector: str) -> tuple[int, int]:
        return middle(self, selector)

    def drag(self, places: Sequence[tuple[int, int]], *, touch: bool = False) -> None:
        if touch:
            self._drag_by_finger(places)
            return
        mouse = self.page.mouse
        mouse.move(*places[0])
        mouse.down()
        for place in places[1:]:
            mouse.move(*place, steps=3)
        mouse.up()

    def _drag_by_finger(self, places: Sequence[tuple[int, int]]) -> None:
        for k, (x, y) in enumerate(places):
            kind = "touchStart" if k == 0 else "touchMove"
            self._raw.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y}]})
            self.page.wait_for_timeout(30)
        self._raw.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def pinch(self, at: tuple[int, int], from_px: int, to_px: int) -> None:
        """Two fingers beside each other round a place, drawn from one distance to another."""
        for k, apart in enumerate((from_px, (from_px + to_px) // 2, to_px)):
            points = [{"x": at[0] + side * apart // 2, "y": at[1], "id": n} for n, side in enumerate((-1, 1))]
            kind = "touchMove" if k else "touchStart"
            self._raw.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
            self.page.wait_for_timeout(30)
        self._raw.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def hold_and_drag(self, places: Sequence[tuple[int, int]], hold_ms: int) -> None:
        """Lay a finger down, wait, then go along the places."""
        points = [{"x": places[0][0], "y": places[0][1]}]
        self._raw.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": points})
        self.page.wait_for_timeout(hold_ms)
        for x, y in places[1:]:
            self._raw.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [{"x": x, "y": y}]})
            self.page.wait_for_timeout(30)
        self._raw.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def click(self, selector: str, *, touch: bool = False) -> None:
        self.drag([self.middle_of(selector)], touch=touch)

    def click_when(self, selector: str) -> None:
        """Click what comes in a moment."""
        self.wait_for(f"document.querySelector({json.dumps(selector)})")
        self.click(selector)

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def set_files(self, selector: str, *files: Path) -> None:
        self.page.set_input_files(selector, list(files))


@contextmanager
def spotless_page(
    chromium: Any, url: str, size: tuple[int, int], *, but: str | None = None, **how: Any
) -> Iterator[ChromiumPage]:
    """A page of Chromium on which nothing may go wrong; `but`: a word of what may be said."""
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]}, **how)
    page, wrong = context.new_page(), []
    page.on("console", lambda message: wrong.append(message.text) if but is None or but not in message.text else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(url)
    try:
        yield ChromiumPage(page)
        assert wrong == []
    finally:
        context.close()


def waited(found: Callable[[], Any], what: str, *, within_s: float = PATIENCE_S) -> Any:
    """Ask until the answer is true."""
    before = time.monotonic()
    while not (value := found()):
        assert time.monotonic() - before < within_s, f"waited in vain for {what}"
        time.sleep(0.03)
    return value


def after_loading(page: Page, script: str, *, within_s: float = PATIENCE_S) -> None:
    """Wait until an expression is true on the page that is loaded next; while it comes no page answers."""

    def found() -> bool:
        with suppress(Exception):
            return bool(page.evaluate(f"!!({script})"))
        return False

    waited(found, script, within_s=within_s)


def middle(page: Page, selector: str) -> tuple[int, int]:
    """Where the middle of an element lies, once it is in view."""
    x, y = page.evaluate(
        f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
        " const at = () => e.getBoundingClientRect();"
        " if (at().top < 0 || at().bottom > innerHeight) e.scrollIntoView({ block: 'nearest' });"
        " const b = at(); return [Math.round(b.x + b.width / 2), Math.round(b.y + b.height / 2)]; })()"
    )
    return int(x), int(y)


def standing_still(page: Page, selector: str) -> None:
    """Wait until an element has stayed in its place for a while: a bench that opens moves what is beside it."""
    box = f"document.querySelector({json.dumps(selector)}).getBoundingClientRect()"
    rect = f"(({{x, y, width, height}}) => [x, y, width, height])({box})"
    seen: list[Any] = []

    def still() -> bool:
        seen.append(page.evaluate(rect))
        return seen[-STILL:] == [seen[-1]] * STILL

    waited(still, f"{selector} to stand still")


def tab_to(page: Page, selector: str, *, back: bool = False) -> None:
    """Go from one thing to the next by key until the focus is there."""
    for _ in range(120):
        if page.evaluate(f"document.activeElement.matches({json.dumps(selector)})"):
            return
        page.press("Shift+Tab" if back else "Tab")
    raise AssertionError(f"no key leads to {selector}")


def strip(coat: int, part: str) -> str:
    """The selector of a part of a coat's strip: take, says (its name, where nothing lies over it), level or pull."""
    return f'[data-key="coat {coat}"] .{part}'
