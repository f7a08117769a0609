"""Make the pictures of the README from the samples: python samples/make_pictures.py"""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

from PIL import Image

from layerpreview.workflows.evenness import evenness_files
from layerpreview.workflows.fit import fit_files
from layerpreview.workflows.fit_options import FitOptions
from layerpreview.workflows.ladder import ladder_files
from layerpreview.workflows.lifelike import turn_file
from layerpreview.workflows.reach import reach_files
from layerpreview.workflows.render import render_files

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
WIDTH_PX = 1200


def main() -> None:
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        for name in ("octave_mandolin", "drum_shell"):
            render_files(HERE / f"{name}.toml", out=work / name)
            keep(work / name / "side_by_side.png", f"{name}.jpg")
        keep(work / "octave_mandolin" / "lifelike_window.png", "octave_mandolin_window.jpg")
        mandolin = HERE / "octave_mandolin.toml"
        ladder_files(mandolin, out=work, lights=["D65"], strengths=[0.25, 0.5, 1.0, 2.0], agreed=(1.0, 3))
        keep(work / "ladder_D65.png", "ladder.jpg")
        evenness_files(mandolin, out=work)
        keep(work / "evenness.png", "evenness.jpg")
        reach_files(mandolin, "#74561f", out=work)
        (work / "reach.png").replace(PICTURES / "reach.png")
        fit_files(HERE / "spray_out.csv", out=work, options=FitOptions(name="house amber"))
        (work / "house_amber_fit.png").replace(PICTURES / "fit.png")
        turn_file(mandolin, out=work)
        in_a_row(work / "turn.webp", (0, 4, 18, 31), "octave_mandolin_turned.jpg")


def in_a_row(moving: Path, frames: Sequence[int], name: str) -> None:
    """Some frames of a moving picture side by side, each without its caption."""
    with Image.open(moving) as picture:
        shown = []
        for frame in frames:
            picture.seek(frame)
            shown.append(picture.convert("RGB").crop((0, 0, picture.width, int(0.8 * picture.height))))
    row = Image.new("RGB", (sum(one.width for one in shown), shown[0].height))
    for i, one in enumerate(shown):
        row.paste(one, (i * one.width, 0))
    row.save(PICTURES / name, quality=86)


def keep(source: Path, name: str) -> None:
    """Reduce a sheet to the README's width; the sRGB profile stays in the file."""
    with Image.open(source) as picture:
        size = (WIDTH_PX, round(picture.height * WIDTH_PX / picture.width))
        profile = picture.info.get("icc_profile")
        picture.resize(size, Image.Resampling.LANCZOS).save(PICTURES / name, quality=86, icc_profile=profile)


if __name__ == "__main__":
    main()
