"""From a photo to the client's board, one story for every hand and browser: exists for a step that only a mouse, only a
finger or only keys can take, and for what one browser does and another does not.

Hands answer no dialog for files: those are given to the input once the hand has reached what opens it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Protocol

import pytest

from layerpreview.scheme import load_scheme
from layerpreview.surface.drawing import read_drawing

from .conftest import COARSE, SAMPLES
from .desk_page import READY, SETTLED, Page, after_loading, spotless_page, strip, tab_to
from .firefox import firefox, firefox_path
from .test_begin_browser import PHOTO, desk_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]

WINDOW = SAMPLES / "pictures" / "octave_mandolin_window.jpg"
WIDTH, HEIGHT = 1366, 768
DRAWN = {"device_scale_factor": COARSE}
TRACED = "begun.told && !document.getElementById('photo-next').disabled && !document.querySelector('#stage[data-busy]')"
TAKEN = "document.querySelector('.recipes [aria-pressed=true]')"
ASKED_AGAIN = "/press (it again|the one you mean)/.test(document.getElementById('closer').textContent)"
PULLED_PX = 24


def there(selector: str) -> str:
    return f"document.querySelector({json.dumps(selector)} + ':not(:disabled)')"


class Hand(Protocol):
    """One way to use the page, and no other."""

    page: Page

    def press(self, selector: str, at: str | None = None) -> None: ...
    def up(self, selector: str, px: int) -> None: ...
    def give(self, selector: str, file: str, path: Path) -> None: ...
    def call_it(self, name: str) -> None: ...
    def want_a_colour(self) -> None: ...


class Pointer:
    """A mouse, or a finger, without any keyboard."""

    def __init__(self, page: Page, *, touch: bool) -> None:
        self.page, self.touch = page, touch

    def press(self, selector: str, at: str | None = None) -> None:
        """Press something that comes; `at`: where it is taken, if something lies over its middle."""
        self.page.wait_for(there(selector))
        self.page.click(at or selector, touch=self.touch)

    def up(self, selector: str, px: int) -> None:
        self.page.wait_for(there(selector))
        x, y = self.page.middle_of(selector)
        self.page.drag([(x, y), (x, y - px // 2), (x, y - px)], touch=self.touch)

    def give(self, selector: str, file: str, path: Path) -> None:
        """Hand a file over, to an input that lies under something to press."""
        x, y = self.page.middle_of(selector)
        assert self.page.evaluate(f"!!document.elementFromPoint({x}, {y}).closest({json.dumps(selector)} + ', label')")
        self.page.set_files(file, path)

    def call_it(self, name: str) -> None:
        """A pointer keeps the name that is there."""

    def want_a_colour(self) -> None:
        self.give('[data-key="photo"]', "#closer input[type=file]", WINDOW)
        self.page.wait_for(there("dialog .main"))
        x, y = self.page.middle_of(".picking img")
        self.page.drag([(x - 90, y + 40)], touch=self.touch)
        self.page.wait_for("Math.abs(parseFloat(document.querySelector('.ring').style.left) - 50) > 2")
        self.page.wait_for(there("dialog .main"))
        self.press("dialog .main")


class Keys:
    """A keyboard without any pointer."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def reach(self, selector: str) -> None:
        self.page.wait_for(there(selector))
        follows = self.page.evaluate(
            "document.activeElement !== document.body"
            f" && !!({there(selector)}.compareDocumentPosition(document.activeElement) & 4)"
        )
        tab_to(self.page, selector, back=follows)

    def press(self, selector: str, at: str | None = None) -> None:
        self.reach(selector)
        self.page.press("Enter")

    def up(self, selector: str, px: int) -> None:
        self.reach(selector)
        self.page.press(*["ArrowUp"] * max(1, px // 28))

    def give(self, selector: str, file: str, path: Path) -> None:
        self.reach(selector if self.page.evaluate(f"{there(selector)}.tabIndex >= 0") else file)
        self.page.set_files(file, path)

    def call_it(self, name: str) -> None:
        self.reach("#name")
        self.page.press("Control+a", *name, "Tab")

    def want_a_colour(self) -> None:
        self.reach('[data-key="wanted"]')
        self.page.press(*"45, 14, 46", "Enter")


def begin_from_the_photo(hand: Hand) -> None:
    """The edge mended, the opening closed and opened again, the size by the sheet that lies there, its own surface."""
    page = hand.page
    page.wait_for(there("#photo-door"))
    hand.give("#photo-door", "#photo-file", PHOTO)
    page.wait_for(f"document.querySelectorAll('.handle').length > 7 && {TRACED}")
    top = page.evaluate("begun.handles.reduce((best, at, k, all) => (at[1] < all[best][1] ? k : best), 0)")
    hand.up(f'[data-key="handle {top}"]', PULLED_PX)
    page.wait_for(f"document.getElementById('leaf').textContent.includes('moved by hand') && {TRACED}")
    hand.press("[data-look=holes]")
    hand.press('[data-key="hole 0"]')
    page.wait_for(f"begun.keep[0] === false && {TRACED}")
    hand.press('[data-key="says 0"]')
    page.wait_for(f"begun.keep[0] === true && {TRACED}")
    hand.press("[data-look=size]")
    hand.press('[data-key="paper A4"]')
    page.wait_for(f"begun.options.paper === 'A4' && {TRACED}")
    assert "33" in page.evaluate("document.querySelector('#leaf .verdict').textContent")
    hand.press("#closer")
    page.wait_for("begun.whole === false && document.getElementById('closer').textContent === 'Whole photo'")
    hand.press("#photo-next")
    hand.press('[data-key="photo"]')
    hand.press('[data-key="kind metal"]')
    hand.press("#base-next")
    hand.call_it("Ann's body")
    hand.press("#make")
    after_loading(page, f"location.pathname === '/' && {READY} && {SETTLED}")


def spray_it(hand: Hand) -> None:
    """A coat more, a stronger dye, another film, and the part after that coat."""
    page = hand.page
    coats = page.evaluate("desk.store.state.coats[0].coats")
    hand.up(strip(0, "pull"), 30)
    page.wait_for(f"desk.store.state.coats[0].coats === {coats + 1} && {SETTLED}")
    hand.press(strip(1, "take"), strip(1, "says"))
    was = page.evaluate("desk.store.state.mixes[1].dyes[0].likely")
    hand.press('[data-key="more cherry"]')
    page.wait_for(f"desk.store.state.mixes[1].dyes[0].likely > {was}")
    hand.press('[data-key="film wet"]')
    page.wait_for("desk.store.state.coats[1].film_word === 'wet'")
    page.wait_for(SETTLED)
    hand.press(strip(0, "level"))
    page.wait_for("desk.store.look.after === 0")
    hand.press(strip(0, "level"))
    page.wait_for("desk.store.look.after === null")


def come_closer(hand: Hand) -> None:
    """The first recipe that is found; the page asks for another press where a nearer one came in that moment."""
    page = hand.page
    hand.press("[data-go=closer]")
    hand.want_a_colour()
    page.wait_for("document.querySelector('[data-key^=recipe]')")
    hand.press('[data-key="recipe 0"]')
    page.wait_for(f"{TAKEN} || {ASKED_AGAIN}")
    if not page.evaluate(f"!!{TAKEN}"):
        hand.press('[data-key="recipe 0"]')
    page.wait_for(TAKEN)


def judge_and_give_away(hand: Hand) -> None:
    page = hand.page
    hand.press("[data-go=judge]")
    hand.press('[data-key="light A"]')
    page.wait_for("document.getElementById('seen').textContent.includes('warm lamp')")
    hand.press("[data-go=give]")
    hand.press('[data-key="give sheet"]')
    hand.press('[data-key="give board"]')
    for name in ("sheet/mix_sheet.pdf", "board/board.html"):
        link = f'[data-key="show /files/{name}"]'
        page.wait_for(there(link))
        assert page.evaluate(f"fetch({there(link)}.href).then((answer) => answer.status)") == 200


def the_story(hand: Hand, home: Path) -> None:
    begin_from_the_photo(hand)
    spray_it(hand)
    come_closer(hand)
    judge_and_give_away(hand)
    (folder,) = [path.parent for path in home.glob("*/scheme.toml")]
    scheme, state = load_scheme(folder / "scheme.toml"), hand.page.evaluate("desk.store.state")
    assert [coat.coats for coat in scheme.coats] == [coat["coats"] for coat in state["coats"]]
    assert len(read_drawing(folder / "front.svg").outline.openings) == 1
    assert (folder / "sheet/mix_sheet.pdf").read_bytes().startswith(b"%PDF")
    assert scheme.name in (folder / "board/board.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def fox() -> Iterator[Any]:
    if firefox_path() is None:
        pytest.skip("no Firefox on this machine (apt-get install firefox-esr)")
    pytest.importorskip("websockets", reason="the package websockets is not installed (pip install websockets)")
    with firefox() as page:
        page.set_size(WIDTH, HEIGHT, scale=COARSE)
        yield page


def test_by_finger_in_chromium(chromium: Any, tmp_path: Path) -> None:
    with desk_in(tmp_path) as (url, _), spotless_page(chromium, url, (WIDTH, HEIGHT), has_touch=True, **DRAWN) as page:
        the_story(Pointer(page, touch=True), tmp_path)


def test_by_mouse_in_firefox(fox: Any, tmp_path: Path) -> None:
    with desk_in(tmp_path) as (url, _):
        fox.goto(url)
        the_story(Pointer(fox, touch=False), tmp_path)


def test_by_key_in_firefox(fox: Any, tmp_path: Path) -> None:
    with desk_in(tmp_path) as (url, _):
        fox.goto(url)
        the_story(Keys(fox), tmp_path)
