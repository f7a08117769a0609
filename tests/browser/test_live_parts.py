"""Every kind of part in the live picture: these tests exist for a base, an opening, a burst or a seat that the shader
has otherwise than Python, and for a touch that tells another place."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from layerpreview.answers.uneven import UnevenFace
from layerpreview.finish.view import EVEN_LIGHT, SURROUNDINGS, Surroundings
from layerpreview.output.live import live_picture
from layerpreview.output.live_laid import laid_face
from layerpreview.picture.lifelike import lifelike_of
from layerpreview.scheme import Scheme, load_scheme
from layerpreview.surface.sample import PixelGrid

from ..schemes import DYES, HEAD, HOLE, HONEY, MAPLE, MIXES, PANEL, RELIEF, RIM, SEA_BURST, SILVER, WHITE
from .live_page import LiveServer, loaded, shown
from .live_truth import Setting, apart, rendered

pytestmark = [pytest.mark.browser, pytest.mark.slow]
Save = Callable[..., Path]

WIDTH_PX = 260
COATS = DYES + MIXES + HONEY + SEA_BURST + RIM
BACK, SIDE = (
    PANEL.replace('"front"', '"back"'),
    '[[face]]\nname = "side"\nshape = "side"\nof = "front"\ndepth = "17 mm"\n',
)
SEAT = '[[face.zone]]\nname = "seat"\nshape = "panel"\nwidth = "11 mm"\nheight = "20 mm"\ncentre = ["45 mm", "16 mm"]\n'
TUBE = '[[face]]\nname = "shell"\nshape = "drum shell"\ndiameter = "70 mm"\ndepth = "43 mm"\n'
PHOTO = '[base]\nkind = "KIND"\npicture = "photo.png"\n'
GLITTER = RELIEF + 'sparkle = "coarse"\nadditive = "flake, 0.4 mm, 6 %"\n'
PARTS = {
    "white": HEAD + PANEL + HOLE + WHITE + COATS,
    "flat silver with a back": HEAD + PANEL + HOLE + 'depth = "7 mm"\n' + BACK + HOLE + SILVER + COATS,
    "wood round a side": HEAD + PANEL + SIDE + BACK + '[base]\nkind = "wood"\ngrain = "flame"\n' + COATS,
    "masked seat": HEAD + PANEL + SEAT + 'masked = true\nunder = "maple"\n' + RELIEF + COATS,
    "lifted, matt": HEAD + PANEL + RELIEF + COATS + '[clear]\nfinish = "matt"\n',
    "glitter": HEAD + PANEL + GLITTER + COATS,
    "shell of silver": HEAD + TUBE + RELIEF + COATS,
    "a black back": HEAD + PANEL + BACK + MAPLE + '[base_of.back]\nkind = "solid"\ncolour = "#101010"\n' + COATS,
    "photo of metal": HEAD + PANEL + PHOTO.replace("KIND", "metal") + COATS,
    "photo of wood": HEAD + PANEL + PHOTO.replace("KIND", "wood") + COATS,
    "relief left in the clear": HEAD
    + PANEL
    + RELIEF
    + 'relief_height = "80 um"\n'
    + COATS
    + '[clear]\nleft_over = "20 um"\n',
}
TURNS = {"a black back": 160.0, "flat silver with a back": 205.0, "wood round a side": 75.0, "photo of metal": -60.0}


@pytest.fixture
def made(save_scheme: Save, tmp_path: Path) -> Callable[[str], Scheme]:
    """A scheme from its text, beside a photo that is bright to the right and streaked."""
    y, x = np.indices((96, 128))
    grey = 90 + 0.9 * x + 20 * np.sin(0.7 * y)
    Image.fromarray(np.stack([grey, 0.92 * grey, 0.8 * grey], axis=-1).astype(np.uint8)).save(tmp_path / "photo.png")
    return lambda text: load_scheme(save_scheme(text))


def taken(page: Any, server: LiveServer, scheme: Scheme, around: Surroundings) -> float:
    """Load a scheme's picture; the size of its pixels [mm]."""
    size = lifelike_of(scheme, around, width_px=WIDTH_PX)
    made = live_picture(scheme, around, longest_px=max(size.width_px, size.height_px))
    server.put("picture", made)
    loaded(page, "picture", width_px=size.width_px, height_px=size.height_px)
    return size.pixel_mm


@pytest.mark.parametrize("name", sorted(PARTS))
def test_every_part_is_what_python_renders(
    page: Any, server: LiveServer, made: Callable[[str], Scheme], name: str
) -> None:
    """dE00 over the part: mean at most 0.3, 99 % at most 1.5, in a room and turned."""
    scheme, room = made(PARTS[name]), SURROUNDINGS["workshop"]
    taken(page, server, scheme, room)
    for setting in (Setting("D65"), Setting("D65", TURNS.get(name, 25.0), 7.0)):
        wanted, cover = rendered(scheme, room, setting, width_px=WIDTH_PX)
        found = apart(shown(page, **setting.state(scheme)), wanted)[cover > 0.5]
        print(name, setting.yaw, found.mean(), np.percentile(found, 99))
        assert found.mean() <= 0.3
        assert np.percentile(found, 99) <= 1.5


def test_a_burst_is_pulled_without_another_picture(
    page: Any, server: LiveServer, made: Callable[[str], Scheme]
) -> None:
    """15 mm become 22 on the page alone; and a coat after which nothing is sprayed is the last."""
    scheme = made(PARTS["white"])
    taken(page, server, scheme, EVEN_LIGHT)
    wider = made(PARTS["white"].replace('"15 mm"', '"22 mm"'))
    wanted, cover = rendered(wider, EVEN_LIGHT, Setting("D65"), width_px=WIDTH_PX)
    assert apart(shown(page, widths={"1,0": 22.0}), wanted)[cover > 0.5].mean() <= 0.3
    assert apart(shown(page, widths=None), wanted)[cover > 0.5].mean() > 1.0
    first = scheme.model_copy(update={"coats": scheme.coats[:1]})
    wanted, cover = rendered(first, EVEN_LIGHT, Setting("D65"), width_px=WIDTH_PX)
    assert apart(shown(page, upTo=0), wanted)[cover > 0.5].mean() <= 0.3


def test_two_states_stand_side_by_side(page: Any, server: LiveServer, made: Callable[[str], Scheme]) -> None:
    """Left of the divider one, right of it the other, each as it is alone."""
    taken(page, server, made(PARTS["masked seat"]), EVEN_LIGHT)
    bare, full = shown(page, factors=[0.0, 0.0, 0.0]), shown(page, factors=None)
    both = shown(page, compare={"factors": [0.0, 0.0, 0.0], "divider": 0.4})
    split = round(0.4 * WIDTH_PX)
    np.testing.assert_array_equal(both[:, :split], full[:, :split])
    np.testing.assert_array_equal(both[:, split:], bare[:, split:])
    assert apart(bare, full).max() > 10.0


def test_what_a_hand_makes_of_it_lies_where_the_hand_was(
    page: Any, server: LiveServer, made: Callable[[str], Scheme]
) -> None:
    """A hand that leaves the first coat out at the left and the second below: each quarter is the picture with those
    coats gone, and on the map each has the grey of its step, the corner that is not judged none of them."""
    taken(page, server, made(PARTS["masked seat"]), EVEN_LIGHT)
    grid = PixelGrid(pixel_mm=0.5, n_rows=96, n_cols=128)
    x, y = np.tile(grid.x_mm(), grid.n_rows), np.repeat(grid.y_mm(), grid.n_cols)
    left, below = x < 32.0, y > 24.0
    factor = np.stack([~left, ~below, np.ones_like(x)]).astype(np.float32)
    cover = np.ones_like(x, dtype=np.float32)
    face = UnevenFace("front", np.ones(81), grid, np.ones_like(factor), factor, cover, (None, None, None))
    de00 = np.where(left, 0.3, np.where(below, 2.5, 1.2)).astype(np.float32)
    told, texture = laid_face(face, de00, ~(left & below))
    server.files[f"texture-{texture.name}"] = texture.data
    steps = [{"from_de00": limit} for limit in (0.0, 0.8, 1.8)]
    page.evaluate(
        "(told) => live.lay(told, async (hash) => (await fetch('texture-' + hash)).arrayBuffer())",
        {"steps": steps, "faces": [told]},
    )
    planned = shown(page)
    laid, mapped = shown(page, overlay="laid"), shown(page, overlay="shown")
    rows, cols = planned.shape[:2]
    codes = {}
    for right in (0, 1):
        for low in (0, 1):
            there = np.s_[rows * (6 + 4 * low) // 16 : rows * (7 + 4 * low) // 16, cols * (4 + 6 * right) // 16 :][:2]
            here = (there[0], slice(there[1].start, there[1].start + cols // 8))
            wanted = shown(page, overlay=None, factors=[float(right), float(1 - low), 1.0])
            assert np.abs(laid[here].astype(int) - wanted[here].astype(int)).max() <= 2
            codes[right, low] = sorted({int(code) for code in np.unique(mapped[here])})
    assert codes[0, 0] + codes[1, 0] + codes[1, 1] == pytest.approx([26, 158, 255], abs=1)
    assert codes[0, 1] == pytest.approx([77, 107], abs=1)
    assert apart(laid, planned).max() > 10.0
    np.testing.assert_array_equal(shown(page, overlay=None, factors=None), planned)
    page.evaluate("live.lay(null)")
    np.testing.assert_array_equal(shown(page, overlay="laid"), planned)


@pytest.mark.parametrize("name", ["flat silver with a back", "wood round a side", "shell of silver"])
def test_a_touch_tells_the_place(page: Any, server: LiveServer, made: Callable[[str], Scheme], name: str) -> None:
    """There and back again: what lies where a place is drawn is that place, to a pixel and a half."""
    scheme = made(PARTS[name])
    pixel_mm = taken(page, server, scheme, EVEN_LIGHT)
    places = {
        "flat silver with a back": [("front", 50.0, 12.0, 0.0), ("back", 9.0, 40.0, 180.0)],
        "wood round a side": [("front", 31.0, 24.0, 20.0), ("side", 100.0, 9.0, -75.0)],
        "shell of silver": [("shell", 0.5 * math.pi * 70.0 + 12.0, 20.0, 0.0)],
    }
    for face, x, y, yaw in places[name]:
        shown(page, yaw=yaw)
        at = page.evaluate("([face, x, y]) => live.place(face, x, y)", [face, x, y])
        assert at["seen"], (face, at)
        found = page.evaluate("([x, y]) => live.pick(x, y)", [at["x"], at["y"]])
        assert found["face"] == face
        assert found["kind"] == ("front" if face == "shell" else face)
        assert math.hypot(found["x_mm"] - x, found["y_mm"] - y) < 1.5 * pixel_mm / 0.7
    shown(page, yaw=180.0 if name != "shell of silver" else 120.0)
    face, x, y, _ = places[name][0]
    assert not page.evaluate("([face, x, y]) => live.place(face, x, y)", [face, x, y])["seen"]
    assert page.evaluate("live.place('nowhere', 1, 1)") is None
    assert page.evaluate("live.pick(live.canvas.getBoundingClientRect().left + 2, 10)") is None


def test_an_opening_is_touched(page: Any, server: LiveServer, made: Callable[[str], Scheme]) -> None:
    """Its floor lies where the opening is, 20 mm across and 24 down; a closer look changes nothing of that."""
    taken(page, server, made(PARTS["flat silver with a back"]), EVEN_LIGHT)
    for zoom in (1.0, 2.0):
        shown(page, zoom=zoom)
        at = page.evaluate("live.place('front', 20, 24)")
        found = page.evaluate("([x, y]) => live.pick(x, y)", [at["x"], at["y"]])
        assert found["kind"] == "bare"
        assert math.hypot(found["x_mm"] - 20.0, found["y_mm"] - 24.0) < 3.0


def test_the_browser_may_take_the_chip_away(page: Any, server: LiveServer, made: Callable[[str], Scheme]) -> None:
    """A lost context is told, nothing is drawn on it, and when it is back the picture is loaded again."""
    scheme = made(PARTS["white"])
    taken(page, server, scheme, EVEN_LIGHT)
    before = shown(page)
    page.evaluate("window.loss = live.gl.getExtension('WEBGL_lose_context'); loss.loseContext()")
    page.wait_for_function("window.lost")
    assert page.evaluate("live.draw()") is None
    assert page.evaluate("live.pick(100, 100)") is None
    page.evaluate("loss.restoreContext()")
    page.wait_for_function("window.back")
    taken(page, server, scheme, EVEN_LIGHT)
    np.testing.assert_array_equal(shown(page), before)
