"""Begin a job: a starter scheme with a base picture that renders as it is, and the demo."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import numpy as np

from layerpreview.output.files import write_text, written_together
from layerpreview.output.png import PngFile, encode_srgb8, pack_strip
from layerpreview.surface.flake_light import DEFAULT_LAMPS, flake_brightness
from layerpreview.surface.relief import make_relief
from layerpreview.workflows.render import Rendered, render_files

SCHEME_NAME, BASE_NAME = "scheme.toml", "base.png"
BASE_SIZE_MM = (300.0, 240.0)
BASE_STEP_MM = 0.25
DEMO_SAMPLE = "octave_mandolin.toml"


@dataclass(frozen=True)
class Started:
    """What was written, and the scheme to go on with."""

    folder: Path
    files: tuple[str, ...]
    scheme: Path


def start_job(folder: Path, *, force: bool = False) -> Started:
    """Write a commented starter scheme and its base picture into `folder`.

    Raises OutputError where they cannot be written or are there already.
    """
    names = [SCHEME_NAME, BASE_NAME]
    with written_together(folder, names, force=force) as paths:
        write_text(paths[SCHEME_NAME], _resource("starter.toml"))
        write_base_picture(paths[BASE_NAME])
    return Started(folder, tuple(names), folder / SCHEME_NAME)


def write_base_picture(path: Path) -> None:
    """A picture of a lifted silver base: it stands in for the user's own photo."""
    width_mm, height_mm = BASE_SIZE_MM
    relief = make_relief("lifted", width_mm=width_mm, height_mm=height_mm, seed=3, step_mm=BASE_STEP_MM)
    light = flake_brightness(relief, flake_spread=0.3, lamps=DEFAULT_LAMPS())
    silver = np.array([0.78, 0.79, 0.81], dtype=np.float32)
    pixels = encode_srgb8(light[:, :, None] * silver)
    with PngFile(path, width_px=pixels.shape[1], height_px=pixels.shape[0], pixel_mm=BASE_STEP_MM) as file:
        file.write(pack_strip(pixels))


def run_demo(folder: Path, *, force: bool = False) -> tuple[Started, Rendered]:
    """Write the sample scheme into `folder` and render it there."""
    with written_together(folder, [SCHEME_NAME], force=force) as paths:
        write_text(paths[SCHEME_NAME], sample_text(DEMO_SAMPLE))
    started = Started(folder, (SCHEME_NAME,), folder / SCHEME_NAME)
    return started, render_files(started.scheme, out=folder / "pictures", force=force)


def sample_text(name: str) -> str:
    """A sample scheme by file name: from the installed package, or from the checkout it runs in."""
    packed = resources.files("layerpreview") / "samples" / name
    if packed.is_file():
        return packed.read_text(encoding="utf-8")
    return (Path(__file__).parents[2] / "samples" / name).read_text(encoding="utf-8")


def _resource(name: str) -> str:
    return (resources.files("layerpreview") / "data" / name).read_text(encoding="utf-8")
