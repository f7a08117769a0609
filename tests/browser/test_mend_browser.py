"""A touch-up as hands ask for it: exists for touches that land elsewhere than they are drawn, a verdict that is not
seen, a picture that does not swap, and a phone's page that shows another repair than the desk."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from ..schemes import DYES, GUN, HEAD, HONEY, MIXES, PANEL, WHITE
from .conftest import SIZES
from .desk_page import READY, SETTLED, ChromiumPage, RunningDesk, running_desk, spotless_page, standing_still
from .test_desk_browser import broken_rules, no_sideways_scroll

pytestmark = [pytest.mark.browser, pytest.mark.slow]

PLACES = "touchUp.mend.places"
MARKED = (
    "[...document.querySelectorAll('#threads circle.thread[r=\"4\"]')]"
    ".map((c) => [c.cx.baseVal.value, c.cy.baseVal.value])"
)
SHARP = "desk.picture.live.room === desk.picture.live.rooms.sharp"
SWAPPED = "document.querySelector('.swap .on').textContent"
DESK_PX = (960, 640)


@pytest.fixture(scope="module")
def small_job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningDesk]:
    scheme = tmp_path_factory.mktemp("jobs") / "panel" / "scheme.toml"
    scheme.parent.mkdir()
    scheme.write_text(HEAD + PANEL + WHITE + DYES + MIXES + HONEY + GUN, encoding="utf-8")
    with running_desk(scheme) as running:
        yield running


def test_a_dent_at_the_desk_and_then_on_the_phone(chromium: Any, small_job: RunningDesk, axe: str) -> None:
    with spotless_page(chromium, small_job.url, DESK_PX) as desk:
        desk.wait_for(READY)
        _by_mouse(desk)
    assert (small_job.scheme.parent / "touch-up" / "touch_up.png").is_file()
    with spotless_page(chromium, small_job.url, SIZES["phone"], has_touch=True, is_mobile=True) as phone:
        _on_the_phone(phone, small_job, axe)


def _by_mouse(desk: ChromiumPage) -> None:
    desk.click('#words [data-go="mend"]')
    desk.wait_for("document.querySelector('#mend .see:disabled')")
    desk.wait_for(SETTLED)  # what is told of the section takes room of the picture
    standing_still(desk, "#view")
    desk.wait_for(SHARP)  # a touch of a coarse one means a coarse place
    x, y = desk.middle_of("#view")
    left, top = desk.evaluate("[view.getBoundingClientRect().x, view.getBoundingClientRect().y]")
    touches = [(x + dx, y + dy) for dx, dy in ((-40, -30), (40, -30), (60, 0), (40, 30), (-40, 30))]
    for touch in touches:
        desk.drag([touch])
    desk.wait_for(f"{MARKED}.length === 5")
    for marked, touch in zip(desk.evaluate(MARKED), touches, strict=True):
        assert (marked[0] + left, marked[1] + top) == pytest.approx(touch, abs=2.0)
    desk.click('[data-key="corner 2"]')
    desk.wait_for("document.querySelectorAll('#mend .corner').length === 4")
    desk.click('[data-key="own"]')
    desk.wait_for("document.getElementById('feather')")
    desk.evaluate("(() => { feather.value = 20; feather.dispatchEvent(new Event('change')); })()")
    desk.evaluate("document.querySelector('.see').scrollIntoView({ block: 'center' })")
    desk.click(".see")
    desk.wait_for("document.querySelector('#mended .verdict h2')")
    assert "Feather 20 mm" in desk.evaluate("document.querySelector('#mended .verdict').textContent")
    assert "--feather 20 mm" in desk.evaluate("document.getElementById('command').textContent").replace('"', "")
    assert desk.evaluate(SWAPPED) == "Repaired"
    desk.click(".swap")
    assert desk.evaluate(SWAPPED) == "Untouched"
    shown = "[...document.querySelectorAll('.swap img.shown')].map((image) => image.getAttribute('src').split('?')[0])"
    assert desk.evaluate(shown) == ["/touch-up/touch_up_untouched.png"]


def _on_the_phone(phone: ChromiumPage, small_job: RunningDesk, axe: str) -> None:
    phone.page.goto(small_job.url.partition("?")[0] + "touch-up")
    phone.wait_for("document.querySelector('#answer .verdict h2') && document.querySelector('.flat img').complete")
    assert phone.evaluate(f"{PLACES}.length") == 4  # what was asked at the desk
    assert broken_rules(phone, axe) == []
    for name in ("small", "laptop", "phone"):
        width, height = SIZES[name]
        phone.page.set_viewport_size({"width": width, "height": height})
        no_sideways_scroll(phone)
    small = phone.evaluate(
        "[...document.querySelectorAll('button, a, input')].filter((e) => e.offsetParent && e.type !== 'range')"
        ".map((e) => [e.textContent, e.offsetHeight]).filter(([, high]) => high < 44)"
    )
    assert small == []
    phone.page.locator("#corners button", has_text="Begin again").tap()
    phone.wait_for(f"{PLACES}.length === 0 && document.querySelector('.see:disabled')")
    phone.page.locator("button", has_text="Closer").tap()
    box = phone.page.locator(".flat").bounding_box()
    view = phone.page.locator(".face-view").bounding_box()
    at = view["x"] + 0.4 * view["width"], view["y"] + 0.5 * view["height"]
    phone.page.touchscreen.tap(*at)
    phone.wait_for(f"{PLACES}.length === 1")
    mm = phone.evaluate(f"[{PLACES}[0].x_mm, {PLACES}[0].y_mm]")
    expected = [(at[0] - box["x"]) / box["width"] * 64.0, (at[1] - box["y"]) / box["height"] * 48.0]
    assert mm == pytest.approx(expected, abs=0.3)
    phone.page.locator(".face-view").focus()
    phone.press("ArrowRight", "ArrowRight", "Enter", "ArrowDown", "ArrowDown", "Enter")
    phone.wait_for(f"{PLACES}.length === 3 && !document.querySelector('.see').disabled")
    phone.press("Backspace")
    phone.wait_for(f"{PLACES}.length === 2 && document.querySelector('.see:disabled')")
