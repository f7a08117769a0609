"""A small shop of valid files that hostile inputs are made from: one of each kind that a command reads."""

from __future__ import annotations

import contextlib
import io
import os
import shutil
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image

from layerpreview.learn.card.model import photo_eye

from ..learn.card_pictures import frame_photo
from ..learn.simulated import each_window, random_truth
from ..schemes import DYES, FULL, GUN, HEAD, HONEY, MAPLE, MIXES, RIM, SEA_BURST, SILVER
from ..surface.lamp_photos import lamp_photos
from ..workflows.kept_job import make_job
from .cases import CODE_FILE

DRAWING = """\
<svg xmlns="http://www.w3.org/2000/svg" width="64mm" height="48mm" viewBox="0 0 64 48">
  <path id="outline" d="M 4 24 C 4 8 20 2 34 2 A 26 21 10 0 1 60 26 Q 60 46 32 46 T 4 24 Z"/>
  <g transform="translate(2 3) rotate(4 20 20)"><circle id="hole" cx="24" cy="20" r="5"/></g>
</svg>
"""
FACES = (
    '[[face]]\nname = "front"\nshape = "drawing"\ndrawing = "part.svg"\noutline_id = "outline"\n'
    '[[face.zone]]\nname = "seat"\nshape = "disc"\ndiameter = "9 mm"\ncentre = ["44 mm", "30 mm"]\nmasked = true\n'
    '[[face.zone]]\nname = "inlay"\nid = "hole"\nedge = "2 mm"\n'
)
MASKED = '[[face]]\nname = "front"\nshape = "picture"\npicture = "mask.png"\nwidth = "64 mm"\n'
PHOTO = (
    '[base]\nkind = "metal"\npicture = "base.png"\nflake_spread = 0.3\n'
    '[base.picture_options]\nwidth = "40 mm"\ntile = true\n'
)
HEIGHTS = (
    '[base]\nkind = "metal"\nheight_picture = "grey16.tif"\n'
    '[base.height_options]\nwidth = "70 mm"\ndepth = "0.4 mm"\nlamp_from = 300\n'
)
RINGS = '[[coat]]\nrings = "honey x3 | sea x2 9 mm soft | #140D0E 4 mm fan"\nfilm = "light"\n'
CLEAR = '[clear]\nfinish = "satin"\ncoats = 2\nfilm = "50 um"\n'
LINE = 'burst = { from = "line", at = ["30 mm", "20 mm"], angle = 30, width = "9 mm" }\n'
SHOP = '[shop]\nname = "Elm Lane Finishes"\nmail = "hello@example.com"\nphone = "+44 20 7946 0000"\n'
SPECTRUM = "wavelength nm;dye A;blank\n" + "".join(
    f"{nm};{0.2 + 0.6 * np.exp(-(((nm - 520) / 60) ** 2)):.4f};0.0400\n" for nm in range(380, 790, 20)
)
CGATS = (
    'CGATS.17\nORIGINATOR "bench"\nNUMBER_OF_FIELDS 32\nBEGIN_DATA_FORMAT\nSAMPLE_ID '
    + " ".join(f"SPECTRAL_NM{nm}" for nm in range(400, 710, 10))
    + "\nEND_DATA_FORMAT\nNUMBER_OF_SETS 2\nBEGIN_DATA\n"
    + "".join(
        f"{name} " + " ".join(f"{level * (0.2 + (nm - 400) / 500):.4f}" for nm in range(400, 710, 10)) + "\n"
        for name, level in (("a1", 1.0), ("blank", 1.2))
    )
    + "END_DATA\n"
)


def make(folder: Path) -> None:
    """Write the shop into `folder`. The parts made by commands come last."""
    folder.mkdir(parents=True, exist_ok=True)
    texts = {
        "full.toml": FULL + SHOP,
        "drawn.toml": HEAD + FACES + HEIGHTS + DYES + MIXES + HONEY + RIM + CLEAR + GUN,
        "masked.toml": HEAD
        + MASKED
        + MAPLE
        + DYES
        + MIXES
        + HONEY
        + RINGS
        + '[[coat]]\nmix = "sea"\ncoats = 1\n'
        + LINE
        + GUN,
        "photo.toml": HEAD + FACES + PHOTO + DYES + MIXES + HONEY + SEA_BURST + GUN,
        "part.svg": DRAWING,
        "spectrum.csv": SPECTRUM,
        "spectrum.cgats": CGATS,
        "today.toml": HEAD + FACES + SILVER + DYES + MIXES + HONEY + GUN,
    }
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    samples = Path(__file__).parents[2] / "samples"
    shutil.copy(samples / "spray_out.csv", folder / "readings.csv")
    for own, name in (("mandolin", "octave_mandolin"), ("drum", "drum_shell")):
        shutil.copy(samples / f"{name}.toml", folder / f"{own}.toml")
    words = Path(__file__).parents[2] / "layerpreview" / "data" / "board" / "strings.de.toml"
    shutil.copy(words, folder / "words.toml")
    _pictures(folder, samples)
    _by_commands(folder)


def _pictures(folder: Path, samples: Path) -> None:
    rng = np.random.default_rng(31)
    noise = rng.integers(90, 180, (48, 64, 3), dtype=np.uint8)
    Image.fromarray(noise).save(folder / "base.png")
    Image.fromarray(noise).save(folder / "base.jpg", quality=80)
    Image.fromarray(noise[..., 0].astype(np.uint16) * 200).save(folder / "grey16.tif")
    y, x = np.mgrid[:48, :64]
    Image.fromarray(np.where(np.hypot(x - 32, (y - 24) * 1.4) < 29, 255, 0).astype(np.uint8)).save(folder / "mask.png")
    with Image.open(samples / "silver_on_bench.jpg") as photo:
        photo.reduce(4).save(folder / "bench.jpg", quality=80)
    _card_photo(folder / "card.jpg")
    truth = lamp_photos("hammered", size_mm=(60.0, 40.0), step_mm=0.4, exposed=0.97, jpeg=-1)
    for name, light in zip(("left", "top", "right"), truth.photos, strict=True):
        code = np.rint(255 * np.maximum(light, 0.004) ** (1 / 2.2)).astype(np.uint8)
        on_bench = np.full((code.shape[0] + 40, code.shape[1] + 50, 3), (40, 60, 170), np.uint8)
        on_bench[20:-20, 25:-25] = code[:, :, None]
        Image.fromarray(on_bench).save(folder / f"{name}.png")


def _card_photo(path: Path) -> None:
    truth, eye = random_truth(np.random.default_rng(33)), photo_eye("D50")
    colours = {(name, coats): eye.take @ spectrum for name, coats, spectrum in each_window(truth)}
    picture = frame_photo(colours, np.random.default_rng(2), power=1.06)
    Image.fromarray(picture.pixels).save(path, quality=92)


def _by_commands(folder: Path) -> None:
    """What the program itself writes and reads again: a dye, a job with a log, a code, a record."""
    (folder / "asked").mkdir()
    shutil.copy(folder / "full.toml", folder / "asked" / "scheme.toml")
    called(folder, "fit readings.csv --name house -o .")
    dye = ("--strength=0.02 g/L", "--concentrate=40 g/L", "--quantity=absorbance")
    called(folder, "import spectrum.csv --blank blank --name second -o .", "--sample=dye A", *dye)
    (folder / CODE_FILE).write_text(_board(folder) + "\n", encoding="utf-8")
    shutil.copytree(folder / "asked", folder / "job")
    called(folder, f"agree {CODE_FILE} --job job")
    for said in ("--batch=honey", "--coat=next", "--wet=38, 45, 41 um", "--temperature=21 C", "--note=windy"):
        at = ("--at=2026-05-04 10:20",) if said == "--coat=next" else ()  # else another now is taken for the same
        called(folder, "diary job", said, *at)
    called(folder, "progress job/scheme.toml --coats-done 1 --srgb #aa8844 --log job/job-log.jsonl --keep")
    called(folder, "record job -o . --width 64")
    make_job(folder / "kept")


def _board(folder: Path) -> str:
    """The code that takes the only option of a board as it is proposed."""
    from layerpreview.output.board_code import Choice
    from layerpreview.workflows.board import board_file

    made = board_file([folder / "asked" / "scheme.toml"], out=folder / "board", width_px=64).found
    return Choice(made.board, "A", *made.drawn[0].limits.proposed()).code


def called(folder: Path, line: str, *more: str) -> str:
    """Run a command, its words parted by blanks and `more` as they are, in `folder`; give what it printed.

    Raises RuntimeError where it does not end well: the corpus is valid.
    """
    from layerpreview import cli

    out, err = io.StringIO(), io.StringIO()
    code = run_main(cli.main, [*line.split(), *more], folder, out, err)
    if code not in (0, 1):
        raise RuntimeError(f"{line}: exit {code}: {err.getvalue()}")
    return out.getvalue()


def run_main(main, words: Sequence[str], folder: Path, out: io.TextIOBase, err: io.TextIOBase) -> object:  # type: ignore[no-untyped-def]
    """The exit code of the command line's own main, run here in `folder`."""
    import sys

    before, here = sys.argv, Path.cwd()
    sys.argv = ["layerpreview", *words]
    os.chdir(folder)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            main()
    except SystemExit as end:
        return end.code or 0
    finally:
        sys.argv = before
        os.chdir(here)
    return 0
