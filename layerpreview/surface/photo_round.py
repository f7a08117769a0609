"""The photo of a face on the faces beside it: carried on round the side, or mirrored on the back."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from layerpreview.surface.outline import Outline
from layerpreview.surface.outline import mirrored as mirrored_ring
from layerpreview.surface.photo import Photo, settled
from layerpreview.surface.photo_cut import mirrored

_MOST_PIXELS = 4_000_000  # of a strip; a longer or deeper one has coarser pixels
_EDGE_SHARE, _EDGE_MM = 0.02, 3.0  # of the face's smaller side, at most: what a rounded edge or its shadow may darken
_LEAST_SHARE = 0.1  # of the depth: a run of the photo that is less high than this is no start


def carried_round(
    photo: Photo, front: Outline | None, *, width_mm: float | None, side_mm: float, depth_mm: float
) -> tuple[Photo, float]:
    """Return a strip of the texture that `photo` shows within `front`, and how long it is [mm]: at least `side_mm`.

    front : the face whose middle the photo's middle lies on; None: all that the photo shows is texture.
    width_mm : true width [mm] of the photo; None: it just covers the face, which is then given.
    side_mm, depth_mm : length and depth of the side [mm].
    What lies outside the outline, in openings or within some mm of either is not used. The strip is closed: its right
    end goes on at its left one. The scale is that of the face.
    """
    high_px, wide_px = photo.picture.height_px, photo.picture.width_px
    if width_mm is None:
        assert front is not None
        width_mm = _covering_mm(photo, front)
    pitch_mm = width_mm / wide_px
    coarser = max(1.0, math.sqrt(max(side_mm * depth_mm, pitch_mm**2 * wide_px * high_px) / _MOST_PIXELS) / pitch_mm)
    photo = settled(photo, coarser=coarser)
    pixels = photo.picture.pixels
    pitch_mm *= wide_px / pixels.shape[1]
    size = pixels.shape[0], pixels.shape[1]
    inside = np.ones(size, np.bool_) if front is None else _inside(front, *size, pitch_mm)
    rows, cols = math.ceil(depth_mm / pitch_mm), math.ceil(side_mm / pitch_mm)
    strip = np.zeros((rows, cols, 3), pixels.dtype)
    known = np.zeros((rows, cols), np.bool_)
    y, x, tall, long = _longest_run(inside, rows, cols)
    # Half of it at either end, so that the ends are one piece.
    top, left = (rows - tall) // 2, cols - long // 2
    across = np.arange(left, left + long) % cols
    strip[top : top + tall, across] = pixels[y : y + tall, x : x + long]
    known[top : top + tall, across] = True
    from layerpreview.surface.quilt import quilted

    strip = quilted(strip, known, source=(pixels, inside))
    return replace(photo, picture=replace(photo.picture, pixels=strip, alpha=None)), pitch_mm * cols


def laid_behind(photo: Photo, front: Outline, back: Outline, *, width_mm: float | None) -> Photo:
    """Return the photo of `front`, `width_mm` wide [mm] (None: it just covers it), mirrored as it lies on `back`.

    Where the front has an opening and the back has none, the texture goes on.
    """
    rings = [mirrored_ring(ring, width_mm=back.width_mm) for ring in back.openings.values()]
    gone = shapely.difference(
        shapely.union_all([shapely.Polygon(ring) for ring in front.openings.values()]),
        shapely.union_all([shapely.Polygon(ring) for ring in rings]).buffer(_edge_mm(front)),
    )
    if gone.is_empty:
        return mirrored(photo)
    high_px, wide_px = photo.picture.height_px, photo.picture.width_px
    pitch_mm = (width_mm or _covering_mm(photo, front)) / wide_px
    photo = settled(photo, coarser=max(1.0, math.sqrt(wide_px * high_px / _MOST_PIXELS)))
    pixels = photo.picture.pixels
    pitch_mm *= wide_px / pixels.shape[1]
    size = pixels.shape[0], pixels.shape[1]
    open_px = _within(gone.buffer(_edge_mm(front)), front, *size, pitch_mm)
    from layerpreview.surface.quilt import quilted

    filled = quilted(pixels, ~open_px, source=(pixels, _inside(front, *size, pitch_mm)))
    return mirrored(replace(photo, picture=replace(photo.picture, pixels=filled, alpha=None)))


def _covering_mm(photo: Photo, front: Outline) -> float:
    """How wide a photo is that just covers a face [mm]."""
    return max(front.width_mm, front.height_mm * photo.picture.width_px / photo.picture.height_px)


def _edge_mm(front: Outline) -> float:
    return min(_EDGE_MM, _EDGE_SHARE * min(front.width_mm, front.height_mm))


def _inside(front: Outline, rows: int, cols: int, pitch_mm: float) -> NDArray[np.bool_]:
    """Which pixels of a photo that lies on the middle of a face are well within its outline."""
    inside = _within(front.polygon.buffer(-_edge_mm(front)), front, rows, cols, pitch_mm)
    return inside if inside.any() else ~inside  # a small photo over an opening is of the texture alone


def _within(shape: Any, front: Outline, rows: int, cols: int, pitch_mm: float) -> NDArray[np.bool_]:
    """Which pixels of a photo that lies on the middle of a face are within a shape on it."""
    y = (np.arange(rows) + 0.5 - 0.5 * rows) * pitch_mm + 0.5 * front.height_mm
    x = (np.arange(cols) + 0.5 - 0.5 * cols) * pitch_mm + 0.5 * front.width_mm
    shapely.prepare(shape)
    return np.stack([shapely.contains_xy(shape, x, np.full(cols, one)) for one in y])


def _longest_run(inside: NDArray[np.bool_], rows: int, cols: int) -> tuple[int, int, int, int]:
    """The longest rectangle of known pixels at most `rows` high and `cols` long: its y, x, height and length [px]."""
    tall = min(rows, inside.shape[0])
    while tall > max(1, round(_LEAST_SHARE * rows)):
        best = (0, 0, 0)
        for y in range(0, inside.shape[0] - tall + 1, max(1, tall // 4)):
            run = inside[y : y + tall].all(axis=0)
            ends = np.flatnonzero(np.diff(np.concatenate([[False], run, [False]]).astype(np.int8)))
            for start, end in zip(ends[::2], ends[1::2], strict=True):
                best = max(best, (int(end - start), y, int(start)))
        if best[0] >= tall:
            return best[1], best[2], tall, min(best[0], cols)
        tall //= 2
    known = np.argwhere(inside)
    y, x = (int(v) for v in known[len(known) // 2])
    return y, x, 1, 1
