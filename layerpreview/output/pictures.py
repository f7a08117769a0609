"""Scenes to picture files: streamed strip by strip, several lights in one pass over the maps."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, replace
from functools import reduce
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from layerpreview.colour import NOT_ROLLED
from layerpreview.doing import doing, each_of
from layerpreview.finish.look import Appearance, Look
from layerpreview.output.caption import caption
from layerpreview.output.png import PackedStrip, PngFile, dithered_srgb8, pack_strip, screen_srgb8
from layerpreview.output.result import Result
from layerpreview.picture.lifelike import Lifelike
from layerpreview.picture.render import Preview, share_out_of_gamut
from layerpreview.picture.scene import Scene
from layerpreview.scheme import Scheme
from layerpreview.threads import thread_count, thread_pool

F32 = NDArray[np.float32]

DRAWING = "drawing"


@dataclass(frozen=True)
class _Strip:
    """One strip of every picture: packed for its file, reduced for a sheet, and how much is outside the gamut."""

    packed: list[PackedStrip]
    reduced: list[F32]
    outside: list[float]
    covered: float


@dataclass(frozen=True)
class Written:
    """Per light: the share of the part outside the screen's gamut, and the picture reduced for a sheet (8 bit)."""

    out_of_gamut: list[float]
    small: list[NDArray[np.uint8]]


def write_pictures(
    scene: Scene,
    appearances: Sequence[Appearance],
    captions: Sequence[Sequence[str]],
    paths: Sequence[Path],
    *,
    small_width_px: int,
    rolled_from: float = NOT_ROLLED,
) -> Written:
    """Write the scene under every light to PNG files of one size, each with its caption below.

    Strips are rendered, coded and deflated by a pool of threads and written in order; only a few are in memory at once.
    Small pictures come from the same strips, averaged in linear light over whole blocks of pixels. `rolled_from` as in
    `colour.on_screen`.
    """
    texts = [caption(lines, width_px=scene.width_px, pixel_mm=scene.pixel_mm) for lines in captions]
    block = max(1, scene.width_px // small_width_px)
    done: list[_Strip] = []

    def work(strip: tuple[int, int]) -> _Strip:
        pictures, cover = scene.render_strip(appearances, *strip)
        covered = float(cover.sum())
        return _Strip(
            packed=[
                pack_strip(dithered_srgb8(picture, rolled_from=rolled_from, first_row=strip[0])) for picture in pictures
            ],
            reduced=[_block_means(picture, block) for picture in pictures],
            outside=[share_out_of_gamut(picture, cover) * covered for picture in pictures],
            covered=covered,
        )

    with ExitStack() as stack:
        files = [stack.enter_context(_png(path, scene, len(text))) for path, text in zip(paths, texts, strict=True)]
        threads = thread_count()
        pool = stack.enter_context(thread_pool(threads))
        waiting: list[Future[_Strip]] = []
        strips = scene.strips(multiple=block)
        doing(DRAWING, 0.0)
        for strip in [*strips, None]:
            if strip is not None:
                waiting.append(pool.submit(work, strip))
            while waiting and (strip is None or len(waiting) > threads + 1):
                ready = waiting.pop(0).result()
                for file, piece in zip(files, ready.packed, strict=True):
                    file.write(piece)
                done.append(replace(ready, packed=[]))
                doing(DRAWING, len(done) / len(strips))
        for file, text in zip(files, texts, strict=True):
            file.write(pack_strip(text))
    area = max(sum(strip.covered for strip in done), 1e-9)
    return Written(
        out_of_gamut=[sum(strip.outside[i] for strip in done) / area for i in range(len(appearances))],
        small=[
            screen_srgb8(np.concatenate([strip.reduced[i] for strip in done]), rolled_from=rolled_from)
            for i in range(len(appearances))
        ],
    )


def _block_means(picture: F32, block: int) -> F32:
    """Means over blocks of `block` x `block` pixels; what is left over at the right and the bottom is dropped."""
    if block == 1:
        return picture
    rows, cols = picture.shape[0] // block, picture.shape[1] // block
    planes = np.moveaxis(picture, 2, 0)[:, : rows * block]
    tall = planes.reshape(3, rows, block, picture.shape[1]).sum(axis=2)
    wide = tall[:, :, : cols * block].reshape(3, rows, cols, block)
    means = reduce(np.add, (wide[..., i] for i in range(block))) / np.float32(block * block)
    return np.moveaxis(np.asarray(means), 0, 2)


def _png(path: Path, scene: Scene, caption_rows: int) -> PngFile:
    return PngFile(path, width_px=scene.width_px, height_px=scene.height_px + caption_rows, pixel_mm=scene.pixel_mm)


def write_shown(
    scene: Lifelike, looks: Mapping[str, Look], lines: Sequence[str], path: Path, *, rolled_from: float
) -> float:
    """Write a lifelike picture, its caption saying what share of the part the screen cannot show; gives that share."""
    outside: list[tuple[float, float]] = []

    def work(strip: tuple[int, int]) -> PackedStrip:
        (picture,), cover = scene.render_strip([looks], *strip)
        covered = float(cover.sum())
        outside.append((share_out_of_gamut(picture, cover) * covered, covered))
        return pack_strip(dithered_srgb8(picture, rolled_from=rolled_from, first_row=strip[0]))

    def words(share: float) -> NDArray[np.uint8]:
        told = [*lines[:-1], f"{lines[-1]}; {100.0 * share:.1f} % beyond what a screen shows"]
        return caption(told, width_px=scene.width_px, pixel_mm=scene.pixel_mm)

    room = len(words(0.5))
    with (
        PngFile(path, width_px=scene.width_px, height_px=scene.height_px + room, pixel_mm=scene.pixel_mm) as file,
        thread_pool() as pool,
    ):
        strips = scene.strips()
        for piece in each_of(DRAWING, _in_order(pool, work, strips), len(strips)):
            file.write(piece)
        share = sum(part for part, _ in outside) / max(sum(covered for _, covered in outside), 1e-9)
        file.write(pack_strip(np.resize(words(share), (room, scene.width_px, 3))))
    return share


def rendered_small(scene: Lifelike, looks: Mapping[str, Look], *, rolled_from: float) -> NDArray[np.uint8]:
    """A lifelike picture as 8-bit sRGB in memory; for small sizes."""
    return lifelike_small(scene, [looks], rolled_from=rolled_from)[0]


def lifelike_small(
    scene: Lifelike, looks: Sequence[Mapping[str, Look]], *, rolled_from: float
) -> list[NDArray[np.uint8]]:
    """The same of several looks, traced once."""
    with thread_pool() as pool:
        strips = scene.strips()
        made = pool.map(lambda strip: scene.render_strip(looks, *strip)[0], strips)
        parts = list(each_of(DRAWING, made, len(strips)))
    return [screen_srgb8(np.concatenate(part), rolled_from=rolled_from) for part in zip(*parts, strict=True)]


def _in_order(
    pool: ThreadPoolExecutor, work: Callable[[tuple[int, int]], PackedStrip], strips: Sequence[tuple[int, int]]
) -> Iterator[PackedStrip]:
    """What `work` gives for each strip, in order; only a few are in memory at once."""
    waiting: deque[Future[PackedStrip]] = deque()
    for strip in strips:
        waiting.append(pool.submit(work, strip))
        if len(waiting) > thread_count() + 1:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()


def small_pictures(
    scene: Scene, appearances: Sequence[Appearance], *, rolled_from: float = NOT_ROLLED
) -> list[NDArray[np.uint8]]:
    """The scene under each light as 8-bit pictures in memory; for small sizes."""
    with thread_pool() as pool:
        strips = scene.strips()
        made = pool.map(lambda strip: scene.render_strip(appearances, *strip)[0], strips)
        parts = list(each_of(DRAWING, made, len(strips)))
    return [
        np.concatenate([screen_srgb8(part[i], rolled_from=rolled_from) for part in parts])
        for i in range(len(appearances))
    ]


def preview_result(scheme: Scheme, preview: Preview) -> Result[Preview]:
    """One rendered picture with its ways out: the picture, and where it was seen from."""
    name = f"finish_{preview.light}{preview.view.file_words}.png"
    height, width = preview.cover.shape
    told = {
        "scheme": scheme.name,
        "approximate": True,
        "light": preview.light,
        "view_deg": preview.view.view_deg,
        "lamp_deg": preview.view.lamp_deg,
        "around": preview.view.around.name,
        "width_px": width,
        "height_px": height,
        "pixel_mm": preview.pixel_mm,
        "out_of_gamut": preview.out_of_gamut,
    }
    line = f"Preview {scheme.name}, {preview.light}, {preview.view.words}, {width} x {height} px"
    return Result(
        found=preview,
        line=line,
        document=lambda _: told,
        rows=lambda: [told],
        text=lambda: f"{line}; {100 * preview.out_of_gamut:.1f} % of it is outside the screen's gamut\n",
        names=(name,),
        write=lambda paths: write_picture(preview.srgb8, paths[name], pixel_mm=preview.pixel_mm),
        picture=lambda: preview.srgb8,
        inputs=scheme.inputs,
    )


def write_picture(pixels: NDArray[np.uint8], path: Path, *, pixel_mm: float | None = None) -> None:
    """Write one small 8-bit picture (rows, cols, 3)."""
    with PngFile(path, width_px=pixels.shape[1], height_px=pixels.shape[0], pixel_mm=pixel_mm) as file:
        file.write(pack_strip(pixels))
