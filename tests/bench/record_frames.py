"""Write down what the live picture asks of WebGL 2, for `replay_frames.py` to ask it of another machine.

    python tests/bench/record_frames.py OUT.zip [SCHEME.toml] [MEGAPIXELS ...]

Frames are "turn" (another pose: light, shadow and film), "pull" (another film), both again with the part filling the
canvas ("-close"), each at every size asked for, else at 1 and 3.2 megapixels. The zip (60 MB) holds `calls.json`: for
each canvas its calls before any frame ("load"), then each frame with its size, its calls and what the page showed,
lowest row first; beside it every array that a call names, as raw bytes. `CHROMIUM` names another browser.
"""

from __future__ import annotations

import base64
import json
import math
import sys
import zipfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output.live import live_picture
from layerpreview.scheme import load_scheme
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


def main() -> None:
    out, path = Path(sys.argv[1]), Path(sys.argv[2]) if len(sys.argv) > 2 else SAMPLE
    sizes = [float(text) for text in sys.argv[3:]] or [1.0, 3.2]
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as kept, chromium.browser() as browser:
        kept.writestr("calls.json", json.dumps({"live": live_calls(browser, kept, path, sizes)}))


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


def written(page: Any, kept: zipfile.ZipFile, canvas: str) -> None:
    """Put a page's arrays into the zip, one by one, since all at once are too long a text."""
    for i in range(page.evaluate("rec.arrays.length")):
        kept.writestr(f"{canvas}/{i}", base64.b64decode(page.evaluate("rec.array", i)))


if __name__ == "__main__":
    main()
