"""What the desk gives away, opened from it: exists for a board that does not work where it is served, and for one that
could ask the desk for anything."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from layerpreview.workflows.board import board_file

from ..schemes import DYES, HEAD, HONEY, MAPLE, MIXES, PANEL
from .chromium import settled
from .desk_page import RunningDesk

pytestmark = [pytest.mark.browser, pytest.mark.slow]

ASK = """async (address) => {
  try { return (await fetch(address, { credentials: "include" })).status; } catch (error) { return "refused"; }
}"""


def test_a_board_works_by_itself_and_reaches_nothing(chromium: Any, desk: RunningDesk, tmp_path: Path) -> None:
    """It draws and answers to its controls as it does from a folder, and the desk's own answers stay out of its reach,
    also for a page of the job that tries."""
    (tmp_path / "maple.toml").write_text(HEAD + PANEL + MAPLE + DYES + MIXES + HONEY, encoding="utf-8")
    board_file([tmp_path / "maple.toml"], out=desk.scheme.parent / "board", width_px=96)
    base = desk.url.partition("/?")[0]
    context = chromium.new_context(viewport={"width": 1366, "height": 768})
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(desk.url)
    page.goto(f"{base}/files/board/board.html")
    page.wait_for_selector("#stage[data-ready], #stage[data-error]", state="attached")
    assert page.get_attribute("#stage", "data-error") is None
    settled(page)
    before = page.locator("#canvas").screenshot()
    page.locator("input[type=range]").first.press("ArrowRight")
    settled(page)
    assert page.locator("#canvas").screenshot() != before
    assert wrong == []
    assert page.evaluate("window.origin") == "null"
    for address in (f"{base}/api/state", f"{base}/files/scheme.toml"):
        assert page.evaluate(ASK, address) == "refused"
    context.close()
