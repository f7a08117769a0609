"""Pictures of the frame with no camera between: marks or areas drawn where they belong, to be told to a hair."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from layerpreview.learn.read.frame import Box, windows
from layerpreview.surface.picture_file import PictureData
from layerpreview.surface.plane import Placement

F64 = NDArray[np.float64]

PAPER, INK = 200, 20


def spots(
    middles: Sequence[tuple[float, float]],
    *,
    wide: float | Sequence[float] = 20,
    high: float | Sequence[float] = 20,
    holed: Sequence[int] = (0,),
    hole: tuple[int, int] = (8, 8),
    size: tuple[int, int] = (440, 320),
    ink: int = INK,
) -> NDArray[np.uint8]:
    """Grey codes of paper with dark rectangles about `middles` [px], those numbered in `holed` with a hole."""
    pixels = np.full((size[1], size[0]), PAPER, dtype=np.uint8)
    wides, highs = np.broadcast_to(wide, len(middles)), np.broadcast_to(high, len(middles))
    for number, ((x, y), w, h) in enumerate(zip(middles, wides, highs, strict=True)):
        fill(pixels, x, y, float(w), float(h), ink)
        if number in holed:
            fill(pixels, x, y, *hole, PAPER)
    return pixels


def fill(pixels: NDArray[Any], x: float, y: float, wide: float, high: float, code: int) -> None:
    """Give a rectangle about its middle one code."""
    left, top = round(x - wide / 2), round(y - high / 2)
    pixels[top : top + round(high), left : left + round(wide)] = code


def outlines(shapes: Sequence[F64], *, hole: F64, size: tuple[int, int]) -> NDArray[np.uint8]:
    """Grey codes of paper with dark shapes of the given corners (N, 2) [px] and one hole, each edge to a fifth."""
    image = Image.new("L", (5 * size[0], 5 * size[1]), PAPER)
    draw = ImageDraw.Draw(image)
    for shape, code in (*((shape, INK) for shape in shapes), (hole, PAPER)):
        draw.polygon([(5 * x, 5 * y) for x, y in shape], fill=code)
    return np.asarray(image.resize(size, Image.Resampling.BOX))


def picture(pixels: NDArray[Any]) -> PictureData:
    """The same as a picture."""
    return PictureData(pixels, file="plain.png")


PER_MM, EDGE_MM = 2.0, 10.0
STRAIGHT = Placement(np.array([[PER_MM, 0.0, PER_MM * EDGE_MM], [0.0, PER_MM, PER_MM * EDGE_MM], [0.0, 0.0, 1.0]]))


def lit_frame(
    colours: Mapping[tuple[str, int], Sequence[float]],
    *,
    grey: float | Sequence[float] = 0.5,
    light: Callable[[F64, F64], F64] = lambda x, y: np.ones((*x.shape, 3)),
    power: float = 1.0,
    paper: float = 0.86,
    spoilt: Sequence[tuple[Box, float | F64]] = (),
) -> PictureData:
    """A 16-bit picture of the frame, straight at 2 px a millimetre (`STRAIGHT`), of the given reflectances.

    `light` gives the light (..., 3) at (x, y) [mm]; `spoilt` areas get so many times theirs. No noise, no marks.
    """
    x, y = ((np.arange(round(PER_MM * (side + 2 * EDGE_MM))) + 0.5) / PER_MM - EDGE_MM for side in (176.0, 116.0))
    seen = np.full((y.size, x.size, 3), paper)
    seen[_of(Box("grey", 0, 6.0, 86.0, 62.0, 22.0))] = grey
    for box in windows():
        if (box.what, box.column) in colours:
            seen[_of(box)] = colours[box.what, box.column]
    for box, share in spoilt:
        seen[_of(box)] *= share
    seen = (seen * light(*np.meshgrid(x, y))) ** power
    code = np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * np.maximum(seen, 1e-9) ** (1 / 2.4) - 0.055)
    return PictureData(np.rint(65535 * np.clip(code, 0.0, 1.0)).astype(np.uint16), file="lit.tif")


def _of(box: Box) -> tuple[slice, slice]:
    """Its pixels, and the half that it covers of those on its edge."""
    left, top, right, bottom = (
        PER_MM * (EDGE_MM + mm) for mm in (box.left, box.top, box.left + box.width, box.top + box.height)
    )
    return slice(int(top), int(np.ceil(bottom))), slice(int(left), int(np.ceil(right)))
