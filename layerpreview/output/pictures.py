"""Scenes to picture files: streamed strip by strip, several looks in one pass over the maps."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.output.caption import caption
from layerpreview.output.png import PackedStrip, PngFile, encode_srgb8, pack_strip
from layerpreview.preview.look import Look
from layerpreview.preview.render import share_out_of_gamut
from layerpreview.preview.scene import Scene

THREADS = 2

_Strip = tuple[list[PackedStrip], list[float], float]


def write_pictures(
    scene: Scene, looks: Sequence[Look], captions: Sequence[Sequence[str]], paths: Sequence[Path]
) -> list[float]:
    """Write the scene under every look to PNG files of one size, each with its caption below.

    Strips are rendered, coded and deflated by a pool of threads and written in order; only a few are in memory at once.
    Returns the share of the part outside the screen's gamut, per look.
    """
    texts = [caption(lines, width_px=scene.width_px, pixel_mm=scene.pixel_mm) for lines in captions]
    outside, area = np.zeros(len(looks)), 0.0

    def work(strip: tuple[int, int]) -> _Strip:
        pictures, cover = scene.render_strip(looks, *strip)
        covered = float(cover.sum())
        shares = [share_out_of_gamut(picture, cover) * covered for picture in pictures]
        return [pack_strip(encode_srgb8(picture)) for picture in pictures], shares, covered

    with ExitStack() as stack:
        files = [stack.enter_context(_png(path, scene, len(text))) for path, text in zip(paths, texts, strict=True)]
        pool = stack.enter_context(ThreadPoolExecutor(THREADS))
        waiting: list[Future[_Strip]] = []
        for strip in [*scene.strips(), None]:
            if strip is not None:
                waiting.append(pool.submit(work, strip))
            while waiting and (strip is None or len(waiting) > THREADS + 1):
                packed, shares, covered = waiting.pop(0).result()
                outside += shares
                area += covered
                for file, piece in zip(files, packed, strict=True):
                    file.write(piece)
        for file, text in zip(files, texts, strict=True):
            file.write(pack_strip(text))
    return [float(value) for value in outside / max(area, 1e-9)]


def _png(path: Path, scene: Scene, caption_rows: int) -> PngFile:
    return PngFile(path, width_px=scene.width_px, height_px=scene.height_px + caption_rows, pixel_mm=scene.pixel_mm)


def small_pictures(scene: Scene, looks: Sequence[Look]) -> list[NDArray[np.uint8]]:
    """The scene under each look as 8-bit pictures in memory; for small sizes."""
    with ThreadPoolExecutor(THREADS) as pool:
        parts = list(pool.map(lambda strip: scene.render_strip(looks, *strip)[0], scene.strips()))
    return [np.concatenate([encode_srgb8(part[i]) for part in parts]) for i in range(len(looks))]


def write_picture(pixels: NDArray[np.uint8], path: Path, *, pixel_mm: float | None = None) -> None:
    """Write one small 8-bit picture (rows, cols, 3)."""
    with PngFile(path, width_px=pixels.shape[1], height_px=pixels.shape[0], pixel_mm=pixel_mm) as file:
        file.write(pack_strip(pixels))
