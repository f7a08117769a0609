"""Times of the live lifelike picture, the desk's and the board's: its data in Python, and its frames in a browser.

    python tests/bench/bench_live.py [SCHEME.toml] [PIXELS ACROSS]

Frames: "film" while a slider is pulled, "pose" another pose (light, shadow and film), "moving" the coarse one as it
moves; in turns in one run, so that what else runs counts for all. Told are the least of nine and their middle [ms].
`CHROMIUM` names another browser, `LIVE_GPU=1` draws on the graphics chip, not in software.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output.live import live_picture
from layerpreview.scheme import Scheme, load_scheme
from tests.browser import chromium
from tests.browser.live_page import live_server, loaded

SAMPLE = Path(__file__).parents[2] / "samples" / "octave_mandolin.toml"
ROOM = SURROUNDINGS["window"]
TURNS = 9
_LIVE = """(what) => {
  const turn = { yaw: live.state.yaw + 0.5 }, pull = { factors: live.data.coats.map(() => 0.9 + 0.2 * Math.random()) };
  live.set(what === "film" ? pull : turn);
  if (what !== "moving") { live.restUntil = 0; }
  return live.draw({ timed: true });
}"""


def main() -> None:
    path = Path(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE
    width = int(sys.argv[2]) if len(sys.argv) > 2 else 1030
    if os.environ.get("LIVE_GPU"):
        chromium.ARGUMENTS[:] = [
            "--no-sandbox",
            "--force-color-profile=srgb",
            "--ignore-gpu-blocklist",
            "--use-angle=vulkan",
        ]
    in_python(path, width)
    in_browser(path, width)


def in_python(path: Path, width: int) -> None:
    """The picture's data: from an empty process, again, after other coats, and in another room."""
    code = (
        "import sys, time; start = time.perf_counter()\n"
        "from pathlib import Path\n"
        "from layerpreview.finish.view import SURROUNDINGS\n"
        "from layerpreview.output.live import live_picture\n"
        "from layerpreview.scheme import load_scheme\n"
        "live_picture(load_scheme(Path(sys.argv[1])), SURROUNDINGS['window'], longest_px=int(sys.argv[2]))\n"
        "print(f'{time.perf_counter() - start:.2f}')"
    )
    told = subprocess.run(
        [sys.executable, "-c", code, str(path), str(width)], check=True, capture_output=True, text=True
    )
    print(f"data from an empty process {told.stdout.strip()} s")
    scheme = load_scheme(path)
    for words, changed, around in (
        ("first", scheme, "window"),
        ("the same again", scheme, "window"),
        ("other coats", with_coats(scheme), "window"),
        ("another room", scheme, "stage"),
    ):
        start = time.perf_counter()
        made = live_picture(changed, SURROUNDINGS[around], longest_px=width)
        size = sum(map(len, made.textures.values())) / 1e6
        print(f"{words}: {time.perf_counter() - start:.2f} s, {len(made.textures)} textures of {size:.0f} MB")


def with_coats(scheme: Scheme) -> Scheme:
    """One coat more of each."""
    coats = tuple(coat.model_copy(update={"coats": coat.coats + 1}) for coat in scheme.coats)
    return scheme.model_copy(update={"coats": coats})


def in_browser(path: Path, width: int) -> None:
    made = live_picture(load_scheme(path), ROOM, longest_px=width)
    wide, high = made.data["width_px"], made.data["height_px"]
    with live_server() as server, chromium.browser() as browser:
        server.put("picture", made)
        live = browser.new_page(viewport={"width": 1600, "height": 1300})
        live.goto(server.address)
        start = time.perf_counter()
        loaded(live, "picture", width_px=wide, height_px=high)
        live.evaluate("live.draw({ timed: true })")
        print(f"loaded and drawn for the first time after {time.perf_counter() - start:.2f} s, {wide} x {high} pixels")
        frames(live)


def frames(live: Any) -> None:
    times: dict[str, list[float]] = {"film": [], "pose": [], "moving": []}
    for _ in range(TURNS):
        for what in times:
            times[what].append(live.evaluate(_LIVE, what))
        live.evaluate("live.finish()")
    for what, found in times.items():
        found.sort()
        print(f"{what}: {found[0]:.1f} least, {found[TURNS // 2]:.1f} middle [ms]")


if __name__ == "__main__":
    main()
