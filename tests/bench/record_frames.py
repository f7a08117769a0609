"""Write down what the live picture and the board ask of WebGL 2, for `replay_frames.py` to ask it of another machine.

    python tests/bench/record_frames.py OUT.zip [SCHEME.toml] [MEGAPIXELS ...]

Frames are "turn" (another pose: light, shadow and film), "pull" (another film), both again with the part filling the
canvas ("-close"), and the board's flat picture of as many pixels, each at every size asked for, else at 1 and 3.2
megapixels. The zip (60 MB) holds `calls.json`: for each canvas its calls before any frame ("load"), then each frame
with its size, its calls and what the page showed, lowest row first; beside it every array that a call names, as raw
bytes. `CHROMIUM` names another browser.
"""

from __future__ import annotations

import base64
import json
import math
import sys
import zipfile
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output.live import live_picture
from layerpreview.picture.scene import make_scene
from layerpreview.scheme import load_scheme
from layerpreview.workflows.board import board_file
from tests.browser import chromium
from tests.browser.live_page import live_server, loaded

SAMPLE = Path(__file__).parents[2] / "samples" / "octave_mandolin.toml"
_RECORDER = Path(__file__).with_name("record_calls.js")
# At rest and in full detail; the first frame of a size makes room, and is no turn.
_RESIZED = """([width, height]) => {
  live.canvas.width = width; live.canvas.height = height;
  live.restUntil = 0; live.rough = 1;
  live.finish();
  return rec.taken();
}"""
_TURNED = """(where) => rec.frame(() => {
  live.set({ yaw: live.state.yaw + 5, pitch: live.state.pitch + 3, factors: null, ...where });
  live.restUntil = 0;
  live.draw();
})"""
_PULLED = """() => rec.frame(() => {
  live.set({ factors: live.data.coats.map((_, i) => 0.8 + 0.1 * (i % 5)) });
  live.draw();
})"""
# How near: all of the picture, and so near that the sample's front fills the canvas.
WHERE = {"": {"zoom": 1, "x": 0, "y": 0}, "-close": {"zoom": 4, "x": 0.416, "y": -0.8}}
_BOARD_READY = """() => {
  const draw = Painter.prototype.draw;
  Painter.prototype.draw = function (box, shot) { window.last = [this, box, shot]; return draw.call(this, box, shot); };
  document.getElementById("coats-0").dispatchEvent(new Event("input", { bubbles: true }));
}"""
# All of the flat picture, pixel for pixel, however wide the page lets its canvas be.
_BOARD = """([width, height]) => {
  const [painter, box, shot] = window.last, whole = { left: 0, top: 0, width, height };
  Object.assign(painter.canvas, { width, height });
  return rec.frame(() => painter.draw(whole, { ...shot, scale: 1, left: 0, top: 0, only: null }));
}"""


def main() -> None:
    out, path = Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else SAMPLE
    sizes = [float(text) for text in sys.argv[3:]] or [1.0, 3.2]
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as kept, chromium.browser() as browser:
        told = {"live": live_calls(browser, kept, path, sizes)}
        for size in sizes:
            told[f"board {size:g} MP"] = board_calls(browser, kept, path, size)
        kept.writestr("calls.json", json.dumps(told))


def live_calls(browser: Any, kept: zipfile.ZipFile, path: Path, sizes: list[float]) -> dict[str, Any]:
    made = live_picture(load_scheme(path), SURROUNDINGS["window"])
    wide, high = made.data["width_px"], made.data["height_px"]
    with live_server() as server:
        server.put("picture", made)
        page = browser.new_page(viewport={"width": 900, "height": 900})
        page.add_init_script(path=_RECORDER)
        page.goto(server.address)
        loaded(page, "picture", width_px=wide, height_px=high)
        page.evaluate("live.draw()")
        calls, frames = page.evaluate("rec.taken()"), {}
        for size in sizes:
            scale = math.sqrt(size * 1e6 / (wide * high))
            resized = page.evaluate(_RESIZED, [math.floor(wide * scale), math.floor(high * scale)])
            for near, where in WHERE.items():
                frames[f"turn{near} {size:g} MP"] = {**page.evaluate(_TURNED, where), "before": resized}
                frames[f"pull{near} {size:g} MP"] = {**page.evaluate(_PULLED), "before": []}
                resized = []
        written(page, kept, "live")
        page.close()
    return {"load": calls, "frames": frames}


def board_calls(browser: Any, kept: zipfile.ZipFile, path: Path, size: float) -> dict[str, Any]:
    flat = make_scene(load_scheme(path), width_px=1000)
    across = round(1000 * math.sqrt(size * 1e6 / (flat.width_px * flat.height_px)))
    down = across * flat.height_px // flat.width_px
    with TemporaryDirectory() as folder:
        board_file([path], out=Path(folder) / "out", width_px=across, log=Path(folder) / "log.jsonl")
        # The board's policy lets no script be put in.
        page = browser.new_page(viewport={"width": 1400, "height": 900}, bypass_csp=True)
        page.add_init_script(path=_RECORDER)
        chromium.opened(page, Path(folder) / "out" / "board.html")
        page.evaluate(_BOARD_READY)
        page.wait_for_function("window.last")
        calls = page.evaluate("rec.taken()")
        frame = {**page.evaluate(_BOARD, [across, down]), "before": []}
        written(page, kept, f"board {size:g} MP")
        page.close()
    return {"load": calls, "frames": {f"board {size:g} MP": frame}}


def written(page: Any, kept: zipfile.ZipFile, canvas: str) -> None:
    """Put a page's arrays into the zip, one by one, since all at once are too long a text."""
    for i in range(page.evaluate("rec.arrays.length")):
        kept.writestr(f"{canvas}/{i}", base64.b64decode(page.evaluate("rec.array", i)))


if __name__ == "__main__":
    main()
