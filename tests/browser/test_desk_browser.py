"""The desk's page in a real browser: these tests exist for a control that only one kind of hand can use, a change that
does not reach the file, a picture that shows another scheme than the file holds, and a page that cannot be read."""

from __future__ import annotations

import itertools
import json
import math
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import affinity

from .conftest import COARSE, SAMPLE, SIZES, Opened
from .desk_page import READY, SETTLED, ChromiumPage, Page, RunningDesk, running_desk, strip, tab_to

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SCALE = COARSE
WIDTH_400, HEIGHT_400 = 342, 192
"""A laptop's screen at 400 %, in its own pixels."""


APART = (
    "(() => { const [a, b] = ['.spot b', '.width b'].map((one) => document.querySelector(one).getBoundingClientRect());"
    " const view = document.getElementById('view').getBoundingClientRect();"
    " return [a.right <= b.left || b.right <= a.left || a.bottom <= b.top || b.bottom <= a.top,"
    " b.left >= view.left && b.right <= view.right && b.bottom <= view.bottom]; })()"
)
"""Whether the mark of the section and the tag of a width lie beside each other, and the tag on the picture."""
BURSTS = """burst = [
  { from = "heart", width = "18 mm" },
  { from = "line", at = ["100 mm", "260 mm"], angle = 30, width = "14 mm", face = "front" },
  { from = "centre", at = ["150 mm", "330 mm"], width = "30 mm", face = "front" },
  { from = "openings", width = "9 mm" },
]
"""
HEART = """  [[face.zone]]
  name = "heart"
  shape = "panel"
  width = "90 mm"
  height = "70 mm"
  centre = ["210 mm", "300 mm"]
  turn = 20

[[face]]
name = "back"
"""


def no_sideways_scroll(page: Page) -> None:
    wide = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert wide[0] <= wide[1]


def put_together(page: Page, to: str) -> None:
    """Drag honey's strip past plum's."""
    page.wait_for(SETTLED)
    x, y = page.middle_of(strip(0, "says"))
    _, over = page.middle_of(strip(1, "says"))
    page.drag([(x, y), (x, y - 12), (x, over)])
    page.wait_for(f"desk.store.state.coats.map((coat) => coat.name).join().startsWith({json.dumps(to)})")


def by_mouse(page: Page, desk: RunningDesk) -> None:
    """The whole story with a pointer alone: every control is pulled or pressed, every change is in the file, and undo
    leads back to the text to the byte."""
    x, y = page.middle_of(strip(0, "pull"))
    page.drag([(x, y), (x, y - 30), (x, y - 57)])
    page.wait_for("desk.store.state.coats[0].coats === 5")
    assert 'mix = "honey"\ncoats = 5\n' in desk.text()
    page.wait_for(SETTLED)
    page.click('[data-key="pulls films"]')
    x, y = page.middle_of(strip(0, "pull"))
    page.drag([(x, y), (x, y - 16), (x, y - 29)])
    page.wait_for("desk.store.state.coats[0].film_um.likely === 50")
    assert 'mix = "honey"\ncoats = 5\nfilm = "50 um"\n' in desk.text()
    page.click('[data-key="pulls coats"]')
    page.wait_for(SETTLED)
    page.click(strip(1, "says"))
    page.wait_for("document.querySelector('#mix .dropper')")
    page.click('[data-key="more red"]')
    page.wait_for("desk.store.state.mixes[1].dyes[0].amount === '17.6 mL/L'")
    glass = page.middle_of('[data-key="dropper violet"]')
    page.drag([glass, (glass[0], glass[1] - 12), (glass[0], glass[1] - 20)])
    page.wait_for("desk.store.state.mixes[1].dyes[1].likely > 15")
    page.click('[data-key="rung 2"]')
    page.wait_for("desk.store.state.coats[1].coats === 2")
    page.click('[data-key="film wet"]')
    page.wait_for("desk.store.state.coats[1].film_word === 'wet'")
    tag = page.middle_of(".width")
    page.drag([tag, (tag[0] + 8, tag[1]), (tag[0] + 14, tag[1])])
    page.wait_for("desk.store.state.coats[1].bursts[0].width_mm !== 75")
    put_together(page, "plum,honey")
    page.wait_for(SETTLED)
    page.click(strip(1, "level"))
    page.wait_for("desk.store.look.after === 1")
    page.click(strip(1, "level"))
    page.wait_for("desk.store.look.after === null")
    text = desk.text()
    assert text.index("[[coat]]                           # wide") < text.index('mix = "honey"\ncoats')
    while page.evaluate("desk.store.state.undo"):
        before = page.evaluate("desk.store.state.version")
        page.click("#undo")
        page.wait_for(f"desk.store.state.version !== {json.dumps(before)}")
    assert desk.text() == SAMPLE.read_text(encoding="utf-8")


def test_the_story_without_a_keyboard(open_desk: Opened, desk: RunningDesk) -> None:
    by_mouse(open_desk(), desk)


def test_the_story_without_a_mouse(open_desk: Opened, desk: RunningDesk) -> None:
    """Tab leads everywhere, and every pull has its keys; the focus stays where it was through all redraws."""
    page = open_desk()
    tab_to(page, strip(0, "pull"))
    page.press("ArrowUp", "ArrowUp", "ArrowDown")
    page.wait_for("desk.store.state.coats[0].coats === 4")
    assert page.evaluate(f"document.activeElement.matches({json.dumps(strip(0, 'pull'))})")
    assert "4 coats" in page.evaluate("document.activeElement.getAttribute('aria-valuetext')")
    page.evaluate("desk.look({ pulls: 'films' })")
    page.press("PageUp", "ArrowDown")
    wet = "45 µm wet, 4 coats"
    assert page.evaluate("document.activeElement.getAttribute('aria-valuetext')").startswith(wet)
    assert page.evaluate(f"document.querySelector('{strip(0, 'second')}').textContent") == wet
    page.wait_for("desk.store.state.undo === 'honey: wet film 45 µm'")
    page.evaluate("desk.store.state.units = 'US'")
    page.press("ArrowUp")
    page.wait_for("desk.store.state.undo === 'honey: wet film 2 mil'")
    assert 'mix = "honey"\ncoats = 4\nfilm = "2 mil"\n' in desk.text()
    page.evaluate("desk.look({ pulls: 'coats' })")
    tab_to(page, strip(0, "take"), back=True)
    page.press("Alt+ArrowUp")
    page.wait_for("desk.store.state.coats[1].name === 'honey'")
    page.wait_for(f"document.activeElement.matches({json.dumps(strip(1, 'take'))})")
    page.press("Alt+ArrowDown")
    page.wait_for("desk.store.state.coats[0].name === 'honey'")
    page.press("Enter")
    tab_to(page, '[data-key="dropper amber"]')
    page.press("PageUp")
    page.wait_for("desk.store.state.mixes[0].dyes[0].likely === 21")
    tab_to(page, '[data-key="amount amber"]')
    page.press("Control+A", *"12,5", "Enter")
    page.wait_for("desk.store.state.mixes[0].dyes[0].amount === '12.5 mL/L'")
    page.press("Escape")
    page.wait_for("desk.store.look.bench === 'figures'")
    tab_to(page, "#picture", back=True)
    page.press("ArrowRight", "ArrowRight", "+")
    assert page.evaluate("[desk.picture.pose.yaw, desk.picture.pose.zoom]") == [10, 1.25]
    page.press("Home")
    tab_to(page, ".spot")
    page.press("Shift+ArrowRight", "Shift+ArrowRight")
    page.wait_for("!document.querySelector('.spot').getAttribute('aria-label').includes('35 mm')")
    assert page.evaluate("desk.store.look.spot.x_mm") > 100
    page.press("Control+z")
    page.wait_for("desk.store.state.mixes[0].dyes[0].likely === 21")


def test_fingers(open_desk: Opened, desk: RunningDesk) -> None:
    """On a phone: pull a tag, hold a strip to move it, touch the part, turn it, and two fingers bring it closer."""
    page = open_desk("phone", has_touch=True, is_mobile=True)
    no_sideways_scroll(page)
    x, y = page.middle_of(strip(0, "pull"))
    page.drag([(x, y), (x, y - 15), (x, y - 30)], touch=True)
    page.wait_for("desk.store.state.coats[0].coats === 4")
    page.wait_for(SETTLED)
    x, y = page.middle_of(strip(0, "says"))
    _, over = page.middle_of(strip(1, "says"))
    page.hold_and_drag([(x, y), (x, y - 20), (x, over)], 400)
    page.wait_for("desk.store.state.coats[1].name === 'honey'")
    page.wait_for(SETTLED)
    page.hold_and_drag([page.middle_of(strip(1, "says"))], 400)  # a slow touch that goes nowhere
    page.wait_for("desk.store.look.open === 1")
    page.evaluate("desk.look({ bench: 'film', open: null })")
    at = page.evaluate("(() => { const p = desk.picture.live.place('head', 46, 95); return [p.x, p.y]; })()")
    page.drag([(round(at[0]), round(at[1]))], touch=True)
    page.wait_for("desk.store.look.spot.face === 'head'")
    page.drag([(150, 200), (170, 200), (200, 200)], touch=True)
    assert page.evaluate("desk.picture.pose.yaw") > 5
    yaw, spot = page.evaluate("[desk.picture.pose.yaw, desk.store.look.spot]")
    page.pinch((180, 200), 60, 120)
    assert page.evaluate("desk.picture.pose.zoom") == pytest.approx(2.0, rel=0.02)
    assert page.evaluate("[desk.picture.pose.yaw, desk.store.look.spot]") == [yaw, spot]
    assert page.evaluate("[visualViewport.scale, scrollY]") == [1, 0]
    small = page.evaluate(
        "[...document.querySelectorAll('button, select, [role=slider]')].filter((e) => e.offsetParent)"
        ".map((e) => [e.className || e.id || e.dataset.key, e.offsetWidth, e.offsetHeight])"
        ".filter(([, w, h]) => w < 44 || h < 44)"
    )
    assert small == []


def test_a_dye_a_coat_a_tape_line_and_a_mask(open_desk: Opened, desk: RunningDesk) -> None:
    """What is added is in the file as a person would write it."""
    page = open_desk()
    page.click(strip(1, "says"))
    page.click_when('[data-key="add dye"]')
    page.click_when('[data-key="dye blue"]')
    page.wait_for("desk.store.state.mixes[1].dyes.length === 3")
    assert 'library = "blue"' in desk.text()
    page.click('[data-key="add"]')
    page.click_when('[data-key="new dye"]')
    page.click_when('[data-key="dye green"]')
    page.wait_for("desk.store.state.coats.length === 7")
    assert page.evaluate("desk.store.state.coats[6].name") == "green"
    page.wait_for("desk.store.look.open === 6")
    page.wait_for(f"{SETTLED} && desk.picture.shown === desk.store.state")
    page.click('[data-key="tape"]')
    for x_mm, y_mm in ((90, 330), (230, 330)):
        at = page.evaluate(
            f"(() => {{ const p = desk.picture.live.place('front', {x_mm}, {y_mm}); return [p.x, p.y]; }})()"
        )
        page.drag([(round(at[0]), round(at[1]))])
    page.wait_for("document.querySelector('[data-key=\"own\"]')")
    assert page.evaluate("document.querySelector('[data-key=\"own\"]').textContent") == "Spray below it"
    page.click('[data-key="own"]')
    page.wait_for("desk.store.state.coats[6].zones.join() === 'tape'")
    assert page.evaluate("desk.store.state.faces[0].zones[1].name") == "tape"
    at = page.evaluate("(() => { const p = desk.picture.live.place('front', 160, 62); return [p.x, p.y]; })()")
    page.drag([(round(at[0]), round(at[1]))])
    page.click_when('[data-key="mask fretboard seat"]')
    page.wait_for("desk.store.state.faces[0].zones[0].masked === false")


def test_it_fits_and_can_be_read(open_desk: Opened, axe: str) -> None:
    """No sideways scroll at any size, and axe-core finds nothing in any state."""
    page = open_desk("laptop")
    found = {}
    for size, state in itertools.product(SIZES, ("film", "mix", "figures", "judge", "versions")):
        width, height = SIZES[size]
        page.page.set_viewport_size({"width": width, "height": height})
        if state == "mix":
            page.evaluate("desk.look({ bench: 'mix', open: 1, after: 0 })")
            page.wait_for("document.querySelector('.width')")
            page.wait_for(f"{APART}.every(Boolean)")
        else:
            page.evaluate(f"desk.look({{ bench: '{state}', open: null, after: null }})")
        page.page.wait_for_timeout(150)
        no_sideways_scroll(page)
        if size in ("phone", "laptop"):
            found[size, state] = broken_rules(page, axe)
    assert {state: rules for state, rules in found.items() if rules} == {}


def broken_rules(page: ChromiumPage, axe: str) -> list[str]:
    if not page.page.evaluate("'axe' in window"):
        page.page.evaluate(axe)
    return list(
        page.page.evaluate(
            "async () => (await axe.run(document)).violations"
            ".map((v) => v.id + ': ' + v.nodes.map((n) => n.html.slice(0, 120)).join(' | '))"
        )
    )


def test_threads_of_a_zone_a_line_a_point_and_every_opening(open_desk: Opened, desk: RunningDesk) -> None:
    """Each lies where its burst has faded out (by shapely, or by hand), is pulled on the picture and says its mm."""
    text = desk.text().replace('burst = { from = "outline", width = "75 mm", fall_off = "soft" }\n', BURSTS)
    desk.scheme.write_text(text.replace('[[face]]\nname = "back"\n', HEART), encoding="utf-8")
    page = open_desk()
    found = page.page.evaluate(
        "async () => { const { faded } = await import('/static/rings.js'), { faces, coats } = desk.store.state;"
        " return coats[1].bursts.map((one) => faded(faces[0], one, one.width_mm).flatMap(({ points }) => points)); }"
    )
    zone, line, point, openings = [np.array(points) for points in found]
    heart = affinity.rotate(shapely.box(165.0, 265.0, 255.0, 335.0), 20.0, origin=(210.0, 300.0))
    inside = shapely.contains_xy(heart, *zone.T)
    assert inside.all()
    assert shapely.distance(heart.boundary, shapely.points(zone)) == pytest.approx(18.0, abs=0.4)
    across = (line - [100.0, 260.0]) @ [math.cos(math.radians(30.0)), math.sin(math.radians(30.0))]
    assert np.abs(across) == pytest.approx(14.0, abs=0.01)
    assert sorted({round(float(away)) for away in across}) == [-14, 14]
    assert np.hypot(*(point - [150.0, 330.0]).T) == pytest.approx(30.0, abs=0.01)
    cable = np.hypot(*(openings - [252.0, 318.0]).T) < 40.0
    assert np.hypot(*(openings[cable] - [252.0, 318.0]).T) == pytest.approx(15.0, abs=0.5)
    assert (~cable).any()
    page.evaluate("desk.look({ bench: 'mix', open: 1 })")
    page.wait_for("document.querySelectorAll('.width').length === 4")
    assert page.evaluate("document.querySelector('[data-key=\"width 1,2\"]').textContent") == "30 mm"
    for k, width_mm in ((0, 18), (2, 30)):
        x, y = page.middle_of(f'[data-key="width 1,{k}"]')
        page.drag([(x, y), (x + 4, y - 4), (x + 7, y - 7)])
        page.wait_for(f"desk.store.state.coats[1].bursts[{k}].width_mm !== {width_mm}")
    widths = page.evaluate("desk.store.state.coats[1].bursts.map((burst) => burst.width_mm)")
    assert all(f'width = "{width:g} mm"' in desk.text() for width in widths)


def test_nothing_moves_by_itself(open_desk: Opened) -> None:
    page = open_desk(reduced_motion="reduce")
    page.click(strip(1, "says"))
    assert page.evaluate("document.getAnimations().length") == 0


CHOSEN = """[...document.querySelectorAll('.words, .rungs, .join')].filter((e) => e.offsetParent).map((e) => {
  const those = (on) => [...e.querySelectorAll(`[aria-pressed=${on}]`)].filter((b) => b.offsetParent);
  const back = (on) => new Set(those(on).map((b) => getComputedStyle(b).backgroundColor));
  const [on, off] = [back(true), back(false)];
  return !on.size || ![...on].some((colour) => off.has(colour));
})"""


def test_the_systems_colours_large_letters_and_inches(open_desk: Opened, desk: RunningDesk) -> None:
    """What is chosen is told by the system's own colours; at 400 % most of the screen is there to be read; an inches
    job has no mm but in what was written so."""
    page = open_desk(forced_colors="active")
    page.click(strip(1, "says"))
    page.wait_for("document.querySelector('[data-key=\"rung 3\"]')")
    assert page.evaluate(CHOSEN) == [True] * 4
    page.page.set_viewport_size({"width": WIDTH_400, "height": HEIGHT_400})
    page.evaluate("desk.look({ bench: 'figures', open: null })")
    no_sideways_scroll(page)
    assert page.evaluate(
        "[...document.querySelectorAll('.words button')].filter((e) => e.offsetParent && e.scrollWidth > e.clientWidth)"
        ".map((e) => e.textContent)"
    ) == []  # fmt: skip
    # Scrolled to until its figures have come.
    seen = (
        "document.getElementById('figures').scrollIntoView()"
        " || document.elementFromPoint(innerWidth / 2, innerHeight * SHARE)?.closest('.leaf')"
    )
    for share in ("0.1", "0.4", "0.6"):
        page.wait_for(seen.replace("SHARE", share))
    desk.scheme.write_text(desk.text().replace('units = "metric"', 'units = "US"'), encoding="utf-8")
    page.wait_for("document.getElementById('spot-words').textContent.endsWith(' in from the edge')")
    page.wait_for("/fl oz/.test(document.getElementById('figures').textContent)")
    assert not page.evaluate("/mm|µm/.test(document.getElementById('strips').textContent)")


def test_two_windows(open_desk: Opened, desk: RunningDesk) -> None:
    """What one does the other shows; where both meant the same place, it is asked."""
    one, other = open_desk(), open_desk("phone")
    one.evaluate("desk.edit('honey: 4 coats', [{ do: 'set', at: ['coat', 0, 'coats'], to: 4 }])")
    other.wait_for("document.querySelector('[data-key=\"coat 0\"] .pull').textContent === '4×'")
    one.click(strip(0, "says"))
    one.wait_for("document.querySelector('[data-key=\"rung 6\"]')")
    one.evaluate(
        "(async () => { const changes = [{ do: 'set', at: ['coat', 0, 'coats'], to: 2 }];"
        " const body = { base: desk.store.state.version, words: 'x', changes };"
        " await fetch('/api/edit', { method: 'POST', body: JSON.stringify(body) });"
        " document.querySelector('[data-key=\"rung 6\"]').click(); })()"
    )
    one.wait_for("document.querySelector('.band')")
    assert "There it is 2 coats, here 6 coats." in one.evaluate("document.querySelector('.band').textContent")
    one.click('[data-key="mine"]')
    other.wait_for("desk.store.state.coats[0].coats === 6")
    one.wait_for("!document.querySelector('.band')")
    opened_console = [line for line in open_desk.wrong if "409" in line]
    open_desk.wrong[:] = [line for line in open_desk.wrong if "409" not in line]
    assert len(opened_console) == 1


def test_what_cannot_be_is_said(open_desk: Opened, desk: RunningDesk) -> None:
    """A change that the scheme's reader refuses is told in its words, and everything stays as it was."""
    page = open_desk()
    before = desk.text()
    page.evaluate("desk.edit('x', [{ do: 'set', at: ['coat', 0, 'coats'], to: 400 }])")
    page.wait_for("document.querySelector('.band')")
    assert "nothing was changed" in page.evaluate("document.getElementById('bands').textContent")
    page.click('[data-key="dismiss"]')
    page.wait_for("!document.getElementById('bands').textContent.includes('nothing was changed')")
    assert desk.text() == before
    open_desk.wrong[:] = [line for line in open_desk.wrong if "422" not in line]


def test_a_file_changed_by_an_editor_is_shown(open_desk: Opened, desk: RunningDesk) -> None:
    page = open_desk()
    desk.scheme.write_text(desk.text().replace("coats = 3", "coats = 7", 1), encoding="utf-8")
    page.wait_for("desk.store.state.coats[0].coats === 7")
    assert "outside the desk" in page.evaluate("document.getElementById('bands').textContent")
    desk.scheme.write_text("name = ", encoding="utf-8")
    page.wait_for("document.getElementById('bands').textContent.includes('cannot be read')")
    assert page.evaluate("document.querySelectorAll('#strips li').length") == 4


def test_a_desk_that_was_killed_and_started_again(chromium: Any, tmp_path: Path) -> None:
    """The page stays to be looked at and says what to type; the change made just before is in the file."""
    scheme = tmp_path / "my-mandolin" / "scheme.toml"
    scheme.parent.mkdir()
    shutil.copy(SAMPLE, scheme)
    with running_desk(scheme) as first:
        page = ChromiumPage(chromium.new_page(viewport={"width": 1366, "height": 768}, device_scale_factor=COARSE))
        page.page.goto(first.url)
        page.wait_for(READY)
        page.evaluate("desk.edit('honey: 4 coats', [{ do: 'set', at: ['coat', 0, 'coats'], to: 4 }])")
        first.kill()
        page.wait_for("document.querySelector('.band')")
        assert "layerpreview desk" in page.evaluate("document.querySelector('.band').textContent")
        assert page.evaluate("document.querySelectorAll('#strips li').length") == 4
        port = first.url.split(":")[2].split("/")[0]
    with running_desk(scheme, "--port", port) as second:
        page.wait_for("document.querySelector('.band').textContent.includes('started again')")
        page.page.goto(second.url)
        page.wait_for(READY)
        assert page.evaluate("desk.store.state.coats[0].coats") == 4
    page.page.close()


def test_without_webgl_there_are_frames(open_desk: Opened) -> None:
    """The desk draws then; all else is the same."""
    none = "const get = HTMLCanvasElement.prototype.getContext;" + (
        "HTMLCanvasElement.prototype.getContext = function (kind, ...more) "
        "{ return kind === 'webgl2' ? null : get.call(this, kind, ...more); };"
    )
    page = open_desk(before=none)
    page.wait_for("document.getElementById('frame').naturalWidth > 300")
    src = page.evaluate("document.getElementById('frame').src")
    x, y = page.middle_of("#frame")
    page.drag([(x, y), (x + 20, y), (x + 60, y)])
    page.wait_for(f"document.getElementById('frame').src !== {json.dumps(src)}")
    page.click(strip(0, "says"))
    page.click('[data-key="rung 5"]')
    page.wait_for("desk.store.state.coats[0].coats === 5")


def test_more_bands_than_the_chip_takes_are_drawn_by_the_desk(open_desk: Opened) -> None:
    """A plain line says so, nothing is black and nothing goes wrong; where it fits again the page draws it itself."""
    few = "const get = WebGL2RenderingContext.prototype.getParameter; window.units = 4;" + (
        "WebGL2RenderingContext.prototype.getParameter = function (name) "
        "{ return name === this.MAX_TEXTURE_IMAGE_UNITS ? window.units : get.call(this, name); };"
    )
    page = open_desk("small", before=few)
    page.wait_for("document.getElementById('frame').naturalWidth > 300")
    assert page.evaluate("document.getElementById('drawn-by').textContent").endswith("some seconds after each change.")
    assert page.evaluate("[document.getElementById('picture').hidden, desk.picture.live]") == [True, None]
    page.evaluate("(window.units = 32, desk.edit('x', [{ do: 'set', at: ['clear', 'coats'], to: 3 }]))")
    page.wait_for("desk.picture.live && desk.picture.data")
    assert page.evaluate(
        "[document.getElementById('frame').hidden, document.getElementById('drawn-by').textContent]"
    ) == [
        True,
        "",
    ]
