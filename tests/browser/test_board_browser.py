"""The board in a real browser: these tests exist for a slider whose steps are no coats, a choice that says something
else than what is seen, a page that asks the network or runs what it should show, and controls for a mouse and good eyes
only."""

from __future__ import annotations

import io
import json
import random
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from layerpreview.output.board_code import Choice, crc_text, normalised, read_agreement, read_code
from layerpreview.output.board_words import board_words
from layerpreview.output.html_page import json_block
from layerpreview.output.joblog import LOG_NAME, read_lines
from layerpreview.scheme import load_scheme
from layerpreview.workflows.agree import agree
from layerpreview.workflows.board import board_file

from ..schemes import DYES, HONEY, MAPLE, MIXES, PANEL, RIM, SEA_BURST, WHITE
from .desk_page import waited
from .firefox import firefox, firefox_path

pytestmark = [pytest.mark.browser, pytest.mark.slow]

EVIL = "<img src=x onerror=window.caught=1>"
LONG = "Honey over white with a name that goes on and on, and Lackschichtenvorschlagsbezeichnung"
LIGHTS = '["D65", "A", "FL2", "FL11", "LED-B3"]'
SHOP = '[shop]\nname = "Invented Finishes"\nmail = "finish@example.org"\n'
LAPTOP, PHONE = {"width": 1000, "height": 640}, {"width": 390, "height": 844}
SETTLED = "'settled' in document.getElementById('stage').dataset"
OWN = "GPU stall|willReadFrequently"
"""What Chromium says of reading pixels, which the tests do."""
DRAWN = "!document.getElementById('chosen-picture').hidden"


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a board of two options: one with a long name, one whose every name tries to be markup."""
    folder = tmp_path_factory.mktemp("job")
    head = f"layerpreview = 1\nname = {json.dumps(LONG)}\nlights = {LIGHTS}\n"
    coats = DYES + MIXES + HONEY + SEA_BURST + RIM + SHOP
    (folder / "one.toml").write_text(head + PANEL + WHITE + coats, encoding="utf-8")
    other = head.replace(json.dumps(LONG), json.dumps(EVIL)) + PANEL + MAPLE + coats
    other = other.replace("honey", '"<b onclick=x>honey"').replace('""', '"')
    (folder / "two.toml").write_text(other, encoding="utf-8")
    schemes = [folder / "one.toml", folder / "two.toml"]
    board_file(schemes, out=folder / "out", width_px=64, langs=["de"], title=EVIL + "!", log=folder / LOG_NAME)
    return folder


@pytest.fixture(scope="module")
def html(job: Path) -> Path:
    return job / "out" / "board.html"


@pytest.fixture(scope="module")
def opened(chromium: Any, html: Path) -> Iterator[Any]:
    """One page for all tests that need no page of their own; it notes every request and all that goes wrong."""
    context = chromium.new_context(viewport=LAPTOP, reduced_motion="reduce", locale="en-US")
    page = context.new_page()
    page.requested, page.wrong = [], []
    page.on("request", lambda request: page.requested.append(request.url))
    page.on("console", lambda message: None if re.search(OWN, message.text) else page.wrong.append(message.text))
    page.on("pageerror", lambda error: page.wrong.append(str(error)))
    page.goto(html.as_uri())
    yield page
    context.close()


@pytest.fixture
def page(opened: Any) -> Iterator[Any]:
    """That page with the first option as proposed, its picture drawn."""
    opened.set_viewport_size(LAPTOP)
    at_option(opened, 0)
    yield opened
    assert opened.wrong == []


def at_option(page: Any, index: int) -> None:
    page.evaluate(
        """(index) => {
          document.getElementById('dialog').close();
          document.querySelectorAll('details').forEach((one) => { one.open = false; });
          document.getElementById('note').value = '';
          Store.again();
          document.getElementById('spoken').textContent = '';
          Store.set({ option: index });
        }""",
        index,
    )
    wait_for(page, SETTLED)


def wait_for(page: Any, script: str) -> None:
    """Asked from outside, since the page forbids scripts made of texts."""
    waited(lambda: page.evaluate(f"!!({script})"), script)


def fold(page: Any, name: str) -> None:
    page.evaluate("(name) => { document.getElementById('fold-' + name).open = true; }", name)


def choose(page: Any) -> None:
    page.focus("#choose")
    page.keyboard.press("Enter")
    wait_for(page, DRAWN)


def brightness(page: Any) -> float:
    """The mean of the picture in the dialog."""
    return float(
        page.evaluate(
            """() => {
              const canvas = document.getElementById('chosen-picture');
              const rgba = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data;
              return rgba.reduce((sum, value) => sum + value, 0) / rgba.length;
            }"""
        )
    )


# The one question ----------------------------------------------------------------------------------------------------


def limits_by_lot(lot: random.Random) -> dict[str, Any]:
    """Limits as a painter may set them: mixes used once or twice, coats that hide, some of it locked."""
    mixes = []
    for name in "abc"[: lot.randint(1, 3)]:
        weakest, strongest = sorted([lot.randint(25, 100), lot.randint(100, 200)])
        mixes.append({"name": name, "weakest": weakest, "strongest": strongest})
        if lot.random() < 0.2:
            mixes[-1].update(weakest=100, strongest=100)
    coats = []
    for _ in range(lot.randint(1, 5)):
        proposed = lot.randint(1, 8)
        fewest, most = lot.randint(0, proposed), lot.randint(proposed, proposed + 4)
        mix = lot.choice([*(mix["name"] for mix in mixes), None])
        if mix is None or lot.random() < 0.2:
            fewest = most = proposed
        coats.append({"mix": mix, "coats": proposed, "fewest": fewest, "most": most})
    return {"coats": coats, "mixes": mixes}


def builds_of(option: dict[str, Any], position: dict[str, Any]) -> list[float]:
    of = {mix["name"]: s for mix, s in zip(option["mixes"], position["strength"], strict=True)}
    return [n * of.get(coat["mix"], 0) for n, coat in zip(position["coats"], option["coats"], strict=True)]


def test_from_pale_to_deep_every_step_is_whole_coats_within_the_limits(page: Any) -> None:
    """Laws over 150 random sets of limits: whole, allowed, the middle as proposed, each coat's dye never falling."""
    lot = random.Random(7)
    options = [limits_by_lot(lot) for _ in range(150)]
    for option, found in zip(options, page.evaluate("(all) => all.map(Depth.positions)", options), strict=True):
        positions = found["all"]
        assert 1 <= len(positions) <= 21
        middle = positions[found["middle"]]
        assert middle == {"coats": [c["coats"] for c in option["coats"]], "strength": [100] * len(option["mixes"])}
        for position in positions:
            for n, coat in zip(position["coats"], option["coats"], strict=True):
                assert isinstance(n, int)
                assert coat["fewest"] <= n <= coat["most"]
                assert n >= min(1, coat["most"])
                assert coat["mix"] is not None or n == coat["coats"]
            for strength, mix in zip(position["strength"], option["mixes"], strict=True):
                assert isinstance(strength, int)
                assert mix["weakest"] <= strength <= mix["strongest"]
        rows = [builds_of(option, position) for position in positions]
        for paler, deeper in pairwise(rows):
            assert all(a <= b + 1e-9 for a, b in zip(paler, deeper, strict=True))
            assert paler != deeper


def test_steps_are_even_where_coats_and_strength_can_follow(page: Any) -> None:
    """Three coats of 1 to 5 at 70 to 130 %: from 0.7 coats' worth to 6.5, ten steps each way, each side even."""
    coat = {"mix": "a", "coats": 3, "fewest": 1, "most": 5}
    option = {"coats": [coat], "mixes": [{"name": "a", "weakest": 70, "strongest": 130}]}
    found = page.evaluate("(one) => Depth.positions(one)", option)
    (worth,) = zip(*(builds_of(option, position) for position in found["all"]), strict=True)
    assert (found["middle"], len(worth)) == (10, 21)
    assert (worth[0], worth[10], worth[20]) == (70, 300, 650)
    for ends, steps in (((70, 300), worth[:11]), ((300, 650), worth[10:])):
        even = [ends[0] * (ends[1] / ends[0]) ** (k / 10) for k in range(11)]
        assert steps == pytest.approx(even, rel=0.03)


def test_the_words_of_a_place_grow_with_it(page: Any) -> None:
    words = page.evaluate(
        "Depth.positions(Store.data.options[0]).all.map((_, i, all) => "
        "Depth.word(Depth.positions(Store.data.options[0]), i))"
    )
    assert list(dict.fromkeys(words)) == [
        *(f"depth_paler{how}" for how in ("_most", "_much", "", "_little")),
        "depth_proposed",
        *(f"depth_deeper{how}" for how in ("_little", "", "_much", "_most")),
    ]
    assert words.count("depth_proposed") == 1


def test_by_keys_alone_and_the_focus_stays(page: Any) -> None:
    page.focus("#depth")
    held = page.evaluate_handle("document.activeElement")
    page.keyboard.press("ArrowRight")
    assert page.inner_text("#depth-says") == "a little deeper"
    assert page.get_attribute("#depth", "aria-valuetext") == "a little deeper"
    assert page.evaluate("(held) => held === document.activeElement", held)
    page.focus("#proposed")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "depth"
    assert page.inner_text("#depth-says") == "as proposed"
    fold(page, "coats")
    page.focus("#coats-0")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("Store.state.set[0].coats") == [4, 2, 2]
    assert page.get_attribute("#coats-0", "aria-valuetext") == "4 coats"
    assert page.inner_text("#depth-says") == "your own setting"
    page.focus("#coats-0-more")
    for _ in range(3):
        page.keyboard.press("Enter")
    assert page.evaluate("[Store.state.set[0].coats[0], document.activeElement.id]") == [5, "coats-0-more"]
    assert page.get_attribute("#coats-0-more", "aria-disabled") == "true"
    wait_for(page, "document.getElementById('spoken').textContent === 'honey, all over: 5 coats'")
    assert page.locator("#coats-2").count() == 0  # what hides stays as it is
    page.focus("#strength-1-less")
    page.keyboard.press("Enter")
    assert page.evaluate("Store.state.set[0].strength") == [100, 95]


def test_a_client_reads_words_and_the_painter_finds_figures(page: Any) -> None:
    assert page.locator("#panel .choice label").all_inner_texts()[:5] == [
        *("Daylight", "Warm lamp", "Office light", "Three-band tube", "Neutral LED")
    ]
    shown = page.inner_text("body")
    assert not re.search(r"D65|LED-B3|L\*|µm", shown)
    assert "Approximate" in shown
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    opened = page.inner_text("body")
    assert all(text in opened for text in ("Daylight (D65)", "Neutral LED (LED-B3)", "L* a* b*", "µm"))


# Choosing ------------------------------------------------------------------------------------------------------------


def test_the_choice_comes_home(page: Any, job: Path, tmp_path: Path) -> None:
    """The page's code and text are the ones Python reads, and `agree` writes what was set."""
    assert page.evaluate("Codes.crcText('123456789')") == crc_text("123456789")
    wild = "> Größe \u00a0 e\u0301\r\n>> zwei\tdrei \n"
    assert page.evaluate("t => Codes.normalised(t)", wild) == normalised(wild)
    page.evaluate("Store.choose(0, [4, 2, 2], [100, 85])")
    choose(page)
    board = page.evaluate("Store.data.board")
    assert page.inner_text("#code") == Choice(board, "A", (4, 2, 2), (100, 85)).code
    assert read_code(page.inner_text("#groups")) == read_code(page.inner_text("#code"))
    assert page.locator("#chosen li").all_inner_texts()[:4] == [
        "Your own setting",
        "honey, all over: 4 coats",
        "sea, fades out over 15 mm from the edge (10 % of it stays further in): 2 coats",
        "Solid colour, on the rim, 6 mm wide: 2 coats",
    ]
    assert "sea: mixed 15 % weaker" in page.inner_text("#chosen")
    assert page.inner_text("#goes") == "This goes to Invented Finishes, finish@example.org."
    page.focus("#note")
    page.keyboard.type("Schön so!")
    page.keyboard.press("Enter")
    page.keyboard.type("<script>window.caught=2</script> 🎻")
    assert page.locator("#dialog").is_visible()
    text = page.evaluate("Choose.message().text")
    note = "Schön so! <script>window.caught=2</script> 🎻"
    assert read_agreement(text, source="text").note == note
    assert re.search(r"^Chosen on: 20\d\d-\d\d-\d\d$", text, re.MULTILINE)
    assert page.get_attribute("#send", "href").startswith("mailto:finish@example.org?subject=Chosen")
    with page.expect_download() as download:
        page.click("#save")
    answer = tmp_path / "answer.txt"
    download.value.save_as(answer)
    agreed = agree(str(answer), job=job)
    assert [coat.coats for coat in load_scheme(agreed.scheme).coats] == [4, 2, 2]
    assert read_lines(job / LOG_NAME).entries[-1].values["note"] == note
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.id") == "choose"


def test_what_is_chosen_is_what_is_shown(page: Any) -> None:
    choose(page)
    assert page.locator("#as-likely").is_hidden()
    proposed = brightness(page)
    page.keyboard.press("Escape")
    page.evaluate("Store.set({ bare: true, film: 'high' })")
    page.keyboard.press("Enter")
    wait_for(page, SETTLED)
    assert page.locator("#as-likely").is_visible()
    assert page.evaluate("[Store.state.bare, Store.state.film]") == [False, "likely"]
    assert brightness(page) == pytest.approx(proposed, abs=0.01)
    page.keyboard.press("Escape")
    page.focus("#depth")
    page.keyboard.press("End")
    choose(page)
    wait_for(page, SETTLED)
    assert page.inner_text("#chosen li >> nth=0") == "As deep as it goes"
    assert brightness(page) < proposed - 2


def test_a_choice_goes_to_the_address_on_a_phone_too(page: Any) -> None:
    """What a phone passes on by its own list of programs has no address in it."""
    choose(page)
    shared, told = page.evaluate(
        """() => {
          let shared = false;
          const coarse = window.matchMedia;
          Object.defineProperty(navigator, 'share', {
            configurable: true, value: () => { shared = true; return Promise.resolve(); },
          });
          window.matchMedia = () => ({ matches: true });
          document.addEventListener('click', (event) => event.preventDefault(), { once: true });
          document.getElementById('send').click();
          delete navigator.share;
          window.matchMedia = coarse;
          return [shared, document.getElementById('done').textContent];
        }"""
    )
    assert not shared
    assert told == board_words()["mail_opened"]


def test_the_browsers_own_way_back_leads_out_of_the_dialog(page: Any) -> None:
    page.evaluate("history.pushState({ option: 0 }, '')")
    choose(page)
    page.evaluate("history.back()")
    wait_for(page, "Store.state.option === null")
    assert page.locator("#dialog").is_hidden()


def test_nothing_is_called_fixed_that_can_be_moved(page: Any) -> None:
    """A coat that hides may be let move where no dye may: the slider has no steps then, and the coats are folded."""
    fixed = """(open) => {
      const option = Store.data.options[0], was = JSON.stringify([option.coats, option.mixes]);
      const hides = option.coats.find((one) => !one.mix), panel = document.getElementById('panel');
      option.coats.forEach((one) => { one.fewest = one.most = one.coats; });
      option.mixes.forEach((one) => { one.weakest = one.strongest = 100; });
      hides.most += open;
      Store.set({ option: 0 });
      const fixed = panel.innerText.includes(Store.words.depth_fixed);
      const told = [fixed, Boolean(document.getElementById('fold-coats'))];
      [option.coats, option.mixes] = JSON.parse(was);
      Store.set({ option: 0 });
      return told;
    }"""
    assert page.evaluate(fixed, 1) == [False, True]
    assert page.evaluate(fixed, 0) == [True, False]


def test_send_stays_in_reach_however_small_the_window(page: Any) -> None:
    """320 by 256: a window of 1280 by 1024 at 400 % (WCAG 2.2, 1.4.10); and a phone on its side."""
    choose(page)
    for width, height in ((320, 256), (844, 390), (320, 640)):
        page.set_viewport_size({"width": width, "height": height})
        send = page.locator("#send").bounding_box()
        assert send["y"] >= 0
        assert send["y"] + send["height"] <= height
        inside = "(e) => [e.scrollWidth - e.clientWidth, e.clientHeight]"
        over, tall = page.eval_on_selector("#dialog-in", inside)
        assert over <= 0
        assert tall >= 80
        page.focus("#close")
        page.focus("#note")
        note = page.locator("#note").bounding_box()
        assert note["y"] + 30 <= send["y"]  # the line that is written in


# Kept, and begun again -----------------------------------------------------------------------------------------------


def test_a_reload_keeps_what_was_set_and_no_other_board_s(chromium: Any, html: Path) -> None:
    context = chromium.new_context(viewport=PHONE)
    page = context.new_page()
    page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")  # nothing to draw: soon loaded
    page.goto(html.as_uri())
    page.evaluate("Store.choose(1, [5, 1, 2], [110, 90]); Store.set({ option: 1, light: 'A', film: 'low' })")
    kept = "[Store.state.option, Store.state.light, Store.state.film, Store.state.set[1]]"
    page.reload()
    assert page.evaluate(kept) == [1, "A", "likely", {"coats": [5, 1, 2], "strength": [110, 90]}]
    keys = page.evaluate("Object.keys(localStorage)")
    assert keys == [f"board {page.evaluate('Store.data.board')}"]
    proposed = {"coats": [3, 2, 2], "strength": [100, 100]}
    for wrong in (
        '{"set": [null, {"coats": [6, 1, 2], "strength": [110, 90]}], "option": 7, "light": "B"}',
        '{"set": [[], {"coats": [2.5, 1, 2], "strength": [110, 90]}], "option": "0", "light": 3}',
        '{"set": {"1": 2}, "option": -1}',
        "[nothing",
        "null",
    ):
        page.evaluate("([key, text]) => localStorage.setItem(key, text)", [keys[0], wrong])
        page.reload()
        assert page.evaluate(kept) == [None, "D65", "likely", proposed]
    context.close()


def test_all_can_be_begun_again(page: Any) -> None:
    page.evaluate("Store.choose(0, [5, 1, 2], [110, 90])")
    page.click("#again")
    assert page.evaluate("[Store.state.option, Store.state.set[0].coats]") == [None, [3, 2, 2]]


# Safe ----------------------------------------------------------------------------------------------------------------


def test_nothing_is_asked_of_the_network_and_names_are_text(page: Any, html: Path) -> None:
    at_option(page, 1)
    fold(page, "coats")
    assert page.inner_text("h1") == EVIL + "!"
    assert EVIL in page.inner_text("#panel h2")
    assert "<b onclick=x>honey" in page.inner_text("#panel")
    choose(page)
    assert EVIL in page.inner_text("#dialog-name")
    assert page.evaluate("window.caught === undefined && !document.querySelector('img[src=x], b[onclick]')")
    assert [url for url in page.requested if not url.startswith(("data:", "blob:"))] == [html.as_uri()]


def test_the_policy_blocks_inline_handlers_and_foreign_scripts(opened: Any) -> None:
    blocked = opened.evaluate(
        """async () => {
          const seen = [];
          document.addEventListener("securitypolicyviolation", (e) => seen.push(e.effectiveDirective));
          const box = document.createElement("div");
          box.innerHTML = '<button id="trap" onclick="window.caught=1">x</button>';
          document.body.append(box);
          document.getElementById("trap").click();
          const script = document.createElement("script");
          script.textContent = "window.caught=2";
          document.body.append(script);
          await fetch("https://example.com/").catch(() => null);
          await new Promise((done) => setTimeout(done, 50));
          box.remove();
          script.remove();
          return { seen, caught: window.caught === undefined };
        }"""
    )
    opened.wrong.clear()
    assert blocked["caught"]
    assert {"script-src-attr", "script-src-elem", "connect-src"} <= set(blocked["seen"])


# Everybody -----------------------------------------------------------------------------------------------------------


def test_nothing_sticks_out_and_a_thumb_hits_all(page: Any) -> None:
    """44 px: WCAG 2.2, 2.5.5. Five lights, a long name, folds open; all options, one, and pictures alone."""
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    small = """() => [...document.querySelectorAll(
      'button, a.button, select, summary, .choice label, .tick, input[type=range]')].filter((e) =>
        e.checkVisibility() && Math.round(e.getBoundingClientRect().height) < 44).map((e) => e.outerHTML)"""
    for width in (320, 390, 844):
        page.set_viewport_size({"width": width, "height": 640})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(small) == []
    page.evaluate("Store.set({ option: null })")
    page.set_viewport_size({"width": 320, "height": 640})
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.evaluate("document.documentElement.classList.add('plain')")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.evaluate("document.documentElement.classList.remove('plain')")


def test_what_is_chosen_shows_in_forced_colours(page: Any) -> None:
    page.emulate_media(forced_colors="active")
    looks = page.evaluate(
        """['light-D65', 'light-A'].map((id) => {
          const style = getComputedStyle(document.querySelector('label[for="' + id + '"]'));
          return style.backgroundColor + style.color;
        })"""
    )
    thumb = page.evaluate("getComputedStyle(document.getElementById('depth')).appearance")
    page.emulate_media(forced_colors="none")
    assert looks[0] != looks[1]
    assert thumb == "auto"


def test_axe_finds_nothing_serious(chromium: Any, html: Path, axe: str) -> None:
    context = chromium.new_context(viewport=PHONE, bypass_csp=True, reduced_motion="reduce")
    page = context.new_page()
    page.goto(html.as_uri())
    page.evaluate(axe)
    found = {}

    def look(state: str) -> None:
        result = page.evaluate("axe.run(document, { resultTypes: ['violations'] })")
        told = [(v["id"], v["impact"], [n["html"][:160] for n in v["nodes"][:3]]) for v in result["violations"]]
        found[state] = [v for v in told if v[1] in ("serious", "critical")]

    look("all options")
    at_option(page, 0)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    look("one option, all open")
    page.emulate_media(forced_colors="active")
    choose(page)
    look("forced colours, choosing")
    page.emulate_media(forced_colors="none")
    look("choosing")
    page.evaluate("document.getElementById('dialog').close()")
    page.evaluate("document.documentElement.classList.add('plain'); document.getElementById('live').hidden = true")
    look("pictures")
    context.close()
    assert {state: told for state, told in found.items() if told} == {}


# Languages -----------------------------------------------------------------------------------------------------------


def test_words_follow_the_language_that_is_chosen(page: Any) -> None:
    assert "Solid colour 2 coats" in page.get_attribute("#stage", "aria-label")  # the page's first language is German
    page.select_option("#language", "de")
    try:
        assert page.evaluate("[document.documentElement.lang, document.documentElement.dir]") == ["de", "ltr"]
        assert page.locator("#language option").all_inner_texts() == ["Deutsch", "English"]
        assert page.inner_text("#choose") == "Vorschlag A nehmen"
        assert page.inner_text("#depth-says") == "wie vorgeschlagen"
        fold(page, "coats")
        assert "honey, überall: " not in page.inner_text("#fold-coats")
        choose(page)
        assert page.inner_text("#dialog-title") == "Sie wählen Vorschlag A"
        assert read_agreement(page.evaluate("Choose.message().text"), source="text").choice.option == "A"
        left = page.evaluate(
            """() => {
              const english = new Set(Object.values(Store.data.words.en).filter((text) => text.length > 12));
              return [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility() &&
                e.children.length === 0 && english.has(e.textContent)).map((e) => e.outerHTML);
            }"""
        )
        assert left == []
    finally:
        page.evaluate("Store.set({ lang: 'en' })")


def test_a_language_from_right_to_left(chromium: Any, html: Path, tmp_path: Path) -> None:
    """Made-up words: the page turns round, names stay as they are written, and nothing sticks out."""
    text = html.read_text(encoding="utf-8")
    block = re.search(r'(<script type="application/json" id="data">)(.*?)(</script>)', text, re.DOTALL)
    assert block is not None
    data = json.loads(block[2])
    turned = {"lang": "ar", "choose": "שלום {letter}", "depth": "שלום", "depth_proposed": "שלום"}
    data["languages"], data["directions"] = ["en", "ar"], {"en": "ltr", "ar": "rtl"}
    data["words"] = {"en": data["words"]["en"], "ar": {**board_words(), **turned}}
    for option in data["options"]:
        for coat in option["coats"]:
            coat["where"]["ar"], coat["label"]["ar"] = "שלום", coat["label"]["en"]
    path = tmp_path / "board.html"
    path.write_text(text.replace(block[0], block[1] + json_block(data) + block[3]), encoding="utf-8")
    context = chromium.new_context(viewport=PHONE, locale="ar-EG", reduced_motion="reduce")
    page = context.new_page()
    page.goto(path.as_uri())
    page.evaluate("Store.set({ option: 0 })")
    assert page.evaluate("[document.documentElement.lang, document.documentElement.dir]") == ["ar", "rtl"]
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    less, more = (page.locator(f"#{name}").bounding_box()["x"] for name in ("paler", "deeper"))
    assert less > more
    name = page.locator("#panel h2 bdi")
    assert name.inner_text() == LONG
    assert name.evaluate("(e) => getComputedStyle(e).unicodeBidi") == "isolate"
    page.focus("#depth")
    page.keyboard.press("ArrowLeft")
    assert page.evaluate(
        "Number(document.getElementById('depth').value) > Depth.positions(Store.data.options[0]).middle"
    )
    context.close()


# Without what most have ----------------------------------------------------------------------------------------------


def test_without_scripts_there_are_pictures_and_codes(chromium: Any, html: Path) -> None:
    context = chromium.new_context(viewport=PHONE, java_script_enabled=False)
    page = context.new_page()
    page.goto(html.as_uri())
    assert page.locator("#live").is_hidden()
    assert "heller oder kräftiger" in page.inner_text("#notice")  # the first language is that of print
    images = page.locator(".option img")
    assert images.count() == 2 * 6
    first = images.first.bounding_box()
    assert first["width"] >= 0.9 * PHONE["width"]
    codes = page.locator(".ready .code").all_inner_texts()
    assert [(read_code(code).option, read_code(code).coats) for code in codes] == [("A", (3, 2, 2)), ("B", (3, 2, 2))]
    assert first["y"] < page.locator(".ready").first.bounding_box()["y"]
    assert page.locator(".tables").first.is_hidden()
    assert page.locator("[data-choose]").first.is_hidden()
    # Nothing wider than the phone. (Without scripts the page cannot be asked: a picture of all of it can.)
    assert Image.open(io.BytesIO(page.screenshot(full_page=True))).width == PHONE["width"]
    context.close()


def test_without_webgl_the_pictures_take_over_and_can_be_chosen(chromium: Any, html: Path) -> None:
    context = chromium.new_context(viewport=LAPTOP, locale="en-US")
    page = context.new_page()
    page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
    page.goto(html.as_uri())
    assert page.locator("#live").is_hidden()
    assert "no WebGL 2" in page.inner_text("#notice")
    page.click("[data-choose='1']")
    assert page.locator("#chosen-still").is_visible()
    assert read_code(page.inner_text("#code")).option == "B"
    page.click("#close")
    assert page.evaluate("document.activeElement.dataset.choose") == "1"
    context.close()


def test_a_print_has_pictures_and_codes_first(page: Any) -> None:
    page.evaluate("Store.set({ option: null })")
    page.emulate_media(media="print")
    shown = [page.locator(name).first.is_visible() for name in (".option img", ".ready .code", ".coats")]
    hidden = [page.locator(name).first.is_hidden() for name in ("#all", "#look", ".judge", ".ready a", "#language")]
    page.emulate_media(media="screen")
    assert shown == [True] * 3
    assert hidden == [True] * 5


def test_in_firefox(html: Path) -> None:
    if firefox_path() is None:
        pytest.skip("no Firefox on this machine (apt-get install firefox-esr)")
    with firefox() as fox:
        fox.set_size(390, 560)
        fox.goto(html.as_uri())
        fox.wait_for("document.querySelector('.tile-button')")
        fox.click(".tile-button", touch=True)
        fox.wait_for(SETTLED)
        fox.evaluate("document.getElementById('depth').focus()")
        fox.press("ArrowRight", "ArrowRight")
        set_by_keys = fox.evaluate("Store.state.set[0]")
        fox.evaluate("document.getElementById('choose').focus()")
        fox.press("Enter")
        fox.wait_for(DRAWN)
        chosen = read_code(fox.evaluate("document.getElementById('code').textContent"))
        assert {"coats": list(chosen.coats), "strength": list(chosen.strength_percent)} == set_by_keys
        assert set_by_keys != {"coats": [3, 2, 2], "strength": [100, 100]}
        fox.press("Escape")
        assert fox.evaluate("document.activeElement.id") == "choose"
        assert fox.evaluate("document.documentElement.scrollWidth") <= 390
