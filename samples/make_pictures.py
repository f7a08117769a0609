"""Make the pictures of the README from the samples: python samples/make_pictures.py"""

from __future__ import annotations

import tempfile
from pathlib import Path

from PIL import Image

from layerpreview.workflows.choices import views_from
from layerpreview.workflows.evenness import evenness_files
from layerpreview.workflows.fit import FitOptions, fit_files
from layerpreview.workflows.ladder import ladder_files
from layerpreview.workflows.reach import reach_files
from layerpreview.workflows.render import render_files, tilt_file

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
        render_files(HERE / "octave_mandolin.toml", out=work / "form", around="workshop", lights=["D65"], form=True)
        keep(work / "form" / "finish_D65_workshop.png", "octave_mandolin_form.jpg")
        views = views_from("0,15,45,70", None)
        render_files(
            HERE / "octave_mandolin.toml",
            out=work / "views",
            views=views,
            around="workshop",
            lights=["D65"],
            width_px=400,
        )
        keep(work / "views" / "side_by_side.png", "octave_mandolin_face_to_flop.jpg")
        mandolin = HERE / "octave_mandolin.toml"
        ladder_files(mandolin, out=work, lights=["D65"], strengths=[0.25, 0.5, 1.0, 2.0], agreed=(1.0, 3))
        keep(work / "ladder_D65.png", "ladder.jpg")
        evenness_files(mandolin, out=work)
        keep(work / "evenness.png", "evenness.jpg")
        reach_files(mandolin, "#74561f", out=work)
        (work / "reach.png").replace(PICTURES / "reach.png")
        fit_files(HERE / "spray_out.csv", out=work, options=FitOptions(name="house amber"))
        (work / "house_amber_fit.png").replace(PICTURES / "fit.png")
        tilt_file(HERE / "octave_mandolin.toml", out=PICTURES, force=True, width_px=360)
        (PICTURES / "tilt.webp").replace(PICTURES / "octave_mandolin_tilt.webp")


def keep(source: Path, name: str) -> None:
    """Reduce a sheet to the README's width; the sRGB profile stays in the file."""
    with Image.open(source) as picture:
        size = (WIDTH_PX, round(picture.height * WIDTH_PX / picture.width))
        profile = picture.info.get("icc_profile")
        picture.resize(size, Image.Resampling.LANCZOS).save(PICTURES / name, quality=86, icc_profile=profile)


if __name__ == "__main__":
    main()
