"""Swatches: small squares of the textured base under many recipes, laid out in a labelled grid that prints to size."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.colour import NOT_ROLLED
from layerpreview.finish.engine import Engine
from layerpreview.finish.look import Look
from layerpreview.finish.view import STRAIGHT_ON, View
from layerpreview.output.caption import FAINT, INK, PAPER, fitted, font, wrapped
from layerpreview.output.png import screen_srgb8
from layerpreview.picture.bare import bare_of
from layerpreview.picture.faces import shapes_of
from layerpreview.scheme import Scheme
from layerpreview.surface.sample import PixelGrid
from layerpreview.threads import thread_count, thread_pool

F32 = NDArray[np.float32]
U8 = NDArray[np.uint8]

MARK = (200, 30, 30)


@dataclass(frozen=True, eq=False)
class Cell:
    """A square of a base at true scale: `bare` (1 or 3, P), `path` (3, P) of a textured metal, tint of one channel."""

    bare: F32
    path: F32 | None
    tint_rgb: tuple[float, float, float] | None


def base_cell(
    scheme: Scheme, *, cell_mm: float, cell_px: int, view: View = STRAIGHT_ON, face: str | None = None
) -> Cell:
    """A square of a face's base, `cell_px` pixels wide and high.

    It is cut where the `face` (the first where none is named) has most room; a cell that is larger goes on mirrored.
    """
    shape = next(s for s in shapes_of(scheme) if face in (None, s.face.name))
    outline = shape.outline
    pixel = cell_mm / cell_px
    rows, cols = (max(1, int(size / pixel)) for size in (outline.height_mm, outline.width_mm))
    grid = PixelGrid(pixel_mm=pixel, n_rows=rows, n_cols=cols)
    bare = bare_of(scheme.base_for(shape.face.name), shape, grid, view)
    middle = shapely.maximum_inscribed_circle(outline.polygon).coords[0]
    tall, wide = min(cell_px, rows), min(cell_px, cols)
    top = min(max(round(middle[1] / pixel - tall / 2), 0), rows - tall)
    left = min(max(round(middle[0] / pixel - wide / 2), 0), cols - wide)
    light, path = bare.lit(top, top + tall)

    def square(rows: F32) -> F32:
        cut = rows[:, left : left + wide]
        missing = ((0, cell_px - tall), (0, cell_px - wide), *(((0, 0),) if cut.ndim == 3 else ()))
        full = np.pad(cut, missing, mode="symmetric")
        flat = full.reshape(-1, 3).T if full.ndim == 3 else full.reshape(1, -1)
        return np.ascontiguousarray(flat, dtype=np.float32)

    paths = None if path is None else square(path.T.reshape(tall, cols, 3))
    return Cell(square(light), paths, bare.tint_rgb)


def textured_cells(
    look: Look, cell: Cell, builds: NDArray[np.floating], *, cell_px: int, rolled_from: float = NOT_ROLLED
) -> U8:
    """The cell under each of `builds` (K, layers), as 8-bit pictures (K, rows, cell_px, 3)."""
    out = np.empty((len(builds), cell.bare.shape[1] // cell_px, cell_px, 3), dtype=np.uint8)

    def work(part: range) -> None:
        engine = Engine(look)
        for i in part:
            spread = np.repeat(np.asarray(builds[i], dtype=np.float32)[:, None], cell.bare.shape[1], axis=1)
            rgb_lin = engine.pixels(cell.bare, spread, cell.path).T.reshape(-1, cell_px, 3)
            out[i] = screen_srgb8(rgb_lin, rolled_from=rolled_from)

    threads = thread_count()
    with thread_pool(threads) as pool:
        list(pool.map(work, [range(i, len(builds), threads) for i in range(threads)]))
    return out


def swatch_grid(
    cells: Sequence[Sequence[U8]],
    labels: Sequence[Sequence[Sequence[str]]],
    *,
    title: str,
    notes: Sequence[str],
    row_heads: Sequence[str] = (),
    column_heads: Sequence[str] = (),
    marked: Collection[tuple[int, int]] = (),
    mark_word: str = "agreed",
) -> U8:
    """Cells in rows, each over its lines of text, under heads and a title; marked ones get a frame and a word.

    Text is as large as fits the cells; a row head is wrapped in a column of its own at the left.
    """
    side, wide = cells[0][0].shape[:2]
    size = max(11, min(20, round(side / 11)))
    face, bold = font(size), font(round(size * 1.15))
    leading, gap = round(size * 1.35), max(6, size // 2)
    longest = max((face.getlength(line) for row in labels for cell in row for line in cell), default=0.0)
    pitch = max(wide, int(np.ceil(longest)) + 2) + gap
    head = round(size * 9.5) if row_heads else 0
    lines_below = max(len(cell) for row in labels for cell in row)
    band = side + leading * lines_below + 2 * gap + (leading if marked else 0)
    across = max(len(row) for row in cells)
    width = max(head + across * pitch + 2 * gap, 30 * size)
    note_lines = [part for note in notes for part in wrapped(note, face, width - 2 * gap)]
    title_lines = wrapped(title, font(round(size * 1.3)), width - 2 * gap)
    top = gap + round(size * 1.8) * len(title_lines) + (round(size * 1.6) if column_heads else 0) + gap
    image = Image.new("RGB", (width, top + band * len(cells) + leading * len(note_lines) + 2 * gap), PAPER)
    draw = ImageDraw.Draw(image)
    for i, line in enumerate(title_lines):
        draw.text((gap, gap + round(size * 1.8) * i), line, font=font(round(size * 1.3)), fill=INK)
    for j, text in enumerate(column_heads):
        x = gap + head + j * pitch
        draw.text((x, top - round(size * 1.6)), fitted(draw, text, bold, pitch - gap), font=bold, fill=INK)
    for i, row in enumerate(cells):
        y = top + i * band
        if row_heads:
            for k, line in enumerate(wrapped(row_heads[i], face, head - gap)):
                draw.text((gap, y + k * leading), line, font=face, fill=INK)
        for j, pixels in enumerate(row):
            x = gap + head + j * pitch
            image.paste(Image.fromarray(pixels), (x, y))
            text_y = y + side + gap // 3
            for line in labels[i][j]:
                draw.text((x, text_y), line, font=face, fill=INK)
                text_y += leading
            if (i, j) in marked:
                draw.rectangle((x - 3, y - 3, x + wide + 2, y + side + 2), outline=MARK, width=4)
                draw.text((x, text_y), mark_word, font=bold, fill=MARK)
    for i, line in enumerate(note_lines):
        y = image.height - gap - leading * (len(note_lines) - i)
        draw.text((gap, y), line, font=face, fill=FAINT)
    return np.asarray(image)
