"""The shop book in a real browser: exists for a search that ranks by other distances than the command's, a page that
asks the network for something, and one that cannot be used by keys or on a small phone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layerpreview.answers.book import Agreement, Book, Story
from layerpreview.answers.book_find import wanted_of
from layerpreview.output.book_page import book_page

from ..answers.plain_jobs import plain_job
from ..colour.test_difference import PAIRS

pytestmark = [pytest.mark.browser, pytest.mark.slow]


def test_the_book_is_searched_and_laid_side_by_side(chromium: Any, tmp_path: Path) -> None:
    """Outside: the 34 published pairs of CIEDE2000, to four digits."""
    said = Agreement("2026-05-02", "A", note="<i>dark edges</i> " + "x" * 80)
    jobs = (
        plain_job("far/away", lab=(60.0, 10.0, 40.0)),
        plain_job("near", lab=(36.0, 31.0, 34.0)),
        replace(plain_job("maple", over="wood, flame grain", finish="matt"), story=Story(agreed=said)),
    )
    (tmp_path / "book.html").write_text(book_page(Book("jobs", jobs), {}), encoding="utf-8")
    context = chromium.new_context(viewport={"width": 320, "height": 640})
    page = context.new_page()
    wrong: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: wrong.append(message.text))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto((tmp_path / "book.html").as_uri())

    found = page.evaluate(
        "pairs => pairs.map(p => bookColours.de00(p.slice(0, 3), p.slice(3, 6)))", PAIRS[:, :6].tolist()
    )
    np.testing.assert_allclose(found, PAIRS[:, 6], atol=5e-5)
    lab = page.evaluate("bookColours.labOf('#8a3a1c')")
    np.testing.assert_allclose(lab, wanted_of("#8a3a1c").lab, atol=0.05)

    def shown() -> list[str]:
        return list(page.eval_on_selector_all(".card:not([hidden]) h2", "all => all.map(one => one.textContent)"))

    page.fill("#find", "#8a3a1c over silver")
    assert shown() == ["The near", "The far/away"]
    assert page.inner_text("#found") == "2 of 3 jobs, the nearest colour first"
    page.fill("#find", "DARK edges")
    assert shown() == ["The maple"]
    page.fill("#find", "")
    # By keys: a dye, then two jobs to lay side by side, and back again.
    page.focus("button.chip")
    page.keyboard.press("Enter")
    assert len(shown()) == 3
    for n in (0, 2):
        page.focus(f"input[data-job='{n}']")
        page.keyboard.press("Space")
    assert page.evaluate("document.activeElement.id") == "beside"
    heads = page.eval_on_selector_all("#beside h3.differs", "all => all.map(one => one.textContent)")
    assert {"the client said", "base", "clear"} <= set(heads)
    assert "mixes" not in heads
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.is_hidden("#beside")
    context.close()
    assert wrong == []
    assert asked == [(tmp_path / "book.html").as_uri()]
