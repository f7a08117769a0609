"""What the desk shows is what Python renders of the same file: these tests exist for a page whose picture lags behind
the text, and for a pull that shows another colour than the change that is written when it ends."""

from __future__ import annotations

import base64
import io
import json
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from layerpreview.finish.view import SURROUNDINGS
from layerpreview.picture.lifelike import lifelike_of
from layerpreview.scheme import load_scheme

from .desk_page import SETTLED, ChromiumPage, RunningDesk
from .live_truth import Setting, apart, rendered

pytestmark = [pytest.mark.browser, pytest.mark.slow]

WIDTH_PX = 420
EDITS = 20
WINDOW = SURROUNDINGS["window"]
_FIRST = """(function look() {
  const frame = document.getElementById("frame");
  if (frame && !frame.hidden && frame.naturalWidth && !(window.desk && desk.picture.drawn)) window.sawFirst = true;
  requestAnimationFrame(look);
})()"""
_PIXELS = """(() => {
  const live = desk.picture.live, canvas = live.canvas;
  canvas.width = WIDTH; canvas.height = HEIGHT;
  live.finish();
  live.draw();
  const gl = live.gl, pixels = new Uint8Array(4 * WIDTH * HEIGHT);
  gl.bindFramebuffer(gl.FRAMEBUFFER, null);
  gl.readPixels(0, 0, WIDTH, HEIGHT, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
  let text = "";
  for (let i = 0; i < pixels.length; i += 32768) text += String.fromCharCode.apply(null, pixels.subarray(i, i + 32768));
  return btoa(text);
})()"""


def shown(page: ChromiumPage, width_px: int, height_px: int) -> NDArray[np.uint8]:
    """What the desk's canvas shows at a size, 8-bit sRGB (rows, cols, 3)."""
    data = base64.b64decode(page.evaluate(_PIXELS.replace("WIDTH", str(width_px)).replace("HEIGHT", str(height_px))))
    return np.frombuffer(data, dtype=np.uint8).reshape(height_px, width_px, 4)[::-1, :, :3]


def size_of(scheme_path: Path) -> tuple[int, int]:
    size = lifelike_of(load_scheme(scheme_path), WINDOW, width_px=WIDTH_PX)
    return size.width_px, size.height_px


def drawn_by_lot(chance: random.Random) -> dict[str, Any]:
    """A change as somebody might make it."""
    coat = chance.randrange(6)
    return chance.choice(
        [
            {"do": "set", "at": ["coat", coat, "coats"], "to": chance.randint(1, 5)},
            {"do": "set", "at": ["coat", coat, "film"], "to": chance.choice(["light", "medium", "wet", "33 um"])},
            {"do": "set", "at": ["mix", "honey", "dyes", "amber"], "to": f"{chance.uniform(7, 28):.3g} mL/L"},
            {"do": "set", "at": ["mix", "plum", "dyes", "violet"], "to": f"{chance.uniform(7, 28):.3g} mL/L"},
            {"do": "set", "at": ["coat", 1, "burst", "width"], "to": f"{chance.randint(30, 120)} mm"},
        ]
    )


def test_what_was_shown_last_is_there_before_anything_is_drawn(open_desk: Any, desk: RunningDesk) -> None:
    """It is what the canvas shows, but for what JPEG costs, and goes once that stands. It comes before the tests that
    change the file: the band that tells of it makes the view another shape."""
    page = open_desk()
    page.wait_for("(await fetch('/first.jpg')).status === 200")
    told = page.evaluate("Array.from(new Uint8Array(await (await fetch('/first.jpg')).arrayBuffer()))")
    first = np.asarray(Image.open(io.BytesIO(bytes(told))))
    again = open_desk(before=_FIRST)
    assert again.evaluate("window.sawFirst && document.getElementById('frame').hidden")
    height, width = first.shape[:2]
    apart_codes = np.abs(first.astype(float) - shown(again, width, height))
    assert apart_codes.mean() < 2.0
    assert np.ptp(first) > 150


def test_the_picture_comes_before_what_is_worked_out_beside_it(open_desk: Any, desk: RunningDesk) -> None:
    """Another relief: nothing that the machine could be slowed by is asked for until it is seen."""
    page = open_desk()
    page.wait_for(SETTLED)
    heard: list[str] = []
    page.page.on("request", lambda asked: heard.append(asked.url))
    page.page.on("response", lambda answer: heard.append(f"{answer.url} answered"))
    desk.scheme.write_text(desk.text().replace('cell = "11 mm"', 'cell = "9 mm"'), encoding="utf-8")
    page.wait_for(f"desk.store.state.version !== {json.dumps(page.evaluate('desk.spot.told.version'))}")
    page.wait_for(SETTLED)
    page.wait_for("document.getElementById('figures').getAttribute('aria-busy') === 'false'")
    picture = next(k for k, url in enumerate(heard) if "/api/picture" in url and url.endswith(" answered"))
    beside = [k for k, url in enumerate(heard) if "/api/spot" in url or "/api/figures" in url]
    assert min(beside) > picture
    assert sum("/api/figures" in heard[k] for k in beside) == 2  # asked for once, and answered


def test_after_random_edits_it_is_what_python_renders(open_desk: Any, desk: RunningDesk) -> None:
    """Mean dE00 over the part at most 0.3."""
    page, chance = open_desk(), random.Random(16)
    for _ in range(EDITS):
        page.evaluate(f"desk.edit('by lot', [{json.dumps(drawn_by_lot(chance))}])")
    page.wait_for("desk.picture.data.version === desk.store.state.version")
    full = page.evaluate("desk.picture.data.width_px")
    wanted, cover = rendered(load_scheme(desk.scheme), WINDOW, Setting("D65"), width_px=full)
    found = apart(shown(page, wanted.shape[1], wanted.shape[0]), wanted)[cover > 0.5]
    print(float(found.mean()), float(np.percentile(found, 99)))
    assert found.mean() <= 0.3


PULLS: list[tuple[tuple[str, Any, float], dict[str, Any]]] = [
    (("coats", 0, 5), {"do": "set", "at": ["coat", 0, "coats"], "to": 5}),
    (("films", 0, 65), {"do": "set", "at": ["coat", 0, "film"], "to": "65 um"}),
    (("amounts", "plum,violet", 25), {"do": "set", "at": ["mix", "plum", "dyes", "violet"], "to": "25 mL/L"}),
    (("widths", "1,0", 110), {"do": "set", "at": ["coat", 1, "burst", "width"], "to": "110 mm"}),
]


def test_a_pull_shows_what_will_be_written(open_desk: Any, desk: RunningDesk) -> None:
    """Without asking the desk: mean dE00 against the picture of the written change at most 0.3, for every pull."""
    page = open_desk()
    size = size_of(desk.scheme)
    for pull, change in PULLS:
        before = shown(page, *size)
        kind, key, to = (json.dumps(value) for value in pull)
        page.evaluate(f"desk.pull({kind}, {key}, {to})")
        page.page.wait_for_timeout(200)
        pulled = shown(page, *size)
        page.evaluate(f"desk.letGo({kind}, {key}, 'pulled', [{json.dumps(change)}])")
        page.wait_for("desk.picture.data.version === desk.store.state.version")
        page.page.wait_for_timeout(200)
        written = shown(page, *size)
        assert apart(before, written).mean() > 0.5, pull
        assert apart(pulled, written).mean() <= 0.3, pull
