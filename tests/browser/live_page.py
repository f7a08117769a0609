"""A page with the live picture alone, for tests: scripts, pictures and textures from a small server of its own."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import numpy as np
from numpy.typing import NDArray

import layerpreview
from layerpreview.output.live import LIVE_SCRIPTS, LivePicture

DATA = Path(layerpreview.__file__).parent / "data" / "live"
_PAGE = "<!doctype html><link rel='icon' href='data:,'><title>live</title><canvas id='canvas'></canvas>" + "".join(
    f"<script src='{name}'></script>" for name in LIVE_SCRIPTS
)
_LOAD = """async ([name, width, height]) => {
  const canvas = document.getElementById("canvas");
  canvas.width = width; canvas.height = height;
  canvas.style.width = width + "px"; canvas.style.height = height + "px";
  window.fetched = window.fetched || [];
  const calls = { onLost: () => { window.lost = true; }, onBack: () => { window.back = true; } };
  window.live = window.live || new Live.Solid(canvas, calls);
  const picture = await (await fetch(name)).json();
  await live.load(picture, async (hash) => {
    fetched.push(hash);
    return (await fetch("texture-" + hash)).arrayBuffer();
  });
}"""
_SHOWN = """(state) => {
  live.set(state);
  live.finish();
  live.draw();
  const gl = live.gl, w = live.canvas.width, h = live.canvas.height, pixels = new Uint8Array(4 * w * h);
  gl.bindFramebuffer(gl.FRAMEBUFFER, null);
  gl.readPixels(0, 0, w, h, gl.RGBA, gl.UNSIGNED_BYTE, pixels);
  let text = "";
  for (let i = 0; i < pixels.length; i += 32768) text += String.fromCharCode.apply(null, pixels.subarray(i, i + 32768));
  return btoa(text);
}"""


class LiveServer:
    """What the page asks for, by name."""

    def __init__(self, address: str, files: dict[str, bytes]) -> None:
        self.address, self.files = address, files

    def put(self, name: str, picture: LivePicture) -> None:
        """Serve a picture."""
        self.files[name] = json.dumps(picture.data).encode()
        self.files.update({f"texture-{hash_}": data for hash_, data in picture.textures.items()})


@contextmanager
def live_server() -> Iterator[LiveServer]:
    """A server of the page on a free port of this machine."""
    files = {name: (DATA / name).read_bytes() for name in LIVE_SCRIPTS}
    files[""] = _PAGE.encode()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            data = files.get(self.path.removeprefix("/"))
            self.send_response(200 if data is not None else 404)
            kind = "text/javascript" if self.path.endswith(".js") else "text/html"
            self.send_header("Content-Type", kind)
            self.end_headers()
            self.wfile.write(data or b"")

        def log_message(self, *args: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield LiveServer(f"http://127.0.0.1:{server.server_address[1]}/", files)
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def loaded(page: Any, name: str, *, width_px: int, height_px: int) -> None:
    """Load a picture onto a canvas of so many pixels."""
    page.evaluate(_LOAD, [name, width_px, height_px])


def shown(page: Any, **state: object) -> NDArray[np.uint8]:
    """What the canvas shows when it rests, 8-bit sRGB (rows, cols, 3)."""
    import base64

    data = base64.b64decode(page.evaluate(_SHOWN, state))
    width, height = page.evaluate("[live.canvas.width, live.canvas.height]")
    return np.frombuffer(data, dtype=np.uint8).reshape(height, width, 4)[::-1, :, :3]
