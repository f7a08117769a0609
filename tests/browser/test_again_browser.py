"""A record opened in the browser: exists for an answer that never comes, and a remade job that cannot be opened."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from layerpreview.scheme import load_scheme

from .desk_page import ChromiumPage, after_loading
from .test_begin_browser import desk_in
from .test_desk_browser import broken_rules, no_sideways_scroll

pytestmark = [pytest.mark.browser, pytest.mark.slow]

RECORD = Path(__file__).parents[1] / "reference" / "record_v1.record.zip"


def test_the_same_colour_again(chromium: Any, axe: str, tmp_path: Path) -> None:
    with desk_in(tmp_path) as (url, _):
        context = chromium.new_context(viewport={"width": 320, "height": 640})
        raw = context.new_page()
        wrong: list[str] = []
        raw.on("pageerror", lambda error: wrong.append(str(error)))
        raw.goto(url)
        raw.click("a[href='/again']")
        page = ChromiumPage(raw)
        page.wait_for("window.again")
        page.set_files("#record", RECORD)
        page.wait_for("document.querySelector('[data-key=work]')")
        assert broken_rules(page, axe) == []
        raw.click("[data-key=work]")
        page.wait_for("document.querySelector('#answer img')")
        page.wait_for("document.querySelector('#answer img').naturalWidth > 100")
        assert "the same within doubt" in page.evaluate("document.getElementById('verdict').textContent")
        assert broken_rules(page, axe) == []
        no_sideways_scroll(page)
        raw.click("[data-key=open]")
        after_loading(page, "location.pathname === '/' && document.getElementById('name')")
        assert wrong == []
        context.close()
    (made,) = tmp_path.glob("*/scheme.toml")
    assert load_scheme(made).coats
