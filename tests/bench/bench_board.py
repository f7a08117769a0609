"""What a board's live pictures take, by kind of texture, how long packing takes, and what it shows, over eight options.

    python tests/bench/bench_board.py [PIXELS ACROSS, 0 for no dE00]

The bytes are of the files, before base64 (a third more); "new" are those that no option before it has. dE00 (mean/99 %)
is of what the page unpacks against the desk's own picture, both drawn by Python, for the steps of the ladder.
"""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2]))

from layerpreview.finish.view import SURROUNDINGS
from layerpreview.output.board_live import LADDER, PackedFiles, parts_of, text_bytes
from layerpreview.output.board_pack_picture import pack_picture
from layerpreview.output.board_pack_waves import deflated
from layerpreview.output.live import LivePicture, live_picture
from layerpreview.output.plain_json import json_line
from layerpreview.scheme import Scheme, load_scheme
from tests.browser.board_twin import drawn, live_by, unpacked_by
from tests.browser.live_truth import Setting, apart, drawn_by_lot

SAMPLES = Path(__file__).parents[2] / "samples"
ROOM = SURROUNDINGS["window"]
OWN = (
    '[base]\nkind = "metal"\nheight_picture = "own.png"\nrelief_height = "40 to 90 um"\n'
    '[base.height_options]\nwidth = "320 mm"\ndepth = "1.5 mm"\n'
)
BASES = {
    "hammered": '[base]\nkind = "metal"\nrelief = "hammered"\n',
    "brushed": '[base]\nkind = "metal"\nrelief = "brushed"\nflake_spread = 0.2\n',
    "coarse flake": '[base]\nkind = "metal"\nrelief = "coarse flake"\nsparkle = "coarse"\n',
    "photo": '[base]\nkind = "metal"\npicture = "photo.jpg"\n',
    "white": '[base]\nkind = "solid"\ncolour = "#f2f0ec"\n',
    "own relief": OWN,
}


def options(folder: Path) -> Iterator[tuple[str, Scheme]]:
    """Eight options whose bases all differ: the two samples, and the first of them over six others."""
    yield "lifted", load_scheme(SAMPLES / "octave_mandolin.toml")
    yield "wood", load_scheme(SAMPLES / "drum_shell.toml")
    heights = np.random.default_rng(3).random((80, 64))
    own = Image.fromarray((255 * heights).astype(np.uint8)).resize((640, 800), Image.Resampling.BICUBIC)
    own.save(folder / "own.png")
    Image.open(SAMPLES / "silver_on_bench.jpg").save(folder / "photo.jpg", quality=95)
    text = (SAMPLES / "octave_mandolin.toml").read_text(encoding="utf-8")
    for i, (name, base) in enumerate(BASES.items()):
        other = re.sub(r"(?s)\[base\].*?(?=\[base_of\.head\])", base + "\n", text)
        file = folder / f"{i}.toml"
        file.write_text(other, encoding="utf-8")
        yield name, load_scheme(file)


def shown_apart(scheme: Scheme, made: LivePicture, files: PackedFiles, *, width_px: int) -> str:
    """Mean and 99 % of dE00 of the packed picture against the desk's own, over settings by lot."""
    data = pack_picture(scheme, ROOM, made, files)
    found = []
    for setting in (Setting(scheme.lights[0]), drawn_by_lot(scheme, 1)):
        desk = drawn(scheme, ROOM, setting, made.data, live_by(made), width_px=width_px)
        board = drawn(scheme, ROOM, setting, data, unpacked_by(data, files), width_px=width_px)
        found.append(apart(board, desk).ravel())
    return " ".join(f"{v.mean():.2f}/{np.percentile(v[v > 0] if v.any() else v, 99):.2f}" for v in found)


def main() -> None:
    width_px = int(sys.argv[1]) if len(sys.argv) > 1 else 240
    with TemporaryDirectory() as folder:
        files = PackedFiles()
        for name, scheme in options(Path(folder)):
            begun = time.perf_counter()
            made = live_picture(scheme, ROOM)
            had, live_s = files.size_bytes, time.perf_counter() - begun
            picture = pack_picture(scheme, ROOM, made, files)
            packing_s = time.perf_counter() - begun - live_s
            raw = sum(map(len, made.textures.values()))
            print(f"\n{name}: {raw / 1e6:.1f} MB of textures, made in {live_s:.1f} s, packed in {packing_s:.1f} s")
            for part in parts_of(picture, files):
                print(f"  {part.what:24} {part.size_bytes * 3 // 4:9}")
            new = files.size_bytes - had
            told = len(deflated(json_line(picture, packed=True, ascii_only=True).encode("ascii")))
            print(f"  new {new}, and {told} of JSON; all so far as text {text_bytes(files.size_bytes)}")
            for coarser in LADDER if width_px else ():
                rung = PackedFiles(coarser)
                print(
                    f"  steps x {coarser}: dE00 {shown_apart(scheme, made, rung, width_px=width_px)}, {rung.size_bytes}"
                )


if __name__ == "__main__":
    main()
