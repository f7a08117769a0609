"""Scenes to files: exists for strips in the wrong order, a caption over the last rows, and a file that shows something
else than the picture in memory."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from layerpreview import load_scheme, render
from layerpreview.output.caption import caption
from layerpreview.output.pictures import small_pictures, write_picture, write_pictures
from layerpreview.output.png import dithered_srgb8, encode_srgb8
from layerpreview.picture.scene import appearances_of, make_scene

from ..schemes import FULL


@pytest.mark.slow
def test_files_are_the_pictures_in_memory(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    """Wide enough for several strips; the caption follows below."""
    scheme = load_scheme(save_scheme(FULL.replace('lights = ["D65"]', 'lights = ["D65", "LED-B3"]')))
    scene = make_scene(scheme, width_px=900)
    assert len(scene.strips()) > 2
    looks = appearances_of(scheme, scene, scheme.lights)
    lines = [["Test part", light] for light in scheme.lights]
    paths = [tmp_path / f"{light}.png" for light in scheme.lights]
    written = write_pictures(scene, looks, lines, paths, small_width_px=300)
    for light, path, text, share, small in zip(
        scheme.lights, paths, lines, written.out_of_gamut, written.small, strict=True
    ):
        shown = render(scheme, light=light, width_px=900)
        below = caption(text, width_px=900, pixel_mm=scene.pixel_mm)
        with Image.open(path) as picture:
            assert np.array_equal(np.asarray(picture), np.concatenate([dithered_srgb8(shown.rgb_lin), below]))
        assert share == pytest.approx(shown.out_of_gamut, abs=1e-6)
        rows = shown.rgb_lin.shape[0] // 3
        means = shown.rgb_lin[: rows * 3].reshape(rows, 3, 300, 3, 3).mean(axis=(1, 3))
        assert small.shape == (rows, 300, 3)
        assert np.abs(small.astype(int) - encode_srgb8(means)).max() <= 1


@pytest.mark.slow
def test_a_dark_rim_is_dithered_in_one_pattern(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    """The file is the picture in memory dithered at once: strips know where they lie."""
    scheme = load_scheme(save_scheme(FULL.replace("#221814", "#14100e")))
    scene = make_scene(scheme, width_px=1180)
    assert any(first % 4 for first, _ in scene.strips())
    write_pictures(scene, appearances_of(scheme, scene, ["D65"]), [["Test"]], [tmp_path / "a.png"], small_width_px=1180)
    shown = render(scheme, width_px=1180).rgb_lin
    with Image.open(tmp_path / "a.png") as picture:
        pixels = np.asarray(picture)[: len(shown)]
    assert np.array_equal(pixels, dithered_srgb8(shown))
    assert (pixels != encode_srgb8(shown)).any()


def test_small_pictures(save_scheme: Callable[..., Path]) -> None:
    scheme = load_scheme(save_scheme(FULL))
    scene = make_scene(scheme, width_px=100)
    (pixels,) = small_pictures(scene, appearances_of(scheme, scene, ["D65"]))
    assert np.array_equal(pixels, encode_srgb8(render(scheme, width_px=100).rgb_lin))


def test_write_picture(tmp_path: Path) -> None:
    pixels = np.random.default_rng(3).integers(0, 256, (9, 14, 3), dtype=np.uint8)
    write_picture(pixels, tmp_path / "a.png", pixel_mm=0.5)
    with Image.open(tmp_path / "a.png") as picture:
        assert np.array_equal(np.asarray(picture), pixels)


@pytest.mark.slow
def test_a_last_strip_lower_than_a_block_of_the_sheet(save_scheme: Callable[..., Path], tmp_path: Path) -> None:
    """Wide pictures are cut into single rows, and what is left over at the bottom may be less than one block."""
    scheme = load_scheme(save_scheme(FULL))
    scene = make_scene(scheme, width_px=1_000)
    looks = appearances_of(scheme, scene, ["D65"])
    for small_px in (37, 90, 480):
        paths = [tmp_path / f"{small_px}.png"]
        (small,) = write_pictures(scene, looks, [["Test"]], paths, small_width_px=small_px).small
        block = 1_000 // small_px
        assert small.shape[1] == 1_000 // block
        assert scene.height_px // block - 1 <= small.shape[0] <= scene.height_px // block
