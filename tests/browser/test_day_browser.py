"""The day at the booth, as a thumb uses it: exists for a coat written down twice by one touch, a word that is lost with
the network, a bell that does not ring, and a page that cannot be read in a booth."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from ..schemes import FULL
from .conftest import SIZES, Opened
from .desk_page import ChromiumPage, RunningDesk, running_desk
from .test_desk_browser import broken_rules, no_sideways_scroll

pytestmark = [pytest.mark.browser, pytest.mark.slow]

DAY = "window.day && day.said.day && document.querySelector('#deeds button')"
TIMED = FULL.replace('solids = "20 %"\n', 'solids = "20 %"\nflash = "10 min"\n')


@pytest.fixture(scope="module")
def small_job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    scheme = tmp_path_factory.mktemp("jobs") / "panel" / "scheme.toml"
    scheme.parent.mkdir()
    scheme.write_text(TIMED, encoding="utf-8")
    with running_desk(scheme) as running:
        yield running


@pytest.fixture
def page(chromium: Any, small_job: RunningDesk) -> Iterator[ChromiumPage]:
    (small_job.scheme.parent / "job-log.jsonl").unlink(missing_ok=True)
    opened = Opened(chromium, small_job)
    page = opened("phone", ready="true", has_touch=True, is_mobile=True)
    page.page.goto(small_job.url.partition("?")[0] + "day")
    page.wait_for(DAY)
    yield page
    for context in opened.contexts:
        context.close()
    assert [line for line in opened.wrong if "ERR_INTERNET_DISCONNECTED" not in line] == []


def other(page: ChromiumPage, words: str) -> None:
    page.page.locator("#other button", has_text=words).tap()
    page.wait_for("document.getElementById('sheet').open && document.querySelector('#sheet form')")


def fill(page: ChromiumPage, **values: str) -> None:
    for name, value in values.items():
        page.page.fill(f"#sheet [name={name}]", value)
    page.page.locator("#sheet .main").tap()
    page.wait_for("!document.getElementById('sheet').open")


def on(page: ChromiumPage) -> list[list[int]]:
    return list(page.evaluate("day.said.day.coats.map((coat) => [coat.entry, coat.number])"))


def test_a_morning_by_thumb(page: ChromiumPage) -> None:
    other(page, "Batch made")
    page.wait_for("document.querySelectorAll('#sheet .poured').length >= 2")
    fill(page, a0="0,13", l0="B12")
    page.wait_for("day.said.day.batches.length === 1")
    assert page.evaluate("day.said.day.batches[0].poured[0]") == {
        "name": "yellow", "amount": 0.13, "unit": "mL", "lot": "B12",
    }  # fmt: skip
    page.page.locator("#deeds button").tap()
    page.wait_for("day.said.day.coats.length === 1")
    page.page.locator("#deeds button").tap()  # the same thumb once more: asked, not written
    page.wait_for("document.getElementById('sheet').open")
    page.page.locator("#sheet button", has_text="Not now").tap()
    assert on(page) == [[1, 1]]
    assert "Next coat from" in page.evaluate("document.getElementById('next').textContent")
    other(page, "Wet film")
    fill(page, r0="58", r1="62,5", r2="60")
    page.wait_for("day.said.day.films.length === 1")
    assert page.evaluate("day.said.day.films[0].measured_um.likely") == pytest.approx(60.17, abs=0.01)
    page.wait_for("document.querySelector('#films .proposed')")
    page.page.locator("#entries button", has_text="Withdraw").first.tap()
    page.wait_for("day.said.day.films.length === 0 && document.querySelector('#entries .gone')")


def test_what_is_said_without_a_network_waits_and_is_said_once(page: ChromiumPage) -> None:
    page.page.context.set_offline(True)
    page.page.locator("#deeds button").tap()
    page.wait_for("document.getElementById('kept').textContent.includes('1 thing waits')")
    page.wait_for("!document.getElementById('trouble').hidden")
    assert on(page) == []
    page.page.context.set_offline(False)
    page.wait_for("day.said.waiting.length === 0 && day.said.day.coats.length === 1")
    page.wait_for("document.getElementById('kept').textContent === 'all is kept'")
    assert on(page) == [[1, 1]]


def test_the_bell_rings_once_when_a_time_has_come(page: ChromiumPage) -> None:
    page.page.locator("#bell").tap()
    page.page.locator("#deeds button").tap()
    page.wait_for("day.said.day.coats.length === 1")
    assert page.evaluate("day.bell.rung.size") == 0
    page.evaluate("day.said.behind_ms += 10.1 * 60000")
    page.wait_for("day.bell.rung.size === 1")
    page.wait_for("document.getElementById('told').textContent === 'The next coat may go on'")
    page.wait_for("document.querySelector('.next.over')")


def test_it_can_be_read_in_a_booth(page: ChromiumPage, axe: str) -> None:
    page.page.locator("#deeds button").tap()
    page.wait_for("day.said.day.coats.length === 1")
    assert broken_rules(page, axe) == []
    for name in ("small", "laptop"):
        width, height = SIZES[name]
        page.page.set_viewport_size({"width": width, "height": height})
        no_sideways_scroll(page)
    small = page.evaluate(
        "[...document.querySelectorAll('button, a')].filter((e) => e.offsetParent)"
        ".map((e) => [e.textContent, e.offsetHeight]).filter(([, high]) => high < 44)"
    )
    assert small == []
