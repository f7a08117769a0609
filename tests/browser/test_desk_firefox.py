"""The desk in Firefox: the same story by the same hands, for what one browser forgives and another does not."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from .conftest import SAMPLE
from .desk_page import READY, running_desk, strip, tab_to
from .firefox import firefox, firefox_path
from .test_desk_browser import by_mouse

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.mark.skipif(firefox_path() is None, reason="no Firefox on this machine (apt-get install firefox-esr)")
def test_the_story_in_firefox(tmp_path: Path) -> None:
    pytest.importorskip("websockets", reason="the package websockets is not installed (pip install websockets)")
    scheme = tmp_path / "my-mandolin" / "scheme.toml"
    scheme.parent.mkdir()
    shutil.copy(SAMPLE, scheme)
    with running_desk(scheme) as desk, firefox() as page:
        page.set_size(1366, 768)
        page.goto(desk.url)
        page.wait_for(READY)
        by_mouse(page, desk)
        tab_to(page, strip(0, "pull"))
        page.press("ArrowUp")
        page.wait_for("desk.store.state.coats[0].coats === 4")
        page.press("Shift+Tab", "Shift+Tab")
        page.press("Alt+ArrowUp")
        page.wait_for("desk.store.state.coats[1].name === 'honey'")
