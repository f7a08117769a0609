"""Whole commands from the shell, in processor seconds and in memory: rows for `bench_all.py`. Not on Windows."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from tests.bench.bench_engine import SAMPLES
from tests.bench.ratios import Row

MANDOLIN, DRUM = str(SAMPLES / "octave_mandolin.toml"), str(SAMPLES / "drum_shell.toml")
HELD_MB = 3 * 4 / 1e6  # a pixel held as three numbers of 4 bytes
WIDTH, WIDE = 1740, 9200
SAVE_AGAIN = """\
import sys
from pathlib import Path
from PIL import Image
for path in Path(sys.argv[1]).glob("*.png"):
    Image.open(path).save(Path(sys.argv[2], path.name))
"""
DEEDS = {
    "`render`, lifelike, the silver's law not yet solved": (
        "render",
        MANDOLIN,
        "--light",
        "D65",
        "--width",
        str(WIDTH),
    ),
    "`render`, lifelike, once more": ("render", MANDOLIN, "--light", "D65", "--width", str(WIDTH)),
    "`board` of both samples": ("board", MANDOLIN, DRUM),
    "`evenness`": ("evenness", MANDOLIN),
    "`fit` of a card of readings": ("fit", str(SAMPLES / "spray_out.csv"), "--name", "house amber"),
    "`reach`, a search over mixes and coats": ("reach", MANDOLIN, "#74561f"),
}


@dataclass(frozen=True)
class Shop:
    """A folder to work in, with a cache of its own that begins empty."""

    folder: Path

    def process(self, *line: str) -> tuple[float, float]:
        """Processor seconds of a process of Python and its peak memory [MB]."""
        around = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"}
        around |= {"XDG_CACHE_HOME": str(self.folder / "cache"), "PYTHONPATH": str(SAMPLES.parent)}
        quiet = subprocess.DEVNULL
        running = subprocess.Popen([sys.executable, *line], env=around, stdout=quiet, stderr=quiet)
        _, status, used = os.wait4(running.pid, 0)
        running.returncode = os.waitstatus_to_exitcode(status)
        if running.returncode > 1:  # 1: no answer, which takes as long
            raise RuntimeError(f"{line} ended with {running.returncode}")
        return used.ru_utime + used.ru_stime, used.ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)

    def command(self, *line: str, into: str) -> tuple[float, float]:
        return self.process("-m", "layerpreview", *line, "--force", "-o", str(self.folder / into))

    def flat(self, width_px: int, into: str) -> tuple[float, float]:
        return self.command("render", MANDOLIN, "--flat", "--light", "D65", "--width", str(width_px), into=into)

    def pixels(self, into: str) -> int:
        """Of the finish in a folder of pictures."""
        with Image.open(next((self.folder / into).glob("finish*.png"))) as image:
            return image.width * image.height


def commands(folder: Path) -> list[Row]:
    """Starts, first pictures and deeds; then what a large picture takes."""
    shop = Shop(folder)
    bare, typer, helped = (
        min(shop.process(*line)[0] for _ in range(5))
        for line in (("-c", "pass"), ("-c", "import typer"), ("-m", "layerpreview", "--help"))
    )
    cold, _ = shop.flat(WIDTH, "flat")
    (folder / "saved").mkdir()
    saved = min(shop.process("-c", SAVE_AGAIN, str(folder / "flat"), str(folder / "saved"))[0] for _ in range(3))
    warm, little = min(shop.flat(WIDTH, "flat") for _ in range(3))
    files, flat = "its files read and saved again by Pillow", "flat pictures of 2 megapixels, once more"
    rows = [
        Row("Commands", "`--help`", "the bare start of Python", helped / bare, helped),
        Row("Commands", "`--help`", "the import of the library for commands alone", helped / typer, helped),
        Row("Commands", "first flat pictures of the mandolin, 2 megapixels", files, cold / saved, cold),
        Row("Commands", "the same once more", files, warm / saved, warm),
    ]
    for what, line in DEEDS.items():
        took, _ = shop.command(*line, into=line[0])
        rows.append(Row("Commands", what, flat, took / warm, took))
    return rows + _large(shop, warm, little)


def _large(shop: Shop, warm: float, little: float) -> list[Row]:
    took, much = shop.flat(WIDE, "wide")
    pixels = shop.pixels("wide")
    held = pixels * HELD_MB
    what, peer = f"flat pictures of {pixels / 1e6:.0f} megapixels", "those of 2 megapixels"
    told = f"{little:.0f} MB and {much:.0f} MB; the large picture held as numbers would be {held:.0f} MB"
    more = f"{pixels / shop.pixels('flat'):.0f} times the pixels"
    return [
        Row("Growth", f"{what}, all of the command", peer, took / warm, took, more),
        Row("Memory", f"peak of {what}", peer, much / little, None, told),
        Row("Memory", f"peak of {what}", "one picture held as numbers", much / held),
    ]
