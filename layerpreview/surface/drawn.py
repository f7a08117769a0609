"""A rough outline drawn as a bright green line on a copy of a photo, by any picture program."""

from __future__ import annotations

from typing import Any, NoReturn

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from layerpreview.errors import PictureError, Problem
from layerpreview.surface.ground import Grid
from layerpreview.surface.outline import Points
from layerpreview.surface.picture_file import PictureData

Mask = NDArray[np.bool_]

_LOOK_PX = 1000  # longer side of the picture in which the line is followed
_FILL_PX = 640  # longer side of the picture in which the line is filled
_GREEN, _OTHERS = 0.7, 0.55  # of full code: green at least, red and blue at most this share of green
_BESIDE_PX = 4  # of the picture: how far anti-aliasing and JPEG smear a line
_GAPS = (0.004, 0.02)  # of the longer side: closed without a word; looked for, to say that the line is not closed
_LEAST_INSIDE = 0.002  # of the picture
_LEAST_LINE = 0.0002  # of the picture: less green is no line


def drawn_outline(drawn: PictureData) -> tuple[Points, Mask]:
    """Return the ring of a bright green line, (n, 2) [px of the picture] along its middle, and its paint, (h, w).

    drawn : a copy of the photo with a closed line of pure green (0, 255, 0) or near it, 3 to 40 pixels wide, saved as
        anything; gaps of 0.4 % of the longer side are closed. The paint is where the photo cannot be seen, the smear
        of a JPEG beside the line included.
    Raises PictureError in one line where there is no such line, or it is not closed.
    """
    if drawn.pixels.ndim != 3:
        _refuse(drawn, "a grey picture holds no green line", "draw it in bright green on a colour copy of the photo")
    line = green_paint(drawn.pixels)
    if line.sum() < _LEAST_LINE * line.size:
        _refuse(
            drawn, "no bright green line was found", "draw round the part in pure green (0, 255, 0), 5 to 20 px wide"
        )
    step = max(1, max(line.shape) // _LOOK_PX)
    small = _reduced(line, step)
    inside = _inside(small, round(_GAPS[0] * max(small.shape)))
    if inside.sum() < _LEAST_INSIDE * small.size:
        nearly = _inside(small, round(_GAPS[1] * max(small.shape))).sum() >= _LEAST_INSIDE * small.size
        rule = "the green line is not closed" + (": a gap is left in it" if nearly else "")
        _refuse(drawn, rule, "draw it all the way round the part, until it meets itself")
    return _ring(small, inside) * step, ndimage.binary_dilation(line, iterations=_BESIDE_PX)


def painted_over(light: Grid, paint: Mask) -> Grid:
    """Return a picture (h, w, 3) with what is painted on it, a mask of any size, replaced by what is seen nearest,
    evened out like a soap film between both sides of the line: their difference would be an edge else."""
    high, wide = light.shape[:2]
    step = max(1, max(high, wide) // _FILL_PX)
    hidden = np.asarray(Image.fromarray(paint.astype(np.uint8) * 255).resize((wide, high), Image.Resampling.BOX)) > 0
    coarse = _reduced(hidden, step)
    rows, cols = ndimage.distance_transform_edt(coarse, return_distances=False, return_indices=True)
    places = np.minimum(rows * step + step // 2, high - 1), np.minimum(cols * step + step // 2, wide - 1)
    filled = _soap_film(light[places], coarse)
    between = (np.stack(np.nonzero(hidden)) + 0.5) / step - 0.5
    made = light.copy()
    for k in range(3):
        made[:, :, k][hidden] = ndimage.map_coordinates(filled[:, :, k], between, order=1, mode="nearest")
    return made


def _soap_film(light: Grid, hidden: Mask) -> Grid:
    """A picture (h, w, 3) whose hidden pixels are each the mean of the nine about it, from what is seen around."""
    from scipy.sparse import csc_array, eye_array
    from scipy.sparse.linalg import spsolve

    number = np.full(hidden.shape, -1)
    own = np.arange(hidden.sum())
    if not own.size:
        return light
    number[hidden] = own
    rows, cols = np.nonzero(hidden)
    apart, rim = eye_array(own.size, format="csc"), np.zeros((own.size, light.shape[2]))
    for down, right in np.ndindex(3, 3):
        near = np.clip(rows + down - 1, 0, hidden.shape[0] - 1), np.clip(cols + right - 1, 0, hidden.shape[1] - 1)
        within = number[near] >= 0
        ninth = np.full(within.sum(), 1 / 9)
        apart = apart - csc_array((ninth, (own[within], number[near][within])), shape=apart.shape)
        rim[~within] += light[near][~within] / 9
    made = light.copy()
    made[hidden] = spsolve(apart, rim)
    return made


def _reduced(mask: Mask, step: int) -> Mask:
    """A pixel of the smaller mask is set where any of its `step` x `step` is."""
    high, wide = (-(-size // step) * step for size in mask.shape)
    whole = np.zeros((high, wide), dtype=np.bool_)
    whole[: mask.shape[0], : mask.shape[1]] = mask
    return np.asarray(whole.reshape(high // step, step, wide // step, step).any(axis=(1, 3)))


def green_paint(pixels: NDArray[Any]) -> Mask:
    """Where a colour picture (h, w, 3) is painted in bright green, specks left out."""
    full = np.iinfo(pixels.dtype).max
    red, green, blue = (pixels[:, :, k] for k in range(3))
    most = np.maximum(red, blue).astype(np.float32)
    bright: Mask = (green > _GREEN * full) & (most < _OTHERS * green.astype(np.float32))
    labels, count = ndimage.label(bright, np.ones((3, 3)))
    if not count:
        return bright
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    kept: Mask = (sizes >= 0.02 * sizes.max())[labels] & bright  # specks are no line
    return kept


def _inside(line: Mask, gap_px: int) -> Mask:
    """What a line shuts in, gaps of `gap_px` closed."""
    reach = gap_px / 2 + 1
    shut = ndimage.binary_fill_holes(ndimage.distance_transform_edt(~line) <= reach)
    shut = ndimage.distance_transform_edt(np.pad(shut, 1))[1:-1, 1:-1] > reach  # back to where the line's outer edge is
    labels, count = ndimage.label(shut & ~line)
    if not count:
        return shut & ~line
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    largest: Mask = labels == sizes.argmax()
    return largest


def _ring(line: Mask, inside: Mask) -> Points:
    """The way midway between what the line shuts in and what lies outside of it."""
    from skimage.measure import find_contours

    within = ndimage.binary_fill_holes(inside | line)
    across = ndimage.distance_transform_edt(~inside) - ndimage.distance_transform_edt(within)
    rings = find_contours(np.pad(across, 1, constant_values=1.0), 0.0)
    return np.asarray(max(rings, key=len)[:-1, ::-1] - 0.5)


def _refuse(drawn: PictureData, rule: str, remedy: str) -> NoReturn:
    raise PictureError(Problem(file=drawn.file, rule=rule, remedy=remedy)) from None
