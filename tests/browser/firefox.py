"""A real Firefox for tests of the desk, driven over WebDriver BiDi (W3C) by a socket of its own: no driver program.

Only what the tests use: open a page, run a script in it, point, touch, type, wait, look.
"""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from .desk_page import PATIENCE_S, middle, waited

NAMES = ("firefox-esr", "firefox")
SETTINGS = {
    "webgl.force-enabled": True,
    "gfx.color_management.mode": 0,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "app.update.auto": False,
}
KEYS = {
    "Tab": "\ue004",
    "Enter": "\ue007",
    "Shift": "\ue008",
    "Control": "\ue009",
    "Alt": "\ue00a",
    "Escape": "\ue00c",
    "PageUp": "\ue00e",
    "PageDown": "\ue00f",
    "End": "\ue010",
    "Home": "\ue011",
    "ArrowLeft": "\ue012",
    "ArrowUp": "\ue013",
    "ArrowRight": "\ue014",
    "ArrowDown": "\ue015",
}
"""Of WebDriver's table of keys that are no letters."""


def firefox_path() -> str | None:
    """The browser of this machine; FIREFOX names another."""
    return os.environ.get("FIREFOX") or next((found for name in NAMES if (found := shutil.which(name))), None)


class Page:
    """One tab of a running Firefox."""

    def __init__(self, socket: Any) -> None:
        self._socket, self._count = socket, 0
        self._ask("session.new", capabilities={})
        # A tab opened now has the focus of its window; in the one there is from the start Enter presses no button.
        self._tab = self._ask("browsingContext.create", type="tab")["context"]
        self._ask("browsingContext.activate", context=self._tab)

    def _ask(self, method: str, **given: Any) -> dict[str, Any]:
        self._count += 1
        self._socket.send(json.dumps({"id": self._count, "method": method, "params": given}))
        while True:
            answer = json.loads(self._socket.recv(timeout=PATIENCE_S))
            if answer.get("id") == self._count:
                assert answer["type"] == "success", f"{method}: {answer.get('message')}"
                found: dict[str, Any] = answer["result"]
                return found

    def set_size(self, width_px: int, height_px: int, *, scale: float = 1.0) -> None:
        """`scale`: pixels of the screen for one of the page."""
        size = {"width": width_px, "height": height_px}
        self._ask("browsingContext.setViewport", context=self._tab, viewport=size, devicePixelRatio=scale)

    def goto(self, address: str) -> None:
        self._ask("browsingContext.navigate", context=self._tab, url=address, wait="complete")

    def evaluate(self, script: str) -> Any:
        """What an expression gives, which must be JSON; a promise is waited for."""
        told = self._ask(
            "script.evaluate",
            expression=f"(async () => JSON.stringify(await ({script}) ?? null))()",
            target={"context": self._tab},
            awaitPromise=True,
        )
        assert told["type"] == "success", told["exceptionDetails"]["text"]
        return json.loads(told["result"]["value"])

    def wait_for(self, script: str) -> Any:
        """Wait until an expression is true."""
        return waited(lambda: self.evaluate(f"!!({script})"), script)

    def middle_of(self, selector: str) -> tuple[int, int]:
        return middle(self, selector)

    def drag(self, places: Sequence[tuple[int, int]], *, touch: bool = False) -> None:
        """Press at the first place, go along the others, let go."""
        go = [{"type": "pointerMove", "x": x, "y": y, "duration": 20} for x, y in places]
        kind = "touch" if touch else "mouse"
        actions = [go[0], {"type": "pointerDown", "button": 0}, *go[1:], {"type": "pointerUp", "button": 0}]
        pointer = {"type": "pointer", "id": kind, "parameters": {"pointerType": kind}, "actions": actions}
        self._ask("input.performActions", context=self._tab, actions=[pointer])

    def click(self, selector: str, *, touch: bool = False) -> None:
        self.drag([self.middle_of(selector)], touch=touch)

    def press(self, *keys: str) -> None:
        """Keys one after another, by their names in a page; a "Shift+" before one holds that down."""
        actions = []
        for key in keys:
            *held, last = [KEYS.get(part, part) for part in key.split("+")] if len(key) > 1 else [key]
            actions += [{"type": "keyDown", "value": one} for one in (*held, last)]
            actions += [{"type": "keyUp", "value": one} for one in (last, *reversed(held))]
        self._ask(
            "input.performActions", context=self._tab, actions=[{"type": "key", "id": "keys", "actions": actions}]
        )

    def set_files(self, selector: str, *files: Path) -> None:
        """Have an input for files hold these, as its dialog would."""
        found = self._ask(
            "script.callFunction",
            functionDeclaration="(selector) => document.querySelector(selector)",
            arguments=[{"type": "string", "value": selector}],
            target={"context": self._tab},
            awaitPromise=False,
        )
        element = {"sharedId": found["result"]["sharedId"]}
        self._ask("input.setFiles", context=self._tab, element=element, files=[str(file) for file in files])

    def screenshot(self, path: Path) -> None:
        shot = self._ask("browsingContext.captureScreenshot", context=self._tab)
        path.write_bytes(base64.b64decode(shot["data"]))

    def close(self) -> None:
        self._ask("browser.close")


@contextmanager
def firefox() -> Iterator[Page]:
    """A running Firefox with a profile of its own, and its one tab."""
    from websockets.sync.client import connect

    program = firefox_path()
    assert program is not None
    with tempfile.TemporaryDirectory(prefix="firefox-", ignore_cleanup_errors=True) as profile:
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in SETTINGS.items()]
        Path(profile, "user.js").write_text("\n".join(lines), encoding="utf-8")
        running = subprocess.Popen(
            [program, "--headless", "--no-remote", "--remote-debugging-port", "0", "--profile", profile],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
            env={**os.environ, "MOZ_WEBGL_FORCE_EGL": "1"},
        )
        try:
            with connect(_address(running) + "/session", max_size=None) as socket:
                page = Page(socket)
                yield page
                page.close()
            running.wait(timeout=20)
        finally:
            running.kill()
            running.communicate()


def _address(running: subprocess.Popen[str]) -> str:
    assert running.stderr is not None
    for line in running.stderr:
        if found := re.search(r"WebDriver BiDi listening on (ws://\S+)", line):
            return found[1]
    raise AssertionError("Firefox did not start")
