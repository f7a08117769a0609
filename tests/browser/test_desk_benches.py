"""The desk's benches in a real browser: these tests exist for a recipe that is shown and not written, for a sheet that
is said to be there and cannot be opened, for a learnt dye that reaches no mix, and for what only some can press."""

from __future__ import annotations

import json
from typing import Any

import pytest

from .conftest import COARSE, SAMPLES, Opened
from .desk_page import ChromiumPage, RunningDesk, waited
from .test_desk_browser import broken_rules, no_sideways_scroll

pytestmark = [pytest.mark.browser, pytest.mark.slow]
SCALE = COARSE

WINDOW = SAMPLES / "pictures" / "octave_mandolin_window.jpg"
SMALL = (
    "[...document.querySelectorAll('.bench button, .bench select, .bench summary, .bench a.button, dialog[open] button,"
    " dialog[open] select')].filter((e) => e.offsetParent).map((e) => [e.dataset.key, e.offsetWidth, e.offsetHeight])"
    ".filter(([, w, h]) => w < 44 || h < 44)"
)


def pressed(selector: str) -> str:
    return f"document.querySelector({json.dumps(selector)})?.getAttribute('aria-pressed') === 'true'"


def go(page: ChromiumPage, bench: str) -> None:
    page.click(f'[data-go="{bench}"]', touch=True)
    page.wait_for(f"document.body.dataset.bench === '{bench}'")


def fits(page: ChromiumPage, axe: str) -> None:
    """All can be read and pressed, and nothing lies beside the screen."""
    no_sideways_scroll(page)
    assert page.evaluate(SMALL) == []
    assert broken_rules(page, axe) == []


def test_a_recipe_is_taken(open_desk: Opened, desk: RunningDesk, axe: str) -> None:
    """A wanted colour leads to recipes, those there are when it is stopped; one touch writes mix and coats, one undo
    leads back to the text to the byte."""
    page, before = open_desk("phone", has_touch=True), desk.text()
    go(page, "closer")
    page.page.fill('[data-key="wanted"]', "45, 14, 46")
    page.press("Enter")
    page.wait_for("document.querySelectorAll('.recipes li').length > 1")
    assert page.evaluate("document.querySelectorAll('.readings .dab').length") == 2
    page.evaluate("document.querySelector('[data-key=stop]')?.click()")
    page.wait_for("!document.querySelector('[data-key=stop]')")
    page.click('[data-key="recipe 1"]', touch=True)
    page.wait_for("document.querySelector('.recipes [aria-pressed=true]')")
    words = page.evaluate("document.querySelector('.recipes [aria-pressed=true]').textContent")
    fits(page, axe)
    coat, mix = page.evaluate("[desk.store.state.coats[0], desk.store.state.mixes[0]]")
    assert f"{coat['coats']} coats of" in words
    assert all(f"{dye['name']} {dye['amount']}" in words for dye in mix["dyes"])
    page.wait_for("desk.picture.data.version === desk.store.state.version")
    page.click("#undo", touch=True)
    page.wait_for("!desk.store.state.undo")
    assert desk.text() == before


def test_a_press_is_heard_through_a_redraw(open_desk: Opened) -> None:
    """Recipes come while one is pressed: what lies under the finger stays until it is lifted, then all is new."""
    page = open_desk()
    page.evaluate("desk.look({ bench: 'closer' })")
    hue = '[data-key="reading hue"]'
    page.wait_for(f"document.querySelector({json.dumps(hue)})")
    page.page.mouse.move(*page.middle_of(hue))
    page.page.mouse.down()
    page.evaluate(f"window.held = document.querySelector({json.dumps(hue)})")
    page.evaluate("desk.look({ bench: 'closer' })")
    page.page.mouse.up()
    page.wait_for(f"document.querySelector({json.dumps(hue)}).getAttribute('aria-pressed') === 'true'")
    page.wait_for("!document.contains(window.held)")


def test_a_colour_is_picked_from_a_photo_by_key(open_desk: Opened, axe: str) -> None:
    """The ring moves by arrow keys; the colour under it is looked for, and the search can be stopped."""
    page = open_desk()
    go(page, "closer")
    page.page.set_input_files("#closer input[type=file]", str(WINDOW))
    page.wait_for("document.querySelector('.picking') && !document.querySelector('dialog .main').disabled")
    first = page.evaluate("document.querySelector('.picked .dab').style.background")
    page.press(*["Shift+ArrowRight"] * 9)
    page.wait_for(f"document.querySelector('.picked .dab').style.background !== {json.dumps(first)}")
    fits(page, axe)
    page.click("dialog .main")
    page.wait_for("/^#[0-9a-f]{6}$/.test(document.querySelector('[data-key=wanted]').value)")
    # A search may be done before a hand is there to stop it: then its recipes are there.
    stop = "document.querySelector('[data-key=stop]')"
    page.wait_for(f"{stop} || document.querySelector('[data-key^=recipe]')")
    page.evaluate(f"{stop}?.click()")
    page.wait_for(f"!{stop} && /Press one|Stopped/.test(document.getElementById('closer').textContent)")
    # Stopped before the desk has even answered that it looks.
    page.evaluate(
        "(() => { const own = document.querySelector('[data-key=wanted]'); own.value = '#74561f';"
        f" own.dispatchEvent(new Event('change')); {stop}.click(); }})()"
    )
    page.wait_for(f"!{stop} && document.getElementById('closer').textContent.includes('Stopped')")


def test_what_was_begun_goes_on_through_a_reload(open_desk: Opened, desk: RunningDesk) -> None:
    """A search with what it was for, a sheet and a card that is read: each is shown by the page that is loaded anew."""
    page = open_desk()
    page.evaluate(
        f"(async () => {{ const card = await (await fetch('/upload/card?name=card.csv', {{ method: 'POST',"
        f" body: {json.dumps((SAMPLES / 'spray_out.csv').read_text())} }})).json();"
        " for (const [path, body] of [['fit', { card: card.id, name: 'evening amber', strength: '12 mL/L' }],"
        " ['give', { what: 'sheet' }], ['reach', { target: '45, 14, 46' }]])"
        " await fetch(`/api/${path}`, { method: 'POST', body: JSON.stringify(body) }); })()"
    )
    page.page.reload()
    page.wait_for("document.querySelector('#bands').textContent.includes('Evening amber is learnt from its card')")
    page.click('[data-key="dismiss"]')
    go(page, "closer")
    page.wait_for("document.querySelectorAll('.recipes li').length > 1")
    assert page.evaluate("document.querySelector('[data-key=wanted]').value") == "45, 14, 46"
    page.evaluate("document.querySelector('[data-key=stop]')?.click()")
    page.wait_for("!document.querySelector('[data-key=stop]')")
    go(page, "give")
    page.wait_for("document.querySelector('#give a.button')")
    assert "sheet/mix_sheet.pdf" in page.evaluate("document.getElementById('give').textContent")
    assert (desk.scheme.parent / "sheet" / "mix_sheet.pdf").exists()


def test_a_mix_sheet_is_given_away(open_desk: Opened, desk: RunningDesk, axe: str) -> None:
    """It lies in the job's folder and opens from the page; what was changed since is not written over unasked."""
    page = open_desk("phone", has_touch=True)
    go(page, "give")
    page.click('[data-key="give sheet"]', touch=True)
    page.wait_for("document.querySelector('#give a.button')")
    assert "written just now" in page.evaluate("document.getElementById('give').textContent")
    assert page.evaluate("document.getElementById('command').textContent").startswith("layerpreview sheet ")
    fits(page, axe)
    sheet = desk.scheme.parent / "sheet" / "mix_sheet.pdf"
    assert sheet.read_bytes().startswith(b"%PDF")
    address = page.evaluate("document.querySelector('#give a.button').href")
    assert page.page.context.request.get(address).body() == sheet.read_bytes()
    sheet.write_bytes(b"mine")
    page.click('[data-key="give sheet"]', touch=True)
    page.wait_for("document.querySelector('[data-key=\"force sheet\"]')")
    assert sheet.read_bytes() == b"mine"
    fits(page, axe)


def laid_over_the_part(page: ChromiumPage, axe: str) -> None:
    """The hand's streaks on the picture itself, and a map of them: the line over it says so, one touch takes it off,
    and the desk makes it anew only where what it rests on changed."""
    seen = "document.getElementById('seen').textContent"
    page.click('[data-key="over laid"]', touch=True)
    page.wait_for(f"desk.picture.live.isLaid() && {seen} === 'Not as planned: as a hurried hand lays it'")
    assert page.evaluate("document.getElementById('laid').textContent").startswith("A hurried hand: stripes ")
    page.click('[data-key="over shown"]', touch=True)
    page.wait_for(f"{seen} === 'A map, not paint: where a hurried hand shows'")
    assert page.evaluate("[...document.querySelectorAll('.visible li')].map((one) => one.textContent)") == [
        "Not visibledE00 under 0.8",
        "May be seen0.8 to 1.8",
        "Visibleover 1.8",
        "Not judgedopaque, no dye",
    ]
    fits(page, axe)
    answers: list[Any] = []
    page.page.on("response", lambda told: answers.append(told) if "/api/evenness" in told.url else None)
    page.evaluate("desk.edit('clear: 5 coats', [{ do: 'set', at: ['clear', 'coats'], to: 5 }])")
    page.wait_for("desk.store.state.clear.coats === 5")
    waited(lambda: page.evaluate("true") and len(answers) == 1, "it is asked for again")
    page.evaluate("desk.edit('honey: 4 coats', [{ do: 'set', at: ['coat', 0, 'coats'], to: 4 }])")
    page.wait_for(f"desk.store.state.coats[0].coats === 4 && {seen}.startsWith('A map')")
    assert [told.json()["same"] for told in answers] == [True, False]
    page.click("#planned", touch=True)
    page.wait_for(f"!{seen}.includes('map') && document.getElementById('planned').hidden")
    page.evaluate("desk.look({ bench: 'figures' })")
    page.evaluate("desk.edit('honey: 3 coats', [{ do: 'set', at: ['coat', 0, 'coats'], to: 3 }])")
    page.page.wait_for_timeout(500)
    assert len(answers) == 2  # nobody looks at it
    page.evaluate("desk.look({ bench: 'judge' })")


def test_judged_by_hand_and_by_twins(open_desk: Opened, axe: str) -> None:
    """A steady hand is flat and a hurried one is not; the twins reach the picture."""
    page = open_desk("phone", has_touch=True)
    go(page, "judge")
    spreads: dict[str, Any] = {}
    for hand in ("flat", "hurried"):
        button = f'[data-key="hand {hand}"]'
        page.click(button, touch=True)
        page.wait_for(
            f"{pressed(button)} && !document.getElementById('judge').textContent.includes('…')"
            " && document.querySelector('.evenness canvas')"
        )
        spreads[hand] = page.evaluate(
            "(() => { const c = document.querySelector('.evenness canvas'), d = c.getContext('2d')"
            ".getImageData(0, 0, c.width, c.height).data, on = d.filter((_, k) => k % 4 === 0 && d[k + 3]);"
            " const m = on.reduce((a, b) => a + b) / on.length;"
            " return Math.sqrt(on.reduce((a, b) => a + (b - m) ** 2, 0) / on.length); })()"
        )
    assert spreads["flat"] < spreads["hurried"]
    laid_over_the_part(page, axe)
    page.click('[data-key="twins"]', touch=True)
    page.wait_for("document.querySelector('section.twins')")
    page.wait_for("document.getElementById('seen').textContent.includes('pale twin')")
    fits(page, axe)


def test_a_dye_is_learnt_and_used(open_desk: Opened, desk: RunningDesk, axe: str) -> None:
    """A table of readings becomes a dye of the job, and one touch takes it into the mix that is open."""
    page = open_desk("phone", has_touch=True)
    page.evaluate("desk.look({ bench: 'mix', open: 0 })")
    page.click('[data-key="add dye"]', touch=True)
    page.wait_for("document.querySelector('.dyes')")
    fits(page, axe)
    page.click('[data-key="learn"]', touch=True)
    page.page.set_input_files("dialog input[type=file]", str(SAMPLES / "spray_out.csv"))
    page.page.fill('[data-key="learn name"]', "house amber")
    page.page.fill('[data-key="learn strength"]', "12 mL/L")
    page.click('[data-key="fit"]', touch=True)
    page.wait_for("document.querySelector('.learnt img')?.naturalWidth > 300")
    fits(page, axe)
    page.click('[data-key="use learnt"]', touch=True)
    page.wait_for("desk.store.state.mixes[0].dyes.some((dye) => dye.name === 'house amber' && dye.source === 'own')")
    assert (desk.scheme.parent / "house_amber.dye.toml").exists()
    assert 'file = "house_amber.dye.toml"' in desk.text()
